//! Registers one frame of a scene on another: shift, small rotation and scale, sub-pixel.

mod patch;
mod similarity;
mod small;

pub use similarity::Similarity;
pub use small::Small;

use rayon::prelude::*;

use crate::shot::Plane;
pub(in crate::measure) use patch::two_dimensional;
use patch::{Matcher, Source};
use similarity::{Pair, fit};

/// How two frames of one scene lie on each other.
#[derive(Clone, Debug, PartialEq)]
pub struct Registration {
    /// Maps the first frame's positions to the second's.
    pub map: Similarity,
    /// Typical distance of the agreeing patches from the map, px: sub-pixel error and parallax together.
    pub residual_px: f64,
    /// Patches that had enough in them to be compared.
    pub compared: u32,
    /// Share of them that lie where the map has them (within [`AGREE_PX`] for full-size frames).
    pub agreement: f64,
    /// Where the patches themselves found each other: place in the first frame and offset from the map, px.
    pub offsets: Vec<Offset>,
}

/// A patch's own offset from the common map.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Offset {
    /// Centre in the first frame, px.
    pub at: (f64, f64),
    /// Offset in the second frame from where the map puts it, px.
    pub by: (f64, f64),
}

/// Distance from the common map within which a patch counts as agreeing: near subjects of a hand-held pair
/// shift by a few pixels more than the far scene.
pub const AGREE_PX: f64 = 6.0;

impl Registration {
    /// Where a place of the first frame lies in the second, the local offset included: the map corrected by the
    /// middle offset of the four nearest patches.
    #[must_use]
    pub fn locate(&self, x: f64, y: f64) -> (f64, f64) {
        let (mx, my) = self.map.apply(x, y);
        let mut near: Vec<(f64, Offset)> = self.offsets.iter().map(|o| ((o.at.0 - x).hypot(o.at.1 - y), *o)).collect();
        if near.len() < 4 {
            return (mx, my);
        }
        near.select_nth_unstable_by(3, |a, b| a.0.total_cmp(&b.0));
        let middle = |part: fn(&Offset) -> f64| {
            let mut v: Vec<f64> = near[..4].iter().map(|n| part(&n.1)).collect();
            v.sort_by(f64::total_cmp);
            (v[1] + v[2]) / 2.0
        };
        (mx + middle(|o| o.by.0), my + middle(|o| o.by.1))
    }
}

/// Registers two small pictures of the same size: `None` where no common scene is found.
///
/// Positions and lengths in the answer are in pixels of the full pictures they were made from. A coarse shift
/// comes from phase correlation (Kuglin & Hines 1975), then patches are matched one by one and a similarity is
/// fitted to them robustly. Shifts up to a third of the picture, rotations up to about 3 degrees and scales up
/// to about 3 % are found. Repetitive scenes may register one period off.
#[must_use]
pub fn register_small(a: &Small, b: &Small) -> Option<Registration> {
    if (a.width, a.height, a.factor) != (b.width, b.height, b.factor) {
        return None;
    }
    let centre = (a.width as f64 / 2.0, a.height as f64 / 2.0);
    let shift = small::coarse_shift(a, b)?;
    let mut map = Similarity { centre, shift, scale: 1.0, angle: 0.0 };
    let mut found = None;
    for (size, tolerance) in [(64, 6.0), (32, 2.0)] {
        let size = size.min(prior_power_of_two(a.width.min(a.height)));
        if size < 16 {
            return None;
        }
        let matches = match_patches(&Source::Small(a), &Source::Small(b), &map, size, 10, 2);
        let (next, kept) = fit(&matches, map, tolerance)?;
        map = next;
        found = Some((matches, kept));
    }
    let (matches, _) = found?;
    let factor = a.factor as f64;
    let registration = conclude(&matches, map, a.agree_px() / factor)?;
    Some(registration.scaled(factor))
}

/// Registers two frames at full size, starting from their small pictures.
///
/// Returns `None` where the sizes differ or no common scene is found.
#[must_use]
pub fn register(a: &Plane, b: &Plane, small_a: &Small, small_b: &Small) -> Option<Registration> {
    if (a.width, a.height) != (b.width, b.height) {
        return None;
    }
    let start = register_small(small_a, small_b)?;
    let size = 64.min(prior_power_of_two(a.width.min(a.height) / 2));
    if size < 16 {
        return Some(start);
    }
    let across = (a.width.max(a.height) / size).clamp(3, 16);
    let mut map = start.map;
    let mut matches = Vec::new();
    for tolerance in [6.0, 2.0] {
        matches = match_patches(&Source::Full(a), &Source::Full(b), &map, size, across, 4);
        let Some((next, _)) = fit(&matches, map, tolerance) else { return Some(start) };
        map = next;
    }
    conclude(&matches, map, AGREE_PX).or(Some(start))
}

impl Registration {
    fn scaled(mut self, factor: f64) -> Self {
        let point = |p: (f64, f64)| (p.0 * factor, p.1 * factor);
        self.map.centre = point(self.map.centre);
        self.map.shift = point(self.map.shift);
        self.residual_px *= factor;
        for o in &mut self.offsets {
            *o = Offset { at: point(o.at), by: point(o.by) };
        }
        self
    }
}

fn prior_power_of_two(n: usize) -> usize {
    if n.is_power_of_two() { n } else { n.next_power_of_two() / 2 }
}

/// Matches patches on an even grid, `across` of them along the longer side.
fn match_patches(a: &Source, b: &Source, map: &Similarity, size: usize, across: usize, least: usize) -> Vec<Pair> {
    let (w, h) = a.size();
    let long = w.max(h) as f64;
    let count = |n: usize| ((n as f64 / long * across as f64).round() as usize).max(least);
    let (columns, rows) = (count(w), count(h));
    let matcher = Matcher::new(size);
    let half = size as f64 / 2.0;
    let at = |i: usize, n: usize, length: usize| {
        let free = length as f64 - 2.0 * half;
        half + free * (i as f64 + 0.5) / n as f64
    };
    (0..columns * rows)
        .into_par_iter()
        .filter_map(|i| {
            let from = (at(i % columns, columns, w), at(i / columns, rows, h));
            matcher.find(a, b, from, map.apply(from.0, from.1))
        })
        .collect()
}

fn conclude(matches: &[Pair], map: Similarity, agree: f64) -> Option<Registration> {
    let offsets: Vec<Offset> = matches
        .iter()
        .map(|m| {
            let (x, y) = map.apply(m.from.0, m.from.1);
            Offset { at: m.from, by: (m.to.0 - x, m.to.1 - y) }
        })
        .collect();
    let length = |o: &Offset| o.by.0.hypot(o.by.1);
    let agreeing: Vec<Offset> = offsets.iter().copied().filter(|o| length(o) < agree).collect();
    if agreeing.len() < 4 {
        return None;
    }
    let mut lengths: Vec<f64> = agreeing.iter().map(length).collect();
    lengths.sort_by(f64::total_cmp);
    Some(Registration {
        map,
        residual_px: lengths[lengths.len() / 2],
        compared: offsets.len() as u32,
        agreement: agreeing.len() as f64 / offsets.len() as f64,
        offsets: agreeing,
    })
}
