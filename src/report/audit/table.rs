//! View to `audit.csv`: one row a frame, the unit in the column name, unknown left empty.

use std::io::{self, Write};

use super::view::{FrameView, View};
use crate::diagnose::Cause;
use crate::quantity::Distance;
use crate::report::say::name::word;
use crate::shot::Fact;

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
pub(crate) fn write_csv(view: &View, out: &mut dyn Write) -> io::Result<()> {
    let mut writer = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(out);
    writer.write_record(COLUMNS.map(|(name, _)| name))?;
    for frame in &view.frames {
        writer.write_record(COLUMNS.map(|(_, cell)| cell(frame)))?;
    }
    writer.flush()
}

/// A column: its name, and what stands in it of a frame.
type Column = (&'static str, fn(&FrameView) -> String);

const COLUMNS: [Column; 65] = [
    ("file", |f| guarded(&f.file)),
    ("sharp_throughout", |f| f.sharp.throughout.map_or_else(String::new, |t| t.to_string())),
    ("near", |f| word(&f.sharp.near)),
    ("far", |f| word(&f.sharp.far)),
    ("centre", |f| word(&f.sharp.centre)),
    ("top_left", |f| word(&f.sharp.top_left)),
    ("top_right", |f| word(&f.sharp.top_right)),
    ("bottom_left", |f| word(&f.sharp.bottom_left)),
    ("bottom_right", |f| word(&f.sharp.bottom_right)),
    ("unknown_because", |f| list(f.sharp.reasons.iter().map(|(zone, r)| format!("{zone}:{}", word(r))))),
    ("width_px", |f| f.width.to_string()),
    ("height_px", |f| f.height.to_string()),
    ("cause", |f| word(&f.verdict.cause)),
    ("confidence", |f| opt(confidence(f))),
    ("also", |f| list(f.verdict.also.iter().map(word))),
    ("sentence", |f| guarded(&f.verdict.sentence)),
    ("advice", |f| guarded(&f.verdict.advice)),
    ("permitted_blur_px", |f| opt(f.permitted.blur_px)),
    ("permitted_blur_um", |f| opt(f.permitted.blur_um)),
    ("near_optical_px", |f| opt(f.zones.near.optical_px)),
    ("near_optical_px_sd", |f| opt(f.zones.near.optical_px_sd)),
    ("near_blur_px", |f| opt(f.zones.near.blur_px)),
    ("near_blur_px_sd", |f| opt(f.zones.near.blur_px_sd)),
    ("near_blur_um", |f| opt(f.zones.near.blur_um)),
    ("near_tiles", |f| f.zones.near.tiles.to_string()),
    ("far_optical_px", |f| opt(f.zones.far.optical_px)),
    ("far_optical_px_sd", |f| opt(f.zones.far.optical_px_sd)),
    ("far_blur_px", |f| opt(f.zones.far.blur_px)),
    ("far_blur_px_sd", |f| opt(f.zones.far.blur_px_sd)),
    ("far_blur_um", |f| opt(f.zones.far.blur_um)),
    ("far_tiles", |f| f.zones.far.tiles.to_string()),
    ("centre_blur_px", |f| opt(f.zones.centre.blur_px)),
    ("centre_blur_px_sd", |f| opt(f.zones.centre.blur_px_sd)),
    ("centre_blur_um", |f| opt(f.zones.centre.blur_um)),
    ("centre_tiles", |f| f.zones.centre.tiles.to_string()),
    ("top_left_blur_px", |f| opt(f.zones.top_left.blur_px)),
    ("top_left_blur_px_sd", |f| opt(f.zones.top_left.blur_px_sd)),
    ("top_right_blur_px", |f| opt(f.zones.top_right.blur_px)),
    ("top_right_blur_px_sd", |f| opt(f.zones.top_right.blur_px_sd)),
    ("bottom_left_blur_px", |f| opt(f.zones.bottom_left.blur_px)),
    ("bottom_left_blur_px_sd", |f| opt(f.zones.bottom_left.blur_px_sd)),
    ("bottom_right_blur_px", |f| opt(f.zones.bottom_right.blur_px)),
    ("bottom_right_blur_px_sd", |f| opt(f.zones.bottom_right.blur_px_sd)),
    ("corners", |f| word(&f.corners.state)),
    ("soft_corners", |f| list(f.corners.soft.iter().map(word))),
    ("corners_basis", |f| word(&f.corners.basis)),
    ("f_number", |f| number(&f.capture.f_number)),
    ("focal_length_mm", |f| number(&f.capture.focal_length_mm)),
    ("exposure_s", |f| number(&f.capture.exposure_s)),
    ("iso", |f| number(&f.capture.iso)),
    ("body", |f| text(&f.capture.body)),
    ("lens", |f| text(&f.capture.lens)),
    ("date", |f| text(&f.capture.date)),
    ("focus_distance_low_m", |f| metres(f.capture.focus_distance_m.as_ref().map(|d| d.value.bounds().0))),
    ("focus_distance_high_m", |f| metres(f.capture.focus_distance_m.as_ref().map(|d| d.value.bounds().1))),
    ("focus_point_x", |f| opt(f.capture.focus_point.as_ref().map(|p| p.value.x))),
    ("focus_point_y", |f| opt(f.capture.focus_point.as_ref().map(|p| p.value.y))),
    ("pixel_pitch_um", |f| number(&f.capture.pixel_pitch_um)),
    ("right_focus_m", |f| metres(f.implied.right_focus_m.map(Distance::middle))),
    ("best_f_number", |f| opt(f.implied.best_f_number)),
    ("proposed", |f| proposed(f).into()),
    ("proposed_because", |f| f.proposal.as_ref().map_or_else(String::new, |p| p.why.clone())),
    ("group", |f| f.group.map_or_else(String::new, |g| g.to_string())),
    ("flags", |f| list(f.flags.iter().map(word))),
    ("twins", |f| guarded(&f.twins.join("; "))),
];

/// What is proposed, in a word.
fn proposed(f: &FrameView) -> &'static str {
    f.proposal.as_ref().map_or("", |p| if p.keep { "keep" } else { "leave_out" })
}

/// How sure the cause is. Of "cannot tell" it is that of there being no cause to name, which beside the others reads as its
/// opposite, so that none is given.
fn confidence(f: &FrameView) -> Option<f64> {
    (f.verdict.cause != Cause::CannotTell).then_some(f.verdict.confidence)
}

fn opt(value: Option<f64>) -> String {
    value.map_or_else(String::new, |v| v.to_string())
}

fn metres(value: Option<f64>) -> String {
    if value == Some(f64::INFINITY) { "inf".into() } else { opt(value) }
}

fn number(fact: &Option<Fact<f64>>) -> String {
    opt(fact.as_ref().map(|f| f.value))
}

fn text(fact: &Option<Fact<String>>) -> String {
    guarded(fact.as_ref().map_or("", |f| &f.value))
}

fn list(words: impl Iterator<Item = String>) -> String {
    words.collect::<Vec<_>>().join(" ")
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
