//! Powers in two bytes each, for a frame has millions of them.

use half::f16;

/// A power of samples of 16 bits, to a tenth of a per cent: its root, divided so that the strongest detail there can be
/// does not overflow.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Power(f16);

/// Divisor of the powers' roots. Derived: a sine wave from black to white reads 5e11 under the Hann window, and its root must fit.
const UNIT: f64 = 16.0;

impl Power {
    pub(super) fn new(power: f64) -> Self {
        Self(f16::from_f64(power.sqrt() / UNIT))
    }

    pub(super) fn get(self) -> f64 {
        (UNIT * self.0.to_f64()).powi(2)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn powers_from_quantisation_to_full_contrast_are_kept() {
        for power in [1.0 / 12.0, 0.3, 7.7e3, 1.234e6, 9.9e9, 5e11] {
            assert!((Power::new(power).get() / power - 1.0).abs() < 1e-3, "{power}");
        }
    }
}
