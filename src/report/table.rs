//! View to `audit.csv`: one row a frame, the unit in the column name, unknown left empty.

use std::io::{self, Write};

use serde::Serialize;

use super::view::{FrameView, View, ZoneView};
use crate::quantity::Distance;

/// The view as CSV (RFC 4180, UTF-8).
#[must_use]
pub fn csv(view: &View) -> Vec<u8> {
    let mut out = Vec::new();
    // Writing to memory can't fail.
    let _ = write_csv(view, &mut out);
    out
}

/// Writes the view as CSV, a row after the other.
///
/// # Errors
/// Where it can't be written.
pub fn write_csv(view: &View, out: &mut dyn Write) -> io::Result<()> {
    let mut writer = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(out);
    writer.write_record(COLUMNS)?;
    for frame in &view.frames {
        writer.write_record(row(frame))?;
    }
    writer.flush()
}

const COLUMNS: [&str; 61] = [
    "file",
    "sharp_throughout",
    "near",
    "far",
    "centre",
    "top_left",
    "top_right",
    "bottom_left",
    "bottom_right",
    "unknown_because",
    "width_px",
    "height_px",
    "cause",
    "confidence",
    "also",
    "sentence",
    "advice",
    "permitted_blur_px",
    "permitted_blur_um",
    "near_optical_px",
    "near_optical_px_sd",
    "near_blur_px",
    "near_blur_px_sd",
    "near_blur_um",
    "near_tiles",
    "far_optical_px",
    "far_optical_px_sd",
    "far_blur_px",
    "far_blur_px_sd",
    "far_blur_um",
    "far_tiles",
    "centre_blur_px",
    "centre_blur_px_sd",
    "centre_blur_um",
    "centre_tiles",
    "top_left_blur_px",
    "top_left_blur_px_sd",
    "top_right_blur_px",
    "top_right_blur_px_sd",
    "bottom_left_blur_px",
    "bottom_left_blur_px_sd",
    "bottom_right_blur_px",
    "bottom_right_blur_px_sd",
    "corners",
    "corners_basis",
    "f_number",
    "focal_length_mm",
    "exposure_s",
    "iso",
    "body",
    "lens",
    "date",
    "focus_distance_low_m",
    "focus_distance_high_m",
    "focus_point_x",
    "focus_point_y",
    "pixel_pitch_um",
    "right_focus_m",
    "best_f_number",
    "group",
    "flags",
];

fn row(f: &FrameView) -> [String; 61] {
    let zone = |z: &ZoneView| [opt(z.blur_px), opt(z.blur_px_sd), opt(z.blur_um), z.tiles.to_string()];
    let corner = |z: &ZoneView| [opt(z.blur_px), opt(z.blur_px_sd)];
    let number = |fact: &Option<crate::shot::Fact<f64>>| opt(fact.as_ref().map(|f| f.value));
    let text = |fact: &Option<crate::shot::Fact<String>>| guarded(fact.as_ref().map_or("", |f| &f.value));
    let focus = f.capture.focus_distance_m.as_ref().map(|d| d.value.bounds());
    let at = f.capture.focus_point.as_ref().map(|p| p.value);
    let optical = |z: &ZoneView| [opt(z.optical_px), opt(z.optical_px_sd)];
    let [near, far, centre] = [&f.zones.near, &f.zones.far, &f.zones.centre].map(zone);
    let [tl, tr, bl, br] =
        [&f.zones.top_left, &f.zones.top_right, &f.zones.bottom_left, &f.zones.bottom_right].map(corner);
    let mut cells = vec![
        guarded(&f.file),
        f.sharp.throughout.map_or_else(String::new, |t| t.to_string()),
        word(&f.sharp.near),
        word(&f.sharp.far),
        word(&f.sharp.centre),
        word(&f.sharp.top_left),
        word(&f.sharp.top_right),
        word(&f.sharp.bottom_left),
        word(&f.sharp.bottom_right),
        f.sharp.reasons.iter().map(|(zone, r)| format!("{zone}:{}", word(r))).collect::<Vec<_>>().join(" "),
        f.width.to_string(),
        f.height.to_string(),
        word(&f.verdict.cause),
        f.verdict.confidence.to_string(),
        f.verdict.also.iter().map(word).collect::<Vec<_>>().join(" "),
        guarded(&f.verdict.sentence),
        guarded(&f.verdict.advice),
        opt(f.permitted.blur_px),
        opt(f.permitted.blur_um),
    ];
    cells.extend(optical(&f.zones.near).into_iter().chain(near));
    cells.extend(optical(&f.zones.far).into_iter().chain(far).chain(centre));
    cells.extend(tl.into_iter().chain(tr).chain(bl).chain(br));
    cells.extend([
        word(&f.corners.state),
        word(&f.corners.basis),
        number(&f.capture.f_number),
        number(&f.capture.focal_length_mm),
        number(&f.capture.exposure_s),
        number(&f.capture.iso),
        text(&f.capture.body),
        text(&f.capture.lens),
        text(&f.capture.date),
        focus.map_or_else(String::new, |(low, _)| metres(low)),
        focus.map_or_else(String::new, |(_, high)| metres(high)),
        opt(at.map(|p| p.x)),
        opt(at.map(|p| p.y)),
        number(&f.capture.pixel_pitch_um),
        f.implied.right_focus_m.map_or_else(String::new, |d| metres(Distance::middle(d))),
        opt(f.implied.best_f_number),
        f.group.map_or_else(String::new, |g| g.to_string()),
        f.flags.iter().map(word).collect::<Vec<_>>().join(" "),
    ]);
    // The header has as many names; a mismatch would show as empty or missing cells in the tests.
    let mut cells = cells.into_iter();
    std::array::from_fn(|_| cells.next().unwrap_or_default())
}

fn opt(value: Option<f64>) -> String {
    value.map_or_else(String::new, |v| v.to_string())
}

fn metres(value: f64) -> String {
    if value.is_infinite() { "inf".into() } else { value.to_string() }
}

/// The word an enum has in JSON.
pub(super) fn word<T: Serialize>(value: &T) -> String {
    match serde_json::to_value(value) {
        Ok(serde_json::Value::String(text)) => text,
        _ => String::new(),
    }
}

/// Text that a spreadsheet would run as a formula gets a leading apostrophe, which spreadsheets read as
/// "this is text" (the guard OWASP recommends against CSV injection).
fn guarded(text: &str) -> String {
    if text
        .trim_start_matches([' ', '\u{a0}'])
        .starts_with(['=', '+', '-', '@', '\t', '\r', '\n', '\u{ff1d}', '\u{ff0b}', '\u{ff0d}', '\u{ff20}'])
    {
        format!("'{text}")
    } else {
        text.to_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn formulas_are_disarmed_and_plain_names_left_alone() {
        for bad in ["=1+1", "+cmd", "-2", "@sum", "\t=x", " =1"] {
            assert!(guarded(bad).starts_with('\''), "{bad:?}");
        }
        for good in ["IMG_1.jpg", "moor-2.jpg", "a=b.jpg"] {
            assert_eq!(guarded(good), good);
        }
    }
}
