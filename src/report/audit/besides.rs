//! Words for the causes that go beyond the permitted blur beside the one that is named.

use crate::diagnose::{Cause, Diagnosis};
use crate::quantity::Units;
use crate::report::say::camera;
use crate::report::say::name::{capital, listed};

/// Confidence below which one of the others may be the stronger.
const EVEN: f64 = 0.55;

/// What else has a part in the frame's blur, in a sentence; `None` where nothing has, or where the verdict is open.
pub(super) fn sentence(d: &Diagnosis) -> Option<String> {
    let names: Vec<&str> = d.verdict.also.iter().map(|&c| c.word()).collect();
    let listed = listed(&names).filter(|_| d.verdict.cause != Cause::CannotTell)?;
    let has = if names.len() == 1 { "has" } else { "have" };
    let order = if d.verdict.confidence < EVEN { "; which of them weighs most is not sure" } else { "" };
    // More likely than not is all that is known of them.
    Some(format!("{} probably {has} a part in it too{order}.", capital(&listed)))
}

/// What to do about them, where the advice for the named cause does not already say it.
pub(super) fn advice(d: &Diagnosis, units: Units) -> Option<String> {
    let focus = |c: &Cause| c.is_focus();
    let (cause, also) = (d.verdict.cause, &d.verdict.also);
    if cause == Cause::CannotTell {
        None
    } else if cause != Cause::Motion && also.contains(&Cause::Motion) {
        Some("And steady the camera.".into())
    } else if !focus(&cause) && also.iter().any(focus) {
        Some(d.implied.right_focus_m.map_or_else(
            || "And focus at twice the distance of the nearest thing that must be sharp.".into(),
            |m| format!("And focus at about {}.", camera::distance(m, units)),
        ))
    } else {
        None
    }
}
