//! Where the file of a report's frame lies now: where it was audited, or near the report, and only if it is that file.

use std::collections::HashSet;
use std::path::{Path, PathBuf};

use super::report::{Frame, Report};
use crate::commands::original;
use crate::intake;
use crate::quantity::shown;
use crate::report::OriginalView;

/// The file of a frame to its last byte, for carrying it; in words, why there is none.
pub(super) fn to_carry(frame: &Frame, report: &Report) -> Result<PathBuf, String> {
    found(frame, report, original::is_wholly)
}

/// The file of a frame; in words, why there is none.
///
/// Files of one name lie in many folders, so none is taken that differs from what was audited. The folder that the audit was
/// run in comes first, then those around the report, since shoots get moved with their reports, then the present one.
fn found(frame: &Frame, report: &Report, is: fn(&Path, &OriginalView) -> bool) -> Result<PathBuf, String> {
    let Some(noted) = &frame.original else {
        return Err("its report is of an earlier version, which didn't note which file it was; audit again".into());
    };
    let name = Path::new(frame.path());
    let mut another = None;
    let audited = audited(name, report);
    let around = around(audited.as_deref().unwrap_or(name), &report.beside);
    let places: Vec<PathBuf> = audited.iter().cloned().chain(around).chain([name.to_owned()]).collect();
    for place in &places {
        if is(place, noted) {
            return Ok(std::path::absolute(place).unwrap_or_else(|_| place.clone()));
        }
        if place.is_file() {
            another.get_or_insert(place.clone());
        }
    }
    // Farther up than beside the report nothing else is looked at.
    let near = |p: &&PathBuf| Some(*p) == audited.as_ref() || p.starts_with(&report.beside);
    if let Some(place) = renamed(places.iter().filter(near), report, |place| is(place, noted), noted.bytes) {
        return Ok(place);
    }
    Err(another.map_or_else(
        || "it is not there any more, nor near the report".to_owned(),
        |other| {
            let other = shown(&other);
            format!("{other} is not the file that was audited (it was changed since, or is another), and is left alone")
        },
    ))
}

/// A file of another name in the folders of these places that is the one audited.
fn renamed<'a>(
    places: impl Iterator<Item = &'a PathBuf>,
    report: &Report,
    is: impl Fn(&Path) -> bool,
    bytes: u64,
) -> Option<PathBuf> {
    let mut lengths = report.lengths.borrow_mut();
    let mut looked = HashSet::new();
    let folders = places.filter_map(|p| std::path::absolute(p.parent()?).ok());
    for folder in folders.filter(|f| looked.insert(f.clone())) {
        let files = lengths.entry(folder).or_insert_with_key(|folder| listed(folder));
        if let Some((_, found)) = files.iter().find(|(length, file)| *length == bytes && is(file)) {
            return Some(found.clone());
        }
    }
    None
}

/// The photographs in a folder with their lengths, in the order of their names.
fn listed(folder: &Path) -> Vec<(u64, PathBuf)> {
    let entries = std::fs::read_dir(folder).into_iter().flatten().flatten().map(|e| e.path());
    let files = entries.filter(|path| intake::looks_like_photograph(path));
    let mut all: Vec<(u64, PathBuf)> =
        files.filter_map(|p| std::fs::metadata(&p).ok().filter(|m| m.is_file()).map(|m| (m.len(), p))).collect();
    all.sort_by(|a, b| a.1.cmp(&b.1));
    all
}

/// The name that leads to a frame's file from the present folder: the report's own if the audit was run there.
pub(super) fn named(frame: &Frame, report: &Report) -> String {
    let name = frame.path().to_owned();
    let as_given = report.base.is_none() || report.base == original::base() || Path::new(&name).is_absolute();
    let place = if as_given { Some(PathBuf::from(&name)) } else { audited(Path::new(&name), report) };
    let there = place.filter(|p| p.is_file()).or_else(|| found(frame, report, original::is).ok());
    there.map_or(name, |p| p.to_string_lossy().into_owned())
}

/// Where the file lay when it was audited; `None` where the report doesn't tell.
fn audited(name: &Path, report: &Report) -> Option<PathBuf> {
    let base = report.base.as_deref().map(Path::new);
    let full = if name.is_absolute() { name.to_owned() } else { base?.join(name) };
    Some(std::path::absolute(&full).unwrap_or(full))
}

/// Places in the folders around the report under the last names of a path, the nearest folder and the longest path first.
fn around(path: &Path, beside: &Path) -> Vec<PathBuf> {
    let names: Vec<_> = path.components().filter(|c| matches!(c, std::path::Component::Normal(_))).collect();
    let tails: Vec<PathBuf> = (0..names.len()).map(|from| names[from..].iter().collect()).collect();
    beside.ancestors().flat_map(|folder| tails.iter().map(move |tail| folder.join(tail))).collect()
}
