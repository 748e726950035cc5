//! Scenes of known blur. Uses neither `optics` nor `measure`, so that one wrong formula can't confirm itself.

mod canvas;
mod convolve;
mod noise;
mod patch;
pub mod psf;
pub mod sensor;
mod texture;

pub use canvas::View;
pub use patch::{PatchSpec, patch, patch_luminance, render_patch};
pub use psf::{Psf, Pupil, Transfer, Truth};
pub use sensor::Noise;
pub use texture::Texture;
