//! Capture facts as a table for the terminal and as JSON.

use schemars::JsonSchema;
use serde::Serialize;

use crate::quantity::{Flag, Units};
use crate::report::say::camera;
use crate::report::say::number::digits;
use crate::shot::{Capture, Fact};

/// `tussock.facts`, version 1: what `tussock facts --json` prints.
#[derive(Debug, Serialize, JsonSchema)]
pub struct FactsView<'a> {
    /// Always `tussock.facts`.
    pub format: &'static str,
    /// Version of this format.
    pub version: u32,
    /// The files whose facts could be read.
    pub files: Vec<FileFactsView<'a>>,
}

/// One file.
#[derive(Debug, Serialize, JsonSchema)]
pub struct FileFactsView<'a> {
    /// Path as given or found.
    pub file: String,
    /// Width of the upright picture, px; null where it is not stated.
    pub width: Option<u32>,
    /// Height of the upright picture, px; null where it is not stated.
    pub height: Option<u32>,
    /// Exif orientation, 1 to 8; null where there is none.
    pub orientation: Option<u16>,
    /// The facts, each with where it came from.
    pub capture: &'a Capture,
    /// What is odd about them.
    pub flags: &'a [Flag],
}

/// One file's facts: name, value, source on each line; facts that are not known are left out.
pub(crate) fn facts_text(file: &str, capture: &Capture, size: Option<(u32, u32)>, flags: &[Flag]) -> String {
    let mut rows: Vec<(&str, String, &str)> = Vec::new();
    fn row<T>(fact: &Option<Fact<T>>, text: impl Fn(&T) -> String) -> Option<(String, &'static str)> {
        fact.as_ref().map(|f| (text(&f.value), f.source.word()))
    }
    let facts = [
        ("body", row(&capture.body, String::clone)),
        ("lens", row(&capture.lens, String::clone)),
        ("date", row(&capture.date, String::clone)),
        ("aperture", row(&capture.f_number, |n| camera::f_number(*n))),
        ("exposure", row(&capture.exposure_s, |t| camera::exposure(*t))),
        ("ISO", row(&capture.iso, |i| tidy(*i, 5))),
        ("focal length", row(&capture.focal_length_mm, |f| camera::focal(*f))),
        ("35 mm equivalent", row(&capture.focal_length_35mm, |f| camera::focal(*f))),
        ("pixel pitch", row(&capture.pixel_pitch_um, |p| format!("{} \u{b5}m", tidy(*p, 3)))),
        ("focus distance", row(&capture.focus_distance_m, |d| camera::stated_finely(*d, Units::Metric))),
        (
            "focus point",
            row(&capture.focus_point, |p| {
                format!("{:.1} % from the left, {:.1} % from the top", 100.0 * p.x, 100.0 * p.y)
            }),
        ),
        ("focus mode", row(&capture.focus_mode, String::clone)),
    ];
    rows.extend(facts.into_iter().filter_map(|(name, found)| found.map(|(value, source)| (name, value, source))));
    if let Some((width, height)) = size {
        rows.push(("size, upright", format!("{width} x {height}"), ""));
    }
    let names = rows.iter().map(|r| r.0.chars().count()).max().unwrap_or(0);
    let values = rows.iter().map(|r| r.1.chars().count()).max().unwrap_or(0);
    let mut text = format!("{file}\n");
    for (name, value, source) in rows {
        text.push_str(format!("  {name:names$}  {value:values$}  {source}").trim_end());
        text.push('\n');
    }
    for flag in flags {
        text.push_str(&format!("  note: {} {}\n", flag.meaning(), flag.advice()));
    }
    text
}

/// A number with so many significant digits and no trailing zeros.
fn tidy(value: f64, most: i32) -> String {
    let text = digits(value, most);
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_said_without_idle_zeros() {
        assert_eq!(tidy(1600.0, 5), "1600");
        assert_eq!(tidy(0.000_5, 3), "0.0005");
    }
}
