//! Pictures of a series: for each zone the same patch from every frame, and which frame is sharpest where.

use crate::measure::register::Similarity;
use crate::quantity::{Region, ZoneName};
use crate::report::picture::{Picture, Pixels, Tone, overview, patch};
use crate::series::Answer;

/// Side of a patch, px of the frame.
const SIDE: u32 = 160;
/// Long side of the picture under the map, px.
const LONG: u32 = 720;
/// Share by which a tile's widest must exceed its narrowest for one frame to be called the sharpest there.
const ALIKE: f64 = 0.05;

/// One zone as every frame shows it.
#[derive(Clone, Debug, PartialEq)]
pub struct Strip {
    /// Which zone.
    pub zone: ZoneName,
    /// Where its patch lies on the reference frame, px: the middle of the tile whose blur is most like the zone's.
    pub at: (f64, f64),
    /// By member; `None` where the place lies outside, or the frame could not be read.
    pub patches: Vec<Option<Picture>>,
}

/// The pictures of one group.
#[derive(Clone, Debug, PartialEq)]
pub struct Shown {
    /// The reference frame made smaller, in grey so that the colours laid over it speak; `None` where it could not be read.
    pub overview: Option<Picture>,
    /// Size of the frame that the map is of, px.
    pub size: (u32, u32),
    /// Tiles of the map, with the member that is sharpest there; `None` where none is, or all are alike.
    pub cells: Vec<(Region, Option<usize>)>,
    /// By zone.
    pub strips: Vec<Strip>,
}

impl Shown {
    /// The map of a group, and the places of its patches, still without pictures.
    #[must_use]
    pub fn new(answer: &Answer) -> Self {
        let strips = answer.zones.iter().filter_map(|z| {
            let at = place(answer, z.name)?;
            Some(Strip { zone: z.name, at, patches: vec![None; answer.files.len()] })
        });
        Self {
            overview: None,
            size: answer.size,
            cells: answer.tiles.iter().enumerate().map(|(t, r)| (*r, sharpest(answer, t))).collect(),
            strips: strips.collect(),
        }
    }

    /// Takes the patches of one member from its pixels, and the overview where it is the one that the others are laid on.
    pub fn take(&mut self, answer: &Answer, member: usize, pixels: &Pixels<'_>) {
        let plane = pixels.plane;
        let Some(laid) = answer.laid.get(member).copied().flatten() else { return };
        let (width, height) = (plane.width as u32, plane.height as u32);
        if width == 0 || height == 0 || plane.data.len() < plane.width * plane.height {
            return;
        }
        let tone = Tone::of(plane);
        for strip in &mut self.strips {
            let (x, y) = laid.apply(strip.at.0, strip.at.1);
            strip.patches[member] = about(x, y, (width, height)).map(|r| patch(pixels, &tone, r));
        }
        if laid == Similarity::still() {
            self.overview = Some(overview(plane, &tone, LONG));
        }
    }
}

/// The patch about a place; moved inwards by less than half of its side at the rim, none where the place lies outside.
fn about(x: f64, y: f64, (width, height): (u32, u32)) -> Option<Region> {
    let inside = |v: f64, length: u32| v >= 0.0 && v < f64::from(length) && length >= SIDE;
    if !(inside(x, width) && inside(y, height)) {
        return None;
    }
    let from = |v: f64, length: u32| ((v - f64::from(SIDE) / 2.0).round().max(0.0) as u32).min(length - SIDE);
    Some(Region { x: from(x, width), y: from(y, height), width: SIDE, height: SIDE })
}

/// Middle of the tile whose widths follow the zone's best, of those with a width in the most frames.
fn place(answer: &Answer, name: ZoneName) -> Option<(f64, f64)> {
    let zone = answer.zones.iter().find(|z| z.name == name)?;
    let tiles = &answer.parts.iter().find(|p| p.name == name)?.tiles;
    let known = |t: usize| {
        let both =
            |p: &crate::series::Point| Some((p.blur.value, answer.blurs.sigma.get(p.frame)?.get(t).copied()??.value));
        zone.points.iter().filter_map(both).collect::<Vec<(f64, f64)>>()
    };
    let departs = |t: usize| known(t).iter().map(|(z, w)| (w / z).ln().abs()).sum::<f64>();
    // The patch should lie in the frame with room about it.
    let (w, h) = answer.size;
    let room = |t: usize| {
        let (x, y) = answer.tiles[t].middle();
        let half = f64::from(SIDE) / 2.0;
        (half..f64::from(w) - half).contains(&x) && (half..f64::from(h) - half).contains(&y)
    };
    let rank = |t: usize| (std::cmp::Reverse(known(t).len()), !room(t));
    let of = tiles.iter().copied().filter(|&t| t < answer.tiles.len() && !known(t).is_empty());
    let best = of.min_by(|&a, &b| rank(a).cmp(&rank(b)).then(departs(a).total_cmp(&departs(b))))?;
    Some(answer.tiles[best].middle())
}

/// The member that shows a tile sharpest.
fn sharpest(answer: &Answer, tile: usize) -> Option<usize> {
    let width = |k: usize| answer.blurs.sigma[k].get(tile).copied().flatten().map(|e| e.value);
    let mut widths: Vec<(usize, f64)> = (0..answer.blurs.sigma.len()).filter_map(|k| Some((k, width(k)?))).collect();
    widths.sort_by(|a, b| a.1.total_cmp(&b.1));
    let (first, last) = (widths.first()?, widths.last()?);
    (last.1 > (1.0 + ALIKE) * first.1).then_some(first.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_patch_lies_in_the_frame_or_is_none() {
        let region = |x: u32, y: u32| Region { x, y, width: SIDE, height: SIDE };
        assert_eq!(about(500.0, 300.0, (1000, 600)), Some(region(420, 220)));
        assert_eq!(about(3.0, 599.0, (1000, 600)), Some(region(0, 440)));
        assert_eq!(about(-1.0, 300.0, (1000, 600)), None);
        assert_eq!(about(50.0, 50.0, (100, 600)), None);
        assert_eq!(about(f64::NAN, 50.0, (1000, 600)), None);
    }
}
