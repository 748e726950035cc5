//! Registers one frame of a scene on another: shift, small rotation and scale, and how places depart from them.

mod patch;
mod similarity;
mod sketch;
mod small;
mod square;

pub use similarity::Similarity;
pub(crate) use sketch::likeness;
pub use sketch::{Likeness, Sketch};
pub use small::Small;

use rayon::prelude::*;

use crate::shot::Plane;
use crate::stats::upper_median;
use patch::{Matcher, Source};
use similarity::{Pair, fit};
pub(in crate::measure) use square::two_dimensional;

/// How two frames of one scene lie on each other.
///
/// Hand-held frames of a near subject differ by more than a shift, a turn and a scale: what is near moves against what is
/// far, and the lens enlarges as it is focused. So the common map comes with the offsets of the places themselves.
#[derive(Clone, Debug, PartialEq)]
pub struct Registration {
    /// Maps the first frame's positions to the second's, as far as one similarity can.
    pub map: Similarity,
    /// Typical distance of the agreeing patches from where their neighbours have them, px.
    pub residual_px: f64,
    /// Patches that were found.
    pub compared: u32,
    /// Share of them that lie where the patches around them say.
    pub agreement: f64,
    /// Offsets of places of the first frame from the map, px.
    pub offsets: Vec<Offset>,
}

/// A place's own offset from the common map.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Offset {
    /// Centre in the first frame, px.
    pub at: (f64, f64),
    /// Offset in the second frame from where the map puts it, px.
    pub by: (f64, f64),
}

impl Registration {
    /// Two frames that lie on each other as they are.
    #[must_use]
    pub const fn still() -> Self {
        let map = Similarity::still();
        Self { map, residual_px: 0.0, compared: 0, agreement: 1.0, offsets: Vec::new() }
    }

    /// Where a place of the first frame lies in the second, the local offset included: the map corrected by the
    /// middle offset of the four nearest places.
    pub(crate) fn locate(&self, x: f64, y: f64) -> (f64, f64) {
        let (mx, my) = self.map.apply(x, y);
        let (ox, oy) = middle_offset(&self.offsets, (x, y), false);
        (mx + ox, my + oy)
    }

    /// From the first frame of this registration to the second of `next`, whose first is this one's second.
    #[must_use]
    pub fn then(&self, next: &Self) -> Self {
        let map = self.map.then(&next.map);
        let offset = |at: (f64, f64)| {
            let (x, y) = self.locate(at.0, at.1);
            let (to, by_map) = (next.locate(x, y), map.apply(at.0, at.1));
            Offset { at, by: (to.0 - by_map.0, to.1 - by_map.1) }
        };
        Self {
            map,
            residual_px: self.residual_px.hypot(next.residual_px),
            compared: self.compared.min(next.compared),
            agreement: self.agreement.min(next.agreement),
            offsets: self.offsets.iter().map(|o| offset(o.at)).collect(),
        }
    }
}

/// How many of the nearest offsets tell of a place. Chosen: a median of fewer follows one stray.
const AROUND: usize = 4;

/// Middle of the offsets nearest to a place, that at the place itself left out where `others` is set; none where there
/// are fewer than four.
fn middle_offset(offsets: &[Offset], (x, y): (f64, f64), others: bool) -> (f64, f64) {
    let mut nearest = [(f64::INFINITY, (0.0, 0.0)); AROUND];
    for o in offsets {
        let away = (o.at.0 - x).powi(2) + (o.at.1 - y).powi(2);
        if away < nearest[AROUND - 1].0 && !(others && away == 0.0) {
            nearest[AROUND - 1] = (away, o.by);
            nearest.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
        }
    }
    if nearest[AROUND - 1].0.is_infinite() {
        return (0.0, 0.0);
    }
    let middle = |part: fn((f64, f64)) -> f64| {
        let mut v = nearest.map(|n| part(n.1));
        v.sort_unstable_by(f64::total_cmp);
        (v[1] + v[2]) / 2.0
    };
    (middle(|o| o.0), middle(|o| o.1))
}

/// Distance, in small pixels, from where its neighbours have it within which a patch of a small picture agrees with
/// them. Chosen: patches that agree by chance lie evenly over the twenty pixels in which they are looked for.
const AGREE_SMALL: f64 = 1.5;
/// The same at full size, px, and how far, px, a patch may lie from where the small pictures have it. Chosen: one and a
/// half small pixels of a common frame, and nearly three times that.
const AGREE_PX: f64 = 6.0;
const STRAY_PX: f64 = 16.0;

/// Whether two sizes are those of one picture, but for a row or column lost in developing: within a hundredth.
pub(crate) fn one_size(a: (usize, usize), b: (usize, usize)) -> bool {
    let near = |a: usize, b: usize| 100 * a.abs_diff(b) <= a.max(b);
    near(a.0, b.0) && near(a.1, b.1)
}

/// Registers two small pictures of the same size: `None` where no common scene is found.
///
/// Positions and lengths in the answer are in pixels of the full pictures they were made from. A coarse shift
/// comes from phase correlation (Kuglin & Hines 1975), then patches are matched one by one, each from where those around
/// it were found, and a similarity is fitted to them robustly. Shifts up to a third of the picture, rotations up to about
/// 3 degrees and scales up to about 5 % are found. Repetitive scenes may register one period off.
#[must_use]
pub fn register_small(a: &Small, b: &Small) -> Option<Registration> {
    if !one_size((a.width, a.height), (b.width, b.height)) || a.factor != b.factor {
        return None;
    }
    let centre = (a.width as f64 / 2.0, a.height as f64 / 2.0);
    let shift = small::coarse_shift(a, b)?;
    let map = Similarity { centre, shift, scale: 1.0, angle: 0.0 };
    let mut found = Registration { map, ..Registration::still() };
    for (size, tolerance) in [(64, 6.0), (32, 2.0)] {
        let size = size.min(prior_power_of_two(a.width.min(a.height)));
        if size < 16 {
            return None;
        }
        let matches: Vec<Pair> =
            match_patches(&Source::Small(a), &Source::Small(b), &found, size, 10, 2).into_iter().flatten().collect();
        let map = fit(&matches, found.map, tolerance).or_else(|| fit(&matches, found.map, 2.0 * tolerance))?.0;
        found = conclude(&matches, map, AGREE_SMALL)?;
    }
    Some(found.scaled(a.factor as f64))
}

/// Registers two frames at full size, starting from their small pictures.
///
/// Returns `None` where the sizes differ or no common scene is found.
#[must_use]
pub fn register(a: &Plane, b: &Plane, small_a: &Small, small_b: &Small) -> Option<Registration> {
    Some(refine(a, b, &register_small(small_a, small_b)?))
}

/// Betters a registration by the pixels of the two frames; places that can't be found there, blurred beyond that or
/// hidden, stay where it has them.
pub(crate) fn refine(a: &Plane, b: &Plane, start: &Registration) -> Registration {
    let size = 64.min(prior_power_of_two(a.width.min(a.height) / 2));
    if size < 16 {
        return start.clone();
    }
    let across = (a.width.max(a.height) / size).clamp(3, 16);
    let (a, b) = (Source::Full(a), Source::Full(b));
    let places = places(&a, size, across, 4);
    let mut found = start.clone();
    for tolerance in [6.0, 2.0] {
        let matched = match_patches(&a, &b, &found, size, across, 4);
        let matches: Vec<Pair> = matched.iter().copied().flatten().collect();
        let map = fit(&matches, found.map, tolerance).map_or(found.map, |f| f.0);
        let by = |at: (f64, f64), to: (f64, f64)| {
            let (x, y) = map.apply(at.0, at.1);
            Offset { at, by: (to.0 - x, to.1 - y) }
        };
        let offsets: Vec<Offset> = places
            .iter()
            .zip(&matched)
            .map(|(&at, pair)| {
                let expected = start.locate(at.0, at.1);
                let near = |to: &(f64, f64)| (to.0 - expected.0).hypot(to.1 - expected.1) < STRAY_PX;
                by(at, pair.map(|p| p.to).filter(near).unwrap_or(expected))
            })
            .collect();
        let told = conclude(&matches, map, AGREE_PX);
        let (residual_px, compared, agreement) = told
            .map_or((start.residual_px, start.compared, start.agreement), |t| (t.residual_px, t.compared, t.agreement));
        found = Registration { map, residual_px, compared, agreement, offsets };
    }
    found
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

/// Centres of patches on an even grid, `across` of them along the longer side.
fn places(a: &Source, size: usize, across: usize, least: usize) -> Vec<(f64, f64)> {
    let (w, h) = a.size();
    let long = w.max(h) as f64;
    let count = |n: usize| ((n as f64 / long * across as f64).round() as usize).max(least);
    let (columns, rows) = (count(w), count(h));
    let half = size as f64 / 2.0;
    let at = |i: usize, n: usize, length: usize| {
        let free = length as f64 - 2.0 * half;
        half + free * (i as f64 + 0.5) / n as f64
    };
    (0..columns * rows).map(|i| (at(i % columns, columns, w), at(i / columns, rows, h))).collect()
}

/// Matches patches at those places, each looked for where the registration so far has it.
fn match_patches(
    a: &Source,
    b: &Source,
    so_far: &Registration,
    size: usize,
    across: usize,
    least: usize,
) -> Vec<Option<Pair>> {
    let matcher = Matcher::new(size);
    let of_place = |from: (f64, f64)| matcher.find(a, b, from, so_far.locate(from.0, from.1));
    places(a, size, across, least).into_par_iter().map(of_place).collect()
}

/// What matched patches say: which of them agree with those around them, and how closely.
fn conclude(matches: &[Pair], map: Similarity, agree: f64) -> Option<Registration> {
    let offsets: Vec<Offset> = matches
        .iter()
        .map(|m| {
            let (x, y) = map.apply(m.from.0, m.from.1);
            Offset { at: m.from, by: (m.to.0 - x, m.to.1 - y) }
        })
        .collect();
    let strays = |o: &Offset| {
        let (x, y) = middle_offset(&offsets, o.at, true);
        (o.by.0 - x).hypot(o.by.1 - y)
    };
    let (agreeing, lengths): (Vec<Offset>, Vec<f64>) =
        offsets.iter().map(|o| (*o, strays(o))).filter(|(_, stray)| *stray < agree).unzip();
    if agreeing.len() < 4 {
        return None;
    }
    Some(Registration {
        map,
        residual_px: upper_median(lengths)?,
        compared: offsets.len() as u32,
        agreement: agreeing.len() as f64 / offsets.len() as f64,
        offsets: agreeing,
    })
}
