//! Diffraction by a round aperture: MTF against frequency over the cut-off, and the Airy pattern's scales.

use std::f64::consts::PI;

/// MTF50 of diffraction alone times lambda N: frequency over the cut-off at which the MTF is one half. Derived: half
/// contrast of a clear round pupil.
pub const MTF50: f64 = 0.403_972_753_3;

/// MTF at `s`, the frequency over the cut-off 1 / (lambda N).
///
/// (2/pi)(acos s - s sqrt(1 - s^2)), zero from the cut-off on: the autocorrelation of a circle (Hopkins 1955;
/// any optics handbook).
#[must_use]
pub fn mtf(s: f64) -> f64 {
    let s = s.abs();
    if s < 1.0 { 2.0 / PI * (s.acos() - s * (1.0 - s * s).sqrt()) } else { 0.0 }
}
