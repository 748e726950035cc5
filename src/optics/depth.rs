//! Hyperfocal distance, near and far limits for a permitted disc, and the focus that blurs both ends alike.

/// Hyperfocal distance, mm: H = f^2 / (N c) + f. Focused there, infinity has a blur disc of `disc_mm`.
#[must_use]
pub fn hyperfocal_mm(focal_mm: f64, f_number: f64, disc_mm: f64) -> f64 {
    focal_mm * focal_mm / (f_number * disc_mm) + focal_mm
}

/// Near and far limits, mm, within which the blur disc stays below `disc_mm` when focused at `focus_mm`.
///
/// near = s (H - f) / (H + s - 2f), far = s (H - f) / (H - s), the latter infinite from the hyperfocal
/// distance on. Source: the thin-lens equation, as in any handbook of photographic optics.
#[must_use]
pub fn limits_mm(focal_mm: f64, f_number: f64, disc_mm: f64, focus_mm: f64) -> (f64, f64) {
    let h = hyperfocal_mm(focal_mm, f_number, disc_mm);
    if focus_mm.is_infinite() {
        return (h - focal_mm, f64::INFINITY);
    }
    let near = focus_mm * (h - focal_mm) / (h + focus_mm - 2.0 * focal_mm);
    let far = if focus_mm < h { focus_mm * (h - focal_mm) / (h - focus_mm) } else { f64::INFINITY };
    (near, far)
}

/// Focus distance at which near and far are blurred alike: 2nF / (n + F), hence 2n for an infinite far.
///
/// Any unit, the same for all three: it is the harmonic mean.
#[must_use]
pub fn equal_blur_focus(near: f64, far: f64) -> f64 {
    2.0 / (1.0 / near + 1.0 / far)
}
