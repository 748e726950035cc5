//! Charts of a frame as SVG strings: blur against height in it, and against distance from its centre; and what all charts are
//! drawn on.
//!
//! Colours are left to the page's style where it has one: every colour is a `var()` with a fallback.

mod frame;
pub(super) mod paper;

pub(super) use frame::{height, pixel, radius};
pub(super) use paper::{labelled, standalone};
