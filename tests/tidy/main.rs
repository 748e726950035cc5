//! Holds the tree to its order: module ranks, circles between files, what may touch the world, where tuned constants come
//! from, heads and sizes of files and functions, licences, and stray words.

#[path = "../support/source.rs"]
mod source;

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use source::{Module, arrows, circles, constants, functions, sources};

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

/// Rooms whose numeric constants say where they come from: those that decide what a picture is said to be.
const SCIENCE: &[&str] =
    &["quantity", "stats", "shot", "optics", "measure", "lens", "judge", "series", "diagnose", "plan"];

/// How the sentence about its origin begins, behind what the constant is: worked out from something, taken from a publication,
/// set on named pictures, or chosen for a reason.
const ORIGINS: &[&str] = &["Derived: ", "Published: ", "Set on ", "Chosen: "];

#[test]
fn modules_use_only_lower_ranks() {
    let mut faults = Vec::new();
    for source in sources() {
        let (path, module) = (&source.path, source.room());
        match rank_of(&module) {
            Some(rank) => {
                for used in uses(&source.code).into_iter().filter(|u| *u != module) {
                    if rank_of(&used).is_some_and(|r| r >= rank) {
                        faults.push(format!("{}: `{module}` (rank {rank}) uses `{used}`", path.display()));
                    }
                }
            }
            None if module.ends_with(".rs") => {}
            None => faults.push(format!("{}: `{module}` has no rank in `RANKS`", path.display())),
        }
    }
    assert!(faults.is_empty(), "arrows against the module order:\n{}", faults.join("\n"));
}

#[test]
fn walls_between_modules_stand() {
    let mut faults = Vec::new();
    for source in sources() {
        for (from, to, why) in WALLS {
            if *from == source.room() && mentions(&source.code, to) {
                faults.push(format!("{}: `{from}` uses `{to}`, but {why}", source.path.display()));
            }
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[test]
fn only_the_rim_touches_the_world() {
    let mut faults = Vec::new();
    for source in sources() {
        if !RIM.contains(&source.room().as_str()) {
            for word in WORLD.iter().filter(|w| source.code.contains(**w)) {
                faults.push(format!("{}: uses {word}, which belongs to the rim", source.path.display()));
            }
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[test]
fn every_file_says_what_it_is_for_and_stays_readable() {
    let mut faults = Vec::new();
    for source in sources() {
        let (path, text) = (&source.path, &source.text);
        if !text.starts_with("//! ") {
            faults.push(format!("{}: does not open with a `//!` line", path.display()));
        }
        let lines = text.lines().take_while(|l| l.trim() != "#[cfg(test)]").count();
        if lines > 400 {
            faults.push(format!("{}: {lines} lines before its tests; split it", path.display()));
        }
        if text.contains("#[ignore") {
            faults.push(format!("{}: has an ignored test", path.display()));
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

/// Most lines of a function, comments not counted.
const LONGEST: usize = 60;

#[test]
fn no_function_is_too_long_to_be_read_at_once() {
    let (mut faults, mut count) = (Vec::new(), 0);
    for source in sources() {
        for function in functions(&source.code) {
            count += 1;
            if function.lines > LONGEST {
                faults.push(format!("{}: `{}` has {} lines", source.path.display(), function.name, function.lines));
            }
        }
    }
    assert!(count > 1500, "the functions were not found: {count}");
    assert!(faults.is_empty(), "split by what their parts mean:\n{}", faults.join("\n"));
}

#[test]
fn no_files_of_a_room_use_each_other_in_a_circle() {
    let found = circles(&arrows(&sources()));
    let say = |circle: &Vec<Module>| circle.iter().map(|m| m.join("::")).collect::<Vec<_>>().join(", ");
    assert!(found.is_empty(), "use each other:\n{}", found.iter().map(say).collect::<Vec<_>>().join("\n"));
}

#[test]
fn every_tuned_constant_says_where_it_comes_from() {
    let (mut faults, mut count) = (Vec::new(), 0);
    for source in sources().iter().filter(|s| SCIENCE.contains(&s.room().as_str())) {
        for constant in constants(&source.text) {
            count += 1;
            if !tells_origin(&constant.comment) {
                faults.push(format!("{}:{}: {}", source.path.display(), constant.line, constant.name));
            }
        }
    }
    assert!(count > 200, "the constants were not found: {count}");
    assert!(
        faults.is_empty(),
        "say what it is, end the sentence, and go on with one of {ORIGINS:?}:\n{}",
        faults.join("\n")
    );
}

/// Whether a comment says first what a constant is and then, in a sentence of its own, where it comes from.
fn tells_origin(comment: &str) -> bool {
    let told = |o: &&str| comment.split_once(&format!(". {o}")).is_some_and(|(_, origin)| !origin.trim().is_empty());
    !ORIGINS.iter().any(|o| comment.starts_with(o)) && ORIGINS.iter().any(told)
}

/// The libraries in the program, as `notices.txt` lists them, against the one list of licences: that of `deny.toml`, by which
/// CI asks the packages themselves.
#[test]
fn every_library_is_under_a_licence_of_the_list() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let read = |name: &str| fs::read_to_string(root.join(name)).expect("part of the repository");
    let rules: toml::Value = toml::from_str(&read("deny.toml")).expect("valid TOML");
    let list = |of: &toml::Value| -> BTreeSet<String> {
        let words = of.get("allow").and_then(toml::Value::as_array).expect("a list of licences");
        words.iter().filter_map(|w| w.as_str().map(str::to_owned)).collect()
    };
    let (allowed, exceptions) = (list(&rules["licenses"]), rules["licenses"]["exceptions"].as_array().expect("a list"));
    let (mut faults, mut count) = (Vec::new(), 0);
    for line in read("notices.txt").lines().skip_while(|l| !l.contains('\t')).take_while(|l| l.contains('\t')) {
        let [name, _, licence] = line.split('\t').collect::<Vec<_>>()[..] else { panic!("no library: {line}") };
        count += 1;
        let mut own = allowed.clone();
        own.extend(exceptions.iter().filter(|e| e["crate"].as_str() == Some(name)).flat_map(list));
        if !licensed(licence, &own) {
            faults.push(line.to_owned());
        }
    }
    assert!(count > 100, "the libraries were not found: {count}");
    assert!(faults.is_empty(), "under no licence of deny.toml:\n{}", faults.join("\n"));
}

/// Whether a licence expression (SPDX, or with a slash as older packages have it) holds with licences of a list: one of its
/// alternatives whose parts all are on it. Parentheses are taken for none, which is lenient; CI reads them.
fn licensed(expression: &str, list: &BTreeSet<String>) -> bool {
    let plain = expression.replace(['(', ')'], "").replace('/', " OR ");
    plain.split(" OR ").any(|one| one.split(" AND ").all(|part| list.contains(part.trim().trim_end_matches("-only"))))
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
    let list = BTreeSet::from(["MIT".to_owned(), "ISC".to_owned()]);
    assert!(licensed("MIT/Apache-2.0", &list) && licensed("GPL-3.0 OR ISC AND MIT", &list));
    assert!(!licensed("GPL-3.0", &list) && !licensed("MIT AND GPL-3.0", &list));
    assert!(tells_origin("Share of tiles. Chosen: half."));
    assert!(!tells_origin("Share of tiles.") && !tells_origin("Share of tiles. Chosen: "));
    assert!(!tells_origin("Share of tiles, Chosen: half.") && !tells_origin("Chosen: half of them. Share of tiles."));
    assert!(!tells_origin("Chosen: half of them. Share of tiles. Set on streets."));
    let code = "pub(super) const fn a(\n    b: u8,\n) {\n    fn c() {\n        d();\n    }\n    // No more.\n\n}\nfn e() {}\n\
                trait F {\n    fn g(\n    );\n    fn h() {\n        i();\n    }\n}";
    let lengths: Vec<_> = functions(code).into_iter().map(|f| (f.name, f.lines)).collect();
    assert_eq!(lengths, [("a".to_owned(), 7), ("c".to_owned(), 3), ("h".to_owned(), 3)]);
    let declared = constants(
        "/// A share. Chosen: b c.\nconst A: f64 = 1.0;\npub(super) const B: usize = 2;\n\nconst C: u32 = 3;",
    );
    assert_eq!(declared.iter().map(|c| tells_origin(&c.comment)).collect::<Vec<_>>(), [true, true, false]);
}

#[test]
fn circles_are_found_through_what_a_module_hands_on() {
    let file =
        |path: &str, code: &str| source::Source { path: path.into(), text: String::new(), code: code.to_owned() };
    let tree = [
        file("room/mod.rs", "mod a;\nmod b;\npub use a::First;\n"),
        file("room/a.rs", "use super::b::{Second, third};\npub struct First;\n"),
        file("room/b.rs", "use crate::room::First;\npub struct Second;\n"),
        file("room/c.rs", "fn f() { super::b::third(); }\n"),
    ];
    let name = |n: &str| vec!["room".to_owned(), n.to_owned()];
    assert_eq!(circles(&arrows(&tree)), [vec![name("a"), name("b")]]);
    assert_eq!(arrows(&tree)[&name("c")], BTreeSet::from([name("b")]));
}

/// Whether `.gitignore` keeps a folder of this name out of the repository, as what is built or what the demo writes.
fn ignored(name: &str) -> bool {
    include_str!("../../.gitignore").lines().any(|line| {
        let last = line.rsplit('/').next().unwrap_or(line);
        last.strip_suffix('*').map_or(name == last, |start| name.starts_with(start))
    })
}

#[test]
fn what_the_demo_and_an_audit_write_beside_the_source_is_passed_over() {
    assert!(["target", "node_modules", "tussock-demo", "tussock-report-2026-11-30"].into_iter().all(ignored));
    assert!(!["src", "tests", "fixtures", "reports", "examples", "tussock"].into_iter().any(ignored));
}

fn files(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).expect("readable").map(|e| e.expect("readable").path()) {
        let name = entry.file_name().unwrap_or_default().to_string_lossy().into_owned();
        if !entry.is_dir() {
            // A linked work tree has a file of this name with a path in it.
            if name != ".git" {
                found.push(entry);
            }
        } else if (name == ".ci" || !name.starts_with('.')) && !ignored(&name) {
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
