//! Thin lens: signed blur disc of a subject, its inverse, image distances and magnification.

/// Signed diameter of the blur disc, mm, of a subject at `subject_mm` with focus at `focus_mm`.
///
/// c = f^2 (Z - s) / (N Z (s - f)): positive where the subject lies beyond the plane of focus. Infinite
/// distances are allowed on either side. Source: the thin-lens equation and similar triangles, as in any
/// optics handbook. Not a number where the focus lies within the focal length or both are infinite and f is.
#[must_use]
pub fn disc_mm(focal_mm: f64, f_number: f64, focus_mm: f64, subject_mm: f64) -> f64 {
    // In inverse distances, so that infinity is an ordinary value on both sides.
    focal_mm * focal_mm / f_number * (1.0 / focus_mm - 1.0 / subject_mm) / (1.0 - focal_mm / focus_mm)
}

/// Distance, mm, of the subject whose signed blur disc is `disc_mm` (positive beyond the plane of focus).
///
/// The inverse of [`disc_mm`]; infinity where the disc is at least as large as that of an infinitely far
/// subject, since nothing lies farther.
#[must_use]
pub fn subject_mm(focal_mm: f64, f_number: f64, focus_mm: f64, disc_mm: f64) -> f64 {
    let inverse = 1.0 / focus_mm - disc_mm * f_number / (focal_mm * focal_mm) * (1.0 - focal_mm / focus_mm);
    if inverse > 0.0 { 1.0 / inverse } else { f64::INFINITY }
}

/// Image distance, mm, behind the lens for a subject at `subject_mm` (1/f = 1/a + 1/b).
#[must_use]
pub fn image_mm(focal_mm: f64, subject_mm: f64) -> f64 {
    focal_mm / (1.0 - focal_mm / subject_mm)
}

/// Focus spread, mm: how far apart behind the lens near and far come to focus.
#[must_use]
pub fn focus_spread_mm(focal_mm: f64, near_mm: f64, far_mm: f64) -> f64 {
    image_mm(focal_mm, near_mm) - image_mm(focal_mm, far_mm)
}

/// Size of the image over size of the subject at a distance of `subject_mm`.
#[must_use]
pub fn magnification(focal_mm: f64, subject_mm: f64) -> f64 {
    focal_mm / (subject_mm - focal_mm)
}

/// The f-number that the light arrives with: of diffraction, and of a disc as a share of how far its focus is missed.
///
/// N (1 + m), the marked one times the image distance over the focal length (Ray, Applied Photographic Optics, 2002;
/// from memory), with the pupil's magnification taken as one.
#[must_use]
pub fn working_f_number(focal_mm: f64, f_number: f64, focus_mm: f64) -> f64 {
    f_number * image_mm(focal_mm, focus_mm) / focal_mm
}
