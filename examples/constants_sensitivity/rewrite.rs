//! Makes a copy of the crate in which named numeric constants are functions that ask for a factor.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use anyhow::Context as _;

#[path = "../../tests/support/source.rs"]
mod source;

use source::{Constant, Source, constants, sources};

/// What the copy needs of the repository beside `src`.
const NEEDED: &[&str] = &[
    "Cargo.toml",
    "Cargo.lock",
    "build.rs",
    "README.md",
    "notices.txt",
    "LICENSE-MIT",
    "LICENSE-APACHE",
    "schemas",
    "benches",
    "fixtures",
    "tests/support",
    "examples/constants_sensitivity",
];

/// Files whose constants lay out tables and loops, are checked against closed forms, or have no part in what the sets judge
/// (pairs of frames, registration, slanted edges): varying them shows nothing.
const LEFT_OUT: &[&str] = &[
    "diagnose/surface.rs",
    "measure/esfr",
    "measure/gaussian_edge.rs",
    "measure/pair",
    "measure/register",
    "measure/spectrum.rs",
    "measure/width/network.rs",
    "measure/width/patch.rs",
    "measure/width/shape.rs",
];

/// A constant to vary.
struct Varied<'a> {
    source: &'a Source,
    constant: Constant,
    /// One number a part; its place among all numbers varied.
    parts: Vec<usize>,
}

/// Writes the copy; the names of the numbers that can be varied in it, in the order of their places.
pub fn copy(root: &Path, copy: &Path, rooms: &[String]) -> anyhow::Result<Vec<String>> {
    // Files of an earlier copy that have moved since would be modules twice.
    let earlier = copy.join("src");
    if earlier.exists() {
        std::fs::remove_dir_all(&earlier).context("clearing the earlier copy")?;
    }
    for name in NEEDED {
        copied(&root.join(name), &copy.join(name)).with_context(|| format!("copying {name}"))?;
    }
    let all = sources();
    let (mut names, mut varied) = (Vec::new(), Vec::new());
    for source in all.iter().filter(|s| rooms.contains(&s.room())) {
        let path = source.path.to_string_lossy().into_owned();
        if LEFT_OUT.iter().any(|l| path.starts_with(l)) {
            continue;
        }
        for constant in constants(&source.text) {
            let Some(kinds) = numbers(&constant) else { continue };
            if !free(&constant, source, &all) {
                continue;
            }
            let many = kinds.len() > 1;
            let parts = (0..kinds.len()).map(|k| names.len() + k).collect();
            let part = |k: usize| if many { format!(".{k}") } else { String::new() };
            names.extend((0..kinds.len()).map(|k| format!("{path} {}{}", constant.name, part(k))));
            varied.push(Varied { source, constant, parts });
        }
    }
    let priors = names.len();
    if rooms.iter().any(|r| r == "diagnose") {
        names.extend(tussock::diagnose::PARAMETERS.iter().flat_map(|row| {
            [("spread", row.parameter), ("mean", row.parameter)].map(|(what, p)| format!("prior of {p:?}, {what}"))
        }));
    }
    for source in &all {
        let text = rewritten(source, &varied, &all);
        let text = if source.path.ends_with("diagnose/priors.rs") { with_priors(&text, priors)? } else { text };
        let text =
            if source.path.ends_with("lib.rs") { format!("#![allow(warnings)]\n{text}\n{VARIED}") } else { text };
        written(&copy.join("src").join(&source.path), &text)?;
    }
    // What is no module, and modules of tests, are copied as they are.
    copied_missing(&root.join("src"), &copy.join("src"))?;
    written(&copy.join("names.txt"), &names.join("\n"))?;
    written(&copy.join("examples/varied.rs"), DRIVER)?;
    Ok(names)
}

/// Added to the copy's `lib.rs`.
const VARIED: &str = r#"
#[doc(hidden)]
#[allow(missing_docs)]
pub mod varied {
    use std::sync::atomic::{AtomicU64, AtomicUsize, Ordering::Relaxed};
    static WHICH: AtomicUsize = AtomicUsize::new(usize::MAX);
    static FACTOR: AtomicU64 = AtomicU64::new(0);
    pub fn set(which: usize, factor: f64) {
        FACTOR.store(factor.to_bits(), Relaxed);
        WHICH.store(which, Relaxed);
    }
    pub fn factor(which: usize) -> f64 {
        if WHICH.load(Relaxed) == which { f64::from_bits(FACTOR.load(Relaxed)) } else { 1.0 }
    }
    pub trait Vary {
        fn by(self, which: usize) -> Self;
    }
    impl Vary for f64 {
        fn by(self, which: usize) -> Self {
            self * factor(which)
        }
    }
    impl Vary for f32 {
        fn by(self, which: usize) -> Self {
            self * factor(which) as f32
        }
    }
    macro_rules! whole {
        ($($kind:ty),*) => {$(
            impl Vary for $kind {
                fn by(self, which: usize) -> Self {
                    let factor = factor(which);
                    let moved = (self as f64 * factor).round() as $kind;
                    if moved != self || factor == 1.0 { moved } else if factor > 1.0 { self + 1 } else { self - 1 }
                }
            }
        )*};
    }
    whole!(usize, u32, i32);
}
"#;

/// The copy's program.
const DRIVER: &str = r#"//! Judges the copy.
#![allow(missing_docs, dead_code)]
#[path = "constants_sensitivity/judge.rs"]
mod judge;
fn main() -> anyhow::Result<()> {
    judge::run(include_str!("../names.txt"), &tussock::varied::set, &std::env::args().skip(1).collect::<Vec<_>>())
}
"#;

/// The kinds of a constant's numbers, where it is one number or a tuple of them.
fn numbers(constant: &Constant) -> Option<Vec<String>> {
    let kinds = constant.kind.trim_start_matches('(').trim_end_matches(')').split(',').map(|k| k.trim().to_owned());
    let kinds: Vec<String> = kinds.filter(|k| !k.is_empty()).collect();
    let known = kinds.iter().all(|k| matches!(k.as_str(), "f64" | "f32" | "usize" | "u32" | "i32"));
    (known && constant.value.contains(|c: char| c.is_ascii_digit())).then_some(kinds)
}

/// Whether a constant may become a function: it stands on one line, and nowhere that a constant must, such as the length of
/// an array, a range of a constant or a static.
fn free(constant: &Constant, source: &Source, all: &[Source]) -> bool {
    let name = &constant.name;
    let declared = |s: &Source| constants(&s.text).iter().filter(|c| c.name == *name).count();
    let fixed = |line: &str| {
        let is_whole = constant.kind.contains('u') || constant.kind.contains('i');
        line.trim_start().starts_with("static ")
            || line.contains("const fn")
            || after_semicolon(line, name)
            || line.contains(&format!("{name}.."))
            || line.contains(&format!("..={name}"))
            || is_whole && line.contains("const ") && !line.contains(&format!("const {name}: "))
    };
    let clear = |s: &Source| s.code.lines().filter(|line| word_in(line, name)).all(|line| !fixed(line));
    let one_line = source.text.lines().any(|l| l.contains(&format!("const {name}: ")) && l.ends_with(';'));
    let inner = source.text.contains(&format!("  const {name}: "));
    one_line
        && !inner
        && declared(source) == 1
        && all.iter().filter(|s| s.path == source.path || declared(s) == 0).all(clear)
}

/// Whether a name stands behind a semicolon within brackets: the length of an array.
fn after_semicolon(line: &str, name: &str) -> bool {
    line.match_indices("; ").any(|(k, _)| {
        let rest = &line[k + 2..];
        rest.find(']').is_some_and(|end| word_in(&rest[..end], name))
    })
}

/// Whether a file names something that it doesn't declare.
fn uses(source: &Source, name: &str) -> bool {
    word_in(&source.code, name)
}

fn word_in(text: &str, name: &str) -> bool {
    places(text, name).next().is_some()
}

/// Where a name stands as a word of its own.
fn places<'a>(text: &'a str, name: &'a str) -> impl Iterator<Item = usize> + 'a {
    let part = |c: char| c.is_alphanumeric() || c == '_';
    text.match_indices(name)
        .map(|(k, _)| k)
        .filter(move |&k| !text[..k].ends_with(part) && !text[k + name.len()..].starts_with(part))
}

/// A file with its constants turned into functions, and what it uses of others' called.
fn rewritten(source: &Source, varied: &[Varied<'_>], all: &[Source]) -> String {
    let own: BTreeMap<&str, &Varied<'_>> =
        varied.iter().filter(|v| v.source.path == source.path).map(|v| (v.constant.name.as_str(), v)).collect();
    let declared: Vec<String> = constants(&source.text).into_iter().map(|c| c.name).collect();
    let others: Vec<&Varied<'_>> = varied
        .iter()
        .filter(|v| v.source.path != source.path && !declared.contains(&v.constant.name))
        .filter(|v| uses(source, &v.constant.name) && reaches(source, v, all))
        .collect();
    let mut out = String::new();
    let mut within_use = false;
    // Unit tests are not built in the copy, so they need not be rewritten.
    let (code, tests) = source.text.split_at(source.text.find("#[cfg(test)]\nmod ").unwrap_or(source.text.len()));
    for line in code.lines() {
        let trimmed = line.trim_start();
        within_use |=
            trimmed.starts_with("use ") || trimmed.starts_with("pub use ") || trimmed.starts_with("pub(super) use ");
        let mut line = line.to_owned();
        if !within_use && !trimmed.starts_with("//") {
            let here = own.iter().find(|(n, _)| line.contains(&format!("const {n}: "))).map(|(n, v)| (*n, *v));
            for name in own.keys().copied().chain(others.iter().map(|v| v.constant.name.as_str())) {
                if here.is_none_or(|(n, _)| n != name) {
                    line = called(&line, name);
                }
            }
            if let Some((name, v)) = here {
                line = as_function(&line, name, v);
            }
        }
        if within_use && line.trim_end().ends_with(';') {
            within_use = false;
        }
        out.push_str(&line);
        out.push('\n');
    }
    out + tests
}

/// Whether a name in a file is that of another's constant: named through its module, by a `use` or in place, or through the
/// room that hands it on.
fn reaches(source: &Source, varied: &Varied<'_>, all: &[Source]) -> bool {
    let name = &varied.constant.name;
    let declares = |s: &Source, how: &str| s.text.contains(&format!("{how}const {name}: "));
    let public = varied.source.text.lines().any(|l| l.starts_with("pub") && l.contains(&format!("const {name}: ")));
    let below = source.module().starts_with(&varied.source.module());
    if !(public || below) || declares(source, " ") {
        return false;
    }
    let room = varied.source.room();
    let handed_on = all.iter().any(|s| s.path.ends_with("mod.rs") && s.room() == room && word_in(&s.code, name));
    let stem = varied.source.module().last().cloned().unwrap_or_default();
    let through = |path: &str| path.contains(&format!("{stem}::")) || handed_on && path.contains(&format!("{room}::"));
    let imported = source.code.split(';').any(|s| s.contains("use ") && word_in(s, name) && through(s));
    let in_place = [&stem, &room]
        .iter()
        .enumerate()
        .any(|(k, m)| (k == 0 || handed_on) && source.code.contains(&format!("{m}::{name}")));
    below || imported || in_place
}

/// A line with every mention of a name called.
fn called(line: &str, name: &str) -> String {
    let mut out = line.to_owned();
    let found: Vec<usize> = places(line, name).collect();
    for k in found.into_iter().rev() {
        out.insert_str(k + name.len(), "()");
    }
    out
}

/// `const NAME: T = V;` as a function.
fn as_function(line: &str, name: &str, v: &Varied<'_>) -> String {
    let head = line[..line.find("const ").unwrap_or(0)].to_owned();
    let value = line.split_once(" = ").map_or("", |(_, v)| v.trim_end_matches(';'));
    let (kind, many) = (&v.constant.kind, v.parts.len() > 1);
    let parts: Vec<String> = v
        .parts
        .iter()
        .enumerate()
        .map(|(k, place)| {
            format!("crate::varied::Vary::by({}, {place})", if many { format!("v.{k}") } else { "v".into() })
        })
        .collect();
    let made = if many { format!("({})", parts.join(", ")) } else { parts.concat() };
    format!(
        "#[allow(non_snake_case, missing_docs)] #[inline] {head}fn {name}() -> {kind} {{ let v: {kind} = {value}; {made} }}"
    )
}

/// The table's priors varied where a frame takes them: the spread by the factor, the mean by as much of the spread, since many
/// a mean is nought.
fn with_priors(text: &str, first: usize) -> anyhow::Result<String> {
    let (all, one) = ("|row| row.prior", ".row().prior");
    anyhow::ensure!(text.contains(all) && text.contains(one), "priors are no longer taken by `{all}` and `{one}`");
    let text = text.replace(all, "|row| row.varied()").replace(one, ".row().varied()");
    let varied = format!(
        "impl super::parameters::Row {{ fn varied(&self) -> Belief {{ \
         let (k, p) = ({first} + 2 * self.parameter as usize, self.prior); \
         let (f, by) = (crate::varied::factor(k), crate::varied::factor(k + 1) - 1.0); \
         Belief {{ mean: p.mean + by * p.above, below: f * p.below, above: f * p.above }} }} }}\n"
    );
    Ok(text + &varied)
}

fn written(path: &Path, text: &str) -> anyhow::Result<()> {
    fs::create_dir_all(path.parent().context("a file lies in a folder")?)?;
    // What has not changed keeps its time, so that it isn't built again.
    if fs::read_to_string(path).is_ok_and(|old| old == text) {
        return Ok(());
    }
    Ok(fs::write(path, text)?)
}

fn copied(from: &Path, to: &Path) -> anyhow::Result<()> {
    if from.is_dir() {
        for entry in fs::read_dir(from)? {
            let entry = entry?;
            copied(&entry.path(), &to.join(entry.file_name()))?;
        }
        return Ok(());
    }
    let bytes = fs::read(from)?;
    if fs::read(to).is_ok_and(|old| old == bytes) {
        return Ok(());
    }
    fs::create_dir_all(to.parent().context("a file lies in a folder")?)?;
    Ok(fs::write(to, bytes)?)
}

/// Copies what the copy lacks.
fn copied_missing(from: &Path, to: &Path) -> anyhow::Result<()> {
    for entry in fs::read_dir(from)? {
        let entry = entry?;
        let (path, to) = (entry.path(), to.join(entry.file_name()));
        if path.is_dir() {
            copied_missing(&path, &to)?;
        } else if path.extension().is_none_or(|e| e != "rs") || path.ends_with("tests.rs") {
            copied(&path, &to)?;
        }
    }
    Ok(())
}
