//! The optical part of a measured width, and how likely it is above a limit.

use crate::quantity::{Estimate, PIXEL_SIGMA};
use crate::stats::normal_beyond;

/// The optical part of a whole width, px: the pixel aperture taken out in quadrature, with the error carried over.
///
/// Where the whole is hardly wider than the pixel's own width the first-order error diverges; the error of the square
/// itself then sets it.
#[must_use]
pub fn optical(whole: Estimate) -> Estimate {
    let square = whole.value * whole.value - PIXEL_SIGMA * PIXEL_SIGMA;
    let value = square.max(0.0).sqrt();
    let sd = if value > whole.sd { whole.value * whole.sd / value } else { (2.0 * whole.value * whole.sd).sqrt() };
    Estimate::new(value, sd, whole.n)
}

/// Least standard deviation that a width is judged with, px. Chosen: nothing is measured more finely.
const LEAST_SD: f64 = 1e-3;

/// Probability that a width is above a limit, by the normal law.
#[must_use]
pub fn above(width: Estimate, limit: f64) -> f64 {
    normal_beyond((limit - width.value) / width.sd.max(LEAST_SD))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_pixel_is_taken_out_in_quadrature() {
        let o = optical(Estimate::new(0.5f64.hypot(PIXEL_SIGMA), 0.05, 9));
        assert!((o.value - 0.5).abs() < 1e-12 && (o.sd - 0.05 * 0.5f64.hypot(PIXEL_SIGMA) / 0.5).abs() < 1e-12);
        let none = optical(Estimate::new(0.9 * PIXEL_SIGMA, 0.02, 9));
        assert!(none.value == 0.0 && none.sd > 0.05, "{none:?}");
    }

    #[test]
    fn above_is_the_normal_law() {
        // Table of the normal law: a tenth lies beyond 1.2816 standard deviations.
        assert!((above(Estimate::new(1.0, 0.1, 1), 1.0 + 0.128_155) - 0.1).abs() < 1e-4);
        assert!((above(Estimate::new(1.0, 0.1, 1), 1.0) - 0.5).abs() < 1e-12);
    }
}
