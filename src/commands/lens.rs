//! Learns a lens's own softness from frames, shows it, and finds it again by the lens's name.

use std::path::{Path, PathBuf};

use anyhow::{Context as _, bail};
use etcetera::BaseStrategy as _;

use super::Outcome;
use super::frames::{self, Wanted};
use super::work::Budget;
use crate::intake::{self, Overrides, Prefer};
use crate::lens::{
    Baseline, LearnedFrom, Unsuitable, asymmetries, learn_aperture_series, learn_focus_series, learn_from_shoot, record,
};
use crate::measure::{self, TileMap};
use crate::output;
use crate::quantity::shown;
use crate::report::{learned_lens, lens_page, lens_text};
use crate::shot::Capture;

/// `tussock lens learn` as meant.
#[derive(Clone, Debug)]
pub struct Learn {
    /// Files and folders.
    pub paths: Vec<PathBuf>,
    /// Walk into folders within folders.
    pub recursive: bool,
    /// Which twin stands for a frame.
    pub prefer: Prefer,
    /// Where the baseline goes; `None` for the user's configuration folder.
    pub out: Option<PathBuf>,
    /// Whether a file that is there may be replaced.
    pub overwrite: bool,
    /// What the frames are; `None` to judge by their facts.
    pub from: Option<LearnedFrom>,
    /// f-numbers of the frames in order; empty to take the recorded ones.
    pub apertures: Vec<f64>,
    /// How to measure.
    pub settings: measure::Settings,
    /// Facts the user gave.
    pub overrides: Overrides,
    /// How much of the machine to use.
    pub budget: Budget,
    /// Print JSON.
    pub json: bool,
}

/// Learns a baseline and stores it.
///
/// # Errors
/// Where no frame can be read, the frames won't do, or the baseline can't be written.
pub fn learn(asked: &Learn) -> anyhow::Result<Outcome> {
    let wanted = Wanted {
        paths: &asked.paths,
        recursive: asked.recursive,
        prefer: asked.prefer,
        budget: asked.budget,
        settings: asked.settings,
        overrides: &asked.overrides,
        apertures: &asked.apertures,
    };
    let (read, failures) = frames::measured(&wanted, |_| false)?;
    let failed = failures.len();
    let frames: Vec<(TileMap, Capture)> = read.into_iter().map(|f| (f.map, f.capture)).collect();
    if frames.is_empty() {
        bail!("no photograph could be read");
    }
    let (kept, others) = one_lens(&frames);
    if others > 0 {
        output::say(&format!("tussock: {others} frames of other lenses or focal lengths are left out"));
    }
    let kind = asked.from.unwrap_or_else(|| judge(&kept));
    let baseline = match kind {
        LearnedFrom::ApertureSeries => learn_aperture_series(&kept),
        LearnedFrom::FocusSeries => learn_focus_series(&kept),
        LearnedFrom::Shoot => learn_from_shoot(&kept),
    }
    .map_err(|why: Unsuitable| anyhow::anyhow!("the lens can't be learned from these frames: {why}"))?;
    let today = jiff::Timestamp::now().strftime("%Y-%m-%d").to_string();
    let written = record::write(&baseline, &today);
    let path = match &asked.out {
        Some(path) => {
            output::write(path, written.as_bytes(), asked.overwrite)?;
            path.clone()
        }
        None => {
            let path = shelf()?.join(file_name(&baseline));
            output::replace(&path, written.as_bytes())?;
            path
        }
    };
    print(&baseline, asked.json)?;
    output::note(&format!("Baseline written to {}", shown(&path)));
    Ok(Outcome::of(frames.len(), failed))
}

/// Shows a stored baseline: on the terminal, and as a page where one is asked for.
///
/// # Errors
/// Where the file is no stored baseline, or the page can't be written.
pub fn show(file: &Path, page: Option<&Path>, overwrite: bool, json: bool) -> anyhow::Result<Outcome> {
    let baseline = read(file)?;
    print(&baseline, json)?;
    if let Some(path) = page {
        output::write(path, lens_page(&baseline, &asymmetries(&baseline))?.as_bytes(), overwrite)?;
        output::note(&format!("Page written to {}", shown(path)));
    }
    Ok(Outcome::Done)
}

fn print(baseline: &Baseline, json: bool) -> anyhow::Result<()> {
    let sides = asymmetries(baseline);
    output::print(&if json {
        serde_json::to_string_pretty(&learned_lens(baseline, &sides))? + "\n"
    } else {
        lens_text(baseline, &sides)
    });
    Ok(())
}

/// Reads a stored baseline.
///
/// # Errors
/// Where the file can't be read or is no baseline.
pub fn read(file: &Path) -> anyhow::Result<Baseline> {
    let text = intake::read_text(file).map_err(output::refused)?;
    record::read(&text).with_context(|| shown(file))
}

/// Finds the baseline of a lens by its name (and focal length, mm, where that is known) in the user's
/// configuration folder; `None` where there is none. A damaged file there is passed over.
#[must_use]
pub fn find(name: &str, focal_mm: Option<f64>) -> Option<Baseline> {
    find_in(&shelf().ok()?, name, focal_mm)
}

/// As [`find`], in a folder of one's own.
#[must_use]
pub fn find_in(folder: &Path, name: &str, focal_mm: Option<f64>) -> Option<Baseline> {
    let name = name.trim();
    let off = |b: &Baseline| focal_mm.map_or(0.0, |f| away(b, f));
    shelved_in(folder)
        .into_iter()
        .map(|(_, baseline)| baseline)
        .filter(|b| !name.is_empty() && b.lens.trim().eq_ignore_ascii_case(name))
        .filter(|b| off(b) < NEAR)
        .min_by(|a, b| off(a).total_cmp(&off(b)))
}

/// Largest distance between focal lengths, as [`away`] counts, at which a baseline still stands: a zoom draws
/// differently at each.
pub(super) const NEAR: f64 = 0.1;

/// How far a baseline's focal length is from a frame's, as a share; nothing where the baseline names none.
pub(super) fn away(baseline: &Baseline, focal_mm: f64) -> f64 {
    if baseline.focal_length_mm > 0.0 { (baseline.focal_length_mm / focal_mm - 1.0).abs() } else { 0.0 }
}

/// Every baseline in the user's configuration folder, in the order of file names; damaged files are passed over.
pub(super) fn shelved() -> Vec<(PathBuf, Baseline)> {
    shelf().map(|folder| shelved_in(&folder)).unwrap_or_default()
}

fn shelved_in(folder: &Path) -> Vec<(PathBuf, Baseline)> {
    let Ok(listed) = std::fs::read_dir(folder) else { return Vec::new() };
    let mut files: Vec<PathBuf> = listed.filter_map(|e| Some(e.ok()?.path())).collect();
    files.sort();
    files
        .into_iter()
        .filter(|p| p.extension().is_some_and(|e| e == "toml"))
        .filter_map(|p| Some((p.clone(), read(&p).ok()?)))
        .collect()
}

/// Where baselines are kept: the folder `tussock/lenses` of the user's configuration.
fn shelf() -> anyhow::Result<PathBuf> {
    let base = etcetera::choose_base_strategy().context("the user's configuration folder is not known; give --out")?;
    Ok(base.config_dir().join("tussock").join("lenses"))
}

fn file_name(baseline: &Baseline) -> String {
    let name: String =
        baseline.lens.chars().map(|c| if c.is_alphanumeric() { c.to_ascii_lowercase() } else { '-' }).collect();
    let name = name.split('-').filter(|part| !part.is_empty()).collect::<Vec<_>>().join("-");
    let name = if name.is_empty() { "lens" } else { name.as_str() };
    format!("{name}-{:.0}mm.toml", baseline.focal_length_mm)
}

/// The frames of the lens and focal length that most have, in their order, and how many others there are.
fn one_lens(frames: &[(TileMap, Capture)]) -> (Vec<(&TileMap, &Capture)>, usize) {
    let key = |c: &Capture| {
        let name = c.lens.as_ref().map(|l| l.value.trim().to_ascii_lowercase());
        // Steps of about 5 % in focal length.
        let focal = c.focal_length_mm.as_ref().map(|f| (f.value.ln() / 0.05).round() as i64);
        (name, focal)
    };
    let count = |k: &(Option<String>, Option<i64>)| frames.iter().filter(|(_, c)| key(c) == *k).count();
    let most = frames.iter().map(|(_, c)| key(c)).max_by_key(|k| count(k));
    let kept: Vec<_> =
        frames.iter().filter(|(_, c)| Some(key(c)) == most).map(|(map, capture)| (map, capture)).collect();
    let others = frames.len() - kept.len();
    (kept, others)
}

/// What frames are, judged by their facts: a few f-numbers of few frames each are a series of apertures, one
/// f-number at several recorded distances is a series of focus, anything else a shoot.
fn judge(frames: &[(&TileMap, &Capture)]) -> LearnedFrom {
    let mut stops: Vec<f64> = frames.iter().filter_map(|(_, c)| c.f_number.as_ref()).map(|f| f.value).collect();
    stops.sort_by(f64::total_cmp);
    stops.dedup_by(|a, b| (*a / *b).ln().abs() < 0.03);
    let mut places: Vec<f64> =
        frames.iter().filter_map(|(_, c)| c.focus_distance_m.as_ref()).map(|f| 1.0 / f.value.middle()).collect();
    places.sort_by(f64::total_cmp);
    places.dedup_by(|a, b| (*a - *b).abs() < 1e-3);
    if stops.len() == 1 && places.len() >= 4 && places.len() * 2 >= frames.len() {
        LearnedFrom::FocusSeries
    } else if stops.len() >= 3 && frames.len() <= 3 * stops.len() && frames.len() <= 24 {
        LearnedFrom::ApertureSeries
    } else {
        LearnedFrom::Shoot
    }
}
