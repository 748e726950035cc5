//! Results to bytes: computes nothing but rounding, touches no file. One versioned view feeds every format of an answer.
//!
//! Of an audit, `view(&Run)` makes the view; `json`, `csv`, `text` and `html` write it; `pictures` turns pixels to JPEG
//! bytes while a frame is in memory.

mod audit;
mod lens;
mod plan;
pub mod series;

// Small answers: one file each.
mod edge;
mod facts;

// What the answers share.
mod picture;
mod say;
mod schema;

pub(crate) use audit::VERSION as AUDIT_VERSION;
pub use audit::{
    AskedView, AtSharpestView, BaselineSource, BaselineView, BudgetView, CROP, CauseCount, CauseWeight, Change,
    ComparedView, CornersView, FailureView, Frame, FrameView, Full, GridView, GroupView, ImpliedDistanceView,
    ImpliedView, InFocus, LensBasis, LensTogetherView, Links, MarksView, ModelView, NeverSharperView, OriginalView,
    PairView, PermittedView, Pictures, Proposal, Run, SettingCount, SharpView, Sheet, Spot, SpotName, SummaryView,
    TileView, VerdictView, View, WatchView, Words, ZoneView, ZonesView, assembled, bases, capture, companion, csv,
    group, href, html, inline, json, parts, pictures, spots, text, told, view, words,
};
pub(crate) use audit::{frame_line, glance, watch_over, watch_page, write_csv, write_json_with};
pub use edge::EdgeView;
pub(crate) use facts::facts_text;
pub use facts::{FactsView, FileFactsView};
pub use lens::{AsymmetryView, LearnedLensView, LearnedStopView};
pub(crate) use lens::{learned_lens, lens_heading, lens_page, lens_text};
pub use picture::{Picture, Pixels};
pub use plan::{CardView, PlanView};
pub(crate) use plan::{card_page, card_text, plan_page, plan_text};
pub(crate) use say::camera::f_number;
pub(crate) use say::name::word;
pub use say::number::counted;
pub use say::theme::Theme;
pub(crate) use say::theme::themed;
pub use schema::schemas;
