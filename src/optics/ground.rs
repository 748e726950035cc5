//! Flat ground before a camera: where the lower edge of the picture meets it, its blur row by row, and tilted lenses.

use super::thin_lens;

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

/// Signed blur disc, mm, of flat ground at a row of the sensor (positive: beyond the plane of focus).
///
/// Inverse depth, and so the signed disc, is affine in the row (McCloskey and Langer, CVPR 2009).
#[must_use]
pub fn disc_mm(focal_mm: f64, f_number: f64, focus_mm: f64, height_mm: f64, down_rad: f64, row_mm: f64) -> f64 {
    thin_lens::disc_mm(
        focal_mm,
        f_number,
        focus_mm,
        depth(height_mm, down_rad, thin_lens::image_mm(focal_mm, focus_mm), row_mm),
    )
}

/// Distance, mm, below the lens of the line about which the plane of focus turns: J = f / sin(tilt)
/// (the hinge rule: Merklinger, Focusing the View Camera, 1996).
#[must_use]
pub fn hinge_mm(focal_mm: f64, tilt_rad: f64) -> f64 {
    focal_mm / tilt_rad.sin()
}

/// Tilt, radians, that puts the hinge line `hinge_mm` below the lens; `None` where that is nearer than f.
#[must_use]
pub fn tilt_for_hinge(focal_mm: f64, hinge_mm: f64) -> Option<f64> {
    let sine = focal_mm / hinge_mm;
    (sine > 0.0 && sine <= 1.0).then(|| sine.asin())
}
