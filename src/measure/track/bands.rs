//! Power of tiles relative to their rings, and the bands of a track in the mean of it.

use std::f64::consts::{PI, TAU};
use std::sync::LazyLock;

use multiversion::multiversion;
use rayon::prelude::*;

use crate::measure::noise::NoiseModel;
use crate::measure::spectrum::{SIDE, Spectrometer};
use crate::measure::survey::Survey;
use crate::quantity::Region;
use crate::shot::{Mosaic, Plane};

/// Rings used, cycles a patch. Derived: below, the window mixes them; above, samples fold over.
const RINGS: std::ops::RangeInclusive<usize> = 3..=28;
/// Frequencies that are kept along one axis. Derived: as many as a real transform has.
const HALF: usize = SIDE / 2 + 1;
/// Weight of a ring, in tiles, from which it is used. Chosen: a mean of a dozen tiles has a third of the error of one.
const FEWEST: f64 = 12.0;
/// Lengths looked for at each reduction, in its samples, and the ratio of each to the one before. Chosen: below, no
/// second band shows; above, bands are narrower than two rings. Steps move a band by less than its width.
pub(super) const LENGTHS: (f64, f64) = (3.0, 12.5);
const LENGTH_STEP: f64 = 1.08;
/// Number of directions tried. Chosen: 7.5 degrees, narrower than the bands of the longest track.
const DIRECTIONS: usize = 24;
/// Variance of a mean over many tiles that is their contents' own. Chosen: a tenth of ln power, squared.
const CONTENT: f64 = 0.01;
/// Least and greatest power, over its ring's, that a frequency is taken to have. Chosen: as far as the bands' model is asked.
const RANGE: (f64, f64) = (0.02, 3.0);

/// Contrast of the bands of a double picture, 2 w / (1 + w^2), one being w times as bright as the other. Chosen: half
/// as bright; by the depth of the bands, pictures between a third and all as bright are found.
const UNLIKE: f64 = 0.8;

/// Power of one tile relative to its rings, and how far each ring stands above the noise (0 to 1).
pub(super) struct Relative {
    power: Vec<f32>,
    weight: [f32; HALF],
}

/// A frequency of the half plane that is used.
struct Cell {
    x: f64,
    y: f64,
    ring: usize,
    /// ln of the power relative to the ring.
    value: f64,
    weight: f64,
}

/// A track as the bands have it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Found {
    /// Length, samples of the spectra, and direction, radians from their first axis.
    pub(super) length: f64,
    pub(super) angle: f64,
    /// Drop of chi-square on taking it for true.
    pub(super) gain: f64,
    /// Depth of the bands over that of an even track.
    pub(super) depth: f64,
    /// Mean square of what is left over.
    pub(super) rest: f64,
    pub(super) tiles: u32,
}

/// How the light of a point was spread along the track.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Kind {
    /// Evenly.
    Even,
    /// Evenly along a parabola, whose ends lie aside of its middle by this share of its length.
    Bent(f64),
    /// On its two ends: the camera rested twice and jumped between, or two exposures were laid over each other.
    Double,
}

/// ln of the bands of one length, by the place along and across the track's direction, cycles a patch; tabulated.
enum Bands {
    /// The same all across.
    Straight(Vec<f64>),
    /// Row by row across.
    Bent(Vec<f64>),
}

impl Bands {
    const STEP: f64 = 0.05;
    /// Of a bent track, whose bands turn slowly.
    const COARSE: f64 = 0.5;
    /// What noise and texture leave in the dark.
    const FLOOR: f64 = 0.003;
    const LAST: f64 = *RINGS.end() as f64 + 1.0;

    /// As the window shows them: it takes a sixth of the power to either side, which along any direction is the same.
    ///
    /// Two points a distance d apart, the one w times as bright as the other, leave 1 + w^2 + 2 w cos(2 pi d u) of a power.
    fn new(kind: Kind, length: f64) -> Self {
        let bright = |place: f64| {
            let t = PI * length * place / SIDE as f64;
            match kind {
                Kind::Double => 0.5 + 0.5 * UNLIKE * (2.0 * t).cos(),
                _ if t.abs() < 1e-9 => 1.0,
                _ => (t.sin() / t).powi(2),
            }
        };
        if let Kind::Bent(aside) = kind {
            return Self::bent(length, aside);
        }
        let seen = |place: f64| (bright(place - 1.0) + 4.0 * bright(place) + bright(place + 1.0)) / 6.0;
        let places = (0..=(Self::LAST / Self::STEP) as usize).map(|i| Self::STEP * i as f64);
        Self::Straight(places.map(|place| (seen(place) + Self::FLOOR).ln()).collect())
    }

    fn bent(length: f64, aside: f64) -> Self {
        let scale = length / SIDE as f64;
        let side = (Self::LAST / Self::COARSE) as usize + 1;
        let place = |i: usize| Self::COARSE * i as f64;
        // The window along, and across.
        let bright = |x: f64, y: f64| parabola(scale * x, 4.0 * aside * scale * y);
        let along = |x: f64, y: f64| (bright(x - 1.0, y) + 4.0 * bright(x, y) + bright(x + 1.0, y)) / 6.0;
        let seen = |x: f64, y: f64| (along(x, y - 1.0) + 4.0 * along(x, y) + along(x, y + 1.0)) / 6.0;
        let rows = (0..side).flat_map(|y| (0..side).map(move |x| (place(x), place(y))));
        Self::Bent(rows.map(|(x, y)| (seen(x, y) + Self::FLOOR).ln()).collect())
    }

    #[inline]
    fn at(&self, along: f64, across: f64) -> f64 {
        match self {
            Self::Straight(table) => table[((along.abs() / Self::STEP + 0.5) as usize).min(table.len() - 1)],
            Self::Bent(table) => {
                let last = (Self::LAST / Self::COARSE) as usize;
                let at = |place: f64| ((place.abs() / Self::COARSE + 0.5) as usize).min(last);
                table[at(across) * (last + 1) + at(along)]
            }
        }
    }
}

/// Power that a parabola drawn evenly leaves: the square of the integral of exp(2 pi i (p t + q t^2)) over t from -1/2 to
/// 1/2, for a track of unit length whose ends lie a quarter aside (from the definition of the transform; it is the same for
/// either sign of p and q). Tabulated, nearest.
fn parabola(p: f64, q: f64) -> f64 {
    const STEP: f64 = 0.02;
    const SIDE: usize = 320;
    const PARTS: usize = 40;
    static TABLE: LazyLock<Vec<f32>> = LazyLock::new(|| {
        // The odd part of exp(2 pi i p t) vanishes in the integral.
        let t = |k: usize| (k as f64 + 0.5) / (2 * PARTS) as f64;
        let of = |f: &dyn Fn(f64, f64) -> f64| -> Vec<Vec<f64>> {
            (0..SIDE).map(|i| (0..PARTS).map(|k| f(TAU * STEP * i as f64, t(k)) / PARTS as f64).collect()).collect()
        };
        let (along, real) = (of(&|f, t| (f * t).cos()), of(&|f, t| (f * t * t).cos() * PARTS as f64));
        let imaginary = of(&|f, t| (f * t * t).sin() * PARTS as f64);
        let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
        let power = |y: usize, x: usize| dot(&along[x], &real[y]).powi(2) + dot(&along[x], &imaginary[y]).powi(2);
        (0..SIDE).flat_map(|y| (0..SIDE).map(move |x| (y, x))).map(|(y, x)| power(y, x) as f32).collect()
    });
    let at = |v: f64| ((v.abs() / STEP + 0.5) as usize).min(SIDE - 1);
    f64::from(TABLE[at(q) * SIDE + at(p)])
}

impl Relative {
    /// Of a tile's middle, reduced by `SHRINK`; `None` where nothing stands above the noise.
    pub(super) fn of<const SHRINK: usize>(
        spectrometer: &mut Spectrometer,
        plane: &Plane,
        region: Region,
        noise: &NoiseModel,
        survey: &Survey,
        rings: &[u8],
    ) -> Option<Self> {
        let spectrum = spectrometer.middle::<SHRINK>(plane, region)?;
        let (factor, averaged) = (pitch::<SHRINK>(plane), (SHRINK * SHRINK) as f64);
        // Half of the sites of a checkerboard are averaged, unless all are taken one by one.
        let checkered = matches!(plane.mosaic, Mosaic::Checkerboard { .. });
        let averaged = if checkered && SHRINK > 1 { averaged / 2.0 } else { averaged };
        let mut power: Vec<f32> = spectrum.iter().map(|v| v.norm_sqr()).collect();
        let (mut sums, mut counts) = ([0.0f64; HALF], [0.0f64; HALF]);
        for (p, &ring) in power.iter().zip(rings) {
            sums[usize::from(ring)] += f64::from(*p);
            counts[usize::from(ring)] += 1.0;
        }
        let mut weight = [0.0f32; HALF];
        let mut scale = [(0.0f32, 0.0f32); HALF];
        for ring in RINGS {
            let f = ring as f64 / SIDE as f64 / factor;
            let drown = noise.at_frequency(survey.mean, f);
            let white = drown.noise / averaged;
            let signal = sums[ring] / counts[ring] - white;
            if signal > white.max(drown.least / averaged) {
                weight[ring] = (signal / (signal + white)) as f32;
                scale[ring] = (white as f32, 1.0 / signal as f32);
            }
        }
        if weight.iter().all(|w| *w == 0.0) {
            return None;
        }
        for (p, &ring) in power.iter_mut().zip(rings) {
            let (white, scale) = scale[usize::from(ring)];
            *p = (*p - white) * scale;
        }
        Some(Self { power, weight })
    }
}

/// Pitch of the samples of spectra reduced by `SHRINK`, px.
pub(super) fn pitch<const SHRINK: usize>(plane: &Plane) -> f64 {
    match plane.mosaic {
        Mosaic::Checkerboard { .. } if SHRINK == 1 => std::f64::consts::SQRT_2,
        _ => SHRINK as f64,
    }
}

/// Ring of every place in a half spectrum, column by column; 0 where it is not used.
pub(super) fn rings() -> Vec<u8> {
    let ring = |index: usize| {
        let (x, y) = place(index);
        let ring = x.hypot(y).round() as usize;
        // The column of zero frequency holds every frequency twice.
        if RINGS.contains(&ring) && (x > 0.0 || y > 0.0) { ring as u8 } else { 0 }
    };
    (0..HALF * SIDE).map(ring).collect()
}

/// Cycles a patch along x and y.
fn place(index: usize) -> (f64, f64) {
    let y = index % SIDE;
    ((index / SIDE) as f64, if y > SIDE / 2 { y as f64 - SIDE as f64 } else { y as f64 })
}

/// What the tiles show together, cleared of what changes slowly with direction.
pub(super) struct Shown {
    cells: Vec<Cell>,
    slow: Slow,
    tiles: u32,
}

/// Puts tiles together.
pub(super) fn shown(tiles: &[Relative], rings: &[u8]) -> Option<Shown> {
    let mut weights = [0.0f64; HALF];
    let mut sums = vec![0.0f64; HALF * SIDE];
    for tile in tiles {
        for ((sum, p), &ring) in sums.iter_mut().zip(&tile.power).zip(rings) {
            // One tile's texture may stand far above its ring.
            *sum += f64::from(tile.weight[usize::from(ring)] * p.min(6.0));
        }
        for (sum, w) in weights.iter_mut().zip(&tile.weight) {
            *sum += f64::from(*w);
        }
    }
    let mut cells: Vec<Cell> = (0..HALF * SIDE)
        .filter_map(|i| {
            let ring = usize::from(rings[i]);
            if weights[ring] <= FEWEST {
                return None;
            }
            let (x, y) = place(i);
            let value = (sums[i] / weights[ring]).clamp(RANGE.0, RANGE.1).ln();
            // Neighbours under the window tell the same two and a quarter times over.
            Some(Cell { x, y, ring, value, weight: 1.0 / 2.25 / (1.0 / weights[ring] + CONTENT) })
        })
        .collect();
    if cells.len() < 200 {
        return None;
    }
    let slow = Slow::new(&cells);
    let mut values: Vec<f64> = cells.iter().map(|c| c.value).collect();
    slow.take_out(&cells, &mut values);
    cells.iter_mut().zip(values).for_each(|(c, v)| c.value = v);
    Some(Shown { cells, slow, tiles: tiles.len() as u32 })
}

/// The track of a kind whose bands the tiles show best.
pub(super) fn find(Shown { cells, slow, tiles }: &Shown, kind: Kind) -> Option<Found> {
    let spread = cells.iter().map(|c| c.weight * c.value * c.value).sum::<f64>();
    let steps = ((LENGTHS.1 / LENGTHS.0).ln() / LENGTH_STEP.ln()).ceil() as i32;
    let best_of = |k: i32| {
        let length = LENGTHS.0 * LENGTH_STEP.powi(k);
        let bands = Bands::new(kind, length);
        let at = |angle: f64| (fit(cells, slow, &bands, angle).0, length, angle);
        let better = |a: (f64, f64, f64), b: (f64, f64, f64)| if b.0 > a.0 { b } else { a };
        (0..DIRECTIONS).map(|k| at(PI * k as f64 / DIRECTIONS as f64)).reduce(better)
    };
    let by_length: Vec<(f64, f64, f64)> = (0..=steps).into_par_iter().filter_map(best_of).collect();
    let (mut best, mut length, mut angle) = by_length.into_iter().max_by(|a, b| a.0.total_cmp(&b.0))?;
    let score = |length: f64, angle: f64| fit(cells, slow, &Bands::new(kind, length), angle);
    let (mut by, mut turn) = (0.5 * LENGTH_STEP.ln(), 0.5 * PI / DIRECTIONS as f64);
    for _ in 0..6 {
        for (l, a) in [(-by, 0.0), (by, 0.0), (0.0, -turn), (0.0, turn)] {
            let (l, a) = (length * f64::exp(l), angle + a);
            let there = score(l, a).0;
            if there > best {
                (best, length, angle) = (there, l, a);
            }
        }
        by *= 0.6;
        turn *= 0.6;
    }
    let depth = score(length, angle).1;
    let rest = (spread - best) / cells.iter().map(|c| c.weight).sum::<f64>();
    // What is left over is no chance alone: it sets the scale.
    let freedom = cells.len() as f64 / 2.25;
    let scatter = ((spread - best) / freedom).max(1.0);
    Some(Found { length, angle, gain: best / scatter, depth, rest, tiles: *tiles })
}

/// Drop of chi-square if the bands of one length in one direction are true, and how deep they are over what they should be;
/// what changes slowly is taken out of them.
#[multiversion(targets("x86_64+avx2"))]
fn fit(cells: &[Cell], slow: &Slow, bands: &Bands, angle: f64) -> (f64, f64) {
    let (s, c) = angle.sin_cos();
    let (mut both, mut own) = (0.0, 0.0);
    let mut sums = [0.0; HALF];
    let mut shares = [0.0; SLOW];
    for (cell, functions) in cells.iter().zip(&slow.functions) {
        let t = bands.at(cell.x * c + cell.y * s, cell.y * c - cell.x * s);
        let weighted = cell.weight * t;
        both += weighted * cell.value;
        own += weighted * t;
        sums[cell.ring] += weighted;
        for (share, f) in shares.iter_mut().zip(functions) {
            *share += weighted * f;
        }
    }
    let means: f64 = RINGS.filter(|&r| slow.weights[r] > 0.0).map(|r| sums[r] * sums[r] / slow.weights[r]).sum();
    let own = own - means - shares.iter().map(|s| s * s).sum::<f64>();
    (2.0 * both - own, both / own.max(1e-9))
}

/// How many functions change slowly with direction. Derived: those that are written out below.
const SLOW: usize = 8;

/// What changes slowly with direction: the second and fourth harmonics, the same at all frequencies or changing with their
/// logarithm; less the rings' means and made orthonormal.
struct Slow {
    /// Of each cell.
    functions: Vec<[f64; SLOW]>,
    /// Of each ring.
    weights: [f64; HALF],
}

impl Slow {
    fn new(cells: &[Cell]) -> Self {
        let mut weights = [0.0; HALF];
        for c in cells {
            weights[c.ring] += c.weight;
        }
        let mut slow = Self { functions: vec![[0.0; SLOW]; cells.len()], weights };
        for k in 0..SLOW {
            let (order, phase, rising) = ([2.0, 4.0][k / 4], [0.0, TAU / 4.0][k / 2 % 2], k % 2 == 1);
            let at = |c: &Cell| {
                let rise = if rising { (c.ring as f64 / 10.0).ln() } else { 1.0 };
                rise * (order * c.y.atan2(c.x) - phase).cos()
            };
            let mut f: Vec<f64> = cells.iter().map(at).collect();
            slow.take_out(cells, &mut f);
            let norm = f.iter().zip(cells).map(|(f, c)| f * f * c.weight).sum::<f64>().sqrt();
            if norm > 1e-6 {
                slow.functions.iter_mut().zip(&f).for_each(|(all, f)| all[k] = f / norm);
            }
        }
        slow
    }

    /// Takes the rings' means and the functions so far out of values.
    fn take_out(&self, cells: &[Cell], values: &mut [f64]) {
        let mut means = [0.0; HALF];
        for (v, c) in values.iter().zip(cells) {
            means[c.ring] += v * c.weight / self.weights[c.ring];
        }
        values.iter_mut().zip(cells).for_each(|(v, c)| *v -= means[c.ring]);
        let mut shares = [0.0; SLOW];
        for ((v, c), functions) in values.iter().zip(cells).zip(&self.functions) {
            for (share, f) in shares.iter_mut().zip(functions) {
                *share += v * f * c.weight;
            }
        }
        for (v, functions) in values.iter_mut().zip(&self.functions) {
            *v -= shares.iter().zip(functions).map(|(s, f)| s * f).sum::<f64>();
        }
    }
}
