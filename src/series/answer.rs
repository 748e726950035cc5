//! What a comparison answers: the contract between comparing and reporting.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::aperture::Apertures;
use super::bracket::Bracket;
use super::{Between, Blurs, Sharpest, Varied, Zone, ZoneBlur};
use crate::measure::register::Similarity;
use crate::quantity::Region;

/// Frames of one scene, answered. All indices are into `files`.
#[derive(Clone, Debug)]
pub struct Answer {
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
    /// The zones themselves: those that were given, or others where depths mix in them.
    pub parts: Vec<Zone>,
    /// Answers where the aperture was varied.
    pub apertures: Option<Apertures>,
    /// Answers where the focus was varied.
    pub bracket: Option<Bracket>,
    /// The sharpest, where nothing was varied.
    pub sharpest: Option<Sharpest>,
    /// Members from deepest to shallowest, where only the blur tells that the aperture was varied.
    pub deepest_first: Option<Vec<usize>>,
    /// Which of two frames is sharper where.
    pub between: Vec<Between>,
    /// Tiles of the reference frame.
    pub tiles: Vec<Region>,
    /// Blur of each tile in each member, less what has no say.
    pub blurs: Blurs,
    /// Size of the pictures, px.
    pub size: (u32, u32),
    /// Widest blur that counts as sharp, px, pixel aperture included.
    pub permitted_px: f64,
    /// What else should be known, of single members or of all.
    pub notes: Vec<(Option<usize>, NoteKind)>,
    /// Share of tiles left out because the scene moved there, by member.
    pub moved: Vec<f64>,
    /// How each member lies on the reference, which lies on itself; `None` where that was not found.
    pub laid: Vec<Option<Similarity>>,
}

/// What should be known of a frame, or of all.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum NoteKind {
    /// No f-number is recorded, so it can't be placed in the series.
    NoFNumber,
    /// Its f-number is none that it records but what its file name says.
    FNumberFromName,
    /// A copy of the member with this index; it was left out.
    CopyOf(usize),
    /// The same f-number as another member.
    SameStop,
    /// Softer all over than its neighbours allow, or in a bracket where it is in focus than others are where they are: shaken or out
    /// of focus; it was left out of the answers.
    Spoiled,
    /// Softer than the member with this index and sharper nowhere: shaken, or focused beside the scene; it has no part in a blend.
    Outdone(usize),
    /// Its own streaks of one direction say that it was shaken; it has no part in a blend.
    Shaken,
    /// The same, but too few others are left to answer from: it was used as it is.
    ShakenYetUsed,
    /// A stop is missing between these two f-numbers.
    MissingStop(f64, f64),
    /// More than a third of it moved between the frames, and was left out.
    Moved,
    /// So many tiles are soft by what they show, as clouds are, and were left out of the comparison.
    SoftContent(usize),
    /// Rendered frames of an aperture series differ in their ISO, with which cameras smooth.
    IsoDiffers,
    /// It could not be laid over the other frames.
    NotRegistered,
    /// It shows nothing that could be compared with the other frames.
    NotCompared,
    /// Compared by the widths of single frames only, since there are many.
    WidthsOnly,
    /// It is larger than others, by this factor, and was compared at their size.
    Reduced(f64),
}
