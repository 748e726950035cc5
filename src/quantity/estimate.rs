//! A number with its uncertainty.

use serde::{Deserialize, Serialize};

/// A measured number: its value, its standard deviation in the same unit, and the count of
/// independent pieces of evidence behind it.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Estimate {
    /// Best value.
    pub value: f64,
    /// One standard deviation of `value`, same unit, never negative.
    pub sd: f64,
    /// How many independent pieces of evidence (edges, tiles, frames) it rests on.
    pub n: u32,
}

impl Estimate {
    /// An estimate from its parts.
    #[must_use]
    pub const fn new(value: f64, sd: f64, n: u32) -> Self {
        Self { value, sd, n }
    }

    /// The same estimate in another unit, `factor` new units to one old.
    #[must_use]
    pub fn scaled(self, factor: f64) -> Self {
        Self { value: self.value * factor, sd: self.sd * factor.abs(), n: self.n }
    }
}
