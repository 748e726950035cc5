//! Pictures that several answers show: pixels of a frame, small or at 1:1, and their JPEG bytes.

mod encode;
mod hue;
mod pixels;

pub use encode::Picture;
pub(super) use encode::{ONE_TO_ONE, Raster, SMALL, encode};
pub use pixels::Pixels;
pub(super) use pixels::{Tone, at_one, data_uri, fit, overview, patch, small};
