//! The normal law, and that of an error with something added that is never below nought.

use std::f64::consts::{SQRT_2, TAU};

/// Density of the normal law of mean nought and this standard deviation.
pub(crate) fn normal_density(x: f64, sd: f64) -> f64 {
    (-0.5 * (x / sd).powi(2)).exp() / (sd * TAU.sqrt())
}

/// Share of the standard normal law beyond a place.
pub(crate) fn normal_beyond(x: f64) -> f64 {
    0.5 * libm::erfc(x / SQRT_2)
}

/// Density of a normal error plus an exponential excess of this mean (the exponentially modified Gaussian: Grushka 1972,
/// Anal. Chem. 44, 1733).
pub(crate) fn excess_density(x: f64, sd: f64, excess: f64) -> f64 {
    let z = sd / excess - x / sd;
    if z > 25.0 {
        // The complement underflows and its factor overflows; to leading order their product is the normal density's.
        return normal_density(x, sd) * sd / (excess * z);
    }
    (0.5 * (sd / excess).powi(2) - x / excess).exp() * normal_beyond(z) / excess
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shares_of_the_normal_law() {
        // Abramowitz & Stegun 1964, table 26.1: P(1) = 0.84134 47461, P(2) = 0.97724 98681, P(3) = 0.99865 01020.
        for (x, below) in [(1.0, 0.841_344_746_1), (2.0, 0.977_249_868_1), (3.0, 0.998_650_102_0)] {
            assert!((1.0 - normal_beyond(x) - below).abs() < 1e-10);
            assert!((normal_beyond(-x) - below).abs() < 1e-10);
        }
    }

    #[test]
    fn the_law_of_an_excess_sums_to_one_with_its_mean() {
        for (sd, excess) in [(1.0, 0.5), (0.2, 1.0), (1.0, 0.03)] {
            let step = 0.005;
            let at = |i: i32| f64::from(i) * step;
            let of = |i: i32| excess_density(at(i), sd, excess) * step;
            let (sum, mean) = (-2000..6000).fold((0.0, 0.0), |(s, m), i| (s + of(i), m + at(i) * of(i)));
            assert!((sum - 1.0).abs() < 2e-3 && (mean - excess).abs() < 5e-3, "{sd} {excess}: {sum} {mean}");
        }
    }
}
