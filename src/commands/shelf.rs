//! The shelf: learned baselines kept in the user's configuration folder, found again by the lens's name.

use std::path::{Path, PathBuf};

use anyhow::{Context as _, bail};
use etcetera::BaseStrategy as _;
use schemars::JsonSchema;
use serde::Serialize;

use super::Outcome;
use crate::intake;
use crate::lens::{Baseline, LearnedFrom, record};
use crate::output;
use crate::quantity::{plain, shown};
use crate::report::{counted, f_number, lens_heading};

/// Reads a stored baseline.
///
/// # Errors
/// Where the file can't be read or is no baseline.
pub(crate) fn read(file: &Path) -> anyhow::Result<Baseline> {
    let text = intake::read_text(file).map_err(output::refused)?;
    record::read(&text).with_context(|| shown(file))
}

/// Largest distance between focal lengths, as [`away`] counts, at which a baseline still stands: a zoom draws
/// differently at each.
pub(super) const NEAR: f64 = 0.1;

/// How far a baseline's focal length is from a frame's, as a share; nothing where the baseline names none.
pub(super) fn away(baseline: &Baseline, focal_mm: f64) -> f64 {
    baseline.focal_length_mm.map_or(0.0, |own| (own / focal_mm - 1.0).abs())
}

/// Every baseline in the user's configuration folder, in the order of file names; damaged files are passed over.
pub(super) fn stored() -> Vec<(PathBuf, Baseline)> {
    let files = folder().map(|folder| files_in(&folder)).unwrap_or_default();
    files.into_iter().filter_map(|p| Some((p.clone(), read(&p).ok()?))).collect()
}

fn files_in(folder: &Path) -> Vec<PathBuf> {
    let Ok(listed) = std::fs::read_dir(folder) else { return Vec::new() };
    let mut files: Vec<PathBuf> = listed.filter_map(|e| Some(e.ok()?.path())).collect();
    files.retain(|p| p.extension().is_some_and(|e| e == "toml"));
    files.sort();
    files
}

/// Where baselines are kept: the folder `tussock/lenses` of the user's configuration.
fn folder() -> anyhow::Result<PathBuf> {
    let base = etcetera::choose_base_strategy().context("the user's configuration folder is not known; give --out")?;
    Ok(base.config_dir().join("tussock").join("lenses"))
}

/// Where a baseline is kept by its lens's name and focal length.
///
/// # Errors
/// Where the user's configuration folder is not known.
pub(crate) fn place_of(baseline: &Baseline) -> anyhow::Result<PathBuf> {
    let name: String =
        baseline.lens.chars().map(|c| if c.is_alphanumeric() { c.to_ascii_lowercase() } else { '-' }).collect();
    let name = name.split('-').filter(|part| !part.is_empty()).collect::<Vec<_>>().join("-");
    let name = if name.is_empty() { "lens" } else { name.as_str() };
    let focal = baseline.focal_length_mm.map_or_else(|| "no-focal-length".to_owned(), |f| format!("{f:.0}mm"));
    Ok(folder()?.join(format!("{name}-{focal}.toml")))
}

/// What a stored baseline is, where it comes from and of which day; `None` where the file is none.
pub(crate) fn told_of(file: &Path) -> Option<String> {
    let text = intake::read_text(file).ok()?;
    let baseline = record::read(&text).ok()?;
    let day = record::learned_on(&text).unwrap_or_default();
    let stops = |own: bool| -> Option<String> {
        let of = baseline.entries.iter().filter(|e| (e.frames > 0) == own).map(|e| f_number(e.f_number));
        Some(of.collect::<Vec<String>>().join(", ")).filter(|all| !all.is_empty())
    };
    let frames: u32 = baseline.entries.iter().map(|e| e.frames).sum();
    Some(format!(
        "{} on {}, {} at {}{} ({})",
        plain(&lens_heading(&baseline)),
        plain(&day),
        counted(frames as usize, "frame"),
        stops(true).unwrap_or_else(|| "no f-number".into()),
        stops(false).map_or_else(String::new, |others| format!(", which tell of {others} too")),
        shown(file)
    ))
}

/// `tussock.lenses`, version 1: what `tussock lens list --json` prints.
#[derive(Debug, Serialize, JsonSchema)]
pub(crate) struct LensesView {
    /// Always `tussock.lenses`.
    pub format: &'static str,
    /// Version of this format.
    pub version: u32,
    /// Baselines that are stored.
    pub lenses: Vec<StoredLensView>,
    /// Stored files that are no baseline, or a damaged one.
    pub damaged: usize,
}

/// A stored baseline in short.
#[derive(Debug, Serialize, JsonSchema)]
pub(crate) struct StoredLensView {
    /// The file.
    pub file: String,
    /// Lens name as the photographs state it.
    pub lens: String,
    /// Focal length, mm; null where the photographs don't state it.
    pub focal_length_mm: Option<f64>,
    /// What kind of frames it was learned from.
    pub learned_from: LearnedFrom,
    /// The day it was learned, as `2026-11-07`.
    pub date: Option<String>,
    /// f-numbers it tells of.
    pub f_numbers: Vec<f64>,
}

/// The same for scripts.
fn stored_lens(file: &Path) -> Option<StoredLensView> {
    let text = intake::read_text(file).ok()?;
    let baseline = record::read(&text).ok()?;
    Some(StoredLensView {
        file: file.to_string_lossy().into_owned(),
        date: record::learned_on(&text),
        learned_from: baseline.learned_from,
        f_numbers: baseline.entries.iter().map(|e| e.f_number).collect(),
        focal_length_mm: baseline.focal_length_mm,
        lens: baseline.lens,
    })
}

/// Lists what is on the shelf; damaged files are named.
///
/// # Errors
/// Where the user's configuration folder is not known.
pub(crate) fn list(json: bool) -> anyhow::Result<Outcome> {
    let folder = folder()?;
    let files = files_in(&folder);
    if json {
        let lenses: Vec<StoredLensView> = files.iter().filter_map(|file| stored_lens(file)).collect();
        let damaged = files.len() - lenses.len();
        let all = LensesView { format: "tussock.lenses", version: 1, lenses, damaged };
        output::print_json(&output::json(&all)?);
        return Ok(if files.is_empty() { Outcome::Done } else { Outcome::of(files.len() - damaged, damaged) });
    }
    if files.is_empty() {
        output::note(&format!("No baseline is stored in {}; tussock lens learn makes one.", shown(&folder)));
        return Ok(Outcome::Done);
    }
    let mut damaged = 0;
    for file in &files {
        match told_of(file) {
            Some(line) => output::print(&format!("{line}\n")),
            None => {
                damaged += 1;
                output::say(&format!("tussock: {} is no stored baseline, or a damaged one", shown(file)));
            }
        }
    }
    Ok(Outcome::of(files.len() - damaged, damaged))
}

/// `tussock.forgotten`, version 1: what `tussock lens forget --json` prints.
#[derive(Debug, Serialize, JsonSchema)]
pub(crate) struct ForgottenView {
    /// Always `tussock.forgotten`.
    pub format: &'static str,
    /// Version of this format.
    pub version: u32,
    /// What was stored of the lens and is no more.
    pub lenses: Vec<StoredLensView>,
}

/// Forgets what is stored of a lens: by its name as the files state it, at all focal lengths or near one. Each file that goes is
/// named, in JSON if `json`; what was learned can be learned again, never had back.
///
/// # Errors
/// Where nothing of that name is stored.
pub(crate) fn forget(name: &str, focal_mm: Option<f64>, json: bool) -> anyhow::Result<Outcome> {
    let named = |b: &Baseline| b.lens.trim().eq_ignore_ascii_case(name.trim());
    // One that names no focal length is near none.
    let of_focal = |b: &Baseline| focal_mm.is_none_or(|f| b.focal_length_mm.is_some() && away(b, f) < NEAR);
    let found: Vec<PathBuf> =
        stored().into_iter().filter(|(_, b)| named(b) && of_focal(b)).map(|(path, _)| path).collect();
    if found.is_empty() {
        bail!("no baseline of a lens named '{}' is stored there; tussock lens list names them", plain(name));
    }
    let mut lenses = Vec::new();
    let mut refused = 0;
    for file in &found {
        let (what, view) = (told_of(file).unwrap_or_else(|| shown(file)), stored_lens(file));
        if let Err(why) = std::fs::remove_file(file) {
            output::say(&format!("tussock: cannot remove {}: {}", shown(file), output::reason(&why)));
            refused += 1;
        } else if json {
            lenses.extend(view);
        } else {
            output::print(&format!("Forgotten: {what}\n"));
        }
    }
    if json {
        output::print_json(&output::json(&ForgottenView { format: "tussock.forgotten", version: 1, lenses })?);
    }
    Ok(Outcome::of(found.len() - refused, refused))
}
