//! The corners in words.

use super::sides;
use super::terms::{corner_name, px};
use crate::diagnose::{Basis, CornerState, Diagnosis, Undecided, ZoneName};
use crate::judge::Judgement;
use crate::quantity::{Estimate, Flag};
use crate::report::say::number;

/// Soft corners in a few words, by side where two share one: "right side soft".
pub(super) fn part(soft: &[ZoneName]) -> Option<&'static str> {
    use ZoneName::{BottomLeft, BottomRight, TopLeft, TopRight};
    let has = |name| soft.contains(&name);
    Some(match [TopLeft, TopRight, BottomLeft, BottomRight].map(has) {
        [false, false, false, false] => return None,
        [true, false, false, false] => "top left corner soft",
        [false, true, false, false] => "top right corner soft",
        [false, false, true, false] => "bottom left corner soft",
        [false, false, false, true] => "bottom right corner soft",
        [true, false, true, false] => "left side soft",
        [false, true, false, true] => "right side soft",
        [true, true, false, false] => "upper corners soft",
        [false, false, true, true] => "lower corners soft",
        [true, false, false, true] | [false, true, true, false] => "opposite corners soft",
        _ => "corners soft",
    })
}

/// The names of some zones, as [`part`] takes them.
pub(super) fn names(soft: &[(ZoneName, Estimate)]) -> Vec<ZoneName> {
    soft.iter().map(|s| s.0).collect()
}

/// What is said of the corners of a frame that is sharp from near to far, where one is soft.
pub(super) fn aside(d: &Diagnosis, flags: &[Flag]) -> Option<String> {
    let &(zone, blur) = d.soft_corners().first()?;
    let (name, blur) = (corner_name(zone), px(blur.value));
    Some(match d.corners.state {
        CornerState::SofterThanExpected if d.corners.basis == Basis::Assumed => {
            format!("the {name} corner is softer ({blur}) than most lenses are")
        }
        CornerState::SofterThanExpected => format!("the {name} corner is softer ({blur}) than this lens should be"),
        _ if explained(d, flags) => {
            let known = if d.corners.learned_one_sided { ": it was learned to be softer on that side" } else { "" };
            format!("the {name} corner is softer ({blur}), which is the lens, not your focus{known}")
        }
        // No even lens draws one corner plainly softer than the one across from it.
        _ if d.lean().is_some_and(|l| l.beyond && l.corner == zone) => format!(
            "the {name} corner is softer ({blur}) than the one across from it: something nearer or farther stands there, or \
             the lens is out of line"
        ),
        _ => format!("the {name} corner is softer ({blur}) than what lies beside it, by no more than many lenses are"),
    })
}

/// Whether the lens is to blame for soft corners, as far as it is known apart from these very frames.
fn explained(d: &Diagnosis, flags: &[Flag]) -> bool {
    d.lens_explains_corners() && !flags.contains(&Flag::LensBaselineProvisional)
}

/// The corners, said plainly as corners; `flags` are those of the frame.
pub(super) fn sentence(d: &Diagnosis, flags: &[Flag]) -> String {
    let c = &d.corners;
    let basis = match c.basis {
        Basis::Learned if flags.contains(&Flag::LensBaselineProvisional) => {
            "learned from these very frames, so provisional"
        }
        Basis::Learned => "learned for this lens",
        Basis::Assumed => "assumed, since this lens has not been learned",
    };
    let expected = d
        .corners_in_focus_px()
        .map_or_else(String::new, |e| format!(" ({} px expected there in focus, {basis})", number::with_sd(e)));
    let one_sided = sides::one_sided(d);
    let passing = ZoneName::CORNERS.iter().all(|&z| d.answer(z).judgement != Judgement::Beyond);
    let mut text = match (c.state, d.soft_corners().first()) {
        (CornerState::NotMeasured, _) => return "No corner could be measured.".into(),
        (_, None) if passing => format!("The corners are within the permitted blur or at its limit{expected}."),
        (_, None) => format!("The corners are no softer than what lies beside them{expected}."),
        (CornerState::AsExpected, Some(&(name, blur))) => {
            let whose = if explained(d, flags) {
                "this corner is the lens, not your focus"
            } else {
                "no more than many lenses leave there"
            };
            format!("The {} corner reads {}: {whose}{expected}.", corner_name(name), px(blur.value))
        }
        (CornerState::SofterThanExpected, Some(&(name, blur))) => format!(
            "The {} corner reads {}, beyond what {} do{expected}{one_sided}.",
            corner_name(name),
            px(blur.value),
            if c.basis == Basis::Assumed { "most lenses" } else { "this lens should" }
        ),
    };
    // A curved field is the same on either side: it softens no corner and leaves the one across from it sharp.
    match c.field_curvature.filter(|_| c.state != CornerState::SofterThanExpected || one_sided.is_empty()) {
        Some(Undecided::Favoured) => {
            text.push_str(
                " Best focus at another distance in the corners (field curvature) fits better than softness.",
            );
        }
        Some(Undecided::Undecided) => {
            text.push_str(" Field curvature would explain it as well; a frame focused a little elsewhere would tell.");
        }
        Some(Undecided::Excluded) | None => {}
    }
    text
}
