//! The lens's own share of the blur: what it always does, by f-number and place in the frame.

mod baseline;

pub use baseline::{Baseline, Entry};
