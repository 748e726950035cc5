//! One frame in the picture of an audit: what was measured, judged and said of it.
//!
//! Key names are the published contract of `audit.json`, as those of [`super::view()`].

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::tiles::{self, BudgetView, TileView};
use crate::diagnose::{Basis, Cause, CornerState, Undecided, Unsettled};
use crate::judge::{self, Answer, Judgement, Reason, SetBy};
use crate::quantity::{Distance, Flag, Point, ZoneName};
use crate::shot::Capture;

/// One audited frame.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct FrameView {
    /// The file as given.
    pub file: String,
    /// What the file is known again by; null where that could not be had.
    pub original: Option<OriginalView>,
    /// Other files of the same shot (raw, rendered, converted, copied), which count with this one.
    pub twins: Vec<String>,
    /// Width of the upright picture, px.
    pub width: u32,
    /// Height of the upright picture, px.
    pub height: u32,
    /// Capture facts, each with its source, or null.
    pub capture: Capture,
    /// The grid of tiles.
    pub grid: GridView,
    /// Tiles, row-major from the top-left.
    #[serde(serialize_with = "tiles::columns")]
    #[schemars(with = "tiles::TileColumns")]
    pub tiles: Vec<TileView>,
    /// Whether there is anything to draw charts of: tiles with numbers, here or already written.
    #[serde(skip)]
    pub charted: bool,
    /// The first answer: whether it is sharp.
    pub sharp: SharpView,
    /// The second: why it is as it is.
    pub verdict: VerdictView,
    /// Zones.
    pub zones: ZonesView,
    /// The corners, judged as corners.
    pub corners: CornersView,
    /// Permitted blur.
    pub permitted: PermittedView,
    /// The fitted model of the frame; null where too little could be measured.
    pub model: Option<ModelView>,
    /// Distances the picture itself implies.
    pub implied: ImpliedView,
    /// Marks and what was derived from them.
    pub marks: MarksView,
    /// What a reader of the numbers should know.
    pub flags: Vec<Flag>,
    /// Index into `groups`; null for a frame by itself.
    pub group: Option<usize>,
    /// Whether to keep it, as far as that can be proposed; null where somebody has to look.
    pub proposal: Option<Proposal>,
}

/// What is proposed for one frame.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Proposal {
    /// Keep it, or leave it out.
    pub keep: bool,
    /// Why, in a few words; of the best of its scene what is soft in it, too.
    pub why: String,
    /// Whether it is kept beside others of its scene, which cover the depth together.
    #[serde(skip)]
    pub together: bool,
}

/// What a file is known again by, whatever its name and wherever it lies.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct OriginalView {
    /// Its length, bytes.
    pub bytes: u64,
    /// BLAKE3 digest, in hexadecimal digits, of its first and its last 65,536 bytes; of a file no longer than both, of all.
    pub digest: String,
    /// BLAKE3 digest of all of it; null where that isn't known.
    #[serde(default)]
    pub whole: Option<String>,
}

/// Whether a frame is sharp, place by place.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, JsonSchema)]
pub struct SharpView {
    /// Whether it is sharp from near to far: true where both are within the permitted blur or at its limit, false where
    /// one is beyond, null where one is unknown and the other not beyond.
    pub throughout: Option<bool>,
    /// The nearest subject that must be sharp.
    pub near: Judgement,
    /// The farthest.
    pub far: Judgement,
    /// The middle of the frame.
    pub centre: Judgement,
    /// Corner.
    pub top_left: Judgement,
    /// Corner.
    pub top_right: Judgement,
    /// Corner.
    pub bottom_left: Judgement,
    /// Corner.
    pub bottom_right: Judgement,
    /// Why a place is unknown, by its name above.
    pub reasons: BTreeMap<&'static str, Reason>,
}

/// The grid of tiles.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct GridView {
    /// Tiles across.
    pub columns: u32,
    /// Tiles down.
    pub rows: u32,
}

/// The zones, judged one by one.
#[derive(Clone, Debug, Default, PartialEq, Serialize, JsonSchema)]
pub struct ZonesView {
    /// The nearest subject that must be sharp.
    pub near: ZoneView,
    /// The farthest.
    pub far: ZoneView,
    /// The middle of the frame.
    pub centre: ZoneView,
    /// Corner.
    pub top_left: ZoneView,
    /// Corner.
    pub top_right: ZoneView,
    /// Corner.
    pub bottom_left: ZoneView,
    /// Corner.
    pub bottom_right: ZoneView,
}

/// One zone.
#[derive(Clone, Debug, Default, PartialEq, Serialize, JsonSchema)]
pub struct ZoneView {
    /// Blur by its sharpest credible tiles, pixel aperture included, px; near as it is at the lowest eighth of the picture.
    pub blur_px: Option<f64>,
    /// Its standard deviation, px.
    pub blur_px_sd: Option<f64>,
    /// The same on the sensor, um; null where the pixel pitch is unknown.
    pub blur_um: Option<f64>,
    /// Its standard deviation, um.
    pub blur_um_sd: Option<f64>,
    /// How many tiles the number rests on.
    pub tiles: u32,
    /// Blur with the pixel aperture taken out, px: what is compared with the permitted blur.
    pub optical_px: Option<f64>,
    /// Its standard deviation, px.
    pub optical_px_sd: Option<f64>,
    /// Probability that the zone is softer than permitted.
    pub soft: Option<f64>,
    /// Whether it is sharp; published in `sharp`.
    #[serde(skip)]
    pub answer: Answer,
    /// Blur by cause.
    pub budget: Option<BudgetView>,
    /// Indices of the tiles that lie in it, measured or not.
    pub members: Vec<u32>,
}

/// The verdict.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct VerdictView {
    /// Main cause.
    pub cause: Cause,
    /// Probability that the named cause is right, 0 to 1; of `cannot_tell`, that no cause can be named: a high one says
    /// that it surely can't be told from this frame, not that anything was found.
    pub confidence: f64,
    /// Other causes that alone put blur beyond the permitted somewhere.
    pub also: Vec<Cause>,
    /// The verdict in words.
    pub sentence: String,
    /// What to do next.
    pub advice: String,
    /// Probability of every cause considered, most probable first.
    pub weights: Vec<CauseWeight>,
    /// Why it can't be told; null unless `cause` is `cannot_tell`.
    pub unsettled: Option<Unsettled>,
    /// Sentence and advice in metres and in feet, for the page, whose reader may change the units.
    #[serde(skip)]
    pub words: [Words; 2],
}

impl VerdictView {
    /// Whether it stands without "probably" (see [`judge::SURE`]).
    #[must_use]
    pub fn is_firm(&self) -> bool {
        judge::is_firm(self.confidence)
    }
}

/// A verdict said in one system of units.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Words {
    /// The answer in at most twelve words.
    pub line: String,
    /// The cause as the line has it, or why an end is unknown.
    #[serde(skip)]
    pub cause: Option<String>,
    /// What it rests on.
    pub detail: String,
    /// What to do next.
    pub advice: String,
}

impl Words {
    /// Whether it is sharp and why not, in one short line; then the numbers and what else is known.
    pub(super) fn sentence(&self) -> String {
        format!("{} {}", self.line, self.detail)
    }
}

/// How probable a cause is.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct CauseWeight {
    /// The cause.
    pub cause: Cause,
    /// Its probability, 0 to 1.
    pub probability: f64,
}

/// The corners as corners.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct CornersView {
    /// Their state.
    pub state: CornerState,
    /// What the expectation rests on.
    pub basis: Basis,
    /// Index into `baselines` of the one the frame was judged by; null where there is none.
    pub baseline: Option<usize>,
    /// What that baseline expects of the lens in focus, from the centre outwards; only charts show it.
    #[serde(skip)]
    pub in_focus: Vec<InFocus>,
    /// Corners that are softer than what lies beside them: beyond the permitted, and wider than the sharper of the zones
    /// beside them by more than their errors and the conventions for the permitted blur leave open. The others are as sharp or
    /// as soft as the frame.
    pub soft: Vec<ZoneName>,
    /// Expected lens blur there, px: the lens alone, without pixel and diffraction.
    pub expected_px: Option<f64>,
    /// Its standard deviation, px.
    pub expected_px_sd: Option<f64>,
    /// Blur beyond expectation of the worst corner, px.
    pub excess_px: Option<f64>,
    /// Its standard deviation, px.
    pub excess_px_sd: Option<f64>,
    /// Whether field curvature would explain them as well; null where it plays no part.
    pub field_curvature: Option<Undecided>,
}

/// What a learned lens leaves in focus at a distance from the centre.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct InFocus {
    /// Distance from the centre, share of the half diagonal.
    pub distance: f64,
    /// Least and most of the optical blur there, one standard deviation either way, px.
    pub optical_px: (f64, f64),
}

/// The permitted blur: a zone is soft when its optical blur is wider.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct PermittedView {
    /// Gaussian-equivalent sigma, px.
    pub blur_px: Option<f64>,
    /// The same on the sensor, um.
    pub blur_um: Option<f64>,
    /// Diameter of the permitted disc, px.
    pub disc_px: Option<f64>,
    /// What the pixels of this picture show at best, Gaussian-equivalent sigma, px: no place is beyond the permitted by less.
    pub finest_px: Option<f64>,
    /// What sets it: the use asked for, or the pixels, which can't show less than a disc two of them wide.
    pub set_by: SetBy,
}

/// The fitted model. u = (x - width/2) / half diagonal, v = (y - height/2) / half diagonal, v growing downwards.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct ModelView {
    /// Signed blur disc at the centre if the ground reached there, px; positive: nearer than the plane of focus.
    pub disc_px: Option<f64>,
    /// Its growth per unit v, px.
    pub disc_down_px: Option<f64>,
    /// Its growth per unit u, px.
    pub disc_right_px: Option<f64>,
    /// Signed disc of the far scene, px.
    pub disc_far_px: Option<f64>,
    /// v of the horizon.
    pub horizon: Option<f64>,
    /// Lens blur at the centre, px.
    pub lens_centre_px: Option<f64>,
    /// Lens blur at the corner, px.
    pub lens_corner_px: Option<f64>,
    /// Its standard deviation, px.
    pub lens_corner_px_sd: Option<f64>,
    /// Length of the motion streak, px; of a double picture that of the even streak that leaves as little contrast.
    pub motion_px: Option<f64>,
    /// How far apart the two pictures of a double one lie, px; null for others.
    pub doubled_px: Option<f64>,
    /// Its direction, radians from +x towards +y.
    pub motion_angle: Option<f64>,
    /// Diffraction scale lambda N over the pitch, px: as much of the recorded one as the widths show.
    pub lambda_n_px: Option<f64>,
    /// The line where best focus meets the ground, as fractions of the picture; null if outside it.
    pub focus_line: Option<[Point; 2]>,
    /// Reduced chi-square of the tiles the model explains.
    pub chi_square: Option<f64>,
}

/// Distances the picture itself implies, metres from the entrance pupil.
#[derive(Clone, Debug, Default, PartialEq, Serialize, JsonSchema)]
pub struct ImpliedView {
    /// Focus distance from the blur, f and N alone; null where the blur hardly tells.
    pub focus_m: Option<ImpliedDistanceView>,
    /// Nearest ground distance; null where the blur hardly tells.
    pub near_m: Option<ImpliedDistanceView>,
    /// What the camera recorded.
    pub recorded_m: Option<Distance>,
    /// Focus distance that would have been right.
    pub right_focus_m: Option<Distance>,
    /// f-number that serves both ends of the depth best.
    pub best_f_number: Option<f64>,
    /// The classical root-square rule's answer.
    pub root_square_f_number: Option<f64>,
    /// How far to step back for the depth to fit, m.
    pub step_back_m: Option<f64>,
}

/// A distance with its plausible interval.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct ImpliedDistanceView {
    /// Best value, m.
    pub value: Distance,
    /// Nearest plausible, m.
    pub low: Distance,
    /// Farthest plausible, m.
    pub high: Distance,
}

/// Marks in the picture.
#[derive(Clone, Debug, Default, PartialEq, Serialize, JsonSchema)]
pub struct MarksView {
    /// Where near was placed, fractions of the picture.
    pub near_at: Option<Point>,
    /// Where far was placed.
    pub far_at: Option<Point>,
}
