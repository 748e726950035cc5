//! Words for corners that differ from their mirror images.

use super::terms::{corner_name, px};
use crate::diagnose::{Cause, Diagnosis, Lean, ZoneName};

/// Which side is worse and by how much, where a corner is beyond its mirror image by more than the permitted blur.
pub(super) fn one_sided(d: &Diagnosis) -> String {
    let named = d.verdict.cause == Cause::LensAsymmetry || d.verdict.also.contains(&Cause::LensAsymmetry);
    match d.lean() {
        Some(lean) if named || lean.beyond => {
            let what = what(&lean);
            // What stands near fills a lower corner alone; a lens out of line softens the upper one, too.
            let low = matches!(lean.corner, ZoneName::BottomLeft | ZoneName::BottomRight);
            let near = if !lean.side && low && !named { "something near out of focus there, or a lens " } else { "" };
            let by = px(lean.by_px);
            format!(
                "; the {what} is worse than its mirror image by {by}: {near}decentred or tilted, check with a flat far subject"
            )
        }
        _ if named => ": decentred or tilted, check with a flat far subject".into(),
        _ => String::new(),
    }
}

/// The softer side, or the softer corner.
fn what(lean: &Lean) -> String {
    let side = if matches!(lean.corner, ZoneName::TopLeft | ZoneName::BottomLeft) { "left side" } else { "right side" };
    if lean.side { side.into() } else { format!("{} corner", corner_name(lean.corner)) }
}

/// How the corners differ from their mirror images: by side, or by pair where upper and lower lean opposite ways.
pub(super) fn sides(d: &Diagnosis) -> String {
    let blur = |name| d.zone(name).and_then(|z| z.optical_px).map(|e| e.value);
    let [tl, tr, bl, br] =
        [ZoneName::TopLeft, ZoneName::TopRight, ZoneName::BottomLeft, ZoneName::BottomRight].map(blur);
    if let (Some(tl), Some(tr), Some(bl), Some(br)) = (tl, tr, bl, br)
        && d.corners_cross()
    {
        let at = |l: f64, r: f64, row: &str| match l > r {
            true => format!("{} at the {row} left against {} at the {row} right", px(l), px(r)),
            false => format!("{} at the {row} right against {} at the {row} left", px(r), px(l)),
        };
        return format!("opposite corners are soft, {}, {}", at(tl, tr, "top"), at(bl, br, "bottom"));
    }
    // Where upper and lower corners lean opposite ways, however little the one pair does, no side is the softer.
    if let (Some(tl), Some(tr), Some(bl), Some(br), Some(lean)) = (tl, tr, bl, br, d.lean())
        && (tl - tr) * (bl - br) < 0.0
    {
        let upper = matches!(lean.corner, ZoneName::TopLeft | ZoneName::TopRight);
        let (a, b) = if upper { (tl, tr) } else { (bl, br) };
        let (soft, sharp) = (px(a.max(b)), px(a.min(b)));
        return format!(
            "the {} corner is softer than its mirror image, {soft} against {sharp}",
            corner_name(lean.corner)
        );
    }
    let worse = |a: Option<f64>, b: Option<f64>| a.into_iter().chain(b).reduce(f64::max);
    match (worse(tl, bl), worse(tr, br)) {
        (Some(l), Some(r)) => {
            format!("one side is softer than the other, {} at the left corners against {} at the right", px(l), px(r))
        }
        _ => "one side is softer than the other, beyond the permitted blur".into(),
    }
}
