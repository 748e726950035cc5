//! Frames into a folder as links, copies or moves; what is to be done is written down first, so that it can be undone.
//!
//! A frame goes with what belongs to it: its twins in the same folder, and their sidecars.

use std::fs::{self, File};
use std::io;
use std::path::{Path, PathBuf};

use anyhow::{Context as _, bail};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::place::to_carry;
use super::report::{Frame, Report};
use super::{Carry, How, cannot};
use crate::commands::Outcome;
use crate::intake::{self, looks_like_photograph, sidecar_names, stem};
use crate::output;
use crate::quantity::{plain, shown};

/// `tussock.undo`, version 1: what was done, for undoing it.
#[derive(Debug, Serialize, Deserialize, JsonSchema)]
pub(crate) struct Undo {
    /// Always `tussock.undo`.
    format: String,
    /// Version of this format.
    version: u32,
    /// What was done to each file.
    how: How,
    /// The files, in the order in which they were carried.
    steps: Vec<Step>,
}

/// One file.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
struct Step {
    /// Where it was.
    from: String,
    /// Where it, its copy or the link to it was put.
    to: String,
}

/// `tussock.undone`, version 1: what `tussock keepers --undo --json` prints.
#[derive(Debug, Serialize, JsonSchema)]
pub(crate) struct UndoneView {
    /// Always `tussock.undone`.
    format: &'static str,
    /// Version of this format.
    version: u32,
    /// Files that were taken back, the last first.
    undone: Vec<Step>,
    /// Files that were left where they are, since something has changed.
    left: Vec<LeftView>,
}

/// A file that was not taken back.
#[derive(Debug, Serialize, JsonSchema)]
struct LeftView {
    /// Where it was put.
    file: String,
    /// Why it is left there, a clause.
    problem: String,
}

/// Carries files of a report into a folder; the number of those that could not be carried comes back.
pub(super) fn carry(frames: &[&Frame], report: &Report, to: &Carry) -> anyhow::Result<usize> {
    let mut failed = 0;
    let mut fail = |text: String| {
        output::say(&format!("tussock: {text}"));
        failed += 1;
    };
    fs::create_dir_all(&to.folder).with_context(|| format!("cannot make the folder {}", shown(&to.folder)))?;
    let folder = to.folder.canonicalize().with_context(|| format!("cannot find {}", shown(&to.folder)))?;
    let mut steps: Vec<Step> = Vec::new();
    for frame in frames {
        match to_carry(frame, report) {
            Err(why) => fail(format!("{}: {why}", plain(frame.path()))),
            Ok(path) if to.how == How::Move && path.is_symlink() => {
                fail(format!("{}: it is a link and is not moved; move what it leads to", shown(&path)));
            }
            Ok(path) => steps.extend(planned(&path, &folder, to.how, &steps)),
        }
    }
    let already = steps.iter().filter(|s| same(s, to.how)).count();
    steps.retain(|s| !same(s, to.how));
    if !steps.is_empty() {
        let list = write_down(&folder, to.how, &steps)?;
        let mut done = 0;
        for step in &steps {
            match one(to.how, Path::new(&step.from), Path::new(&step.to)) {
                Ok(()) => done += 1,
                Err(e) => fail(cannot(verb(to.how), Path::new(&step.from), &e)),
            }
        }
        output::say(&format!(
            "{} {} into {}; `tussock keepers --undo {}` takes that back",
            past(to.how),
            files(done),
            shown(&folder),
            shown(&list)
        ));
    }
    if already > 0 {
        output::say(&format!(
            "{} there already",
            if already == 1 { "1 file was".into() } else { format!("{already} files were") }
        ));
    }
    Ok(failed)
}

fn files(count: usize) -> String {
    format!("{count} file{}", if count == 1 { "" } else { "s" })
}

const fn verb(how: How) -> &'static str {
    match how {
        How::Link => "link to",
        How::Copy => "copy",
        How::Move => "move",
    }
}

const fn past(how: How) -> &'static str {
    match how {
        How::Link => "Linked",
        How::Copy => "Copied",
        How::Move => "Moved",
    }
}

/// Where a frame and what belongs to it go: under their own names, or with a number behind the stem where one is taken.
fn planned(path: &Path, folder: &Path, how: How, before: &[Step]) -> Vec<Step> {
    let stem = intake::bare(path);
    let files: Vec<PathBuf> = std::iter::once(path.to_owned()).chain(belonging(path)).collect();
    // Two frames of one stem share what belongs to both.
    let files: Vec<&str> =
        files.iter().filter_map(|p| p.to_str()).filter(|p| before.iter().all(|s| s.from != *p)).collect();
    let mut number = 1;
    loop {
        let behind = if number == 1 { String::new() } else { format!("-{number}") };
        let steps: Vec<Step> = files
            .iter()
            .map(|from| {
                let name = Path::new(from).file_name().unwrap_or_default().to_string_lossy().into_owned();
                let ending = name.get(stem.len()..).unwrap_or("");
                let to = folder.join(format!("{}{behind}{ending}", name.get(..stem.len()).unwrap_or(&stem)));
                Step { from: (*from).to_owned(), to: to.to_string_lossy().into_owned() }
            })
            .collect();
        let free = |s: &Step| fs::symlink_metadata(&s.to).is_err() && before.iter().all(|b| b.to != s.to);
        if steps.iter().all(|s| free(s) || same(s, how)) || number > 10_000 {
            return steps;
        }
        number += 1;
    }
}

/// The twins of a frame in its folder (as the audit finds them) and the sidecars of all.
fn belonging(path: &Path) -> Vec<PathBuf> {
    let folder = path.parent().unwrap_or(Path::new("."));
    let mut photographs: Vec<PathBuf> =
        fs::read_dir(folder).into_iter().flatten().flatten().map(|e| e.path()).collect();
    photographs.retain(|p| looks_like_photograph(p) && p.file_name() != path.file_name());
    photographs.sort();
    let twins = intake::twins(path, &photographs);
    let mut sidecars = Vec::new();
    let [_, short] = sidecar_names(path);
    for file in std::iter::once(path).chain(twins.iter().map(PathBuf::as_path)) {
        let [full, _] = sidecar_names(file);
        sidecars.extend(full);
    }
    // The short name means this frame only where no other photograph has the stem.
    if photographs.iter().all(|p| stem(p) != stem(path) || twins.contains(p)) {
        sidecars.extend(short);
    }
    sidecars.retain(|s| fs::symlink_metadata(s).is_ok_and(|m| m.is_file()));
    let mut seen: Vec<PathBuf> = Vec::new();
    // One file may answer to both spellings.
    for file in twins.into_iter().chain(sidecars) {
        let real = file.canonicalize().unwrap_or_else(|_| file.clone());
        if seen.iter().all(|s| s.canonicalize().ok().as_ref() != Some(&real)) {
            seen.push(file);
        }
    }
    seen
}

/// Whether a step was done before: the link leads there, the copy is the same.
fn same(step: &Step, how: How) -> bool {
    let (from, to) = (Path::new(&step.from), Path::new(&step.to));
    match how {
        How::Link => fs::read_link(to).is_ok_and(|l| l == from),
        How::Copy => fs::symlink_metadata(to).is_ok_and(|m| m.is_file()) && alike(from, to),
        How::Move => from == to,
    }
}

fn alike(a: &Path, b: &Path) -> bool {
    let digest = |path: &Path| {
        let mut hasher = blake3::Hasher::new();
        hasher.update_reader(File::open(path).ok()?).ok()?;
        Some(hasher.finalize())
    };
    let len = |p: &Path| fs::metadata(p).ok().map(|m| m.len());
    len(a).is_some() && len(a) == len(b) && digest(a).is_some_and(|d| Some(d) == digest(b))
}

/// Writes the list down before anything is done.
fn write_down(folder: &Path, how: How, steps: &[Step]) -> anyhow::Result<PathBuf> {
    let undo = Undo { format: "tussock.undo".into(), version: 1, how, steps: steps.to_vec() };
    let text = output::json(&undo)?;
    for number in 1..10_000 {
        let path = folder.join(format!("tussock-undo-{number}.json"));
        if fs::symlink_metadata(&path).is_err() {
            output::write(&path, text.as_bytes(), false)?;
            return Ok(path);
        }
    }
    bail!("{} holds too many undo lists", shown(folder))
}

fn one(how: How, from: &Path, to: &Path) -> io::Result<()> {
    match how {
        How::Link => link(from, to),
        How::Copy => copy(from, to),
        How::Move => move_file(from, to),
    }
}

#[cfg(unix)]
fn link(from: &Path, to: &Path) -> io::Result<()> {
    std::os::unix::fs::symlink(from, to)
}

#[cfg(windows)]
fn link(from: &Path, to: &Path) -> io::Result<()> {
    std::os::windows::fs::symlink_file(from, to)
}

/// Copies a file with its time and permissions to a place where nothing is.
fn copy(from: &Path, to: &Path) -> io::Result<()> {
    let mut source = File::open(from)?;
    let facts = source.metadata()?;
    let mut target = File::options().write(true).create_new(true).open(to)?;
    let copied = io::copy(&mut source, &mut target).and_then(|_| {
        // What a file system can't keep, such as permissions on a card, is no harm.
        let _ = target.set_permissions(facts.permissions());
        if let Ok(time) = facts.modified() {
            let _ = target.set_modified(time);
        }
        target.sync_all()
    });
    if copied.is_err() {
        let _ = fs::remove_file(to);
    }
    copied
}

/// Moves a file to a place where nothing is, also onto another disk.
fn move_file(from: &Path, to: &Path) -> io::Result<()> {
    moved(from, to, |path| fs::remove_file(path))
}

/// The same, by what removes a file. Where the file can't go from its old place it doesn't stay in the new one either: of two
/// names of one frame nothing could be taken back.
fn moved(from: &Path, to: &Path, remove: impl Fn(&Path) -> io::Result<()>) -> io::Result<()> {
    let remove = || {
        remove(from).inspect_err(|_| {
            if alike(from, to) {
                let _ = fs::remove_file(to);
            }
        })
    };
    // A second name fails where something is, which renaming doesn't.
    match fs::hard_link(from, to) {
        Ok(()) => return remove(),
        Err(e) if e.kind() == io::ErrorKind::AlreadyExists => return Err(e),
        Err(e) if e.kind() == io::ErrorKind::CrossesDevices => {}
        Err(_) if fs::symlink_metadata(to).is_err() => match fs::rename(from, to) {
            Err(e) if e.kind() == io::ErrorKind::CrossesDevices => {}
            done => return done,
        },
        Err(e) => return Err(e),
    }
    copy(from, to)?;
    if !alike(from, to) {
        let _ = fs::remove_file(to);
        return Err(io::Error::other("the copy differs"));
    }
    remove()
}

/// Takes back what a list says was done; what has changed since is left alone and named; `json`: in JSON, too.
///
/// # Errors
/// Where the list can't be read.
pub(crate) fn undo(list: &Path, json: bool) -> anyhow::Result<Outcome> {
    let no_list = || format!("{} is not an undo list of tussock's", shown(list));
    let text = intake::read_text(list).map_err(output::refused)?;
    let undo: Undo = serde_json::from_str(&text).ok().with_context(no_list)?;
    if undo.format != "tussock.undo" || undo.version != 1 {
        bail!(no_list());
    }
    let mut view = UndoneView { format: "tussock.undone", version: 1, undone: Vec::new(), left: Vec::new() };
    for step in undo.steps.iter().rev() {
        match take_back(undo.how, Path::new(&step.from), Path::new(&step.to)) {
            Ok(true) => view.undone.push(step.clone()),
            Ok(false) => {}
            Err(problem) => {
                output::say(&format!("tussock: {problem}"));
                view.left.push(LeftView { file: step.to.clone(), problem });
            }
        }
    }
    if json {
        output::print_json(&output::json(&view)?);
    } else {
        output::say(&format!("Took back {}", files(view.undone.len())));
    }
    if view.left.is_empty() {
        fs::remove_file(list).with_context(|| format!("cannot remove {}", shown(list)))?;
        // The folder stays where it holds anything else.
        let _ = list.parent().map(fs::remove_dir);
    }
    Ok(if view.left.is_empty() { Outcome::Done } else { Outcome::Partly })
}

/// Takes one step back; `false` where it was never done.
fn take_back(how: How, from: &Path, to: &Path) -> Result<bool, String> {
    if fs::symlink_metadata(to).is_err() {
        return match (how, fs::symlink_metadata(from).is_ok()) {
            (How::Move, false) => Err(format!("{} is not there any more", shown(to))),
            _ => Ok(false),
        };
    }
    let remove = || fs::remove_file(to).map(|()| true).map_err(|e| cannot("remove", to, &e));
    match how {
        How::Link if fs::read_link(to).is_ok_and(|l| l == from) => remove(),
        How::Copy if alike(from, to) => remove(),
        How::Link | How::Copy => Err(format!("{} is not what was put there any more, and is left alone", shown(to))),
        How::Move if fs::symlink_metadata(from).is_ok() => {
            Err(format!("something is at {} again; {} stays where it is", shown(from), shown(to)))
        }
        How::Move => move_file(to, from).map(|()| true).map_err(|e| cannot("move back", to, &e)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_cannot_go_from_its_place_stays_there_alone() {
        let folder = tempfile::tempdir().unwrap();
        let (from, to) = (folder.path().join("a.jpg"), folder.path().join("b.jpg"));
        fs::write(&from, "a frame").unwrap();
        let refused = moved(&from, &to, |_| Err(io::ErrorKind::PermissionDenied.into())).unwrap_err();
        assert_eq!(refused.kind(), io::ErrorKind::PermissionDenied);
        assert!(fs::read(&from).unwrap() == b"a frame" && !to.exists());
        // What is gone already is not lost twice.
        let vanished = |path: &Path| fs::remove_file(path).and_then(|()| Err(io::ErrorKind::NotFound.into()));
        assert!(moved(&from, &to, vanished).is_err() && to.exists());
        move_file(&to, &from).unwrap();
        moved(&from, &to, |path| fs::remove_file(path)).unwrap();
        assert!(!from.exists() && fs::read(&to).unwrap() == b"a frame");
    }
}
