//! The one serialisable picture of an audit, versioned; every format reads only this.
//!
//! Key names are the published contract of `audit.json`: change one and raise [`VERSION`].

use schemars::JsonSchema;
use serde::Serialize;

use super::baselines::BaselineView;
pub use super::frame_view::{
    CauseWeight, CornersView, FrameView, GridView, ImpliedDistanceView, ImpliedView, InFocus, MarksView, ModelView,
    OriginalView, PermittedView, Proposal, SharpView, VerdictView, Words, ZoneView, ZonesView,
};
use super::lenses::LensTogetherView;
use crate::diagnose::Cause;
use crate::quantity::Distance;
use crate::report::say::name::common_folder;
use crate::report::series::SeriesGroupView;

/// Version of the format.
pub(crate) const VERSION: u32 = 3;

/// `audit.json`: everything one audit found. A number that is not known is null, never zero.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct View {
    /// Always `tussock.audit`.
    pub format: &'static str,
    /// Version of this format.
    pub version: u32,
    /// The report's name for marks on it: the same for the same photographs measured alike, whatever they are judged for.
    pub id: String,
    /// The folder, absolute, that `file` of a frame is seen from where it is relative; null where it is no text.
    pub base: Option<String>,
    /// What the user asked.
    pub asked: AskedView,
    /// The shoot at a glance.
    pub summary: SummaryView,
    /// Audited frames.
    pub frames: Vec<FrameView>,
    /// Files that could not be audited.
    pub failures: Vec<FailureView>,
    /// Frames that show one scene.
    pub groups: Vec<GroupView>,
    /// What the corners were judged against, lens by lens; lenses of few frames that have no baseline are left out.
    pub baselines: Vec<BaselineView>,
    /// What the frames of each lens show together, right against left; lenses of fewer than eight scenes are left out.
    pub lenses: Vec<LensTogetherView>,
}

impl View {
    /// The folder that all files lie in, as [`common_folder`] has it.
    pub(super) fn folder(&self) -> &str {
        common_folder(self.frames.iter().map(|f| f.file.as_str()))
    }
}

/// What the user asked.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct AskedView {
    /// The intended use as typed after `--sharp-for`.
    pub sharp_for: String,
    /// Where the nearest subject was marked, as typed after `--near-at`.
    pub near_at: Option<String>,
    /// Where the farthest subject was marked.
    pub far_at: Option<String>,
    /// Distance of the nearest subject, m.
    pub near_m: Option<Distance>,
    /// Distance of the farthest subject, m.
    pub far_m: Option<Distance>,
    /// Height of the camera above the ground, m.
    pub camera_height_m: Option<f64>,
    /// Units of sentences: `metric` or `imperial`. Numbers in this file are always metric.
    pub units: &'static str,
}

/// The shoot at a glance.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct SummaryView {
    /// Frames audited.
    pub frames: usize,
    /// Files that failed.
    pub failures: usize,
    /// Frames that were found but not looked at, since somebody asked to stop.
    pub unreached: usize,
    /// Frames that are sharp from near to far.
    pub sharp_throughout: usize,
    /// Frames of which near or far is beyond the permitted blur.
    pub not_sharp: usize,
    /// The others: near or far is unknown.
    pub unknown: usize,
    /// Frames by cause; every cause is listed.
    pub causes: Vec<CauseCount>,
    /// Frames by lens and f-number, most frames first.
    pub settings: Vec<SettingCount>,
}

/// How many frames have a cause.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct CauseCount {
    /// The cause.
    pub cause: Cause,
    /// Frames with it as the verdict.
    pub frames: usize,
}

/// How the frames of one lens at one f-number came out.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct SettingCount {
    /// Lens name; null where unknown.
    pub lens: Option<String>,
    /// f-number; null where unknown.
    pub f_number: Option<f64>,
    /// Frames taken so.
    pub frames: usize,
    /// Of them sharp from near to far.
    pub sharp_throughout: usize,
    /// The commonest cause among the others; null where there is none.
    pub commonest: Option<Cause>,
}

/// A file that could not be audited.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct FailureView {
    /// The file as given.
    pub file: String,
    /// What is wrong.
    pub problem: String,
    /// What to try.
    pub advice: String,
    /// What a decoder or the system said of it, in its own words.
    pub detail: Option<String>,
    /// The file of the same frame that was audited in its place; null where the frame failed.
    pub stand_in: Option<String>,
}

impl FailureView {
    /// How many of the files that failed left their frame without an answer.
    pub(crate) fn unanswered(failures: &[Self]) -> usize {
        failures.iter().filter(|f| f.stand_in.is_none()).count()
    }
}

/// Frames that show one scene, answered as `tussock series` answers them.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct GroupView {
    /// Indices into `frames`.
    pub frames: Vec<usize>,
    /// Index of the member to keep, where one is clearly best.
    pub best: Option<usize>,
    /// Indices of the members that are sharp from near to far by their own verdict.
    #[serde(skip)]
    pub sharp: Vec<usize>,
    /// The comparison, whose keys stand beside these two.
    #[serde(flatten)]
    pub answer: SeriesGroupView,
}

/// The view of a group whose members are these frames of the audit; `sharp`: those of them that are sharp from near to far by their own
/// verdict.
#[must_use]
pub fn group(frames: Vec<usize>, sharp: Vec<usize>, answer: SeriesGroupView) -> GroupView {
    let file = match (&answer.best_whole_frame, &answer.best_single, &answer.sharpest) {
        (Some(best), ..) => Some(&best.file),
        (_, Some(best), _) => Some(best),
        (_, _, Some(best)) if best.real => Some(&best.file),
        _ => None,
    };
    let place = file.and_then(|f| answer.members.iter().position(|m| m == f));
    GroupView { best: place.and_then(|p| frames.get(p).copied()), sharp, frames, answer }
}
