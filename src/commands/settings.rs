//! Defaults of the user's own: read from a file in the usual place, shown with where each comes from.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use anyhow::{Context as _, anyhow};
use etcetera::BaseStrategy as _;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::Outcome;
use crate::intake;
use crate::output;
use crate::quantity::shown;

/// What the settings file says, as typed; what it doesn't say is `None`.
#[derive(Clone, Debug, Default, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub(crate) struct Settings {
    /// The use pictures must be sharp for, as after `--sharp-for`.
    pub sharp_for: Option<String>,
    /// Units of sentences, as after `--units`.
    pub units: Option<String>,
    /// The sensor that plans and cards are for, as after `--sensor`; that of a photograph planned from goes before it.
    pub sensor: Option<String>,
    /// Sensors of cameras by name, as after `--sensor-of`.
    pub sensors: Option<BTreeMap<String, String>>,
    /// Learned baselines, each for frames that name its lens; where relative, seen from the file's folder.
    pub lenses: Option<Vec<PathBuf>>,
    /// Colours of the page, as after `--theme`.
    pub theme: Option<String>,
}

/// Where the settings file is, if there is one: `tussock/settings.toml` in the user's configuration folder.
///
/// # Errors
/// Where the system names no such folder.
pub(crate) fn place() -> anyhow::Result<PathBuf> {
    let base = etcetera::choose_base_strategy().context("the user's configuration folder is not known")?;
    Ok(base.config_dir().join("tussock").join("settings.toml"))
}

/// Reads the settings file; nothing where there is none.
///
/// # Errors
/// Where it can't be read, isn't TOML, or names a setting that there isn't.
pub(crate) fn read() -> anyhow::Result<Settings> {
    // Without such a folder there is no file in it.
    let Ok(place) = place() else { return Ok(Settings::default()) };
    if place.symlink_metadata().is_err() {
        return Ok(Settings::default());
    }
    let text = intake::read_text(&place).map_err(output::refused)?;
    parsed(&text, &place)
}

fn parsed(text: &str, place: &Path) -> anyhow::Result<Settings> {
    let mut settings: Settings = toml::from_str(text).map_err(|e| {
        let line = e.span().map_or(1, |span| text[..span.start.min(text.len())].matches('\n').count() + 1);
        let what = e.message().lines().next().unwrap_or("it is not TOML").to_owned();
        anyhow!("{}, line {line}: {what}", shown(place))
    })?;
    let folder = place.parent().unwrap_or(Path::new(""));
    settings.lenses.iter_mut().flatten().for_each(|lens| *lens = folder.join(&*lens));
    Ok(settings)
}

/// `tussock.settings`, version 1.
#[derive(Debug, Serialize, JsonSchema)]
pub(crate) struct SettingsView {
    /// Always `tussock.settings`.
    pub format: &'static str,
    /// Version of this format.
    pub version: u32,
    /// Where the settings file is, or would be; null where the system names no folder for it.
    pub file: Option<String>,
    /// Whether it is there.
    pub exists: bool,
    /// Every setting.
    pub settings: Vec<SettingView>,
}

/// One setting.
#[derive(Debug, Serialize, JsonSchema)]
pub(crate) struct SettingView {
    /// Its name in the file.
    pub name: &'static str,
    /// Its value.
    pub value: String,
    /// `settings file` or `built in`.
    pub source: &'static str,
    /// What it stands for where the command line says nothing.
    pub option: &'static str,
}

/// Shows every setting and where it comes from.
///
/// # Errors
/// Where the JSON can't be written.
pub(crate) fn show(settings: &Settings, json: bool) -> anyhow::Result<Outcome> {
    let gone: Vec<PathBuf> = settings.lenses.iter().flatten().filter(|lens| !lens.is_file()).cloned().collect();
    for lens in &gone {
        output::say(&format!("tussock: lenses: there is no file {}", shown(lens)));
    }
    let outcome = if gone.is_empty() { Outcome::Done } else { Outcome::Partly };
    let lenses = settings.lenses.as_ref().map(|l| l.iter().map(|p| shown(p)).collect::<Vec<_>>().join(", "));
    let sensors = settings
        .sensors
        .as_ref()
        .map(|s| s.iter().map(|(body, size)| format!("{body}: {size}")).collect::<Vec<_>>().join(", "));
    let one = |name, value: Option<String>, built_in: &str, option| SettingView {
        name,
        source: if value.is_some() { "settings file" } else { "built in" },
        value: value.unwrap_or_else(|| built_in.to_owned()),
        option,
    };
    let settings = vec![
        one("sharp-for", settings.sharp_for.clone(), "diagonal", "--sharp-for"),
        one("units", settings.units.clone(), "metric", "--units"),
        one("sensor", settings.sensor.clone(), "36x24mm", "--sensor of plan and card"),
        one("sensors", sensors, "as the files tell", "--sensor-of"),
        one("lenses", lenses, "those learned, by the lens's name", "--lens, by the lens's name"),
        one("theme", settings.theme.clone(), "auto", "--theme"),
    ];
    let place = place().ok();
    let exists = place.as_ref().is_some_and(|p| p.is_file());
    if json {
        let file = place.as_ref().map(|p| p.to_string_lossy().into_owned());
        let view = SettingsView { format: "tussock.settings", version: 1, file, exists, settings };
        output::print_json(&output::json(&view)?);
        return Ok(outcome);
    }
    let mut text = String::new();
    for s in &settings {
        text.push_str(&format!("{:<10} {:<36} {:<14} {}\n", s.name, s.value, s.source, s.option));
    }
    let file = place.map_or_else(|| "nowhere on this system".into(), |p| shown(&p));
    text.push_str(&format!("\nSettings file: {file}{}\n", if exists { "" } else { " (not there)" }));
    output::print(&text);
    Ok(outcome)
}

/// The error that a value in the settings file makes no sense.
pub(crate) fn refused(name: &str, why: &str) -> anyhow::Error {
    match place() {
        Ok(place) => anyhow!("{}, {name}: {why}", shown(&place)),
        Err(_) => anyhow!("{name}: {why}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_settings_file_is_read_or_refused_with_the_line() {
        let place = Path::new("tussock/settings.toml");
        let read = parsed("units = \"imperial\"\nlenses = [\"lenses/a.toml\"]\n", place).unwrap();
        assert_eq!(read.units.as_deref(), Some("imperial"));
        assert_eq!(read.lenses, Some(vec![PathBuf::from("tussock/lenses/a.toml")]));
        assert_eq!(parsed("", place).unwrap(), Settings::default());
        for (text, line) in [
            ("\nunit = \"metric\"", "line 2"),
            ("units = 3", "line 1"),
            ("units", "line 1"),
            ("theme=\"a\"\n[b", "line 2"),
        ] {
            let why = parsed(text, place).unwrap_err().to_string();
            assert!(why.contains(line) && !why.contains('\n'), "{why}");
        }
    }
}
