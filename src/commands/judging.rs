//! A frame judged with what its file says of it, for all commands alike.

use super::remember::Memory;
use crate::diagnose::{Diagnosis, diagnose, doubted};
use crate::lens::Baseline;
use crate::measure::TileMap;
use crate::output::store::Key;
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

/// The diagnosis of a measured frame, made or recalled: it rests on what was asked and on the baseline of the lens.
pub(super) fn diagnosed(
    memory: &Memory,
    key: Option<Key>,
    (map, capture, flags): (&TileMap, &Capture, &[Flag]),
    baseline: Option<&Baseline>,
    intent: &Intent,
) -> Diagnosis {
    let asked = memory.build_key(key.as_slice(), &format!("diagnosis {intent:?} {baseline:?}"));
    memory.recall(asked.as_ref()).unwrap_or_else(|| {
        let made = judged(map, capture, flags, baseline, intent);
        memory.remember(asked, &made);
        made
    })
}
