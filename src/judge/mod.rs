//! The one home of what a width means: within the permitted blur, at the limit, or beyond it, and how sure that is.
//!
//! `diagnose` and `report` ask here; neither has a rule of its own. A width is judged by its optical part, the pixel
//! aperture taken out, against the permitted optical blur.

mod answer;
mod limit;
mod optical;
mod recorded;

pub use answer::{Answer, BEYOND, Judgement, Reason, WITHIN};
pub(crate) use limit::set_by;
pub use limit::{ROOM, SetBy, beyond_px, finest_px, permitted_px};
pub use optical::{above, optical};
pub(crate) use recorded::contradicts;

/// Confidence from which a statement is firm: it stands without "probably", and a wrong one counts as a fault of the
/// program. Chosen: four in five is what people take "probably" to stay below.
pub const SURE: f64 = 0.8;

/// Whether a statement of this confidence stands without "probably".
#[must_use]
pub fn is_firm(confidence: f64) -> bool {
    confidence >= SURE
}
