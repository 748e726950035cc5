//! Charts as SVG strings: blur against height in the frame, against distance from the centre, against aperture.
//!
//! Colours are left to the page's style where it has one: every colour is a `var()` with a fallback.

mod frame;
mod paper;
mod stops;

pub use frame::{height, pixel, radius};
pub use paper::standalone;
pub use stops::apertures;
