//! Blur tracks from a moving subject or a turning camera, and the longest exposure a permitted track allows.

/// Length of the track on the sensor, um, of a subject moving across the view at `speed_m_s`.
#[must_use]
pub fn subject_track_um(focal_mm: f64, distance_m: f64, speed_m_s: f64, exposure_s: f64) -> f64 {
    // Image size over subject size is f / (Z - f).
    speed_m_s * exposure_s * 1e6 * (focal_mm * 1e-3) / (distance_m - focal_mm * 1e-3)
}

/// Longest exposure, s, for a track of at most `track_um` by a subject at `distance_m` moving at `speed_m_s`.
#[must_use]
pub fn longest_for_subject_s(focal_mm: f64, distance_m: f64, speed_m_s: f64, track_um: f64) -> f64 {
    track_um / subject_track_um(focal_mm, distance_m, speed_m_s, 1.0)
}

/// Longest exposure, s, for a track of at most `track_um` by a camera turning at `rate_rad_s`.
#[must_use]
pub fn longest_for_turn_s(focal_mm: f64, rate_rad_s: f64, track_um: f64) -> f64 {
    track_um * 1e-3 / (focal_mm * rate_rad_s)
}
