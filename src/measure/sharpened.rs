//! What overshoot says of sharpening: the one home of that rule.
//!
//! Light adds up without going below nothing, so a blurred edge climbs without a dip or a crest whatever the lens is; sharpening
//! makes both. Three questions are asked of that, and each has its own answer: does a whole frame show it, is a frame
//! sharpened so much that a lens can't be learned from it, and does a single edge show it.
//!
//! The lost width can't be had back from the file: masks much finer or much wider than the blur narrow it by up to a
//! fifth without an overshoot to tell.

use crate::quantity::Estimate;

/// Overshoot (as a share of the step, just beyond the edges, median over the frame) from which a frame shows sharpening. Set on
/// 297 unsharpened rendered landscapes, none of which comes to more, uneven ground and JPEG included.
const SHOWN: f64 = 0.018;
/// Overshoot of a frame from which it is sharpened strongly. Chosen: well beyond what uneven ground and compression leave.
const STRONG: f64 = 0.10;
/// Overshoot of a single edge, at its highest, from which it shows sharpening: its own ground is not averaged out as that of
/// many edges is. Chosen: that of a rendering on uneven ground at two thirds of what counts as level there (6 % of the step).
const SHOWN_BY_EDGE: f64 = 0.04;
/// Standard deviations by which a frame's overshoot must pass a limit. Chosen: one frame in a thousand passes by chance.
const SURE: f64 = 3.0;

/// Whether a frame shows sharpening, by the typical overshoot of its edges.
#[must_use]
pub fn shown(frame: Estimate) -> bool {
    frame.value - SURE * frame.sd > SHOWN
}

/// Whether a frame is sharpened so strongly that it would misrepresent its lens. What is less, as most cameras do to their own
/// JPEGs, is left to the flag that the frame carries.
#[must_use]
pub fn strong(frame: Estimate) -> bool {
    frame.value - SURE * frame.sd > STRONG
}

/// Whether a single edge shows sharpening, by how far it passes its plateaus.
pub(crate) fn shown_by_edge(overshoot: f64) -> bool {
    overshoot > SHOWN_BY_EDGE
}
