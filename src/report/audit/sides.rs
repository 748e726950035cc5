//! Words for corners that differ from their mirror images.

use super::terms::px;
use crate::diagnose::{Cause, Diagnosis, ZoneName};
use crate::quantity::Estimate;

/// Whether one width is beyond another by more than the permitted blur in quadrature, as the corners are judged, and by two
/// standard deviations.
fn beyond(a: Estimate, b: Estimate, permitted_px: f64) -> bool {
    let apart = (a.value * a.value - b.value * b.value).abs();
    apart - 2.0 * (2.0 * a.value * a.sd).hypot(2.0 * b.value * b.sd) > permitted_px * permitted_px
}

/// Which side is worse and by how much, where a corner is beyond its mirror image by more than the permitted blur.
pub(super) fn one_sided(d: &Diagnosis) -> String {
    let blur = |name| d.zone(name).and_then(|z| z.optical_px);
    let rows =
        [("top", ZoneName::TopLeft, ZoneName::TopRight), ("bottom", ZoneName::BottomLeft, ZoneName::BottomRight)];
    let pairs: Vec<(&str, Estimate, Estimate)> =
        rows.iter().filter_map(|&(row, l, r)| Some((row, blur(l)?, blur(r)?))).collect();
    let leans: Vec<(&str, f64)> = pairs.iter().map(|&(row, l, r)| (row, l.value - r.value)).collect();
    let named = d.verdict.cause == Cause::LensAsymmetry || d.verdict.also.contains(&Cause::LensAsymmetry);
    let apart = pairs.iter().any(|&(_, l, r)| beyond(l, r, d.permitted_px));
    match leans.iter().max_by(|a, b| a.1.abs().total_cmp(&b.1.abs())) {
        Some(&(row, more)) if named || apart || more.abs() > d.permitted_px => {
            let side = if more > 0.0 { "left" } else { "right" };
            let alike = |&(_, other): &(&str, f64)| other * more > 0.0 && other.abs() > 0.5 * d.permitted_px;
            let corner = leans.len() < rows.len() || !leans.iter().all(alike);
            let what = if corner { format!("{row} {side} corner") } else { format!("{side} side") };
            // What stands near fills a lower corner alone; a lens out of line softens the upper one, too.
            let near =
                if corner && row == "bottom" && !named { "something near out of focus there, or a lens " } else { "" };
            let by = px(more.abs());
            format!(
                "; the {what} is worse than its mirror image by {by}: {near}decentred or tilted, check with a flat far subject"
            )
        }
        _ if named => ": decentred or tilted, check with a flat far subject".into(),
        _ => String::new(),
    }
}

/// How the corners differ from their mirror images: by side, or by pair where upper and lower lean opposite ways.
pub(super) fn sides(d: &Diagnosis) -> String {
    let blur = |name| d.zone(name).and_then(|z| z.optical_px).map(|e| e.value);
    let [tl, tr, bl, br] =
        [ZoneName::TopLeft, ZoneName::TopRight, ZoneName::BottomLeft, ZoneName::BottomRight].map(blur);
    if let (Some(tl), Some(tr), Some(bl), Some(br)) = (tl, tr, bl, br)
        && (tl - tr) * (bl - br) < 0.0
        && (tl - tr).abs().min((bl - br).abs()) > 0.5 * d.permitted_px
    {
        let at = |l: f64, r: f64, row: &str| match l > r {
            true => format!("{} at the {row} left against {} at the {row} right", px(l), px(r)),
            false => format!("{} at the {row} right against {} at the {row} left", px(r), px(l)),
        };
        return format!("opposite corners are soft, {}, {}", at(tl, tr, "top"), at(bl, br, "bottom"));
    }
    let worse = |a: Option<f64>, b: Option<f64>| a.into_iter().chain(b).reduce(f64::max);
    match (worse(tl, bl), worse(tr, br)) {
        (Some(l), Some(r)) => {
            format!("one side is softer than the other, {} at the left corners against {} at the right", px(l), px(r))
        }
        _ => "one side is softer than the other, beyond the permitted blur".into(),
    }
}
