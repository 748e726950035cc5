//! What one audit found, as handed to the view.

use super::baselines::LensBasis;
use super::view::{FailureView, GroupView};
use crate::diagnose::{Diagnosis, Together};
use crate::measure::TileMap;
use crate::quantity::{Flag, Intent};
use crate::shot::Capture;

/// One audited frame, as handed to the view.
#[derive(Clone, Debug)]
pub struct Frame {
    /// The file as the user named it.
    pub file: String,
    /// Capture facts.
    pub capture: Capture,
    /// Flags found while reading.
    pub flags: Vec<Flag>,
    /// What was measured.
    pub map: TileMap,
    /// Why it is as it is.
    pub diagnosis: Diagnosis,
    /// The group of frames of one scene it belongs to: an index into the run's groups.
    pub group: Option<usize>,
}

/// Everything one audit found.
#[derive(Clone, Debug, Default)]
pub struct Run {
    /// Audited frames in order.
    pub frames: Vec<Frame>,
    /// Files that failed.
    pub failures: Vec<FailureView>,
    /// Frames that show one scene.
    pub groups: Vec<GroupView>,
    /// What the corners were judged against, lens by lens.
    pub baselines: Vec<LensBasis>,
    /// What the frames of each lens show together.
    pub lenses: Vec<Together>,
    /// What the user asked.
    pub intent: Intent,
    /// Frames that were found but not looked at, since somebody asked to stop.
    pub unreached: usize,
    /// The folder, absolute, that relative names of files are seen from.
    pub base: Option<String>,
}

impl Run {
    /// How many of the files that failed left their frame without an answer.
    pub(crate) fn failed(&self) -> usize {
        FailureView::unanswered(&self.failures)
    }
}
