//! Terms that all sentences share: lengths in pixels, corners, cameras with one aperture.

use crate::diagnose::ZoneName;
use crate::report::say::number;
use crate::shot::{self, Capture};

/// A width with its unit.
pub(super) fn px(v: f64) -> String {
    format!("{} px", number::width(v))
}

/// Whether the camera has one aperture only.
pub(super) fn fixed_aperture(capture: &Capture) -> bool {
    let value = |fact: &Option<shot::Fact<f64>>| fact.as_ref().map(|f| f.value);
    let both = value(&capture.focal_length_mm).zip(value(&capture.f_number));
    both.is_some_and(|(focal_mm, f_number)| shot::fixed_aperture(focal_mm, f_number))
}

/// A corner's name within a sentence.
pub(super) const fn corner_name(name: ZoneName) -> &'static str {
    match name {
        ZoneName::TopLeft => "top left",
        ZoneName::TopRight => "top right",
        ZoneName::BottomLeft => "bottom left",
        ZoneName::BottomRight => "bottom right",
        _ => "middle",
    }
}
