//! A series to JSON, a page, charts and terminal text.

mod build;
mod chart;
mod needs;
mod notes;
mod page;
mod places;
mod shown;
mod text;
mod view;
mod words;

pub(crate) use build::group_view;
pub use build::series_view;
pub(super) use chart::figure;
pub use page::series_html;
pub use shown::{Shown, Strip};
pub use text::series_text;
pub use view::{
    AloneView, BestView, BetweenView, FocusShiftView, InsteadView, LaidView, LeftOutView, NoteView, PointView,
    SeriesFailureView, SeriesGroupView, SeriesView, SeriesZoneView, SharpestView, SplitView, SplitZoneView, TileRef,
};

use crate::series::Lone;

/// A frame that belongs to no group, and why where that can be said.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Alone {
    /// The file.
    pub file: String,
    /// Why.
    pub why: Lone,
}
