//! A frame judged with what its file says of it, for all commands alike.

use crate::diagnose::{Diagnosis, diagnose, doubted};
use crate::lens::Baseline;
use crate::measure::TileMap;
use crate::quantity::{Flag, Intent};
use crate::shot::Capture;

/// The diagnosis of a frame with what its file says of it.
pub(super) fn judged(
    map: &TileMap,
    capture: &Capture,
    flags: &[Flag],
    lens: Option<&Baseline>,
    intent: &Intent,
) -> Diagnosis {
    let mut found = diagnose(map, &trusted(capture, flags), lens, intent);
    doubted(&mut found, flags);
    found
}

/// The facts that the diagnosis may lean on: a focus distance that can't be is shown, but not believed.
pub(super) fn trusted(capture: &Capture, flags: &[Flag]) -> Capture {
    let mut capture = capture.clone();
    if flags.contains(&Flag::FocusDistanceImpossible) {
        capture.focus_distance_m = None;
    }
    capture
}
