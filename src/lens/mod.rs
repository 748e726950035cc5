//! The lens's own share of the blur: what it always does, by f-number and place in the frame.
//!
//! Three ways to learn it: an aperture series of a flat or far subject, a focus series (which tells field
//! curvature from softness), or the sharpest parts of a whole shoot. Content and focus only ever add blur, so
//! every fit looks for the lower envelope.

mod asymmetry;
mod baseline;
mod doubt;
mod field;
mod focus;
mod glass;
mod kind;
mod learn;
mod place;
pub mod record;
mod sample;

pub use asymmetry::{Asymmetry, REAL, Sides, asymmetries};
pub use baseline::{Baseline, Curvature, Entry, LearnedFrom};
pub use doubt::{Doubt, doubts};
pub use focus::learn_focus_series;
pub use glass::Glass;
pub(crate) use glass::set_alike;
pub(crate) use kind::kind;
pub use learn::{learn_aperture_series, learn_from_shoot, learn_shoot};
pub(crate) use place::Lie;
pub use sample::{LeftOut, Unsuitable, left_out};
