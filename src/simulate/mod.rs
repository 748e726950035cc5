//! Scenes of known blur. Uses neither `optics` nor `measure`, so that one wrong formula can't confirm itself.

pub mod camera;
mod canvas;
mod convolve;
pub mod file;
mod noise;
mod object;
mod painter;
mod patch;
pub mod psf;
pub mod recipes;
mod render;
pub mod scene;
mod scenery;
pub mod sensor;
mod texture;
mod tiles;
mod waves;

pub use camera::{Camera, Lens};
pub use canvas::View;
pub use patch::{PatchSpec, patch, patch_luminance, render_patch};
pub use psf::{Psf, Pupil, Transfer, Truth};
pub use render::{Rendered, landscape};
pub use scene::{Ground, Kind, Object, SceneSpec, Sky, Tarn};
pub use scenery::Surface;
pub use sensor::Noise;
pub use texture::Texture;
pub use tiles::TileTruth;
