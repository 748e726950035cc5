//! The source tree as the house rules see it: files with their module paths, what each names of the others, and constants.

#![allow(dead_code)] // Each of its users needs a part.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

/// A module's path below the crate, outermost first.
pub type Module = Vec<String>;

/// One file of `src`.
pub struct Source {
    /// Path below `src`.
    pub path: PathBuf,
    /// All of it.
    pub text: String,
    /// Without unit tests and comment lines (tests may look anywhere).
    pub code: String,
}

impl Source {
    /// Room the file belongs to: the folder or file right below `src`.
    pub fn room(&self) -> String {
        let first = self.path.components().next().expect("a path").as_os_str().to_string_lossy().into_owned();
        if matches!(first.as_str(), "lib.rs" | "main.rs") { first } else { first.trim_end_matches(".rs").to_owned() }
    }

    /// The module that the file is.
    pub fn module(&self) -> Module {
        let path = self.path.with_extension("");
        let mut names: Module = path.components().map(|c| c.as_os_str().to_string_lossy().into_owned()).collect();
        if names.last().is_some_and(|n| n == "mod") {
            names.pop();
        }
        names
    }
}

/// Every file of `src` but those that hold tests alone.
pub fn sources() -> Vec<Source> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut paths = Vec::new();
    walk(&root, &mut paths);
    paths.sort();
    let found: Vec<Source> = paths
        .into_iter()
        .map(|p| {
            let text = fs::read_to_string(&p).expect("source files are UTF-8");
            Source { path: p.strip_prefix(&root).expect("below src").to_owned(), code: code(&text), text }
        })
        .collect();
    assert!(found.len() > 20, "the source tree was not found");
    found
}

fn walk(folder: &Path, found: &mut Vec<PathBuf>) {
    for path in fs::read_dir(folder).expect("readable").map(|e| e.expect("readable").path()) {
        if path.is_dir() {
            walk(&path, found);
        } else if path.extension().is_some_and(|e| e == "rs") && !path.ends_with("tests.rs") {
            found.push(path);
        }
    }
}

fn code(text: &str) -> String {
    let lines = text.lines().take_while(|l| l.trim() != "#[cfg(test)]");
    lines.filter(|l| !l.trim_start().starts_with("//")).collect::<Vec<_>>().join("\n")
}

/// Which files of one room use which: by paths that name what a file declares, seen through what a `mod.rs` hands on. A
/// file may use what the `mod.rs` above it declares; that is no arrow, since the two are one thing.
pub fn arrows(sources: &[Source]) -> BTreeMap<Module, BTreeSet<Module>> {
    let modules: BTreeSet<Module> = sources.iter().map(Source::module).collect();
    let mut handed_on: BTreeMap<(Module, String), Module> = BTreeMap::new();
    let mut named: BTreeMap<Module, Vec<Module>> = BTreeMap::new();
    for source in sources {
        let module = source.module();
        let mut body = String::new();
        for statement in source.code.split_inclusive(';') {
            let Some((before, public, path)) = use_of(statement) else {
                body.push_str(statement);
                continue;
            };
            body.push_str(before);
            for full in expand(path).iter().filter_map(|p| absolute(&module, p, &modules)) {
                if public {
                    let name = full.last().expect("a path has a name").clone();
                    handed_on.insert((module.clone(), name), full);
                } else {
                    named.entry(module.clone()).or_default().push(full);
                }
            }
        }
        let found = paths(&body).into_iter().filter_map(|p| absolute(&module, &p, &modules));
        named.entry(module.clone()).or_default().extend(found);
    }
    let mut arrows: BTreeMap<Module, BTreeSet<Module>> = BTreeMap::new();
    for (module, all) in named {
        for to in all.into_iter().filter_map(|full| home(full, &modules, &handed_on)) {
            if to != module && to.first() == module.first() && !module.starts_with(&to) {
                arrows.entry(module.clone()).or_default().insert(to);
            }
        }
    }
    arrows
}

/// A statement `use PATH;` with what stands before it, and whether it hands on.
fn use_of(statement: &str) -> Option<(&str, bool, &str)> {
    let start = statement.rfind("\nuse ").map(|k| k + 1).or_else(|| statement.starts_with("use ").then_some(0));
    let (start, public) = match start {
        Some(start) => (start, false),
        None => {
            let start =
                statement.rfind("\npub").map(|k| k + 1).or_else(|| statement.starts_with("pub").then_some(0))?;
            (start, true)
        }
    };
    let rest = &statement[start..];
    let rest = if public { &rest[rest.find(" use ").filter(|&k| k < 20)? + 1..] } else { rest };
    Some((&statement[..start], public, rest.strip_prefix("use ")?.trim_end_matches(';').trim()))
}

/// The single paths of a path with braces.
fn expand(path: &str) -> Vec<String> {
    let Some((before, rest)) = path.split_once('{') else {
        let plain = path.split(" as ").next().unwrap_or("").trim();
        return vec![plain.trim_end_matches("::self").to_owned()];
    };
    let inner = rest.rsplit_once('}').map_or(rest, |(inner, _)| inner);
    let (mut parts, mut depth) = (vec![String::new()], 0);
    for c in inner.chars() {
        depth += i32::from(c == '{') - i32::from(c == '}');
        match c {
            ',' if depth == 0 => parts.push(String::new()),
            c => parts.last_mut().expect("never empty").push(c),
        }
    }
    let parts = parts.into_iter().filter(|p| !p.trim().is_empty());
    parts.flat_map(|p| expand(&format!("{before}{}", p.trim()))).collect()
}

/// Every path of at least two names in a piece of code.
fn paths(code: &str) -> Vec<String> {
    let word = |c: char| c.is_alphanumeric() || c == '_' || c == ':';
    code.split(|c: char| !word(c)).filter(|w| w.contains("::")).map(|w| w.trim_matches(':').to_owned()).collect()
}

/// A path from the crate's root; `None` for what lies outside of it.
fn absolute(module: &Module, path: &str, modules: &BTreeSet<Module>) -> Option<Module> {
    let mut names: Vec<&str> = path.split("::").map(str::trim).collect();
    let mut base = match *names.first()? {
        "crate" => Module::new(),
        "super" | "self" => module.clone(),
        first => {
            let mut child = module.clone();
            child.push(first.to_owned());
            return modules
                .contains(&child)
                .then(|| module.iter().cloned().chain(names.iter().map(|n| (*n).to_owned())).collect());
        }
    };
    while let Some("super" | "self" | "crate") = names.first().copied() {
        if names.remove(0) == "super" {
            base.pop();
        }
    }
    base.extend(names.into_iter().map(str::to_owned));
    Some(base)
}

/// The file that declares what a path names.
fn home(
    mut full: Module,
    modules: &BTreeSet<Module>,
    handed_on: &BTreeMap<(Module, String), Module>,
) -> Option<Module> {
    for _ in 0..9 {
        let depth = (1..=full.len()).rev().find(|&k| modules.contains(&full[..k]))?;
        let found = full[..depth].to_vec();
        let Some(next) = full.get(depth).and_then(|name| handed_on.get(&(found.clone(), name.clone()))) else {
            return Some(found);
        };
        full = next.iter().chain(&full[depth + 1..]).cloned().collect();
    }
    None
}

/// Circles among the arrows, each once, as its modules in order of their names.
pub fn circles(arrows: &BTreeMap<Module, BTreeSet<Module>>) -> Vec<Vec<Module>> {
    let reached = |from: &Module| {
        let (mut seen, mut next) = (BTreeSet::new(), vec![from]);
        while let Some(module) = next.pop() {
            for to in arrows.get(module).into_iter().flatten() {
                if seen.insert(to) {
                    next.push(to);
                }
            }
        }
        seen
    };
    let all: BTreeMap<&Module, BTreeSet<&Module>> = arrows.keys().map(|m| (m, reached(m))).collect();
    let mut circles: Vec<Vec<Module>> = Vec::new();
    for (&module, seen) in all.iter().filter(|(m, seen)| seen.contains(**m)) {
        let circle: Vec<Module> =
            seen.iter().filter(|o| all.get(**o).is_some_and(|s| s.contains(module))).map(|m| (*m).clone()).collect();
        if !circles.contains(&circle) {
            circles.push(circle);
        }
    }
    circles
}

/// A numeric constant that a file declares by itself (not within a function or a type).
pub struct Constant {
    /// Line, from 1.
    pub line: usize,
    /// Name.
    pub name: String,
    /// Type as written.
    pub kind: String,
    /// Value as written, on its first line.
    pub value: String,
    /// Its comment without slashes; that of the constant right above it where it has none and no empty line between.
    pub comment: String,
}

/// Every numeric constant of a file.
pub fn constants(text: &str) -> Vec<Constant> {
    const NUMBERS: &[&str] = &["f32", "f64", "usize", "u8", "u16", "u32", "u64", "i32", "i64"];
    let (mut found, mut comment, mut above) = (Vec::new(), String::new(), String::new());
    for (k, line) in text.lines().take_while(|l| l.trim() != "#[cfg(test)]").enumerate() {
        if let Some(said) = line.strip_prefix("//") {
            comment = format!("{comment} {}", said.trim_start_matches(['/', '!']).trim()).trim().to_owned();
            continue;
        }
        let bare = line.strip_prefix("pub").map_or(line, |rest| rest.trim_start_matches(|c| c != ' ').trim_start());
        let declared = bare.strip_prefix("const ").and_then(|rest| rest.split_once(": "));
        let Some((name, (kind, value))) = declared.and_then(|(n, rest)| Some((n, rest.split_once(" =")?))) else {
            if !line.starts_with("#[") {
                (comment, above) = (String::new(), String::new());
            }
            continue;
        };
        let said = if comment.is_empty() { above.clone() } else { std::mem::take(&mut comment) };
        above.clone_from(&said);
        let words: Vec<&str> = kind.split(|c: char| !c.is_alphanumeric()).collect();
        if words.iter().any(|w| NUMBERS.contains(w)) {
            let value = value.trim().trim_end_matches(';').to_owned();
            found.push(Constant { line: k + 1, name: name.to_owned(), kind: kind.to_owned(), value, comment: said });
        }
    }
    found
}

/// A function of a file, and how many lines it has from its name to its last brace, comments and empty lines not counted.
pub struct Function {
    /// Name.
    pub name: String,
    /// Length, lines.
    pub lines: usize,
}

/// Every function of a piece of formatted code that has a body of several lines, those within others too.
pub fn functions(code: &str) -> Vec<Function> {
    let lines: Vec<&str> = code.lines().filter(|l| !l.trim().is_empty() && !l.trim_start().starts_with("//")).collect();
    let mut found = Vec::new();
    for (k, line) in lines.iter().enumerate() {
        let start = line.trim_start();
        let indent = &line[..line.len() - start.len()];
        let Some(name) = named(start) else { continue };
        // The formatter puts the last brace below the first letter; what ends otherwise has no body, or one on its own line.
        let end = lines[k..].iter().position(|l| {
            let own = l.strip_prefix(indent).is_some_and(|rest| !rest.starts_with(' '));
            own && (l.ends_with(';') || l.ends_with('}'))
        });
        if let Some(more) = end.filter(|more| lines[k + more].trim_start() == "}") {
            found.push(Function { name: name.to_owned(), lines: more + 1 });
        }
    }
    found
}

/// The name of the function that a line begins.
fn named(line: &str) -> Option<&str> {
    const BEFORE: &[&str] = &["const", "unsafe", "async", "default"];
    let (before, after) = line.split_once("fn ")?;
    let words = before.split_whitespace().filter(|w| !w.starts_with("pub") && !w.ends_with(')'));
    let declares = words.clone().all(|w| BEFORE.contains(&w)) && (before.is_empty() || before.ends_with(' '));
    declares.then(|| after.split(|c: char| !c.is_alphanumeric() && c != '_').next().unwrap_or(""))
}
