//! The corners in words, and which of them are softer than what lies beside them: the one rule that the sentence, the table,
//! the page and what is proposed go by.

use super::sides;
use super::terms::px;
use crate::diagnose::{Basis, CornerState, Diagnosis, Undecided, ZoneName};
use crate::judge::{self, Judgement, ROOM};
use crate::optics::blur::{Parts, sigma_px};
use crate::quantity::{Estimate, Flag};
use crate::report::say::number;

/// Corners that are softer than what lies beside them, the widest first: beyond the permitted blur, and wider than the sharper
/// of the zones beside them by more than their errors and by more than the conventions for the permitted blur differ. What is
/// as soft as the frame is the frame's blur.
pub(super) fn soft(d: &Diagnosis) -> Vec<(ZoneName, Estimate)> {
    if d.corners.state == CornerState::NotMeasured {
        return Vec::new();
    }
    let width = |name| d.zone(name).and_then(|z| z.optical_px).filter(|_| known(d, name));
    let mut soft: Vec<(ZoneName, Estimate)> = ZoneName::CORNERS
        .into_iter()
        .filter(|&name| d.answer(name).judgement == Judgement::Beyond)
        .filter_map(|name| Some((name, width(name)?)))
        .filter(|&(name, corner)| beside(d, name).is_some_and(|b| wider(corner, b)))
        .collect();
    soft.sort_by(|a, b| b.1.value.total_cmp(&a.1.value));
    soft
}

fn known(d: &Diagnosis, name: ZoneName) -> bool {
    d.answer(name).judgement != Judgement::Unknown
}

/// The sharper of the zones beside a corner: the middle, and near or far as the corner lies low or high. Where that one is
/// itself out of focus it alone tells what the depth there does.
fn beside(d: &Diagnosis, corner: ZoneName) -> Option<Estimate> {
    let low = matches!(corner, ZoneName::BottomLeft | ZoneName::BottomRight);
    let end = if low { ZoneName::Near } else { ZoneName::Far };
    let width = |name| d.zone(name).and_then(|z| z.optical_px).filter(|_| known(d, name));
    if d.answer(end).judgement == Judgement::Beyond {
        return width(end);
    }
    [end, ZoneName::Centre].into_iter().filter_map(width).min_by(|a, b| a.value.total_cmp(&b.value))
}

fn wider(corner: Estimate, beside: Estimate) -> bool {
    corner.value > ROOM * beside.value && corner.value - beside.value > corner.sd.hypot(beside.sd)
}

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
    let &(name, blur) = soft(d).first()?;
    let (name, blur) = (corner_name(name), px(blur.value));
    Some(match d.corners.state {
        CornerState::SofterThanExpected => format!("the {name} corner is softer ({blur}) than this lens should be"),
        _ if explained(d, flags) => {
            format!("the {name} corner is softer ({blur}), which is the lens, not your focus")
        }
        _ => format!("the {name} corner is softer ({blur}) than what lies beside it, by no more than many lenses are"),
    })
}

/// Whether a lens that was learned is itself beyond the permitted blur in the corners: then it is to blame for them.
fn explained(d: &Diagnosis, flags: &[Flag]) -> bool {
    let learned = d.corners.basis == Basis::Learned && !flags.contains(&Flag::LensBaselineProvisional);
    let beyond = |e| judge::Answer::by(e, d.permitted_px, d.finest_px).judgement == Judgement::Beyond;
    learned && expected(d).is_some_and(beyond)
}

/// What the corners should read in focus, as a zone's number has it: the lens's own blur that is expected there with the
/// diffraction that the frame shows, the pixel taken out.
pub(super) fn expected(d: &Diagnosis) -> Option<Estimate> {
    let lens = d.corners.expected_px?;
    let lambda_n_px = d.model.as_ref().and_then(|m| m.lambda_n_px);
    let read = |lens_px: f64| {
        let parts = Parts { lambda_n_px, lens_px: lens_px.max(0.0), pixel: true, ..Parts::default() };
        judge::optical(Estimate::new(sigma_px(&parts), 0.0, 1)).value
    };
    let sd = 0.5 * (read(lens.value + lens.sd) - read(lens.value - lens.sd));
    Some(Estimate::new(read(lens.value), sd, lens.n))
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
    let expected = expected(d)
        .map_or_else(String::new, |e| format!(" ({} px expected there in focus, {basis})", number::with_sd(e)));
    let one_sided = sides::one_sided(d);
    let passing = ZoneName::CORNERS.iter().all(|&z| d.answer(z).judgement != Judgement::Beyond);
    let mut text = match (c.state, soft(d).first()) {
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
            "The {} corner reads {}, beyond what this lens should do{expected}{one_sided}.",
            corner_name(name),
            px(blur.value)
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

const fn corner_name(name: ZoneName) -> &'static str {
    match name {
        ZoneName::TopLeft => "top left",
        ZoneName::TopRight => "top right",
        ZoneName::BottomLeft => "bottom left",
        ZoneName::BottomRight => "bottom right",
        _ => "middle",
    }
}
