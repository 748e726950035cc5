//! The published JSON Schemas of what tussock writes and prints.

use anyhow::bail;

use super::Outcome;
use super::cache::CacheView;
use super::keepers::{KeepersView, Marks, Undo, UndoneView};
use super::licences::LicencesView;
use super::settings::SettingsView;
use super::shelf::{ForgottenView, LensesView};
use crate::output;
use crate::quantity::plain;
use crate::report;

/// Every schema: its file name under `schemas/`, its text.
pub(crate) fn schemas() -> Vec<(&'static str, String)> {
    let text = |schema: schemars::Schema| serde_json::to_string_pretty(&schema).unwrap_or_default() + "\n";
    let mut all = report::schemas();
    all.extend([
        ("cache-1.schema.json", text(schemars::schema_for!(CacheView))),
        ("forgotten-1.schema.json", text(schemars::schema_for!(ForgottenView))),
        ("keep-1.schema.json", text(schemars::schema_for!(Marks))),
        ("keepers-1.schema.json", text(schemars::schema_for!(KeepersView<'_>))),
        ("lenses-1.schema.json", text(schemars::schema_for!(LensesView))),
        ("licences-1.schema.json", text(schemars::schema_for!(LicencesView))),
        ("settings-1.schema.json", text(schemars::schema_for!(SettingsView))),
        ("undo-1.schema.json", text(schemars::schema_for!(Undo))),
        ("undone-1.schema.json", text(schemars::schema_for!(UndoneView))),
    ]);
    all.sort_by_key(|(name, _)| *name);
    all
}

/// Prints the schema of a name (`audit`), or the names there are.
///
/// # Errors
/// Where there is no schema of that name.
pub(crate) fn run(name: Option<&str>) -> anyhow::Result<Outcome> {
    let all = schemas();
    let short = |file: &str| {
        file.trim_end_matches(".schema.json")
            .trim_end_matches(|c: char| c.is_ascii_digit())
            .trim_end_matches('-')
            .to_owned()
    };
    let names = || all.iter().map(|(file, _)| short(file)).collect::<Vec<_>>();
    let Some(name) = name else {
        output::print(&(names().join("\n") + "\n"));
        return Ok(Outcome::Done);
    };
    let asked = name.trim_end_matches(".schema.json");
    match all.iter().find(|(file, _)| short(file) == asked || file.trim_end_matches(".schema.json") == asked) {
        Some((_, text)) => output::print(text),
        None => bail!("there is no schema '{}'; there are {}", plain(name), names().join(", ")),
    }
    Ok(Outcome::Done)
}
