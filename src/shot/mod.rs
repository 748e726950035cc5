//! Shot: all that is known of a photograph once it has been read.

mod capture;
mod plane;
mod tint;

pub use capture::{Capture, Fact, Source, fixed_aperture};
pub use plane::{JpegBlocks, Mosaic, Plane};
pub use tint::{Between, Tint};

use crate::quantity::Flag;

/// One photograph, read.
#[derive(Clone, Debug)]
pub struct Shot {
    /// The file as the user named it.
    pub file: String,
    /// Linear luminance, upright.
    pub plane: Plane,
    /// What the file says about how it was taken.
    pub capture: Capture,
    /// What a reader of its numbers should know.
    pub flags: Vec<Flag>,
    /// Share of the picture that is in the file, where it was cut short; the rest of the plane is white.
    pub coded: Option<f64>,
    /// Its colours, where they came with the luminance at no cost.
    pub tint: Option<Tint>,
}
