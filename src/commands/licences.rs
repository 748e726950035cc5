//! The licences of the program and of the libraries in it.

use schemars::JsonSchema;
use serde::Serialize;

use super::Outcome;
use crate::output;

/// Written by `.ci/notices.py` from the libraries' own packages.
const NOTICES: &str = include_str!("../../notices.txt");

/// `tussock.licences`, version 1: what `tussock licences --json` prints.
#[derive(Serialize, JsonSchema)]
pub(crate) struct LicencesView {
    /// Always `tussock.licences`.
    format: &'static str,
    /// Version of this format.
    version: u32,
    /// The program's own licence, as SPDX has it.
    licence: &'static str,
    /// The libraries in it.
    libraries: Vec<Library>,
}

/// A library.
#[derive(Serialize, JsonSchema)]
struct Library {
    /// Its name.
    name: &'static str,
    /// Its version.
    version: &'static str,
    /// Its licence, as its package states it.
    licence: &'static str,
}

/// The libraries, as the head of the notices lists them.
fn libraries() -> Vec<Library> {
    let head = NOTICES.split("\n====").next().unwrap_or("");
    let parts = head.lines().filter_map(|line| {
        let mut parts = line.split('\t');
        Some(Library { name: parts.next()?, version: parts.next()?, licence: parts.next()? })
    });
    parts.collect()
}

/// Prints the notices in full, or a list of the libraries as JSON.
///
/// # Errors
/// Where the JSON can't be written.
pub(crate) fn run(json: bool) -> anyhow::Result<Outcome> {
    if json {
        let licence = env!("CARGO_PKG_LICENSE");
        let told = LicencesView { format: "tussock.licences", version: 1, licence, libraries: libraries() };
        output::print_json(&output::json(&told)?);
    } else {
        output::print(NOTICES);
        output::print(concat!(
            "\n",
            "====================================================================================================\n\n",
            "tussock itself:\n\n",
            include_str!("../../LICENSE-MIT"),
            "\n",
            include_str!("../../LICENSE-APACHE"),
        ));
    }
    Ok(Outcome::Done)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_library_of_the_manifest_is_listed_with_its_licence() {
        let manifest: toml::Table = toml::from_str(include_str!("../../Cargo.toml")).unwrap();
        let listed = libraries();
        for name in manifest["dependencies"].as_table().unwrap().keys() {
            assert!(listed.iter().any(|l| l.name == name && !l.licence.is_empty()), "{name}: run .ci/notices.py");
        }
        for copyleft in ["rawler", "rawloader"] {
            let found = listed.iter().find(|l| l.name == copyleft).unwrap();
            assert!(found.licence.starts_with("LGPL-2.1"), "{}", found.licence);
        }
    }
}
