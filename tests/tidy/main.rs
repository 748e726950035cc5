//! Holds the tree to its order: module ranks, what may touch the world, file heads and sizes, and stray words.

use std::fs;
use std::path::{Path, PathBuf};

/// Module and rank; a module may use only modules of a lower rank, or itself.
const RANKS: &[(&str, u32)] = &[
    ("quantity", 0),
    ("stats", 0),
    ("shot", 1),
    ("optics", 1),
    ("measure", 2),
    ("simulate", 2),
    ("lens", 3),
    ("judge", 3),
    ("series", 4),
    ("diagnose", 4),
    ("plan", 4),
    ("report", 5),
    ("intake", 5),
    ("sidecar", 6),
    ("output", 6),
    ("commands", 7),
    ("cli", 8),
];

/// Lower-ranked modules that a module may not use all the same, and why.
const WALLS: &[(&str, &str, &str)] = &[
    ("simulate", "optics", "one wrong formula must not confirm itself"),
    ("simulate", "measure", "one wrong formula must not confirm itself"),
    ("measure", "shot::Capture", "evidence must not be coloured by expectation"),
    ("diagnose", "shot::Plane", "a diagnosis never sees a pixel"),
];

/// Words that only the rim may use.
const WORLD: &[&str] =
    &["std::fs", "std::env", "std::process", "SystemTime", "DateTime::now", "Timestamp::now", "std::net"];
const RIM: &[&str] = &["intake", "output", "commands", "cli", "main.rs"];

#[test]
fn modules_use_only_lower_ranks() {
    let mut faults = Vec::new();
    for (path, module, code) in modules() {
        match rank_of(&module) {
            Some(rank) => {
                for used in uses(&code).into_iter().filter(|u| *u != module) {
                    if rank_of(&used).is_some_and(|r| r >= rank) {
                        faults.push(format!("{}: `{module}` (rank {rank}) uses `{used}`", path.display()));
                    }
                }
            }
            None if module.ends_with(".rs") => {}
            None => faults.push(format!("{}: `{module}` has no rank in tests/tidy.rs", path.display())),
        }
    }
    assert!(faults.is_empty(), "arrows against the module order:\n{}", faults.join("\n"));
}

#[test]
fn walls_between_modules_stand() {
    let mut faults = Vec::new();
    for (path, module, code) in modules() {
        for (from, to, why) in WALLS {
            if *from == module && mentions(&code, to) {
                faults.push(format!("{}: `{from}` uses `{to}`, but {why}", path.display()));
            }
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[test]
fn only_the_rim_touches_the_world() {
    let mut faults = Vec::new();
    for (path, module, code) in modules() {
        if !RIM.contains(&module.as_str()) {
            for word in WORLD.iter().filter(|w| code.contains(**w)) {
                faults.push(format!("{}: uses {word}, which belongs to the rim", path.display()));
            }
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[test]
fn every_file_says_what_it_is_for_and_stays_readable() {
    let mut faults = Vec::new();
    for (path, text) in sources() {
        if !text.starts_with("//! ") {
            faults.push(format!("{}: does not open with a `//!` line", path.display()));
        }
        let lines = text.lines().take_while(|l| l.trim() != "#[cfg(test)]").count();
        if lines > 480 {
            faults.push(format!("{}: {lines} lines before its tests; split it", path.display()));
        }
        if text.contains("#[ignore") {
            faults.push(format!("{}: has an ignored test", path.display()));
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[test]
fn no_machine_paths_or_registry_hosts() {
    // Written in pieces so that this file does not accuse itself.
    let words = [
        concat!("/ho", "me/"),
        concat!("/ro", "ot/"),
        concat!("/wo", "rk/"),
        concat!("crates", ".io/api"),
        concat!("pypi", ".org"),
        concat!("registry.", "npmjs"),
    ];
    let mut faults = Vec::new();
    for path in files(Path::new(env!("CARGO_MANIFEST_DIR"))) {
        // Cargo writes the registry's name into its lock file; binary files are not text.
        if path.ends_with("Cargo.lock") {
            continue;
        }
        let Ok(text) = fs::read_to_string(&path) else { continue };
        for word in words.iter().filter(|w| text.contains(**w)) {
            faults.push(format!("{}: names {word}", path.display()));
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[test]
fn the_rules_of_this_test_can_fail() {
    assert_eq!(uses("use crate::{measure, optics::blur}; crate::shot::Plane"), ["measure", "optics", "shot"]);
    assert!(mentions("use crate::shot::{Mosaic, Plane};", "shot::Plane"));
    assert!(!mentions("use crate::shot::Capture;", "shot::Plane"));
}

/// Path below src, module, and code without unit tests and comment lines (tests may look anywhere).
fn modules() -> Vec<(PathBuf, String, String)> {
    sources()
        .into_iter()
        .map(|(path, text)| {
            let first = path.components().next().expect("a path").as_os_str().to_string_lossy().into_owned();
            let module = match first.as_str() {
                "lib.rs" | "main.rs" => first,
                other => other.trim_end_matches(".rs").to_owned(),
            };
            let code = text
                .lines()
                .take_while(|l| l.trim() != "#[cfg(test)]")
                .filter(|l| !l.trim_start().starts_with("//"))
                .collect::<Vec<_>>()
                .join("\n");
            (path, module, code)
        })
        .collect()
}

fn sources() -> Vec<(PathBuf, String)> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let found: Vec<_> = files(&root)
        .into_iter()
        .filter(|p| p.extension().is_some_and(|e| e == "rs"))
        .map(|p| {
            let text = fs::read_to_string(&p).expect("source files are UTF-8");
            (p.strip_prefix(&root).expect("below src").to_owned(), text)
        })
        .collect();
    assert!(found.len() > 20, "the source tree was not found");
    found
}

fn files(folder: &Path) -> Vec<PathBuf> {
    const FOREIGN: &[&str] = &["target", "node_modules", "corpus", "artifacts", "__pycache__"];
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).expect("readable").map(|e| e.expect("readable").path()) {
        let name = entry.file_name().unwrap_or_default().to_string_lossy().into_owned();
        if !entry.is_dir() {
            // A linked work tree has a file of this name with a path in it.
            if name != ".git" {
                found.push(entry);
            }
        } else if (name == ".ci" || !name.starts_with('.')) && !FOREIGN.contains(&name.as_str()) {
            found.extend(files(&entry));
        }
    }
    found.sort();
    found
}

fn rank_of(module: &str) -> Option<u32> {
    RANKS.iter().find(|(m, _)| *m == module).map(|(_, r)| *r)
}

/// Modules named after `crate::`, also inside one level of braces.
fn uses(code: &str) -> Vec<String> {
    let word = |text: &str| text.trim().chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect::<String>();
    code.split("crate::")
        .skip(1)
        .flat_map(|part| match part.strip_prefix('{') {
            Some(inner) => inner.split('}').next().unwrap_or("").split(',').map(word).collect(),
            None => vec![word(part)],
        })
        .filter(|w| !w.is_empty())
        .collect()
}

/// Whether the code uses `module` or `module::Item`, the latter also from a braced list.
fn mentions(code: &str, what: &str) -> bool {
    match what.split_once("::") {
        None => uses(code).iter().any(|u| u == what),
        Some((module, item)) => code.split(&format!("crate::{module}::")).skip(1).any(|part| {
            let statement = part.split(';').next().unwrap_or("");
            statement.split(|c: char| !c.is_alphanumeric()).any(|w| w == item)
        }),
    }
}
