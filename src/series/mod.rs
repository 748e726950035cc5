//! Several frames of one scene: found, compared tile by tile, and answered: which aperture, which frames to blend.
//!
//! Pure functions: facts, small pictures, spectra and tile maps in, answers out.

pub mod aperture;
pub mod bracket;
mod content;
pub mod fit;
mod focusing;
mod group;
mod resolve;
mod sharpest;
mod zone;

pub use content::{without_soft_content, without_still_content};
pub use group::{Group, Lone, Member, Varied, group, group_by, lone};
pub use resolve::{Blurs, Frame, on_reference, resolve};
pub use sharpest::{Sharpest, focus_varied, sharpest};
pub use zone::{Point, Zone, ZoneBlur, ZoneName, frame_zones, zone_blurs};
