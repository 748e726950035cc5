//! Flat ground before a camera: where the lower edge of the picture meets it, and tilted lenses.

/// Depth, along the optical axis, of the ground seen at `row_mm` below the centre on the sensor (image upright).
///
/// A camera `height` above flat ground (any unit; the answer is in the same), pointing `down_rad` below the
/// horizon; `image_mm` is the distance from lens to sensor. The ray through the row meets the ground at a
/// depth z with z (sin d + (row / v) cos d) = h; infinite at and above the horizon.
#[must_use]
pub fn depth(height: f64, down_rad: f64, image_mm: f64, row_mm: f64) -> f64 {
    let slope = down_rad.sin() + row_mm / image_mm * down_rad.cos();
    if slope > 0.0 { height / slope } else { f64::INFINITY }
}

/// Height of the camera that puts ground at `depth` along the axis on a row: the inverse of [`depth`].
#[must_use]
pub fn height_for(depth: f64, down_rad: f64, image_mm: f64, row_mm: f64) -> f64 {
    depth * (down_rad.sin() + row_mm / image_mm * down_rad.cos())
}

/// Tilt, radians, that puts the line about which the plane of focus turns `hinge_mm` below the lens: sin(tilt) = f / J
/// (the hinge rule: Merklinger, Focusing the View Camera, 1996); `None` where that is nearer than f.
#[must_use]
pub fn tilt_for_hinge(focal_mm: f64, hinge_mm: f64) -> Option<f64> {
    let sine = focal_mm / hinge_mm;
    (sine > 0.0 && sine <= 1.0).then(|| sine.asin())
}
