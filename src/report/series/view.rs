//! The one serialisable picture of a series, versioned: `series.json`.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::series::aperture::LeftOut;
use crate::series::{NoteKind, Varied, ZoneName};

/// Version of the format.
pub(crate) const VERSION: u32 = 1;

/// `series.json`.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct SeriesView {
    /// Always `tussock.series`.
    pub format: &'static str,
    /// Version of this format.
    pub version: u32,
    /// Frames of one scene, answered.
    pub groups: Vec<SeriesGroupView>,
    /// Frames that belong to no group.
    pub alone: Vec<AloneView>,
    /// Files that could not be read.
    pub failures: Vec<SeriesFailureView>,
}

/// Frames of one scene. What does not apply is null.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SeriesGroupView {
    /// What was varied between the frames.
    pub varied: Varied,
    /// The files, in order.
    pub members: Vec<String>,
    /// The answer in words.
    pub sentence: String,
    /// Blur by zone and frame.
    pub zones: Vec<SeriesZoneView>,
    /// The frame whose most blurred zone is the least blurred, of an aperture series.
    pub best_whole_frame: Option<BestView>,
    /// f-numbers that can't be told from that frame's as the best, within the error of the widths.
    pub whole_frame_alike: Option<Vec<f64>>,
    /// f-numbers whose most blurred zone is within 5 % of that frame's.
    pub whole_frame_within_5_percent: Option<Vec<f64>>,
    /// Zones that had no say in the whole frame's answer, and why; null where the aperture was not varied.
    pub whole_frame_leaves_out: Option<Vec<LeftOutView>>,
    /// The frame to keep if only one is kept: of a focus bracket the best for near and far together, of
    /// near-duplicates the sharpest.
    pub best_single: Option<String>,
    /// The chance, at the least, that no other frame is better than that one, all together but for those as good, 0 to 1: of a focus
    /// bracket and of near-duplicates.
    pub best_single_confidence: Option<f64>,
    /// Other frames of a focus bracket that are as good for near and far together, within the error of the widths; null
    /// for other groups.
    pub best_single_as_good: Option<Vec<String>>,
    /// The fewest frames that show every place within the permitted blur, near to far, of a focus bracket.
    pub covering_set: Option<Vec<String>>,
    /// Members of that set that other frames can stand in for, of a focus bracket.
    pub covering_set_instead: Option<Vec<InsteadView>>,
    /// Places that no frame shows within the permitted blur, of a focus bracket.
    pub uncovered: Option<Vec<TileRef>>,
    /// The sharpest of near-duplicates, and whether it truly is.
    pub sharpest: Option<SharpestView>,
    /// Members from the greatest depth of field to the least, where nothing recorded tells the apertures but the blur does.
    pub deepest_first: Option<Vec<String>>,
    /// Which of two frames is sharper where, and by how much; null for more frames than two.
    pub between: Option<Vec<BetweenView>>,
    /// What falls and what grows on stopping down, of an aperture series.
    pub split: Option<SplitView>,
    /// Zones that grew softer on stopping down by more than diffraction can do, and stayed so at the next stop; null where that can't be said.
    pub focus_shift: Option<Vec<FocusShiftView>>,
    /// Widest blur that counts as sharp here, px, pixel aperture included.
    pub permitted_px: Option<f64>,
    /// What else should be known of the frames.
    pub notes: Vec<NoteView>,
    /// Where the scene lies in each member, for the members that were found to show it.
    pub laid: Vec<LaidView>,
}

/// Where the scene of one member of the group, whose own shift is nought, lies in another member: enlarged and turned
/// about the middle of the picture, then shifted.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LaidView {
    /// The other member's file.
    pub file: String,
    /// Shift to the right, px.
    pub shift_x_px: Option<f64>,
    /// Shift downwards, px.
    pub shift_y_px: Option<f64>,
    /// Enlargement.
    pub scale: Option<f64>,
    /// Turn, degrees, from right towards down.
    pub turned_degrees: Option<f64>,
}

/// Blur of one zone over the frames.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SeriesZoneView {
    /// Which zone.
    pub zone: ZoneName,
    /// By frame.
    pub points: Vec<PointView>,
    /// f-number of the frame with the least blur; null where the aperture was not varied.
    pub best_f_number: Option<f64>,
    /// f-numbers within 5 % of it.
    pub within_5_percent: Option<Vec<f64>>,
    /// Tiles the numbers rest on.
    pub tiles: u32,
}

/// Blur of one zone in one frame.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PointView {
    /// The file.
    pub file: String,
    /// Its f-number.
    pub f_number: Option<f64>,
    /// Gaussian-equivalent sigma of the line spread, px, pixel aperture included.
    pub blur_px: Option<f64>,
    /// Its standard deviation.
    pub blur_px_sd: Option<f64>,
    /// The part of the sd that the frames do not share: what counts when they are compared.
    pub blur_px_sd_apart: Option<f64>,
}

/// A frame and its f-number.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct BestView {
    /// The file.
    pub file: String,
    /// Its f-number.
    pub f_number: Option<f64>,
    /// The chance, at the least, that no other stop is better, all together but for those that can't be told from it, 0 to 1.
    pub confidence: Option<f64>,
}

/// A zone that had no say in the whole frame's answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct LeftOutView {
    /// Which zone.
    pub zone: ZoneName,
    /// Why.
    pub why: LeftOut,
}

/// A member of a covering set that others can stand in for.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct InsteadView {
    /// The member.
    pub of: String,
    /// Any of these may stand in for it.
    pub any: Vec<String>,
}

/// A tile of the picture, px from the top-left.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct TileRef {
    /// Left edge.
    pub x: u32,
    /// Top edge.
    pub y: u32,
    /// Width.
    pub width: u32,
    /// Height.
    pub height: u32,
}

/// The sharpest of near-duplicates.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SharpestView {
    /// The file.
    pub file: String,
    /// How much wider the next best is, per cent.
    pub margin_percent: Option<f64>,
    /// Its standard deviation.
    pub margin_percent_sd: Option<f64>,
    /// Whether the margin is beyond chance.
    pub real: bool,
    /// The chance, at the least, that none of the others is sharper, 0 to 1.
    pub confidence: Option<f64>,
}

/// One zone of two frames compared.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct BetweenView {
    /// Which zone.
    pub zone: ZoneName,
    /// The sharper file; null where the two are the same within the error.
    pub sharper: Option<String>,
    /// How much wider the other is, per cent.
    pub margin_percent: Option<f64>,
    /// Its standard deviation.
    pub margin_percent_sd: Option<f64>,
}

/// Blur split into what falls on stopping down and what grows.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SplitView {
    /// Growth of the diffraction scale, wavelength over pixel pitch, as the frames show it: px a unit of f-number.
    pub growth_px: Option<f64>,
    /// Its standard deviation.
    pub growth_px_sd: Option<f64>,
    /// The same from a wavelength of 0.55 um and the pitch; null where the pitch is unknown.
    pub expected_px: Option<f64>,
    /// Wavelength that the growth stands for, um; null where the pitch is unknown.
    pub wavelength_um: Option<f64>,
    /// By zone.
    pub zones: Vec<SplitZoneView>,
}

/// The split of one zone.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SplitZoneView {
    /// Which zone.
    pub zone: ZoneName,
    /// Diameter of the disc of defocus times the f-number, px.
    pub defocus_px: Option<f64>,
    /// Gaussian width of aberrations times the square of the f-number, px.
    pub aberration_px: Option<f64>,
    /// Gaussian width that no f-number changes, px.
    pub constant_px: Option<f64>,
    /// f-number at which the fitted curve is lowest.
    pub best_f_number: Option<f64>,
}

/// A zone that grew softer between two stops.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct FocusShiftView {
    /// Which zone.
    pub zone: ZoneName,
    /// f-number before.
    pub from_f_number: Option<f64>,
    /// f-number after.
    pub to_f_number: Option<f64>,
    /// By how many standard deviations it grew softer than diffraction allows.
    pub by_sd: Option<f64>,
    /// The chance that none of all zones and stops looked at would show as much if focus had not shifted, 0 to 1.
    pub confidence: Option<f64>,
}

/// A note.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct NoteView {
    /// The file; null where it concerns the group.
    pub file: Option<String>,
    /// Which note.
    pub note: NoteKind,
    /// In words.
    pub sentence: String,
    /// The chance that a frame said to be softer than it should is so by no accident, 0 to 1; null for other notes.
    pub confidence: Option<f64>,
}

/// A frame that belongs to no group.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct AloneView {
    /// The file.
    pub file: String,
    /// Why, in words.
    pub sentence: String,
}

/// A file that could not be read.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct SeriesFailureView {
    /// The file as given.
    pub file: String,
    /// What is wrong.
    pub problem: String,
    /// What to try.
    pub advice: String,
    /// The file of the same frame that was compared in its place; null where the frame failed.
    pub stand_in: Option<String>,
}
