//! An audit: its view, the words on each frame, the formats it is written in, its page and the pictures on it.

// What was found, and the view of it that every format reads.
mod baselines;
mod build;
mod frame_view;
mod lenses;
mod run;
mod tiles;
mod view;

// Words on a frame.
mod besides;
mod corner;
mod line;
mod open;
mod phrase;
mod sides;
mod terms;
pub mod words;

// What follows for the frames of a shoot.
mod keep;

// Formats: JSON, CSV, the terminal's table, a frame at a glance.
mod json;
mod table;
mod text;
mod watch;

// The page, and what of a large shoot lies beside it.
mod cards;
mod chart;
mod data;
mod page;
mod parts;
mod scenes;
mod template;

// Pictures of a frame.
mod full;
mod pictures;
mod sheet;
mod spots;

pub use baselines::{BaselineSource, BaselineView, LensBasis};
pub use build::{assembled, bases, capture, told, view};
pub use lenses::{AtSharpestView, LensTogetherView, NeverSharperView, PairView};
pub use run::{Frame, Run};
pub use tiles::{BudgetView, TileView};
pub(crate) use view::VERSION;
pub use view::{
    AskedView, CauseCount, CauseWeight, CornersView, FailureView, FrameView, GridView, GroupView, ImpliedDistanceView,
    ImpliedView, InFocus, MarksView, ModelView, OriginalView, PermittedView, Proposal, SettingCount, SharpView,
    SummaryView, VerdictView, View, Words, ZoneView, ZonesView, group,
};

pub use json::json;
pub(crate) use json::{frame_line, write_json_with};
pub use table::csv;
pub(crate) use table::write_csv;
pub use text::text;
pub use watch::{Change, ComparedView, WatchView};
pub(crate) use watch::{glance, watch_over, watch_page};

pub use cards::companion;
pub use full::Full;
pub use page::html;
pub use parts::parts;
pub use pictures::{Links, Pictures, href, inline, pictures};
pub use sheet::Sheet;
pub use spots::{CROP, Spot, SpotName, spots};
