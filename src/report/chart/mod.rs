//! Charts as SVG strings: blur against height in the frame, against distance from the centre, against aperture.
//!
//! Colours are left to the page's style where it has one: every colour is a `var()` with a fallback.

mod frame;
mod paper;
mod stops;

pub(super) use frame::{height, pixel, radius};
pub(super) use paper::standalone;
pub(super) use stops::apertures;
