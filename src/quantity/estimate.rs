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

    /// sqrt(value^2 - other^2) with first-order propagation, for taking a known part out of a
    /// width in quadrature. A difference below zero gives zero, with the sd of the boundary.
    ///
    /// Quadrature is exact for Gaussian parts only; use the exact integral in `optics` where the
    /// parts are a disc or a diffraction pattern and the answer matters to better than 10 %.
    #[must_use]
    pub fn minus_in_quadrature(self, other: f64) -> Self {
        let square = self.value * self.value - other * other;
        let value = square.max(0.0).sqrt();
        // d(value)/d(self.value) = self.value / value; at the boundary the spread of the square
        // itself, 2 * value * sd, is the honest scale.
        let sd = if value > self.sd { self.value * self.sd / value } else { (2.0 * self.value * self.sd).sqrt() };
        Self { value, sd, n: self.n }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quadrature_takes_the_legs_of_a_right_triangle_apart() {
        let rest = Estimate::new(5.0, 0.1, 3).minus_in_quadrature(4.0);
        assert!((rest.value - 3.0).abs() < 1e-12);
        assert!((rest.sd - 5.0 * 0.1 / 3.0).abs() < 1e-12);
    }

    #[test]
    fn quadrature_below_zero_is_zero_with_a_real_spread() {
        let rest = Estimate::new(0.30, 0.02, 3).minus_in_quadrature(0.31);
        assert!(rest.value == 0.0 && rest.sd > 0.05);
    }
}
