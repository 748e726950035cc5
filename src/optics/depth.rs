//! Hyperfocal distance, and the focus that blurs both ends alike.

/// Hyperfocal distance, mm: H = f^2 / (N c) + f. Focused there, infinity has a blur disc of `disc_mm`.
#[must_use]
pub fn hyperfocal_mm(focal_mm: f64, f_number: f64, disc_mm: f64) -> f64 {
    focal_mm * focal_mm / (f_number * disc_mm) + focal_mm
}

/// Focus distance at which near and far are blurred alike: 2nF / (n + F), hence 2n for an infinite far.
///
/// Any unit, the same for all three: it is the harmonic mean.
#[must_use]
pub fn equal_blur_focus(near: f64, far: f64) -> f64 {
    2.0 / (1.0 / near + 1.0 / far)
}
