//! Frames for every command: found, read within a memory budget, measured, in the order they were found.

use std::path::{Path, PathBuf};

use super::progress::Progress;
use super::work::{self, Budget};
use crate::intake::{self, Candidate, IntakeError, Overrides, Prefer};
use crate::measure::register::Small;
use crate::measure::{self, TileMap, measure};
use crate::optics::WAVELENGTH_UM;
use crate::output;
use crate::quantity::Flag;
use crate::report::Failure;
use crate::shot::{Capture, Fact, Plane, Shot, Source};

/// Which frames, and how to read them.
pub struct Wanted<'a> {
    /// Files and folders.
    pub paths: &'a [PathBuf],
    /// Walk into folders within folders.
    pub recursive: bool,
    /// Which twin stands for a frame.
    pub prefer: Prefer,
    /// How much of the machine to use.
    pub budget: Budget,
    /// How to measure.
    pub settings: measure::Settings,
    /// Facts the user gave.
    pub overrides: &'a Overrides,
    /// f-numbers of the frames in order, given by the user; empty to take the recorded ones.
    pub apertures: &'a [f64],
}

/// What is kept of a frame once its pixels are gone.
pub struct Measured {
    /// Where it lies.
    pub path: PathBuf,
    /// As the user named it.
    pub file: String,
    /// Capture facts.
    pub capture: Capture,
    /// Flags found while reading.
    pub flags: Vec<Flag>,
    /// Small picture.
    pub small: Small,
    /// What was measured.
    pub map: TileMap,
    /// Its pixels, where they were to be kept.
    pub plane: Option<Plane>,
}

/// Finds, reads and measures frames; what fails is named on standard error and handed back. `keep` is asked of each frame
/// whether its pixels stay in memory.
///
/// # Errors
/// Where the f-numbers given do not match the frames found.
pub fn measured(
    wanted: &Wanted,
    keep: impl Fn(&Plane) -> bool + Sync,
) -> anyhow::Result<(Vec<Measured>, Vec<Failure>)> {
    let found = intake::find(wanted.paths, wanted.recursive, wanted.prefer);
    let count = found.frames.len();
    if !wanted.apertures.is_empty() && wanted.apertures.len() != count {
        anyhow::bail!("--apertures names {} f-numbers, but there are {count} frames", wanted.apertures.len());
    }
    let items: Vec<(usize, &Candidate)> = found.frames.iter().enumerate().collect();
    let progress = Progress::new("measuring", count);
    let read: Vec<Result<Measured, IntakeError>> = work::run(
        &items,
        wanted.budget,
        |item| intake::memory_needed(&item.1.path),
        |&(i, candidate)| one(wanted, &candidate.path, wanted.apertures.get(i).copied(), &keep),
        |_, _| progress.step(),
    );
    drop(progress);
    let mut failures: Vec<Failure> = found.failures.iter().map(failure).collect();
    let mut frames = Vec::new();
    for result in read {
        match result {
            Ok(frame) => frames.push(frame),
            Err(error) => failures.push(failure(&error)),
        }
    }
    failures.iter().for_each(|f| output::say(&said(f)));
    Ok((frames, failures))
}

fn one(
    wanted: &Wanted,
    path: &Path,
    f_number: Option<f64>,
    keep: impl Fn(&Plane) -> bool,
) -> Result<Measured, IntakeError> {
    let mut overrides = wanted.overrides.clone();
    if let Some(n) = f_number {
        overrides.capture.f_number = Some(Fact::new(n, Source::Given));
    }
    let Shot { file, plane, mut capture, flags, .. } = intake::read(path, &overrides)?;
    take_name(&mut capture, path);
    Ok(Measured {
        path: path.to_owned(),
        file,
        flags,
        small: Small::new(&plane),
        map: measure(&plane, &wanted.settings.under(capture.lambda_n_px(WAVELENGTH_UM))),
        capture,
        plane: keep(&plane).then_some(plane),
    })
}

/// Takes the f-number of a frame that records none from its file's name, where that says one plainly.
pub fn take_name(capture: &mut Capture, path: &Path) {
    if capture.f_number.is_none() {
        let name = path.file_stem().map(|s| s.to_string_lossy());
        capture.f_number = name.and_then(|n| f_number_in(&n)).map(|n| Fact::new(n, Source::Assumed));
    }
}

/// f-numbers that lenses have.
const F_NUMBERS: std::ops::RangeInclusive<f64> = 0.7..=64.0;

/// The f-number that a file's name says plainly: an f by itself, then a number (`f8`, `f_5.6`, `moor-f11`, `F2,8`,
/// `f2_8`); `None` where the name says none, or several.
#[must_use]
pub fn f_number_in(name: &str) -> Option<f64> {
    let letters: Vec<char> = name.chars().collect();
    let digits = |from: usize| letters[from..].iter().take_while(|c| c.is_ascii_digit()).count();
    let at = |i: usize| {
        let alone = i == 0 || !letters[i - 1].is_alphanumeric();
        if !matches!(letters[i], 'f' | 'F') || !alone {
            return None;
        }
        let start = i + 1 + usize::from(matches!(letters.get(i + 1), Some('_' | '-' | ' ' | '.' | '/')));
        let whole = digits(start.min(letters.len()));
        if whole == 0 || whole > 2 {
            return None;
        }
        let mut text: String = letters[start..start + whole].iter().collect();
        let mut end = start + whole;
        // One digit after a mark is a decimal; more would be a number of its own.
        if matches!(letters.get(end), Some('.' | ',' | '_' | '-')) && digits(end + 1) == 1 {
            text.push('.');
            text.push(letters[end + 1]);
            end += 2;
        }
        let ends = letters.get(end).is_none_or(|c| !c.is_alphanumeric());
        text.parse().ok().filter(|n| ends && F_NUMBERS.contains(n))
    };
    let mut said = (0..letters.len()).filter_map(at);
    said.next().filter(|_| said.next().is_none())
}

/// A failure as reports have it.
#[must_use]
pub fn failure(error: &IntakeError) -> Failure {
    Failure { file: error.path.display().to_string(), problem: error.problem.clone(), advice: error.advice.clone() }
}

/// A failure as it is said on standard error.
#[must_use]
pub fn said(failure: &Failure) -> String {
    format!("tussock: {}: {}. {}", failure.file.escape_debug(), failure.problem, failure.advice)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_a_plain_f_number_is_taken_from_a_name() {
        for (name, n) in [
            ("f8", 8.0),
            ("fern_f_8.0", 8.0),
            ("moor-F2,8", 2.8),
            ("f2_8", 2.8),
            ("leaf f11", 11.0),
            ("f-16_b", 16.0),
            ("cup f1.8 near", 1.8),
            ("f/4", 4.0),
        ] {
            assert_eq!(f_number_in(name), Some(n), "{name}");
        }
        for name in ["leaf8", "f8-f11", "f2024", "of8", "f", "f8mm", "IMG_0008", "f0", "f99", "half_8", "f_12_34"] {
            assert_eq!(f_number_in(name).filter(|n| *n != 12.0), None, "{name}");
        }
    }
}
