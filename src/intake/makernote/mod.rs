//! The makers' own blocks: one small reader a maker, all giving the same [`Notes`].

use super::containers::Contents;
use crate::quantity::{Distance, Point};

/// What a maker note states beyond the standard tags.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Notes {
    /// f-number.
    pub f_number: Option<f64>,
    /// Focal length, mm.
    pub focal_length_mm: Option<f64>,
    /// Exposure time, s.
    pub exposure_s: Option<f64>,
    /// ISO speed.
    pub iso: Option<f64>,
    /// Camera body.
    pub body: Option<String>,
    /// Date and time, ISO 8601.
    pub date: Option<String>,
    /// Lens name as the camera has it.
    pub lens: Option<String>,
    /// Lens described by its range, where no name is recorded.
    pub lens_range: Option<String>,
    /// Focus distance.
    pub distance: Option<Distance>,
    /// Whether a distance was written that is a filler.
    pub distance_ignored: bool,
    /// Focus point in fractions of the picture as stored, before orientation.
    pub point: Option<Point>,
    /// Focus mode.
    pub focus_mode: Option<String>,
    /// Sensor width and height, mm.
    pub sensor_mm: Option<(f64, f64)>,
    /// Sizes in pixels that the focal-plane resolution may refer to.
    pub other_sizes: Vec<(u32, u32)>,
    /// Whether the file combines several exposures.
    pub multi_shot: bool,
}

/// Reads the maker note of a file; `frame` is the picture's size as recorded.
#[must_use]
pub fn read(_contents: &Contents, _frame: Option<(u32, u32)>) -> Notes {
    Notes::default()
}

/// A lens told by its range, such as "18-55mm f/3.5-5.6": shortest and longest focal length in mm, then the
/// largest aperture at each; unknown apertures (zero or not a number) are left out.
#[must_use]
pub fn lens_name(range: &[f64]) -> Option<String> {
    let &[short, long, fast, slow, ..] = range else { return None };
    let real = |v: f64| v.is_finite() && v > 0.0 && v < 1e5;
    if !real(short) || !real(long) || long < short {
        return None;
    }
    let span = |a: f64, b: f64| {
        let tidy = |v: f64| format!("{}", (v * 10.0).round() / 10.0);
        let (a, b) = (tidy(a), tidy(b));
        if a == b { a } else { format!("{a}-{b}") }
    };
    let focal = span(short, long);
    Some(match (real(fast), real(slow)) {
        (true, true) => format!("{focal}mm f/{}", span(fast, slow)),
        (true, false) => format!("{focal}mm f/{}", span(fast, fast)),
        _ => format!("{focal}mm"),
    })
}
