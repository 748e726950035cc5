//! Terms that all sentences share: a zone's own entry, lengths in pixels, cameras with one aperture.

use crate::diagnose::{Diagnosis, Zone, ZoneName};
use crate::report::say::number;
use crate::shot::Capture;

/// What was found of a zone.
pub(super) fn zone(d: &Diagnosis, name: ZoneName) -> Option<&Zone> {
    d.zones.iter().find(|z| z.name == name)
}

/// A width with its unit.
pub(super) fn px(v: f64) -> String {
    format!("{} px", number::width(v))
}

/// Whether the camera has one aperture only, as phones have: a focal length below 8 mm with a fast lens.
/// Common practice, no published source: no camera with a diaphragm has so short a lens that opens beyond f/2.5.
pub(super) fn fixed_aperture(capture: &Capture) -> bool {
    let below = |fact: &Option<crate::shot::Fact<f64>>, most: f64| fact.as_ref().is_some_and(|f| f.value < most);
    below(&capture.focal_length_mm, 8.0) && below(&capture.f_number, 2.5)
}
