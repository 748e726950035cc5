//! What the frames of a shoot show together of each lens, and how that is said.

use schemars::JsonSchema;
use serde::Serialize;

use super::baselines::{BaselineSource, LensBasis};
use super::terms::{corner_name, px};
use crate::diagnose::{NeverSharper, Pair, Sharpest, Together, ZoneName};
use crate::report::say::camera::f_number;
use crate::report::say::number::{counted, machine, plain};

/// What all frames of one lens at one focal length show together.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct LensTogetherView {
    /// Lens name, or the body's where the lens has none.
    pub lens: Option<String>,
    /// Focal length, mm; null where unknown.
    pub focal_length_mm: Option<f64>,
    /// Width of its upright pictures, px; those of another size are counted apart.
    pub width: u32,
    /// Height of its upright pictures, px.
    pub height: u32,
    /// Frames of this audit taken so.
    pub frames: usize,
    /// The upper pair of corners and the lower, where enough scenes show both of a pair.
    pub pairs: Vec<PairView>,
    /// The sharpest corner of all frames, where even that is beyond the permitted blur and softer than the middle; else null.
    pub never_sharper: Option<NeverSharperView>,
    /// What follows, in words; null where nothing does.
    pub sentence: Option<String>,
}

/// A corner and the one across from it, right for left, over all scenes that show both. Frames of one group are one scene.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct PairView {
    /// Scenes with a number for both.
    pub scenes: usize,
    /// Scenes in which the left one was softer by 2 standard deviations of the difference.
    pub left_softer: usize,
    /// Scenes in which the right one was.
    pub right_softer: usize,
    /// Probability that an even lens would show so uneven a count, either way: sign test.
    pub chance: Option<f64>,
    /// The left one at its sharpest. The corner that is softer at its best is at its best of all frames that show both, the other
    /// of those within a stop of that.
    pub left: AtSharpestView,
    /// The right one at its sharpest.
    pub right: AtSharpestView,
    /// The corner that the lens draws softer, where count and sharpest readings both say so; else null.
    pub softer: Option<ZoneName>,
}

/// The sharpest that a place was.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct AtSharpestView {
    /// The place.
    pub zone: ZoneName,
    /// Blur with the pixel aperture taken out, px.
    pub optical_px: Option<f64>,
    /// Its standard deviation, px.
    pub optical_px_sd: Option<f64>,
    /// f-number of that frame; null where unknown.
    pub f_number: Option<f64>,
}

/// How sharp the corners ever were.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct NeverSharperView {
    /// Frames that show a corner.
    pub frames: usize,
    /// The sharpest corner of all: content and focus only add blur, so that the lens there is no softer.
    pub corner: AtSharpestView,
    /// The middle at its sharpest, within a stop of that.
    pub centre: AtSharpestView,
}

/// The view of what the frames of one lens show together.
pub(super) fn lens(of: &Together, baselines: &[LensBasis]) -> LensTogetherView {
    LensTogetherView {
        lens: of.glass.name().map(str::to_owned),
        focal_length_mm: of.glass.focal_length_mm.and_then(machine),
        width: of.size.0,
        height: of.size.1,
        frames: of.frames.len(),
        pairs: of.pairs.iter().map(pair).collect(),
        never_sharper: of.never.as_ref().map(|n| NeverSharperView {
            frames: n.frames,
            corner: sharpest(&n.corner),
            centre: sharpest(&n.centre),
        }),
        sentence: sentence(of, baselines),
    }
}

fn pair(of: &Pair) -> PairView {
    PairView {
        scenes: of.scenes,
        left_softer: of.softer_in[0],
        right_softer: of.softer_in[1],
        chance: machine(of.chance),
        left: sharpest(&of.best[0]),
        right: sharpest(&of.best[1]),
        softer: of.softer,
    }
}

fn sharpest(of: &Sharpest) -> AtSharpestView {
    AtSharpestView {
        zone: of.zone,
        optical_px: machine(of.optical_px.value),
        optical_px_sd: machine(of.optical_px.sd),
        f_number: of.f_number.and_then(machine),
    }
}

/// What follows of a lens; `None` where nothing does.
fn sentence(of: &Together, baselines: &[LensBasis]) -> Option<String> {
    let sided: Vec<&Pair> = of.pairs.iter().filter(|p| p.softer.is_some()).collect();
    let taught = |b: &&LensBasis| b.source == BaselineSource::Shoot && of.frames.iter().any(|k| b.frames.contains(k));
    let bound = of.never.as_ref().filter(|_| baselines.iter().any(|b| taught(&b)));
    let mut said: Vec<String> = sided.iter().filter_map(|p| leaning(p)).collect();
    if !sided.is_empty() {
        said.push(whose(&sided).into());
    }
    said.extend(bound.map(never_sharper));
    let name = plain(of.glass.name()?);
    let at = of.glass.focal_length_mm.map_or_else(String::new, |f| format!(" at {f:.0} mm"));
    let shape = if of.size.1 > of.size.0 { "upright frame" } else { "frame" };
    said.iter_mut().skip(1).for_each(|more| *more = capital(more));
    (!said.is_empty()).then(|| format!("{name}{at}, {}: {}", counted(of.frames.len(), shape), said.join(" ")))
}

/// How often a corner was softer than its mirror image, and both at their best.
fn leaning(of: &Pair) -> Option<String> {
    let corner = of.softer?;
    let k = usize::from(of.corners[1] == corner);
    let (worse, better) = (&of.best[k], &of.best[1 - k]);
    let never = match of.softer_in[1 - k] {
        0 => "sharper in none".into(),
        n => format!("sharper in {n}"),
    };
    Some(format!(
        "the {} corner was softer than the {} in {} of {} scenes and {never}; at its sharpest it read {}, the {} {}.",
        corner_name(corner),
        corner_name(better.zone),
        of.softer_in[k],
        of.scenes,
        reading(worse),
        corner_name(better.zone),
        reading(better)
    ))
}

fn reading(of: &Sharpest) -> String {
    let at = of.f_number.map_or_else(String::new, |n| format!(" at {}", f_number(n)));
    format!("{}{at}", px(of.optical_px.value))
}

/// Whose it is, and what makes sure.
fn whose(sided: &[&Pair]) -> &'static str {
    let low = |p: &&Pair| p.corners.contains(&ZoneName::BottomLeft);
    if sided.iter().all(low) {
        // Above nothing says so: what stands low on one side of every picture would do the same.
        "That is probably the lens, unless something near stood on that side in every scene. Take one frame of a flat wall, square \
         on, and one more with the camera upside down: what goes over to the other side of the wall is the lens; then have it checked."
    } else {
        "Scenes and focus change from frame to frame and this does not, so it is most likely the lens, not your focus. Take one frame \
         of a flat wall, square on, and one more with the camera upside down: what goes over to the other side of the wall is the \
         lens; then have it checked."
    }
}

/// What the sharpest of all corners says of the lens.
fn never_sharper(of: &NeverSharper) -> String {
    format!(
        "in none of {} was any corner sharper than {}, where the middle came to {}: as far as these frames tell, so much of a soft \
         corner is the lens, or its curved field; wider open it may be more.",
        counted(of.frames, "frame"),
        reading(&of.corner),
        reading(&of.centre)
    )
}

/// The same with a capital first.
fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}
