//! Which tuned constants matter: `cargo run --example constants_sensitivity -- [ROOM...] [--read DIR] [--scenes N] [--only
//! TEXT]` varies each by a fifth, down and up, one at a time, and says how many answers change on the judging sets
//! (docs/trials.md, which constants matter most).
//!
//! Constants stay constants in the program: a copy of the source is made in which each of them is a function that asks for
//! a factor (see `rewrite`), built once, and judged there (see `judge`). Rooms that have a judging set are `diagnose`,
//! `judge`, `lens` and `measure`; without any named the first two are varied. DIR is a folder of photographs with readings by
//! eye, as `reading_accuracy` has it; N is how many random scenes there are (100; half as many hard cases besides); TEXT is
//! part of the names of those that are varied.
#![allow(clippy::print_stdout, missing_docs)] // A program whose purpose is to print.

#[allow(dead_code)] // It runs in the copy, and is built here so that it keeps up with the crate.
mod judge;
mod rewrite;

use std::path::{Path, PathBuf};
use std::process::Command;
use std::{env, fs};

use anyhow::Context as _;

fn main() -> anyhow::Result<()> {
    let words: Vec<String> = env::args().skip(1).collect();
    let (mut rooms, mut read, mut scenes, mut only, mut words) = (Vec::new(), None, None, None, words.into_iter());
    while let Some(word) = words.next() {
        match word.as_str() {
            "--read" => read = Some(fs::canonicalize(words.next().context("--read takes a folder")?)?),
            "--scenes" => scenes = Some(words.next().context("--scenes takes a number")?),
            "--only" => only = Some(words.next().context("--only takes part of a name")?),
            _ => rooms.push(word),
        }
    }
    if rooms.is_empty() {
        rooms = vec!["diagnose".into(), "judge".into()];
    }
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let target = env::var_os("CARGO_TARGET_DIR").map_or_else(|| root.join("target"), PathBuf::from);
    let copy = target.join("varied");
    let varied = rewrite::copy(root, &copy, &rooms)?;
    eprintln_count(varied.len());
    let mut command = Command::new(env::var_os("CARGO").unwrap_or_else(|| "cargo".into()));
    // A folder of its own: beside the package's, cargo would take what is built of the copy for the package.
    command.current_dir(&copy).env("CARGO_TARGET_DIR", copy.join("target")).env("CARGO_PROFILE_DEV_OPT_LEVEL", "3");
    command.args(["run", "--quiet", "--example", "varied", "--"]).args(rooms);
    command.args(scenes.iter().flat_map(|n| ["--scenes", n.as_str()]));
    command.args(only.iter().flat_map(|t| ["--only", t.as_str()]));
    let status = command.args(read.iter().flat_map(|d| [Path::new("--read"), d.as_path()])).status()?;
    anyhow::ensure!(status.success(), "the varied copy in {} could not be judged", copy.display());
    Ok(())
}

#[allow(clippy::print_stderr)] // A progress line, so that what is printed stays a table.
fn eprintln_count(count: usize) {
    eprintln!("{count} numbers to vary; building the copy in which they can be");
}
