//! The track of a camera that moved, from spectra: dark bands across it, spaced by one over its length.
//!
//! A straight, even track of length b multiplies a picture's power spectrum by sinc^2(b u), u the frequency along it,
//! whatever the picture shows. Over the tiles of a frame contents and blur discs differ while the track stays the same, so
//! the mean over tiles of power relative to its ring (all directions at one frequency) shows the bands. They are compared
//! with those of every length and direction, what changes slowly with direction having been taken out of both: detail
//! that faces one way and a lens's astigmatism.

mod bands;

use std::f64::consts::PI;

use rayon::prelude::*;

use self::bands::{Found, Kind, LENGTHS, Relative, find, pitch, rings, shown};
use super::noise::NoiseModel;
use super::spectrum::Spectrometer;
use super::survey::Survey;
use super::tilemap::Streak;
use crate::quantity::{Estimate, Region};
use crate::shot::{Mosaic, Plane};

/// Chosen: with twice as many the mean is known hardly better, for what contents share. Tiles, evenly chosen, that are
/// enough.
const ENOUGH: usize = 160;
/// Chosen: from there a picture at half size holds its bands as well. Length from which spectra reduced further are
/// looked at too.
const LONG: f64 = 8.0;

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
        let shown = shown(&tiles, rings)?;
        let even = find(&shown, Kind::Even)?;
        let turned = SHRINK == 1 && matches!(plane.mosaic, Mosaic::Checkerboard { .. });
        let streak = |found: &Found, times: f64| found.streak(pitch::<SHRINK>(plane), times, turned);
        let double = find(&shown, Kind::Double)?;
        let found = if double.is_double() && !(even.is_evident() && even.gain > double.gain) {
            Some(streak(&double, DOUBLE))
        } else {
            even.is_evident().then(|| streak(&even, 1.0))
        };
        Some((even.length, found))
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

/// Set on rendered landscapes (the seeds used for building): of 240 without a track the five highest reach 25 to 175,
/// all with lengths below 3 samples, which are refused. Least drop of chi-square, and least and greatest depth of the
/// bands, that put a track beyond doubt.
const GAIN: f64 = 90.0;
const DEPTHS: (f64, f64) = (0.45, 1.6);
/// Chosen: far from what a mean over many contents leaves. Mean square left over (of ln) up to which the tiles show
/// something of every direction: a fence, stripes or courses of brick, the same in all of them, have dark bands of
/// their own.
const PATTERNED: f64 = 0.4;
/// Chosen: its place is uncertain there, and GAIN must be reached several times over. Length, samples, below which a
/// single band shows in part.
const SHORT: f64 = 3.6;

/// Set on the middles of 31 photographs under a level track of 36 px: reduced to a quarter 26 of them reach all three,
/// their lengths within 4 %. The same for a track so plain that it may leave hardly anything across it, which no
/// pattern does to all of its harmonics.
const PLAIN: (f64, f64, f64) = (180.0, 0.62, 0.62);
/// Set on the same photographs doubled at 10 and 22 px, of which the least gain is 160 and the greatest depth 1.75; of
/// the photographs themselves none gains more than 1. Greatest depth of the bands of a double picture.
const DOUBLED: f64 = 1.8;

impl Found {
    fn is_evident(&self) -> bool {
        let least = if self.length < SHORT { 4.0 * GAIN } else { GAIN };
        let plain = self.gain > PLAIN.0 && self.depth > PLAIN.1 && self.rest < PLAIN.2 && self.length > SHORT;
        self.gain > least
            && (self.rest < PATTERNED || plain)
            && self.length > LENGTHS.0
            && self.depth > DEPTHS.0
            && self.depth < DEPTHS.1
    }

    fn is_double(&self) -> bool {
        let bands = self.depth > DEPTHS.0 && self.depth < DOUBLED;
        self.gain > GAIN && self.rest < PLAIN.2 && self.length > SHORT && bands
    }

    /// In px of the picture, samples being `pitch` px apart; `turned` where their first axis points right-down. `times`: the
    /// length of an even track over that of this kind.
    fn streak(&self, pitch: f64, times: f64, turned: bool) -> Streak {
        let angle = self.angle + if turned { PI / 4.0 } else { 0.0 };
        let length = times * self.length * pitch;
        let doubt = pitch * (0.05 + if self.length < SHORT { 350.0 } else { 60.0 } / self.gain);
        Streak {
            length: Estimate::new(length, doubt.hypot(0.03 * length), self.tiles),
            angle: Estimate::new((angle + PI / 2.0).rem_euclid(PI) - PI / 2.0, 0.04, self.tiles),
        }
    }
}

/// Derived: cos(pi f) = 1/2 at f = 1/3, sinc(b f) = 1/2 at b f = 0.603. Length of the even track that halves the
/// contrast at the frequency at which two points, one apart, halve it.
const DOUBLE: f64 = 1.81;

/// Chosen: 20 degrees, nearly three steps of the search. Directions this far apart (radians) are those of two tracks.
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
        Plane::of_test(SIZE, light.iter().map(|v| (20_000.0 + 400.0 * v).clamp(0.0, 59_000.0) as u16).collect())
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
    fn a_picture_that_lies_over_itself_is_one_that_moved() {
        let still = picture(0.0, 0.0);
        let at = |x: usize, y: usize| u32::from(still.data[y.min(SIZE - 1) * SIZE + x.min(SIZE - 1)]);
        let twice = |i: usize| ((5 * at(i % SIZE, i / SIZE) + 4 * at(i % SIZE + 12, i / SIZE + 9)) / 9) as u16;
        let doubled = Plane { data: (0..SIZE * SIZE).map(twice).collect(), ..still };
        let found = searched(&doubled).expect("a track");
        // 15 px apart, at atan(9 / 12).
        assert!((found.length.value / (DOUBLE * 15.0) - 1.0).abs() < 0.06, "{found:?}");
        assert!((found.angle.value - 0.6435).abs() < 0.06, "{found:?}");
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
