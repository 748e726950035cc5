//! Words for a verdict that is left open: why, and what would settle it.

use super::terms::{fixed_aperture, px};
use crate::diagnose::{Cause, Diagnosis, Unsettled, ZoneName};
use crate::judge::Judgement;
use crate::shot::Capture;

/// Why the verdict is open, without full stop; `None` where it isn't, or where the first answer has said it all.
pub(super) fn why(d: &Diagnosis) -> Option<String> {
    Some(match d.verdict.unsettled? {
        Unsettled::NothingMeasured => "too little in this frame could be measured".into(),
        Unsettled::NearUnmeasured => "nothing near the camera is fit to judge".into(),
        Unsettled::FarUnmeasured => "nothing far off is fit to judge".into(),
        Unsettled::FarHidden if seen_sharp(d) => {
            "haze hides the far scene; as far as can be seen the frame is sharp".into()
        }
        Unsettled::FarHidden => "haze hides the far scene".into(),
        Unsettled::CausesAlike => alike(d),
        Unsettled::Turned => "the picture may lie on its side, so which end is near can't be told".into(),
        Unsettled::Sharpened => {
            "sharpening in the camera or the editor narrowed the edges, and what it hides is near the limit".into()
        }
        Unsettled::FactsMissing => format!(
            "without f-number and pixel pitch, diffraction, defocus and the lens can't be told apart{}",
            evenness(d)
        ),
    })
}

/// Whether all that shows before a hidden far scene is sharp.
fn seen_sharp(d: &Diagnosis) -> bool {
    d.answer(ZoneName::Near).judgement.passes() && d.answer(ZoneName::Centre).judgement != Judgement::Beyond
}

/// Which end is softer and by how much, where the optics can't be told.
fn evenness(d: &Diagnosis) -> String {
    let width = |name| d.zone(name).and_then(|z| z.optical_px);
    let (Some(near), Some(far)) = (width(ZoneName::Near), width(ZoneName::Far)) else { return String::new() };
    let by = (near.value - far.value).abs();
    if by < 2.0 * near.sd.hypot(far.sd) {
        return "; near and far are soft alike".into();
    }
    let softer = if near.value > far.value { "near" } else { "far" };
    format!("; {softer} is the softer, by {}", px(by))
}

/// What would settle an open verdict.
pub(super) fn settle(d: &Diagnosis, capture: &Capture) -> &'static str {
    match d.verdict.unsettled {
        Some(Unsettled::NearUnmeasured) => {
            "Mark the nearest thing that must be sharp with --near-at, or take a frame with detail in the foreground."
        }
        Some(Unsettled::FarUnmeasured) => {
            "Mark the farthest thing that must be sharp with --far-at, or take a frame with a detailed horizon."
        }
        Some(Unsettled::FarHidden) => {
            "Mark the farthest thing that shows with --far-at, or judge the far scene from a frame taken in clear air."
        }
        Some(Unsettled::CausesAlike) if fixed_aperture(capture) => {
            "One more frame focused elsewhere, all else the same, would settle it."
        }
        Some(Unsettled::CausesAlike) => "One more frame at another aperture, all else the same, would settle it.",
        Some(Unsettled::Turned) => "Give --turn, or restore the orientation.",
        Some(Unsettled::Sharpened) => "Audit the raw file, or turn sharpening off for a test frame.",
        Some(Unsettled::FactsMissing) => "Give --aperture, --focal and --pitch, or audit the original file.",
        Some(Unsettled::NothingMeasured) | None => {
            "Put something with fine detail near the camera and at the horizon in one test frame."
        }
    }
}

/// How much likelier one explanation may be for two to count as about equal.
const EQUAL: f64 = 1.8;

/// The causes that share the weight, named.
fn alike(d: &Diagnosis) -> String {
    let likely: Vec<(&str, f64)> = d
        .verdict
        .weights
        .iter()
        .filter(|(c, w)| *c != Cause::CannotTell && *w > 0.05)
        .take(2)
        .map(|(c, w)| (c.word(), *w))
        .collect();
    match likely.as_slice() {
        [(a, most), (b, less)] if *most < EQUAL * less => format!("{a} and {b} explain this frame about equally well"),
        [(a, _), (b, _)] => format!("{a} explains this frame best, but not surely enough; {b} is the next likely"),
        [(a, _)] => format!("{a} explains this frame only in part"),
        _ => "the whole frame is soft by about the same, which neither focus nor depth, diffraction or movement \
              explains: the lens itself, processing in the camera or haze may"
            .into(),
    }
}
