//! Results to bytes: computes nothing but rounding, touches no file. One versioned view feeds every format.
//!
//! `view(&Run)` makes the view; `json`, `csv`, `text` and `html` write it; `pictures` turns pixels to JPEG
//! bytes while a frame is in memory.

mod baselines;
mod besides;
mod build;
mod cards;
mod chart;
mod data;
mod edge;
mod encode;
mod facts;
mod frame_view;
mod full;
mod html;
mod hue;
mod json;
mod keep;
mod lens;
mod lens_json;
mod line;
mod number;
mod open;
mod palette;
mod parts;
mod phrase;
mod pictures;
mod plan;
mod scenes;
pub mod series;
mod sheet;
mod sides;
mod spots;
mod table;
mod template;
mod terms;
mod text;
mod theme;
mod tiles;
mod view;
mod watch;
pub mod wording;

pub use baselines::{BaselineSource, BaselineView, LensBasis};
pub use build::{assembled, bases, capture, told, view};
pub use cards::companion;
pub use edge::EdgeView;
pub use facts::FactsView;
pub(crate) use facts::facts_text;
pub use full::Full;
pub use html::html;
pub(crate) use json::{frame_line, write_json_with};
pub use json::{json, schemas};
pub use keep::Proposal;
pub(crate) use lens::{lens_heading, lens_page, lens_text};
pub(crate) use lens_json::learned_lens;
pub use lens_json::{AsymmetryView, LearnedLensView, LearnedStopView};
pub use number::counted;
pub use parts::parts;
pub use pictures::{Links, Pictures, Pixels, href, inline, pictures};
pub use plan::{CardView, PlanView};
pub(crate) use plan::{card_json, card_page, card_text, plan_page, plan_text};
pub use sheet::{Picture, Sheet};
pub use spots::{CROP, Spot, SpotName, spots};
pub use table::csv;
pub(crate) use table::write_csv;
pub use text::text;
pub use theme::Theme;
pub(crate) use theme::themed;
pub use tiles::{BudgetView, TileView};
pub use view::{
    AskedView, CauseCount, CauseWeight, CornersView, FailureView, FrameView, GridView, GroupView, ImpliedDistanceView,
    ImpliedView, InFocus, MarksView, ModelView, PermittedView, SettingCount, SharpView, SummaryView, VerdictView, View,
    Words, ZoneView, ZonesView, group,
};
pub use watch::{Change, ComparedView, WatchView};
pub(crate) use watch::{glance, watch_over, watch_page};

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
    /// What the user asked.
    pub intent: Intent,
    /// Frames that were found but not looked at, since somebody asked to stop.
    pub unreached: usize,
}

impl Run {
    /// How many of the files that failed left their frame without an answer.
    #[must_use]
    pub(crate) fn failed(&self) -> usize {
        self.failures.iter().filter(|f| f.stand_in.is_none()).count()
    }
}
