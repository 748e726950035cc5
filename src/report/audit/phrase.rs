//! Short names of causes, zones, states and standings, for tables and labels.

use super::view::{CornersView, FrameView, VerdictView, ZoneView};
use crate::diagnose::{Cause, CornerState, ZoneName};
use crate::report::say::caution::IN_SHORT;
use crate::report::say::name::capital;

/// What is said where an audit was stopped before it had looked at all frames.
pub(super) fn stopped(unreached: usize) -> Option<String> {
    match unreached {
        0 => None,
        1 => Some("Stopped early: one frame was not looked at, and scenes may not have been compared.".into()),
        n => Some(format!("Stopped early: {n} frames were not looked at, and scenes may not have been compared.")),
    }
}

/// A cause's one name with a capital, as it stands at the head of a row.
pub(super) fn cause_name(cause: Cause) -> String {
    capital(cause.word())
}

/// What to change next time, for a whole shoot.
pub(super) fn next_time(cause: Cause) -> String {
    let words = match cause {
        Cause::SharpThroughout => "Nothing to change.",
        Cause::FocusTooFar => "Focus nearer: at about twice the distance of the nearest thing that matters.",
        Cause::FocusTooNear => "Focus farther: at about twice the distance of the nearest thing that matters.",
        Cause::TooLittleDepth => {
            return format!(
                "Stop down, give the foreground more room, or take two frames at two focus distances. {IN_SHORT}"
            );
        }
        Cause::Diffraction => "Open up a stop or two; past there the whole frame softens.",
        Cause::Motion => "Steady the camera, use a shorter exposure, or wait for the wind to drop.",
        Cause::LensAsymmetry => {
            "Photograph a flat, distant scene square on and compare the corners; the lens may need a check."
        }
        Cause::LensSoftness => "Use the lens where it is at its best, a stop or two down, or leave room at the edges.",
        Cause::Processing => "Judge and keep the camera's own full-size file, the raw one where there is one.",
        Cause::CannotTell => "Put something with fine detail near the camera and at the horizon in one test frame.",
    };
    words.into()
}

/// A zone's name.
pub(super) const fn zone_name(zone: ZoneName) -> &'static str {
    match zone {
        ZoneName::Near => "Near",
        ZoneName::Far => "Far",
        ZoneName::Centre => "Centre",
        ZoneName::MidFrame => "Mid-frame",
        ZoneName::TopLeft => "Top left",
        ZoneName::TopRight => "Top right",
        ZoneName::BottomLeft => "Bottom left",
        ZoneName::BottomRight => "Bottom right",
        ZoneName::Subject => "Subject",
        ZoneName::Beside => "Before or behind it",
        ZoneName::Beyond => "Farthest from it",
        ZoneName::Still => "Unchanging",
    }
}

/// The corners in a few words.
pub(super) fn corners(c: &CornersView) -> &'static str {
    match (c.state, c.soft.is_empty()) {
        (CornerState::NotMeasured, _) => "not measured",
        (CornerState::SofterThanExpected, false) => "softer than expected",
        (CornerState::AsExpected, false) => "soft, as a lens may be",
        (CornerState::AsExpected, true) => "as expected",
        (CornerState::SofterThanExpected, true) => "no softer than the frame",
    }
}

/// The same in one word.
pub(super) fn corners_word(c: &CornersView) -> &'static str {
    match (c.state, c.soft.is_empty()) {
        (CornerState::NotMeasured, _) => "-",
        (CornerState::SofterThanExpected, false) => "softer",
        (CornerState::AsExpected, false) => "soft",
        (_, true) => "normal",
    }
}

/// A cause as the table has it; as on the page, "probably" where it is not firm. "Cannot tell" names none that could be.
pub(super) fn verdict(v: &VerdictView) -> String {
    match v.cause {
        Cause::CannotTell => v.cause.word().into(),
        cause if v.is_firm() => cause.word().into(),
        Cause::SharpThroughout => "probably sharp".into(),
        cause => format!("probably {}", cause.word()),
    }
}

/// What a zone of a frame came to.
pub(super) fn zone(f: &FrameView, name: ZoneName) -> &ZoneView {
    match name {
        ZoneName::Near => &f.zones.near,
        ZoneName::Far => &f.zones.far,
        // A single frame has no zones that only a series has.
        ZoneName::Centre
        | ZoneName::MidFrame
        | ZoneName::Subject
        | ZoneName::Beside
        | ZoneName::Beyond
        | ZoneName::Still => &f.zones.centre,
        ZoneName::TopLeft => &f.zones.top_left,
        ZoneName::TopRight => &f.zones.top_right,
        ZoneName::BottomLeft => &f.zones.bottom_left,
        ZoneName::BottomRight => &f.zones.bottom_right,
    }
}
