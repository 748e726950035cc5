//! XMP sidecars of an audit: which file is whose, what is merged into it, and what is left alone.

use std::collections::HashMap;
use std::ffi::OsString;
use std::fs;
use std::path::{Path, PathBuf};

use crate::intake::{is_raw, looks_like_photograph, sidecar_names, stem};
use crate::output::{self, beside};
use crate::quantity::shown;
use crate::report::{FrameView, View};
use crate::sidecar::{self, Change, Merged, Rating, Wanted};

/// Writing of sidecars as meant.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Sidecars {
    /// Only say what would be written.
    pub dry_run: bool,
    /// Whether to give stars, and to which sidecars.
    pub rate: Option<Rate>,
}

/// Which ratings may be given.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Rate {
    /// Only where there is none, or one of ours.
    Unrated,
    /// All, the user's own too.
    All,
}

/// Longest sidecar that is merged, bytes.
const MOST: u64 = 16 << 20;

/// How many came to what.
#[derive(Default)]
struct Tally {
    new: usize,
    changed: usize,
    same: usize,
    kept_ratings: usize,
}

/// Writes the sidecars of a report's frames, which were read from these paths, one each in their order; says by `tell` what was done. The number
/// of those that had to be left alone comes back.
pub(crate) fn write(asked: Sidecars, paths: &[PathBuf], view: &View, tell: fn(&str)) -> usize {
    let mut folders = Neighbours::default();
    let mut tally = Tally::default();
    let mut failed = 0;
    for (i, (path, frame)) in paths.iter().zip(&view.frames).enumerate() {
        let best = view.groups.iter().any(|g| g.best == Some(i));
        let mut wanted = sidecar::wanted(frame, &view.asked.sharp_for, best);
        wanted.rating = asked.rate.map(|rate| Rating { stars: stars(frame, best), replaces: rate == Rate::All });
        let place = place(path, folders.of(path));
        if let Err(why) = one((asked, tell), path, &place, &wanted, &mut tally) {
            output::say(&format!("tussock: {}", output::in_words(&why)));
            failed += 1;
        }
    }
    tell(&closing(asked, &tally, failed));
    failed
}

/// Stars of a frame: 1 where it isn't sharp from near to far, 2 where that can't be told, 3 where it is, 4 where it is and is
/// also the one to keep of its scene.
fn stars(frame: &FrameView, best: bool) -> u8 {
    match (frame.sharp.throughout, best) {
        (Some(false), _) => 1,
        (None, _) => 2,
        (Some(true), false) => 3,
        (Some(true), true) => 4,
    }
}

fn one(
    (asked, tell): (Sidecars, fn(&str)),
    path: &Path,
    place: &Path,
    wanted: &Wanted,
    tally: &mut Tally,
) -> anyhow::Result<()> {
    let existing = existing(place)?;
    let alone = |why: sidecar::Refused| anyhow::anyhow!("{} is left alone: {why}", shown(place));
    let (bytes, change) = match &existing {
        None => sidecar::new(wanted).map_err(alone)?,
        Some(old) => match sidecar::merge(old, wanted).map_err(alone)? {
            Merged::Same { rating_kept } => {
                tally.same += 1;
                tally.kept_ratings += usize::from(rating_kept.is_some());
                return Ok(());
            }
            Merged::Changed { bytes, change } => (bytes, change),
        },
    };
    if asked.dry_run {
        tell(&told(place, existing.is_some(), &change));
    } else {
        beside::put(place, existing.as_deref(), &bytes, path)?;
    }
    tally.kept_ratings += usize::from(change.rating_kept.is_some());
    *(if existing.is_some() { &mut tally.changed } else { &mut tally.new }) += 1;
    Ok(())
}

/// What a sidecar holds; `None` where there is none.
fn existing(place: &Path) -> anyhow::Result<Option<Vec<u8>>> {
    let alone = |why: &str| anyhow::anyhow!("{} is left alone: {why}", shown(place));
    let Ok(found) = fs::symlink_metadata(place) else { return Ok(None) };
    if found.file_type().is_symlink() {
        return Err(alone("it is a link, which is not followed"));
    }
    if !found.is_file() {
        return Err(alone("it is not a file"));
    }
    if found.len() > MOST {
        return Err(alone("it is far larger than a sidecar"));
    }
    if found.permissions().readonly() {
        return Err(alone("it may only be read"));
    }
    fs::read(place).map(Some).map_err(|e| alone(output::reason(&e)))
}

/// What would be done to a sidecar, in a line.
fn told(place: &Path, exists: bool, change: &Change) -> String {
    let mut parts = Vec::new();
    if !change.put_in.is_empty() {
        parts.push(format!("+ {}", change.put_in.join(", ")));
    }
    if !change.taken_out.is_empty() {
        parts.push(format!("- {}", change.taken_out.join(", ")));
    }
    if change.properties > 0 {
        parts.push(format!("{} numbers and words", change.properties));
    }
    match (&change.rating, &change.rating_kept) {
        (Some((Some(was), now)), _) => parts.push(format!("rating {was} to {now}")),
        (Some((None, now)), _) => parts.push(format!("rating {now}")),
        (None, Some(kept)) => parts.push(format!("rating {kept} stays")),
        (None, None) => {}
    }
    format!("would {} {}: {}", if exists { "change" } else { "write" }, shown(place), parts.join("; "))
}

fn closing(asked: Sidecars, tally: &Tally, failed: usize) -> String {
    let would = if asked.dry_run { "would be " } else { "" };
    let mut text = format!(
        "Sidecars: {} {would}written, {} {would}changed, {} already as they should be",
        tally.new, tally.changed, tally.same
    );
    if failed > 0 {
        text.push_str(&format!(", {failed} left alone"));
    }
    if tally.kept_ratings > 0 {
        text.push_str(&format!("; {} kept their own rating", tally.kept_ratings));
    }
    text + "."
}

/// Names of the photographs of each folder, looked up once.
#[derive(Default)]
struct Neighbours(HashMap<PathBuf, Vec<OsString>>);

impl Neighbours {
    fn of(&mut self, path: &Path) -> &[OsString] {
        let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new(".")).to_owned();
        self.0.entry(folder).or_insert_with_key(|folder| {
            let names = fs::read_dir(folder).into_iter().flatten().flatten().map(|e| e.file_name());
            names.filter(|n| looks_like_photograph(Path::new(n))).collect()
        })
    }
}

/// Where the sidecar of a photograph is or goes: the one under its full name (`a.jpg.xmp`) where there is one; else under its
/// name without ending (`a.xmp`) where that can mean no other photograph. Of several, it means the raw file, if there is
/// but one; the others get one under their full name.
fn place(frame: &Path, neighbours: &[OsString]) -> PathBuf {
    let there = |p: &&PathBuf| fs::symlink_metadata(p).is_ok();
    let [full, short] = sidecar_names(frame);
    if let Some(full) = full.iter().find(there) {
        return full.clone();
    }
    let others =
        || neighbours.iter().map(Path::new).filter(|n| n.file_name() != frame.file_name() && stem(n) == stem(frame));
    let its_own = others().next().is_none() || is_raw(frame) && !others().any(is_raw);
    if its_own { short.iter().find(there).unwrap_or(&short[0]).clone() } else { full[0].clone() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sidecar_is_named_so_that_it_can_mean_one_photograph_only() {
        let root = tempfile::tempdir().unwrap();
        let named = |frame: &str, neighbours: &[&str], there: &[&str]| {
            let folder = root.path().join(format!("{frame}{}{}", neighbours.len(), there.join("-")));
            fs::create_dir(&folder).unwrap();
            there.iter().for_each(|n| fs::write(folder.join(n), "").unwrap());
            let names: Vec<OsString> = neighbours.iter().map(OsString::from).collect();
            place(&folder.join(frame), &names).file_name().unwrap().to_str().unwrap().to_owned()
        };
        assert_eq!(named("a.cr3", &["a.cr3", "b.cr3"], &[]), "a.xmp");
        assert_eq!(named("a.jpg", &["a.jpg"], &[]), "a.xmp");
        // With a twin, the short name is the raw file's.
        assert_eq!(named("a.CR3", &["a.CR3", "A.JPG"], &[]), "a.xmp");
        assert_eq!(named("A.JPG", &["a.CR3", "A.JPG"], &[]), "A.JPG.xmp");
        assert_eq!(named("A.JPG", &["a.CR3", "A.JPG"], &["a.xmp"]), "A.JPG.xmp");
        assert_eq!(named("a.jpg", &["a.jpg", "a.tif"], &["a.xmp"]), "a.jpg.xmp");
        assert_eq!(named("a.dng", &["a.dng", "a.cr3"], &[]), "a.dng.xmp");
        // What is there is honoured.
        assert_eq!(named("a.cr3", &["a.cr3"], &["a.cr3.xmp"]), "a.cr3.xmp");
        assert_eq!(named("a.cr3", &["a.cr3", "a.jpg"], &["a.cr3.xmp", "a.xmp"]), "a.cr3.xmp");
        assert_eq!(named("a.nef", &["a.nef"], &["a.XMP"]), "a.XMP");
    }
}
