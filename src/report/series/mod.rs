//! A series to JSON, a page, charts and terminal text.

mod build;
mod chart;
mod html;
mod text;
mod view;
mod wording;

pub use build::{group_view, series_view};
pub use html::series_html;
pub use text::series_text;
pub use view::{
    AloneView, BestView, FocusShiftView, LaidView, LeftOutView, NoteKind, NoteView, PointView, SeriesFailureView,
    SeriesGroupView, SeriesView, SeriesZoneView, SharpestView, SplitView, SplitZoneView, TileRef,
    VERSION as SERIES_VERSION,
};

use crate::measure::register::Similarity;
use crate::quantity::Region;
use crate::series::aperture::Apertures;
use crate::series::bracket::Bracket;
use crate::series::{Sharpest, Varied, ZoneBlur};

/// One group, answered, as handed to the view. All indices are into `files`.
#[derive(Clone, Debug)]
pub struct GroupAnswer {
    /// Members, in order.
    pub files: Vec<String>,
    /// f-numbers, where known.
    pub f_numbers: Vec<Option<f64>>,
    /// Pixel pitch, um, where known.
    pub pitch_um: Option<f64>,
    /// What was varied.
    pub varied: Varied,
    /// Blur of the zones in each member.
    pub zones: Vec<ZoneBlur>,
    /// Answers where the aperture was varied.
    pub apertures: Option<Apertures>,
    /// Answers where the focus was varied.
    pub bracket: Option<Bracket>,
    /// The sharpest, where nothing was varied.
    pub sharpest: Option<Sharpest>,
    /// Tiles, for naming uncovered places.
    pub tiles: Vec<Region>,
    /// Size of the pictures, px.
    pub size: (u32, u32),
    /// Widest blur that counts as sharp, px, pixel aperture included.
    pub permitted_px: f64,
    /// What else should be known of single members.
    pub notes: Vec<(Option<usize>, NoteKind)>,
    /// Share of tiles left out because the scene moved there, by member.
    pub moved: Vec<f64>,
    /// How each member lies on one of them, which lies on itself; `None` where that was not found.
    pub laid: Vec<Option<Similarity>>,
}

/// A frame that belongs to no group, and why where that can be said.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Alone {
    /// The file.
    pub file: String,
    /// Why.
    pub why: AloneWhy,
}

/// Why a frame belongs to no group.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum AloneWhy {
    /// No other frame of its size shows its scene.
    OtherScene,
    /// It is of another size than the group beside it.
    OtherSize {
        /// Its own.
        own: (u32, u32),
        /// The group's.
        group: (u32, u32),
    },
    /// It shows the group's scene, turned.
    Turned {
        /// Quarter turns clockwise that bring it upright.
        quarters: u8,
    },
}
