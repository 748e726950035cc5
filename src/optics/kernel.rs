//! MTFs of the plain kernels blur is made of, and their half-contrast frequencies.

use std::f64::consts::PI;

use super::hopkins;

/// MTF50 of a box (straight motion, pixel aperture) times its width. Derived: sinc(x) = 1/2.
pub const BOX_MTF50: f64 = 0.603_354_564_4;

/// MTF50 of a uniform disc times its diameter. Derived: 2 J1(pi x) / (pi x) = 1/2.
pub const DISC_MTF50: f64 = 0.705_084_844_5;

/// MTF50 of a straight track averaged over directions, times its length. Derived: the mean of sinc(x cos a) over
/// directions a is 1/2.
pub const TRACK_MTF50: f64 = 0.906_078_212_6;

/// MTF of a Gaussian line spread of width `sigma` at frequency `f` (any unit and its inverse).
#[must_use]
pub fn gaussian(sigma: f64, f: f64) -> f64 {
    (-2.0 * (PI * sigma * f).powi(2)).exp()
}

/// Transfer function of a box of `width` at frequency `f`: sin(pi b f) / (pi b f); negative beyond its zeros.
#[must_use]
pub fn sinc(width: f64, f: f64) -> f64 {
    let x = PI * width * f;
    if x.abs() < 1e-4 { 1.0 - x * x / 6.0 } else { x.sin() / x }
}

/// Transfer function of a straight track of `length` at frequency `f`, averaged over the directions of the
/// frequency: (1/z) * integral of J0 from 0 to z, z = pi times length times frequency.
///
/// The power series serves where it is exact to rounding, the average itself by quadrature beyond.
#[must_use]
pub fn track_all_directions(length: f64, f: f64) -> f64 {
    let z = (PI * length * f).abs();
    if z > 8.0 {
        let panels = 1 + (z / 8.0) as usize;
        return 2.0 / PI * hopkins::integrate(0.0, PI / 2.0, panels, |t| sinc(length * t.cos(), f));
    }
    let quarter = 0.25 * z * z;
    let (mut term, mut sum) = (1.0, 1.0);
    for k in 1..40 {
        let k = f64::from(k);
        term *= -quarter / (k * k);
        sum += term / (2.0 * k + 1.0);
        if term.abs() < 1e-17 {
            break;
        }
    }
    sum
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::{MTF50_SIGMA, PIXEL_SIGMA, TRACK_SIGMA};

    /// A pixel and a straight, even track are boxes; their widths are given to five digits.
    #[test]
    fn widths_of_pixel_and_track_are_those_of_a_box() {
        for sigma in [PIXEL_SIGMA, TRACK_SIGMA] {
            assert!((sigma * BOX_MTF50 / MTF50_SIGMA - 1.0).abs() < 1e-5, "{sigma}");
        }
    }
}
