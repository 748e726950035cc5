//! Frames of one scene to a comparison: which aperture, which frames to blend, which duplicate to keep.

use std::borrow::Cow;
use std::path::PathBuf;
use std::sync::atomic::{AtomicU64, Ordering};

use anyhow::bail;
use image::imageops::thumbnail;

use super::frames::{self, Measured, Wanted};
use super::judging::trusted;
use super::work::{self, Budget};
use super::{Outcome, groups};
use crate::diagnose::diagnose;
use crate::intake;
use crate::output;
use crate::output::folder::{Folder, REPORT};
use crate::output::guard::guarded;
use crate::quantity::{Intent, plain, shown};
use crate::report::series::{Alone, Shown, series_html, series_text, series_view};
use crate::report::{FailureView, Pixels};
use crate::series::{Answer, Group, Pauses, Seen, group, lone};
use crate::shot::Plane;

/// The series command as meant.
#[derive(Clone, Debug)]
pub(crate) struct Series {
    /// The frames, and how they are read and measured.
    pub wanted: Wanted,
    /// Where the answers go.
    pub out: Option<PathBuf>,
    /// Whether files of the same names that are somebody else's may be replaced; photographs never are.
    pub overwrite: bool,
    /// What the user wants of the pictures.
    pub intent: Intent,
    /// f-numbers of the frames in order, given by the user; empty to take the recorded ones.
    pub apertures: Vec<f64>,
    /// Print JSON.
    pub json: bool,
}

/// Runs the command.
///
/// # Errors
/// Where the f-numbers given do not match the frames found, or the answers can't be written.
pub(crate) fn run(series: &Series) -> anyhow::Result<Outcome> {
    let folder = series.out.as_ref().map(|out| Folder::claim(out, series.overwrite)).transpose()?;
    // Small series stay in memory between measuring and comparing; half of the budget is theirs.
    let budget = series.wanted.budget;
    let room = Room(AtomicU64::new(budget.bytes / 2));
    let wanted = Wanted { budget: Budget { bytes: budget.bytes / 2, ..budget }, ..series.wanted.clone() };
    let keep = |plane: &Plane| room.take(2 * plane.data.len() as u64);
    let (frames, failures) =
        output::timed("reading and measuring", || frames::measured(&wanted, &series.apertures, keep))?;
    match frames.as_slice() {
        [] => bail!("no photograph could be read"),
        [one] => bail!("{} alone is no series: give two frames of one scene or more", plain(&one.file)),
        _ => {}
    }
    let pictured = folder.is_some();
    let compared = || work::on_threads(budget.threads, || answers(series, &frames, pictured));
    let (answers, alone, broken) = output::timed("comparing", compared);
    let (answers, pictures): (Vec<Answer>, Vec<Option<Shown>>) = answers.into_iter().unzip();
    let pictures: Vec<Shown> = pictures.into_iter().flatten().collect();
    let view = series_view(&answers, &alone, &failures);
    let json = output::json(&view)?;
    if series.json {
        output::print_json(&json);
    } else {
        output::print(&series_text(&view));
    }
    if let Some(mut folder) = folder {
        folder.put("series.json", json.as_bytes())?;
        folder.put("index.html", series_html(&view, &pictures).as_bytes())?;
        folder.swap(REPORT)?;
        output::say(&format!("tussock: the series is in {}", shown(&folder.path().join("index.html"))));
    }
    if answers.is_empty() && broken == 0 {
        output::say(
            "tussock: no two of these frames could be compared, so there is no series; why stands with each of them",
        );
        return Ok(Outcome::Nothing);
    }
    // A frame without a mate was read all the same.
    Ok(Outcome::of(frames.len(), FailureView::unanswered(&failures) + broken))
}

/// Bytes of memory that are still to be had.
struct Room(AtomicU64);

impl Room {
    /// Takes so many bytes if they are there.
    fn take(&self, bytes: u64) -> bool {
        self.0.fetch_update(Ordering::Relaxed, Ordering::Relaxed, |left| left.checked_sub(bytes)).is_ok()
    }
}

/// A group's answer, with its pictures where they were asked for.
type Told = (Answer, Option<Shown>);

/// What the groups among the frames come to, the frames without a mate, and how many comparisons a fault of the program broke.
fn answers(series: &Series, frames: &[Measured], pictured: bool) -> (Vec<Told>, Vec<Alone>, usize) {
    let seen: Vec<Seen> = frames
        .iter()
        .map(|f| Seen {
            file: &f.file,
            size: (f.map.width, f.map.height),
            capture: &f.capture,
            small: (&f.small).into(),
            map: Some((&f.map).into()),
        })
        .collect();
    // What is given here is meant as a series, however long the light was waited for.
    let grouped = survived(|| {
        let found = group(&seen, Pauses::Nothing);
        let lone = lone(&seen, &found);
        (found, lone)
    });
    let Some((found, lone)) = grouped else { return (Vec::new(), Vec::new(), 1) };
    let alone = lone.into_iter().map(|(k, why)| Alone { file: frames[k].file.clone(), why }).collect();
    let told: Vec<Told> =
        found.iter().filter_map(|g| survived(|| answer(series, frames, &seen, (g, pictured)))).collect();
    let broken = found.len() - told.len();
    (told, alone, broken)
}

/// What a comparison comes to; `None`, which is said, where it is broken by a fault of the program: the others go on.
fn survived<T>(work: impl FnOnce() -> T) -> Option<T> {
    guarded(work).map_err(|words| output::say(&output::broke_down("comparing frames of one scene", &words))).ok()
}

fn answer(series: &Series, frames: &[Measured], seen: &[Seen], (group, pictured): (&Group, bool)) -> Told {
    let of: Vec<Seen> = group.members.iter().map(|&m| seen[m]).collect();
    let frame = |k: usize| &frames[group.members[k]];
    // Pixels that were not kept are read again.
    let pixels = |k: usize| match &frame(k).plane {
        Some(plane) => Some(Cow::Borrowed(plane)),
        None => intake::read(&frame(k).path, &series.wanted.overrides).ok().map(|shot| Cow::Owned(shot.plane)),
    };
    let diagnosis =
        |k: usize| Some(diagnose(&frame(k).map, &trusted(&frame(k).capture, &frame(k).flags), None, &series.intent));
    let answer = groups::compare(&of, group.varied, &series.intent, &diagnosis, &pixels);
    let shown = pictured.then(|| {
        let mut shown = Shown::new(&answer);
        for k in 0..of.len() {
            let Some(plane) = pixels(k).map(|plane| groups::at_size(plane, answer.size)) else { continue };
            let whole = (plane.width as u32, plane.height as u32) == (frame(k).map.width, frame(k).map.height);
            let (path, tint) = (&frame(k).path, frame(k).tint.as_ref().filter(|_| whole));
            // Colours take more memory than anything else; a frame beyond the budget is shown in grey.
            let room = tint.is_none() && intake::memory_needed(path) <= series.wanted.budget.bytes;
            let colour = if room { intake::colour(path, &series.wanted.overrides).ok() } else { None };
            let colour = colour.map(|c| if whole { c } else { thumbnail(&c, plane.width as u32, plane.height as u32) });
            shown.take(&answer, k, &Pixels { plane: &plane, colour: colour.as_ref(), tint });
        }
        shown
    });
    (answer, shown)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_broken_comparison_costs_no_other() {
        let compared = |k: usize| survived(|| if k == 1 { panic!("no {k}") } else { k });
        assert_eq!((0..3).filter_map(compared).collect::<Vec<usize>>(), [0, 2]);
    }
}
