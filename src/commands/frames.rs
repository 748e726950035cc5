//! Frames for every command: found, read within a memory budget, measured, in the order they were found.

use std::path::{Path, PathBuf};

use super::progress::Progress;
use super::work::{self, Budget};
use crate::intake::{self, Candidate, Found, IntakeError, Overrides, Prefer};
use crate::measure::register::Small;
use crate::measure::{self, TileMap, measure};
use crate::optics::WAVELENGTH_UM;
use crate::output;
use crate::output::guard::guarded;
use crate::quantity::{Flag, shown};
use crate::report::{FailureView, counted};
use crate::shot::{Capture, Fact, Plane, Shot, Source, Tint};

/// Which frames, and how to read and measure them.
#[derive(Clone, Debug)]
pub(crate) struct Wanted {
    /// Files and folders.
    pub paths: Vec<PathBuf>,
    /// Walk into folders within folders.
    pub recursive: bool,
    /// Which twin stands for a frame.
    pub prefer: Prefer,
    /// How much of the machine to use.
    pub budget: Budget,
    /// How to measure.
    pub settings: measure::Settings,
    /// Facts the user gave.
    pub overrides: Overrides,
}

impl Wanted {
    /// The frames that there are, and what can't be one; says where pictures of reports were passed over beside photographs.
    pub(crate) fn find(&self) -> Found {
        let found = intake::find(&self.paths, self.recursive, self.prefer);
        say_reports(&found);
        found
    }
}

/// Says which pictures were passed over where photographs lie beside one of the tool's own reports.
pub(crate) fn say_reports(found: &Found) {
    for (folder, pictures) in &found.reports {
        let pictures = counted(*pictures, "picture");
        output::note(&format!(
            "tussock: {} holds a report of tussock's and photographs beside it; passing over {pictures} of the report",
            shown(folder)
        ));
    }
}

/// What is kept of a frame once its pixels are gone.
pub(crate) struct Measured {
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
    /// Its colours, where they came with the pixels.
    pub tint: Option<Tint>,
}

/// Finds, reads and measures frames; what fails, or is there in part only, is named on standard error and handed back, with
/// what stands in for it. `keep`
/// is asked of each frame whether its pixels stay in memory. `apertures`: f-numbers of the frames in order, given by the
/// user; empty to take the recorded ones.
///
/// # Errors
/// Where the f-numbers given do not match the frames found.
pub(crate) fn measured(
    wanted: &Wanted,
    apertures: &[f64],
    keep: impl Fn(&Plane) -> bool + Sync,
) -> anyhow::Result<(Vec<Measured>, Vec<FailureView>)> {
    let found = wanted.find();
    let count = found.frames.len();
    if !apertures.is_empty() && apertures.len() != count {
        anyhow::bail!("--apertures names {} f-numbers, but there are {count} frames", apertures.len());
    }
    let names = f_numbers_in_names(found.frames.iter().map(|c| c.path.as_path()));
    let items: Vec<(usize, &Candidate)> = found.frames.iter().enumerate().collect();
    let progress = Progress::new("measuring", count);
    let read: Vec<Seen> = work::run(
        &items,
        wanted.budget,
        |item| intake::memory_needed(&item.1.path),
        |&(i, candidate)| {
            let f_numbers = (apertures.get(i).copied(), names[i]);
            seen(candidate, |path| one(wanted, path, f_numbers, &keep))
        },
        |_, _| progress.step(),
        || false,
    );
    drop(progress);
    let mut failures: Vec<FailureView> = found.failures.iter().map(failure).collect();
    let mut frames = Vec::new();
    for (frame, failed) in read {
        let stand_in = frame.as_ref().map(|f| f.path.to_string_lossy().into_owned());
        failures.extend(failed.iter().map(|error| FailureView { stand_in: stand_in.clone(), ..failure(error) }));
        frames.extend(frame);
    }
    failures.iter().for_each(|failed| output::say(&output::failure(failed)));
    Ok((frames, failures))
}

/// A frame, where one of a candidate's files gives one, and what went wrong with those before it.
type Seen = (Option<Measured>, Vec<IntakeError>);

/// The frame of the first of a candidate's files that can be read: as in an audit, a twin stands in for one that fails.
fn seen(candidate: &Candidate, read: impl Fn(&Path) -> Result<Measured, IntakeError>) -> Seen {
    let mut failed = Vec::new();
    for path in std::iter::once(&candidate.path).chain(&candidate.twins) {
        let fault = |words: String| Err(IntakeError::fault(path, "measuring it", &words));
        match guarded(|| read(path)).unwrap_or_else(fault) {
            Ok(mut frame) => {
                frame.flags.extend((!failed.is_empty()).then_some(Flag::TwinFailed));
                return (Some(frame), failed);
            }
            Err(error) => failed.push(error),
        }
    }
    (None, failed)
}

fn one(
    wanted: &Wanted,
    path: &Path,
    (given, named): (Option<f64>, Option<f64>),
    keep: impl Fn(&Plane) -> bool,
) -> Result<Measured, IntakeError> {
    let mut overrides = wanted.overrides.clone();
    if let Some(n) = given {
        overrides.capture.f_number = Some(Fact::new(n, Source::Given));
    }
    let Shot { file, plane, mut capture, flags, tint, coded, .. } = intake::read(path, &overrides)?;
    if let Some(share) = coded {
        // What is missing would be compared as if it were the scene's.
        let problem = format!("it was cut short, only {:.0} % of the picture is in the file: left out", 100.0 * share);
        return Err(IntakeError::damaged(path, problem));
    }
    take_name(&mut capture, named);
    Ok(Measured {
        path: path.to_owned(),
        file,
        flags,
        small: Small::new(&plane),
        map: measure(&plane, &wanted.settings.under(capture.lambda_n_px(WAVELENGTH_UM))),
        capture,
        plane: keep(&plane).then_some(plane),
        tint,
    })
}

/// Gives a frame that records no f-number the one that its file's name says.
pub(crate) fn take_name(capture: &mut Capture, said: Option<f64>) {
    if capture.f_number.is_none() {
        capture.f_number = said.map(|n| Fact::new(n, Source::Assumed));
    }
}

/// f-numbers as lenses and cameras have them, in halves and thirds of a stop (the preferred numbers of ISO 517, rounded as
/// engraved; the widest from common practice).
const F_NUMBERS: [f64; 45] = [
    0.95, 1.0, 1.1, 1.2, 1.4, 1.6, 1.7, 1.8, 1.9, 2.0, 2.2, 2.4, 2.5, 2.8, 3.2, 3.3, 3.5, 4.0, 4.5, 4.8, 5.0, 5.6, 6.3,
    6.7, 7.1, 8.0, 9.0, 9.5, 10.0, 11.0, 13.0, 14.0, 16.0, 18.0, 19.0, 20.0, 22.0, 25.0, 27.0, 29.0, 32.0, 36.0, 38.0,
    40.0, 45.0,
];

/// The f-numbers that the names of files say plainly; none where one of them has a number there that is no f-number, for
/// then the files are just numbered.
pub(crate) fn f_numbers_in_names<'a>(paths: impl Iterator<Item = &'a Path>) -> Vec<Option<f64>> {
    let of = |path: &Path| number_after_f(&path.file_stem()?.to_string_lossy());
    let said: Vec<Option<String>> = paths.map(of).collect();
    let f_number = |text: &String| {
        let n: f64 = text.parse().ok()?;
        (!text.starts_with('0') || text.starts_with("0.")).then_some(n).filter(|n| F_NUMBERS.contains(n))
    };
    let numbered = said.iter().flatten().any(|text| f_number(text).is_none());
    said.iter().map(|text| text.as_ref().filter(|_| !numbered).and_then(f_number)).collect()
}

/// The number that a name has after an f by itself (`f8`, `f_5.6`, `moor-f11`, `F2,8`, `f2_8`); `None` where it has none,
/// or several.
fn number_after_f(name: &str) -> Option<String> {
    let letters: Vec<char> = name.chars().collect();
    let digits = |from: usize| letters.iter().skip(from).take_while(|c| c.is_ascii_digit()).count();
    let at = |i: usize| {
        let alone = i == 0 || !letters[i - 1].is_alphanumeric();
        if !matches!(letters[i], 'f' | 'F') || !alone {
            return None;
        }
        let start = i + 1 + usize::from(matches!(letters.get(i + 1), Some('_' | '-' | ' ' | '.' | '/')));
        let whole = digits(start);
        if whole == 0 {
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
        letters.get(end).is_none_or(|c| !c.is_alphanumeric()).then_some(text)
    };
    let mut said = (0..letters.len()).filter_map(at);
    said.next().filter(|_| said.next().is_none())
}

/// A failure as reports have it.
pub(crate) fn failure(error: &IntakeError) -> FailureView {
    FailureView {
        file: error.path.display().to_string(),
        problem: error.problem.clone(),
        advice: error.advice.clone(),
        detail: error.detail.clone(),
        stand_in: None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::optics::cover::THIRD_STOPS;

    fn said(names: &[&str]) -> Vec<Option<f64>> {
        f_numbers_in_names(names.iter().map(Path::new))
    }

    #[test]
    fn only_a_plain_f_number_is_taken_from_a_name() {
        for (name, n) in [
            ("f8.jpg", 8.0),
            ("fern_f_8.0.jpg", 8.0),
            ("moor-F2,8.jpg", 2.8),
            ("f2_8.png", 2.8),
            ("leaf f11.jpg", 11.0),
            ("f-16_b.jpg", 16.0),
            ("cup f1.8 near.jpg", 1.8),
            ("tarn/f4.tif", 4.0),
        ] {
            assert_eq!(said(&[name]), [Some(n)], "{name}");
        }
        for name in
            ["leaf8", "f8-f11", "f2024", "of8", "f", "f8mm", "IMG_0008", "f0", "f99", "half_8", "f_12_34", "f08"]
        {
            assert_eq!(said(&[name]), [None], "{name}");
        }
    }

    /// The third-stops of ISO 517, which a plan may advise.
    #[test]
    fn every_third_stop_may_stand_in_a_name() {
        let names: Vec<String> = THIRD_STOPS.map(|n| format!("wall-f{n}.jpg")).into();
        let names: Vec<&str> = names.iter().map(String::as_str).collect();
        assert_eq!(said(&names), THIRD_STOPS.map(Some));
    }

    #[test]
    fn files_that_are_just_numbered_say_no_f_number() {
        assert_eq!(said(&["f1", "f2", "f3", "f4"]), [None; 4]);
        assert_eq!(said(&["f4", "f8", "moor"]), [Some(4.0), Some(8.0), None]);
    }
}
