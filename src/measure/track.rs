//! The track of a camera that moved, from spectra: dark bands across it, spaced by one over its length.
//!
//! A straight, even track of length b multiplies a picture's power spectrum by sinc^2(b u), u the frequency along it,
//! whatever the picture shows. Over the tiles of a frame contents and blur discs differ while the track stays the same, so
//! the mean over tiles of power relative to its ring (all directions at one frequency) shows the bands. They are compared
//! with those of every length and direction, what changes slowly with direction having been taken out of both: detail
//! that faces one way and a lens's astigmatism.

use std::f64::consts::{PI, TAU};

use rayon::prelude::*;

use super::noise::NoiseModel;
use super::spectrum::{SIDE, Spectrometer};
use super::survey::Survey;
use super::tilemap::Streak;
use crate::quantity::{Estimate, Region};
use crate::shot::{Mosaic, Plane};

/// Rings used, cycles a patch: below, the window mixes them; above, samples fold over.
const RINGS: std::ops::RangeInclusive<usize> = 3..=28;
/// Frequencies that are kept along one axis.
const HALF: usize = SIDE / 2 + 1;
/// Weight of a ring, in tiles, from which it is used.
const FEWEST: f64 = 12.0;
/// Lengths looked for at each reduction, in its samples, and the step from one to the next.
const LENGTHS: (f64, f64) = (3.0, 12.5);
const LENGTH_STEP: f64 = 1.08;
/// Length from which spectra reduced further are looked at too.
const LONG: f64 = 8.0;
/// Directions tried.
const DIRECTIONS: usize = 24;
/// Variance of a mean over many tiles that is their contents' own.
const CONTENT: f64 = 0.01;
/// Tiles, evenly chosen, that are enough: with twice as many the mean is known hardly better, for what contents share.
const ENOUGH: usize = 160;
/// How far below and above its ring a frequency may be taken to stand.
const RANGE: (f64, f64) = (0.02, 3.0);

/// Power of one tile relative to its rings, and how far each ring stands above the noise (0 to 1).
struct Relative {
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
struct Found {
    /// Length, samples of the spectra, and direction, radians from their first axis.
    length: f64,
    angle: f64,
    /// Drop of chi-square on taking it for true.
    gain: f64,
    /// Depth of the bands over that of an even track.
    depth: f64,
    /// Mean square of what is left over.
    rest: f64,
    tiles: u32,
}

/// ln of the bands of one length, by the place along the track's direction, cycles a patch; tabulated.
struct Bands(Vec<f64>);

impl Bands {
    const STEP: f64 = 0.05;
    /// What noise and texture leave in the dark.
    const FLOOR: f64 = 0.003;

    /// As the window shows them: it takes a sixth of the power to either side, which along any direction is the same.
    fn new(length: f64) -> Self {
        let bright = |place: f64| {
            let t = PI * length * place / SIDE as f64;
            if t.abs() < 1e-9 { 1.0 } else { (t.sin() / t).powi(2) }
        };
        let seen = |place: f64| (bright(place - 1.0) + 4.0 * bright(place) + bright(place + 1.0)) / 6.0;
        let last = (*RINGS.end() as f64 + 1.0) / Self::STEP;
        Self((0..=last as usize).map(|i| (seen(Self::STEP * i as f64) + Self::FLOOR).ln()).collect())
    }

    fn at(&self, place: f64) -> f64 {
        let at = (place.abs() / Self::STEP + 0.5) as usize;
        self.0[at.min(self.0.len() - 1)]
    }
}

impl Relative {
    /// Of a tile's middle, reduced by `SHRINK`; `None` where nothing stands above the noise.
    fn of<const SHRINK: usize>(
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
fn pitch<const SHRINK: usize>(plane: &Plane) -> f64 {
    match plane.mosaic {
        Mosaic::Checkerboard { .. } if SHRINK == 1 => std::f64::consts::SQRT_2,
        _ => SHRINK as f64,
    }
}

/// Ring of every place in a half spectrum, column by column; 0 where it is not used.
fn rings() -> Vec<u8> {
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

/// The track whose bands the tiles show best.
fn find(tiles: &[Relative], rings: &[u8]) -> Option<Found> {
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
    let spread = cells.iter().map(|c| c.weight * c.value * c.value).sum::<f64>();
    let steps = ((LENGTHS.1 / LENGTHS.0).ln() / LENGTH_STEP.ln()).ceil() as i32;
    let best_of = |k: i32| {
        let length = LENGTHS.0 * LENGTH_STEP.powi(k);
        let bands = Bands::new(length);
        let at = |angle: f64| (fit(&cells, &slow, &bands, angle).0, length, angle);
        let better = |a: (f64, f64, f64), b: (f64, f64, f64)| if b.0 > a.0 { b } else { a };
        (0..DIRECTIONS).map(|k| at(PI * k as f64 / DIRECTIONS as f64)).reduce(better)
    };
    let by_length: Vec<(f64, f64, f64)> = (0..=steps).into_par_iter().filter_map(best_of).collect();
    let (mut best, mut length, mut angle) = by_length.into_iter().max_by(|a, b| a.0.total_cmp(&b.0))?;
    let score = |length: f64, angle: f64| fit(&cells, &slow, &Bands::new(length), angle);
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
    Some(Found { length, angle, gain: best / scatter, depth, rest, tiles: tiles.len() as u32 })
}

/// Drop of chi-square if the bands of one length in one direction are true, and how deep they are over what they should be;
/// what changes slowly is taken out of them.
fn fit(cells: &[Cell], slow: &Slow, bands: &Bands, angle: f64) -> (f64, f64) {
    let (s, c) = angle.sin_cos();
    let (mut both, mut own) = (0.0, 0.0);
    let mut sums = [0.0; HALF];
    let mut shares = [0.0; SLOW];
    for (cell, functions) in cells.iter().zip(&slow.functions) {
        let t = bands.at(cell.x * c + cell.y * s);
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

/// How many functions change slowly with direction.
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

/// The track that the spectra of a frame's tiles show, if it is beyond doubt: at full size and reduced to a half and a
/// quarter, for lengths of 3 to 50 px.
pub(super) fn search(plane: &Plane, regions: &[Region], surveys: &[Survey], noise: &NoiseModel) -> Option<Streak> {
    fn level<const SHRINK: usize>(
        plane: &Plane,
        regions: &[Region],
        surveys: &[Survey],
        noise: &NoiseModel,
        rings: &[u8],
    ) -> Option<(f64, Option<Streak>)> {
        let every = (regions.len() / ENOUGH).max(1);
        let chosen: Vec<(&Region, &Survey)> = regions.iter().zip(surveys).step_by(every).collect();
        let tiles: Vec<Relative> = chosen
            .into_par_iter()
            .with_min_len(16)
            .map_init(Spectrometer::new, |s, (region, survey)| {
                Relative::of::<SHRINK>(s, plane, *region, noise, survey, rings)
            })
            .flatten()
            .collect();
        let found = find(&tiles, rings)?;
        let turned = SHRINK == 1 && matches!(plane.mosaic, Mosaic::Checkerboard { .. });
        Some((found.length, found.is_evident().then(|| found.streak(pitch::<SHRINK>(plane), turned))))
    }
    let rings = rings();
    let (full, half) =
        (level::<1>(plane, regions, surveys, noise, &rings), level::<2>(plane, regions, surveys, noise, &rings));
    // A track too long for these leaves the best likeness at the long end.
    let longer = half.is_some_and(|(length, _)| length > LONG);
    let quarter = longer.then(|| level::<4>(plane, regions, surveys, noise, &rings)).flatten();
    let found = [full, half, quarter].into_iter().flatten().filter_map(|(_, streak)| streak);
    found.min_by(|a, b| a.length.sd.total_cmp(&b.length.sd))
}

/// Least drop of chi-square, and least and greatest depth of the bands, that put a track beyond doubt. Set on rendered
/// landscapes (the seeds used for building): of 240 without a track the five highest reach 25 to 175, all with lengths below
/// 3 samples, which are refused.
const GAIN: f64 = 90.0;
const DEPTHS: (f64, f64) = (0.45, 1.6);
/// Mean square left over (of ln) up to which the tiles show something of every direction: a fence, stripes or courses of
/// brick, the same in all of them, have dark bands of their own.
const PATTERNED: f64 = 0.4;
/// Length, samples, below which a single band shows in part: its place is uncertain, and GAIN must be reached several times
/// over.
const SHORT: f64 = 3.6;

impl Found {
    fn is_evident(&self) -> bool {
        let least = if self.length < SHORT { 4.0 * GAIN } else { GAIN };
        self.gain > least
            && self.rest < PATTERNED
            && self.length > LENGTHS.0
            && self.depth > DEPTHS.0
            && self.depth < DEPTHS.1
    }

    /// In px of the picture, samples being `pitch` px apart; `turned` where their first axis points right-down.
    fn streak(&self, pitch: f64, turned: bool) -> Streak {
        let angle = self.angle + if turned { PI / 4.0 } else { 0.0 };
        let length = self.length * pitch;
        let doubt = pitch * (0.05 + if self.length < SHORT { 350.0 } else { 60.0 } / self.gain);
        Streak {
            length: Estimate::new(length, doubt.hypot(0.03 * length), self.tiles),
            angle: Estimate::new((angle + PI / 2.0).rem_euclid(PI) - PI / 2.0, 0.04, self.tiles),
        }
    }
}

/// Directions this far apart (radians) are those of two tracks.
const ASTRAY: f64 = 0.35;

/// What edges and bands say together. A track that was not even leaves no bands and is told by edges alone, as are those
/// too short for bands; edges fail where all of them face one way and read long tracks short.
pub(super) fn together(edges: Option<Streak>, bands: Option<Streak>) -> Option<Streak> {
    let (Some(e), Some(b)) = (edges, bands) else { return edges.or(bands) };
    let apart = (e.angle.value - b.angle.value + PI / 2.0).rem_euclid(PI) - PI / 2.0;
    let agree = (e.length.value - b.length.value).abs() < 2.5 * e.length.sd.hypot(b.length.sd);
    if !agree || apart.abs() > ASTRAY {
        return Some(b);
    }
    let (we, wb) = (e.length.sd.powi(-2), b.length.sd.powi(-2));
    let length = (we * e.length.value + wb * b.length.value) / (we + wb);
    let n = e.length.n.max(b.length.n);
    Some(Streak { length: Estimate::new(length, (we + wb).sqrt().recip(), n), ..b })
}

#[cfg(test)]
mod tests {
    use super::*;

    const SIZE: usize = 768;

    /// Straight strokes of random direction and brightness, as samples about 20,000, each point of them spread evenly over a
    /// track and over a disc whose diameter grows down the picture.
    fn picture(length: f64, angle: f64) -> Plane {
        const SPREAD: usize = 40;
        let mut dice = fastrand::Rng::with_seed(11);
        let mut light = vec![0.0f64; SIZE * SIZE];
        for _ in 0..9000 {
            let (x, y) = (dice.f64() * SIZE as f64, dice.f64() * SIZE as f64);
            let (turn, bright) = (PI * dice.f64(), dice.f64() - 0.5);
            let radius = 0.3 + 1.2 * y / SIZE as f64;
            for step in 0..40 {
                let at = 0.5 * f64::from(step);
                for k in 0..SPREAD {
                    // Evenly over disc and track at once: a sunflower's spiral, and steps of an irrational share.
                    let along = length * ((0.754_877_666 * k as f64).fract() - 0.5);
                    let (r, t) = (radius * ((k as f64 + 0.5) / SPREAD as f64).sqrt(), 2.399_963 * k as f64);
                    let px = x + at * turn.cos() + along * angle.cos() + r * t.cos();
                    let py = y + at * turn.sin() + along * angle.sin() + r * t.sin();
                    if px >= 0.0 && py >= 0.0 && px < SIZE as f64 && py < SIZE as f64 {
                        light[py as usize * SIZE + px as usize] += bright;
                    }
                }
            }
        }
        Plane {
            width: SIZE,
            height: SIZE,
            data: light.iter().map(|v| (20_000.0 + 400.0 * v).clamp(0.0, 59_000.0) as u16).collect(),
            black: 0,
            white: 60_000,
            saturation: 60_000,
            mosaic: Mosaic::None,
            jpeg: None,
            rendered: false,
        }
    }

    fn searched(plane: &Plane) -> Option<Streak> {
        let tile = |i: u32| Region { x: 64 * (i % 12), y: 64 * (i / 12), width: 64, height: 64 };
        let regions: Vec<Region> = (0..144).map(tile).collect();
        let surveys = vec![Survey { mean: 20_000.0, ..Survey::default() }; regions.len()];
        search(plane, &regions, &surveys, &NoiseModel::fit(plane, &[]))
    }

    #[test]
    fn tracks_short_and_long_are_found_beside_discs() {
        for (length, angle, mosaic) in [
            (7.0, 0.4, Mosaic::None),
            (9.0, -1.2, Mosaic::None),
            (9.0, -1.2, Mosaic::Checkerboard { even: false }),
            (20.0, 1.0, Mosaic::Checkerboard { even: true }),
        ] {
            let plane = Plane { mosaic, ..picture(length, angle) };
            let found = searched(&plane);
            assert!(found.is_some(), "no track of {length} px on {mosaic:?}");
            if let Some(found) = found {
                assert!((found.length.value / length - 1.0).abs() < 0.06, "{found:?} for {length}");
                assert!((found.angle.value - angle).abs() < 0.06, "{found:?} for {angle}");
            }
        }
    }

    #[test]
    fn a_still_picture_has_no_track() {
        assert!(searched(&picture(0.0, 0.0)).is_none());
    }

    #[test]
    fn edges_and_bands_are_weighed_where_they_agree_and_bands_win_where_not() {
        let streak = |length: f64, sd: f64, angle: f64| Streak {
            length: Estimate::new(length, sd, 9),
            angle: Estimate::new(angle, 0.04, 9),
        };
        let both = together(Some(streak(4.0, 0.2, 1.5)), Some(streak(4.4, 0.2, -1.6))).expect("a track");
        assert!((both.length.value - 4.2).abs() < 1e-9 && both.length.sd < 0.2, "{both:?}");
        let apart = together(Some(streak(8.0, 0.5, 0.3)), Some(streak(18.0, 0.6, 0.3))).expect("a track");
        assert!((apart.length.value - 18.0).abs() < 1e-9, "{apart:?}");
        assert!(together(Some(streak(2.0, 0.2, 0.1)), None).is_some() && together(None, None).is_none());
    }
}
