//! The track of a camera that moved, from spectra: dark bands across it, spaced by one over its length.
//!
//! A straight, even track of length b multiplies a picture's power spectrum by sinc^2(b u), u the frequency along it,
//! whatever the picture shows. Over the tiles of a frame contents and blur discs differ while the track stays the same, so
//! the mean over tiles of power relative to its ring (all directions at one frequency) shows the bands. They are compared
//! with those of every length and direction, what changes slowly with direction having been taken out of both: detail
//! that faces one way and a lens's astigmatism. A hand's track is seldom straight: bands of a parabola are tried too where
//! widths leave room for one.

mod bands;

use std::f64::consts::PI;

use rayon::prelude::*;

use self::bands::{Found, Kind, LENGTHS, Relative, find, pitch, rings, shown};
use super::grid::Grid;
use super::noise::NoiseModel;
use super::reduced;
use super::spectrum::{SIDE, Spectrometer};
use super::survey::{Survey, survey_row};
use super::tilemap::{Streak, Tile};
use crate::quantity::{Estimate, Region};
use crate::shot::{Mosaic, Plane};
use crate::stats::upper_median;

/// Tiles, evenly chosen, that are enough. Chosen: with twice as many the mean is known hardly better, for what contents share.
const ENOUGH: usize = 160;
/// Median width, px, from which bent tracks and long ones are looked for. Derived: a track of 7 px, the shortest that
/// shows a bend, spreads what is averaged over directions by 0.31 of its length over the root of two.
const SPREAD: f64 = 1.5;
/// Shares of its length by which the ends of a bent track lie aside. Chosen: as of a hand's tracks; what lies between
/// is told by its neighbour.
const BENDS: [f64; 2] = [0.1, 0.22];
/// How many times smaller the pictures are in which tracks too long for a quarter are looked for. Chosen: an eighth
/// holds tracks of up to 100 px, a sixteenth of twice that.
const SMALLER: [usize; 2] = [8, 16];

/// Whether widths are such as a track leaves that is bent, or longer than pictures of half size can tell.
pub(super) fn may_be_long(tiles: &[Tile]) -> bool {
    upper_median(tiles.iter().filter_map(|t| Some(t.blur?.value)).collect()).is_none_or(|width| width > SPREAD)
}

/// The track that the spectra of a frame's tiles show, if it is beyond doubt: at full size and reduced to a half, for straight
/// ones of 3 to 25 px, and, where it may be `long`, for bent ones too and up to 200 px in smaller pictures.
pub(super) fn search(
    plane: &Plane,
    regions: &[Region],
    surveys: &[Survey],
    noise: &NoiseModel,
    long: bool,
) -> Option<Streak> {
    let every = (regions.len() / ENOUGH).max(1);
    let chosen: Vec<(&Region, &Survey)> = regions.iter().zip(surveys).step_by(every).collect();
    let rings = rings();
    // At full size a track that shows a bend has hardly a second band.
    let bends: &[f64] = if long { &BENDS } else { &[] };
    let mut levels =
        vec![level::<1>(plane, &chosen, noise, &rings, &[]), level::<2>(plane, &chosen, noise, &rings, bends)];
    if long {
        levels.push(level::<4>(plane, &chosen, noise, &rings, bends));
        levels.extend(SMALLER.map(|times| smaller(plane, times, &rings)));
    }
    let found: Vec<(Streak, f64)> = levels.into_iter().flatten().collect();
    // Of a long track a level for short ones may hold one harmonic; of one that several hold, the finest knows it best.
    let sure = found.iter().max_by(|a, b| a.1.total_cmp(&b.1))?.0;
    let same = found.into_iter().map(|level| level.0).filter(|streak| alike(&sure, streak));
    same.min_by(|a, b| a.length.sd.total_cmp(&b.length.sd))
}

/// The track that is beyond doubt at one size, in px of the picture, and how much it explains.
fn level<const SHRINK: usize>(
    plane: &Plane,
    tiles: &[(&Region, &Survey)],
    noise: &NoiseModel,
    rings: &[u8],
    bends: &[f64],
) -> Option<(Streak, f64)> {
    let tiles: Vec<Relative> = tiles
        .par_iter()
        .with_min_len(16)
        .map_init(Spectrometer::new, |s, (region, survey)| {
            Relative::of::<SHRINK>(s, plane, **region, noise, survey, rings)
        })
        .flatten()
        .collect();
    let shown = shown(&tiles, rings)?;
    let even = find(&shown, Kind::Even).filter(Found::is_evident).map(|found| (found, false));
    let double = find(&shown, Kind::Double).filter(Found::is_double).map(|found| (found, true));
    let bent = bends.iter().filter_map(|b| find(&shown, Kind::Bent(*b)).filter(Found::is_evident)).map(|b| (b, false));
    let likelier = |a: &(Found, bool), b: &(Found, bool)| a.0.gain.total_cmp(&b.0.gain);
    let (found, doubled) = even.into_iter().chain(double).chain(bent).max_by(likelier)?;
    let turned = SHRINK == 1 && matches!(plane.mosaic, Mosaic::Checkerboard { .. });
    Some((found.streak(pitch::<SHRINK>(plane), doubled, turned), found.gain))
}

/// The same of a picture made smaller, whose patches overlap by a half, so that the window leaves nothing of it out.
fn smaller(plane: &Plane, times: usize, rings: &[u8]) -> Option<(Streak, f64)> {
    if plane.width.min(plane.height) < SIDE * times {
        return None;
    }
    let small = reduced::reduce(plane, times);
    let half = SIDE as u32 / 2;
    let (columns, rows) = (small.width as u32 / half, small.height as u32 / half);
    let at = |x: u32, y: u32| Region { x: half * x, y: half * y, width: 2 * half, height: 2 * half };
    let regions: Vec<Region> = (1..rows).flat_map(|y| (1..columns).map(move |x| at(x - 1, y - 1))).collect();
    let grid = Grid::new(small.width, small.height, columns);
    let surveys: Vec<Survey> = (0..grid.rows).flat_map(|row| survey_row(&small, &grid, row)).collect();
    let noise = NoiseModel::fit(&small, &surveys);
    let mean = surveys.iter().map(|s| s.mean).sum::<f64>() / surveys.len().max(1) as f64;
    let survey = Survey { mean, ..Survey::default() };
    let tiles: Vec<(&Region, &Survey)> = regions.iter().map(|region| (region, &survey)).collect();
    let (streak, gain) = level::<1>(&small, &tiles, &noise, rings, &BENDS)?;
    let px = times as f64;
    let (length, doubled) = (streak.length.scaled(px), streak.doubled.map(|apart| apart.scaled(px)));
    Some((Streak { length, doubled, ..streak }, gain))
}

/// Whether two are the same track within their errors.
fn alike(a: &Streak, b: &Streak) -> bool {
    let apart = (a.angle.value - b.angle.value + PI / 2.0).rem_euclid(PI) - PI / 2.0;
    (a.length.value - b.length.value).abs() < 2.5 * a.length.sd.hypot(b.length.sd) && apart.abs() <= ASTRAY
}

/// Least drop of chi-square, and least and greatest depth of the bands, that put a track beyond doubt. Set on rendered
/// landscapes (the seeds used for building): of 240 without a track the five highest reach 25 to 175, all with lengths
/// below 3 samples, which are refused.
const GAIN: f64 = 90.0;
const DEPTHS: (f64, f64) = (0.45, 1.6);
/// Mean square left over (of ln) up to which the tiles show something of every direction: a fence, stripes or courses of
/// brick, the same in all of them, have dark bands of their own. Chosen: far from what a mean over many contents leaves.
const PATTERNED: f64 = 0.4;
/// Length, samples, below which a single band shows in part, and GAIN must be reached several times over. Chosen: the
/// place of the band is uncertain there.
const SHORT: f64 = 3.6;
/// Length, samples, from which the best likeness lies at the end of the search and is no track of that length, but one
/// longer than can be told. Derived: the longest that is tried, and no farther than half a step from it.
const LONGEST: f64 = LENGTHS.1 * 1.04;

/// Least gain, least depth and most left over of a track so plain that it may leave hardly anything across it, which no
/// pattern does to all of its harmonics. Set on the middles of 31 photographs under a level track of 36 px: reduced to
/// a quarter 26 of them reach all three, their lengths within 4 %.
const PLAIN: (f64, f64, f64) = (180.0, 0.62, 0.62);
/// Greatest depth of the bands of a double picture. Set on the same photographs doubled at 10 and 22 px, of which the
/// least gain is 160 and the greatest depth 1.75; of the photographs themselves none gains more than 1.
const DOUBLED: f64 = 1.8;

impl Found {
    fn is_evident(&self) -> bool {
        let least = if self.length < SHORT { 4.0 * GAIN } else { GAIN };
        let plain = self.gain > PLAIN.0 && self.depth > PLAIN.1 && self.rest < PLAIN.2 && self.length > SHORT;
        self.gain > least
            && (self.rest < PATTERNED || plain)
            && self.length > LENGTHS.0
            && self.length < LONGEST
            && self.depth > DEPTHS.0
            && self.depth < DEPTHS.1
    }

    fn is_double(&self) -> bool {
        let bands = self.depth > DEPTHS.0 && self.depth < DOUBLED;
        self.gain > GAIN && self.rest < PLAIN.2 && self.length > SHORT && bands
    }

    /// In px of the picture, samples being `pitch` px apart; `turned` where their first axis points right-down, `doubled` where it is a
    /// double picture's.
    fn streak(&self, pitch: f64, doubled: bool, turned: bool) -> Streak {
        let angle = self.angle + if turned { PI / 4.0 } else { 0.0 };
        let doubt = pitch * (0.05 + if self.length < SHORT { 350.0 } else { 60.0 } / self.gain);
        let of = |length: f64| Estimate::new(length, doubt.hypot(0.03 * length), self.tiles);
        let own = self.length * pitch;
        Streak {
            length: of(if doubled { DOUBLE * own } else { own }),
            angle: Estimate::new((angle + PI / 2.0).rem_euclid(PI) - PI / 2.0, 0.04, self.tiles),
            doubled: doubled.then(|| of(own)),
        }
    }
}

/// Length of the even track that halves the contrast at the frequency at which two points, one apart, halve it. Derived:
/// cos(pi f) = 1/2 at f = 1/3, sinc(b f) = 1/2 at b f = 0.603.
const DOUBLE: f64 = 1.81;

/// Angle, radians, beyond which two directions are those of two tracks. Chosen: 20 degrees, nearly three steps of the search.
const ASTRAY: f64 = 0.35;

/// What edges and bands say together. A track that was not even leaves no bands and is told by edges alone, as are those
/// too short for bands; edges fail where all of them face one way and read long tracks short.
pub(super) fn together(edges: Option<Streak>, bands: Option<Streak>) -> Option<Streak> {
    let (Some(e), Some(b)) = (edges, bands) else { return edges.or(bands) };
    if !alike(&e, &b) {
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

    /// Straight strokes of random direction and brightness, as samples about 20,000, each point of them spread evenly over a
    /// track, its ends aside by a share `bend` of its length, and over a disc whose diameter grows down the picture.
    fn picture(size: usize, length: f64, angle: f64, bend: f64) -> Plane {
        const SPREAD: usize = 40;
        let mut dice = fastrand::Rng::with_seed(11);
        let mut light = vec![0.0f64; size * size];
        for _ in 0..size * size / 65 {
            let (x, y) = (dice.f64() * size as f64, dice.f64() * size as f64);
            let (turn, bright) = (PI * dice.f64(), dice.f64() - 0.5);
            let radius = 0.3 + 1.2 * y / size as f64;
            for step in 0..40 {
                let at = 0.5 * f64::from(step);
                for k in 0..SPREAD {
                    // Evenly over disc and track at once: a sunflower's spiral, and steps of an irrational share.
                    let share = (0.754_877_666 * k as f64).fract() - 0.5;
                    let (along, aside) = (length * share, 4.0 * bend * length * share * share);
                    let (r, t) = (radius * ((k as f64 + 0.5) / SPREAD as f64).sqrt(), 2.399_963 * k as f64);
                    let px = x + at * turn.cos() + along * angle.cos() - aside * angle.sin() + r * t.cos();
                    let py = y + at * turn.sin() + along * angle.sin() + aside * angle.cos() + r * t.sin();
                    if px >= 0.0 && py >= 0.0 && px < size as f64 && py < size as f64 {
                        light[py as usize * size + px as usize] += bright;
                    }
                }
            }
        }
        Plane::of_test(size, light.iter().map(|v| (20_000.0 + 400.0 * v).clamp(0.0, 59_000.0) as u16).collect())
    }

    fn searched(plane: &Plane, long: bool) -> Option<Streak> {
        let columns = plane.width as u32 / 64;
        let tile = |i: u32| Region { x: 64 * (i % columns), y: 64 * (i / columns), width: 64, height: 64 };
        let regions: Vec<Region> = (0..columns * columns).map(tile).collect();
        let surveys = vec![Survey { mean: 20_000.0, ..Survey::default() }; regions.len()];
        search(plane, &regions, &surveys, &NoiseModel::fit(plane, &[]), long)
    }

    #[test]
    fn tracks_short_and_long_are_found_beside_discs() {
        for (size, length, angle, mosaic) in [
            (768, 7.0, 0.4, Mosaic::None),
            (768, 9.0, -1.2, Mosaic::None),
            (768, 9.0, -1.2, Mosaic::Checkerboard { even: false }),
            (768, 20.0, 1.0, Mosaic::Checkerboard { even: true }),
            (1536, 40.0, 0.3, Mosaic::None),
            (1536, 70.0, -0.9, Mosaic::Checkerboard { even: true }),
        ] {
            let plane = Plane { mosaic, ..picture(size, length, angle, 0.0) };
            let found = searched(&plane, length > 25.0);
            assert!(found.is_some(), "no track of {length} px on {mosaic:?}");
            if let Some(found) = found {
                assert!((found.length.value / length - 1.0).abs() < 0.06, "{found:?} for {length}");
                assert!(found.doubled.is_none(), "{found:?}");
                assert!((found.angle.value - angle).abs() < 0.06, "{found:?} for {angle}");
            }
        }
    }

    #[test]
    fn bent_tracks_are_found_where_a_straight_one_does_not_fit() {
        let plane = picture(768, 24.0, -0.7, 0.15);
        assert!(searched(&plane, false).is_none());
        let found = searched(&plane, true).expect("a track");
        assert!((found.length.value / 24.0 - 1.0).abs() < 0.1, "{found:?}");
        assert!((found.angle.value + 0.7).abs() < 0.1, "{found:?}");
    }

    #[test]
    fn a_picture_that_lies_over_itself_is_one_that_moved() {
        const SIZE: usize = 768;
        let still = picture(SIZE, 0.0, 0.0, 0.0);
        let at = |x: usize, y: usize| u32::from(still.data[y.min(SIZE - 1) * SIZE + x.min(SIZE - 1)]);
        let twice = |i: usize| ((5 * at(i % SIZE, i / SIZE) + 4 * at(i % SIZE + 12, i / SIZE + 9)) / 9) as u16;
        let doubled = Plane { data: (0..SIZE * SIZE).map(twice).collect(), ..still };
        let found = searched(&doubled, false).expect("a track");
        // 15 px apart, at atan(9 / 12).
        let apart = found.doubled.expect("a double picture").value;
        assert!((apart / 15.0 - 1.0).abs() < 0.06, "{found:?}");
        assert!((found.length.value / (DOUBLE * 15.0) - 1.0).abs() < 0.06, "{found:?}");
        assert!((found.angle.value - 0.6435).abs() < 0.06, "{found:?}");
    }

    #[test]
    fn a_still_picture_has_no_track() {
        assert!(searched(&picture(768, 0.0, 0.0, 0.0), false).is_none());
        assert!(searched(&picture(1536, 0.0, 0.0, 0.0), true).is_none());
    }

    #[test]
    fn edges_and_bands_are_weighed_where_they_agree_and_bands_win_where_not() {
        let streak = |length: f64, sd: f64, angle: f64| Streak {
            length: Estimate::new(length, sd, 9),
            angle: Estimate::new(angle, 0.04, 9),
            doubled: None,
        };
        let both = together(Some(streak(4.0, 0.2, 1.5)), Some(streak(4.4, 0.2, -1.6))).expect("a track");
        assert!((both.length.value - 4.2).abs() < 1e-9 && both.length.sd < 0.2, "{both:?}");
        let apart = together(Some(streak(8.0, 0.5, 0.3)), Some(streak(18.0, 0.6, 0.3))).expect("a track");
        assert!((apart.length.value - 18.0).abs() < 1e-9, "{apart:?}");
        assert!(together(Some(streak(2.0, 0.2, 0.1)), None).is_some() && together(None, None).is_none());
    }
}
