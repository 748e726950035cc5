//! Several frames of one scene: found, compared tile by tile, and answered: which aperture, which frames to blend.
//!
//! Pure functions: facts, small pictures, spectra and tile maps in, answers out.

pub mod aperture;
pub mod bracket;
pub mod fit;
mod group;
mod resolve;
mod zone;

pub use group::{Group, Member, Sharpest, Varied, group, sharpest};
pub use resolve::{Blurs, Frame, on_reference, resolve};
pub use zone::{Point, Zone, ZoneBlur, ZoneName, frame_zones, zone_blurs};
