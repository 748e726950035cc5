//! The words every other module speaks: estimates with their uncertainty, lengths, flags, points and intended uses.
//!
//! Depends on nothing else in the crate.

mod estimate;
mod flag;
mod intent;
mod length;
mod plain;
pub(crate) mod plausible;
mod point;
pub mod srgb;
mod zone;

pub use estimate::Estimate;
pub use flag::Flag;
pub use intent::{FINEST_DISC_PX, Intent, SharpFor, Units};
pub use length::{Distance, LengthError, parse_distance, parse_length};
pub use plain::{invisible, plain, plain_json, shown};
pub use point::{Place, Point, Region};
pub(crate) use zone::CORNER_SHARE;
pub use zone::ZoneName;

/// MTF50 (cycles a pixel) times the Gaussian-equivalent sigma (pixels) it stands for. The whole program quotes blur in
/// this unit. Derived: a Gaussian line spread of width sigma has MTF exp(-2 pi^2 sigma^2 f^2), which is one half at f =
/// sqrt(ln 2 / 2) / (pi sigma) = 0.187391 / sigma.
pub const MTF50_SIGMA: f64 = 0.187_390_625_129_276_6;

/// Gaussian-equivalent sigma of a uniform disc, as a share of its diameter, by equal MTF50. Derived: the disc's MTF is
/// 2 J1(pi c f) / (pi c f), one half at f = 0.705085 / c.
pub const DISC_SIGMA: f64 = 0.265_769;

/// Gaussian-equivalent sigma of the aperture of a pixel one pixel wide, px, by equal MTF50. Derived: the box's MTF is
/// sinc(f), one half at f = 0.603355 cycles a pixel.
pub(crate) const PIXEL_SIGMA: f64 = MTF50_SIGMA / 0.603_355;

/// Gaussian-equivalent sigma of a straight, even track along itself, as a share of its length, by equal MTF50. Derived:
/// as that of a pixel, a box too.
pub(crate) const TRACK_SIGMA: f64 = 0.310_58;
