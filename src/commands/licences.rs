//! The licences of the program and of the libraries in it.

use serde::Serialize;

use super::Outcome;
use crate::output;

/// Written by `.ci/notices.py` from the libraries' own packages.
const NOTICES: &str = include_str!("../../notices.txt");

#[derive(Serialize)]
struct Library {
    name: &'static str,
    version: &'static str,
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
        let told = serde_json::json!({
            "format": "tussock.licences", "version": 1, "licence": env!("CARGO_PKG_LICENSE"), "libraries": libraries(),
        });
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
