//! Results to bytes: computes nothing but rounding, touches no file. One versioned view feeds every format.

mod edge;
mod view;

pub use edge::EdgeView;
pub use view::View;

use crate::diagnose::Diagnosis;
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

/// A file that could not be audited.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Failure {
    /// The file as the user named it.
    pub file: String,
    /// What is wrong.
    pub problem: String,
    /// What to try.
    pub advice: String,
}

/// Everything one audit found.
#[derive(Clone, Debug, Default)]
pub struct Run {
    /// Audited frames in order.
    pub frames: Vec<Frame>,
    /// Files that failed.
    pub failures: Vec<Failure>,
    /// What the user asked.
    pub intent: Intent,
}
