//! Several frames of one scene: found, compared tile by tile, and answered: which aperture, which frames to blend.
//!
//! Pure functions: facts, small pictures, pixels and tile maps in, answers out.

mod answer;
pub mod aperture;
pub mod bracket;
mod compare;
mod content;
mod corners;
mod cover;
mod depth;
mod ends;
pub(crate) mod fit;
mod focusing;
mod frame_notes;
mod group;
mod lay;
mod moved;
mod odd;
mod order;
mod outdone;
mod resolve;
mod rivals;
mod scale;
mod seen;
mod sharpest;
mod smoothed;
mod tone;
mod whole;
mod why_uncovered;
mod why_ungrouped;
mod widths;
mod zone;

pub use crate::quantity::ZoneName;
pub use answer::{Answer, NoteKind};
pub use compare::{Ask, compare, limits_px, reference, zones};
pub use content::{without_soft_content, without_still_content};
pub use depth::by_depth;
pub use ends::{End, ends, settled, with_ends};
pub use frame_notes::shaken;
pub use group::{Group, Pauses, Varied, group, group_knowing, one_size};
pub use order::deepest_first;
pub use outdone::{Outdone, outdone};
pub use resolve::{Blurs, Frame, on_reference, resolve};
pub use scale::pitch_um;
pub use seen::{Held, Known, Recall, Seen};
pub use sharpest::{Between, Sharpest, between, focus_varied, sharpest};
pub use tone::tone_curve;
pub use why_ungrouped::{Lone, lone};
pub use zone::{Point, Zone, ZoneBlur, zone_blurs};

/// Mean of the middle half, nought of none.
fn middle_mean(values: Vec<f64>) -> f64 {
    crate::stats::middle_mean(&values).unwrap_or(0.0)
}
