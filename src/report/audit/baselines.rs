//! What the corners of each lens's frames were judged against, and how that is said.

use schemars::JsonSchema;
use serde::Serialize;

use crate::lens::{Baseline, LearnedFrom};
use crate::report::lens::learned_from;
use crate::report::say::camera::f_number;
use crate::report::say::number::{counted, machine, plain};

/// Where a baseline came from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum BaselineSource {
    /// A file the user gave.
    Given,
    /// The user's settings or configuration folder, by the lens's name.
    Stored,
    /// These very frames: provisional.
    Shoot,
    /// Nowhere: these frames can't teach the lens, so a general assumption stands.
    Assumed,
}

/// The baseline of one lens as handed to the view.
#[derive(Clone, Debug)]
pub struct LensBasis {
    /// Lens name, or the body's where the lens has none.
    pub lens: String,
    /// Focal length, mm; `None` where unknown.
    pub focal_length_mm: Option<f64>,
    /// Where the baseline came from.
    pub source: BaselineSource,
    /// Its file, where it has one.
    pub file: Option<String>,
    /// The baseline itself; `None` where it is assumed.
    pub baseline: Option<Baseline>,
    /// Why these frames can't teach the lens, where they can't: a clause.
    pub unsuitable: Option<String>,
    /// The frames judged by it.
    pub frames: Vec<usize>,
}

/// What the corners of one lens's frames were judged against.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct BaselineView {
    /// Lens name, or the body's where the lens has none; null where neither is known.
    pub lens: Option<String>,
    /// Focal length, mm; null where unknown.
    pub focal_length_mm: Option<f64>,
    /// Where the baseline came from.
    pub source: BaselineSource,
    /// Its file; null unless it was given or stored.
    pub file: Option<String>,
    /// The kind of frames it was learned from; null where it is assumed.
    pub learned_from: Option<LearnedFrom>,
    /// How many frames taught it; null where it is assumed.
    pub learned_frames: Option<u32>,
    /// The f-numbers it was learned at.
    pub f_numbers: Vec<f64>,
    /// How many frames of this audit were judged by it.
    pub frames: usize,
    /// All this in words.
    pub sentence: String,
}

/// The view of one lens's baseline.
pub(super) fn baseline(of: &LensBasis) -> BaselineView {
    let learned = of.baseline.as_ref();
    BaselineView {
        lens: Some(of.lens.trim()).filter(|l| !l.is_empty()).map(str::to_owned),
        focal_length_mm: of.focal_length_mm.and_then(machine),
        source: of.source,
        file: of.file.clone(),
        learned_from: learned.map(|b| b.learned_from),
        learned_frames: learned.map(|b| b.entries.iter().map(|e| e.frames).sum()),
        f_numbers: learned.map_or_else(Vec::new, |b| b.entries.iter().filter_map(|e| machine(e.f_number)).collect()),
        frames: of.frames.len(),
        sentence: sentence(of),
    }
}

fn sentence(of: &LensBasis) -> String {
    let name = if of.lens.trim().is_empty() { "a lens without a name".to_owned() } else { plain(of.lens.trim()) };
    let at = of.focal_length_mm.map_or_else(String::new, |f| format!(" at {f:.0} mm"));
    let frames = counted(of.frames.len(), "frame");
    let Some(b) = &of.baseline else {
        let why = of.unsuitable.as_deref().unwrap_or("nothing is known of it");
        return format!("{name}{at}, {frames}: corners judged by a general assumption, since {}.", plain(why));
    };
    let stops = match (b.entries.first(), b.entries.last()) {
        (Some(a), Some(z)) if a.f_number < z.f_number => {
            format!(", {} to {}", f_number(a.f_number), f_number(z.f_number))
        }
        (Some(a), _) => format!(", {}", f_number(a.f_number)),
        _ => String::new(),
    };
    let taught: u32 = b.entries.iter().map(|e| e.frames).sum();
    let from = learned_from(b.learned_from);
    let file = of.file.as_deref().map(plain).unwrap_or_default();
    match of.source {
        BaselineSource::Shoot => format!(
            "{name}{at}, {frames}: corners judged by what {taught} of these very frames show the lens always does{stops}. \
             That is provisional: a fault common to all of them can't be seen so. An aperture series of a flat, distant \
             scene given to tussock lens learn tells more."
        ),
        BaselineSource::Given | BaselineSource::Assumed => {
            format!("{name}{at}, {frames}: corners judged by the baseline given, {file}, learned from {from}{stops}.")
        }
        BaselineSource::Stored => {
            format!(
                "{name}{at}, {frames}: corners judged by the baseline stored for this lens, {file}, learned from {from}{stops}."
            )
        }
    }
}
