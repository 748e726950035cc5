//! The spectrum of a frame's noise against level, read off its quietest patches.
//!
//! Noise that went through demosaicing, smoothing, sharpening and compression is coloured: judged against white noise it looks
//! like detail, and every clear sky gets a width. What the noise model expects of white noise is therefore corrected, ring by
//! ring, by what the quietest patches near each level show, where these are quiet enough to be noise.

use super::patch::Sight;
use super::rings::{RINGS, middle};
use crate::measure::noise::NoiseModel;
use crate::shot::{Mosaic, Plane};
use crate::stats::ranked;

/// Groups of level in which quiet patches are sought, and fewest patches of a group. Chosen: sky, haze and ground of
/// one frame lie apart, and a group of a small frame still has some patches.
const GROUPS: usize = 8;
const FEWEST: usize = 12;
/// Share of a group's patches that are its quietest. Chosen: the least that makes a few of a group of 100.
const QUIET: f64 = 0.04;
/// Standard deviation up to which a quiet patch may be mere noise: in 8-bit code values of a rendered file, and over
/// that expected of white noise. Chosen: what cameras leave of noise in smooth skies at usual sensitivities.
const CODES: f64 = 2.5;
const EXCESS: f64 = 2.5;
/// The same, over that of white noise, where a group's patches are as alike as those of noise. Derived: grain drawn by
/// a Gaussian of 0.8 px has 6.5 times the deviation that the noise model, which looks at differences of neighbours,
/// takes it to have; of the even textures among 129 photographs (pebbles, ripples, rock) the least has 12.
const COARSE: f64 = 8.0;
/// Spread of ln variance over the quieter half of a group up to which its patches are alike; and how many it takes, as fewer may
/// be so by chance. Derived: variance of such grain over a patch scatters by 0.09 (ln), half of a group lies within twice that.
const ALIKE: f64 = 0.18;
const MANY: usize = 20;
/// Least and most that a ring may have of what white noise has. Chosen: beyond, it is no noise.
const RANGE: (f64, f64) = (0.3, 100.0);
/// The most that a ring of a mosaic may have of what white noise has. Derived: noise of a sensor's own samples is
/// white, and texture only adds to what is read of it.
const WHITE: f64 = 1.0;

/// Noise power of each ring against level, relative luminance squared (white = 1).
pub(super) struct NoiseSpectrum<'a> {
    model: &'a NoiseModel,
    range: f64,
    /// Power of white noise of the sensor's own samples in the plane, ring by ring: interpolated samples have less.
    shape: [f64; RINGS],
    /// The most that a ring may have of what is expected there.
    most: f64,
    /// Levels, ascending, and ln of the power over what is expected there.
    found: Vec<(f64, [f64; RINGS])>,
}

impl<'a> NoiseSpectrum<'a> {
    /// Reads the spectrum off all patches of a frame.
    pub(super) fn of<'s>(plane: &Plane, model: &'a NoiseModel, sights: impl Iterator<Item = &'s Sight>) -> Self {
        let range = f64::from(plane.range()).max(1.0);
        let most = if plane.mosaic == Mosaic::None { RANGE.1 } else { WHITE };
        let mut spectrum = Self { model, range, shape: shape(plane.mosaic), most, found: Vec::new() };
        let mut order: Vec<&Sight> = sights.filter(|s| s.clipped < 0.01 && s.level > 0.0).collect();
        order.sort_by(|a, b| a.level.total_cmp(&b.level));
        let size = order.len().div_ceil(GROUPS).max(FEWEST);
        let groups: Vec<_> = order.chunks(size).collect();
        let quiet: Vec<_> = groups.iter().map(|group| spectrum.quiet(group, EXCESS)).collect();
        // Grain, like all noise, grows with light: below a quiet level what is even is texture.
        let grain = |k: usize| quiet[k..].iter().all(Option::is_none) && even(groups[k]);
        let coarse = |k: usize| grain(k).then(|| spectrum.quiet(groups[k], COARSE)).flatten();
        spectrum.found = (0..groups.len()).filter_map(|k| quiet[k].or_else(|| coarse(k))).collect();
        spectrum
    }

    /// What is expected of white noise at a level.
    fn expected(&self, level: f64) -> [f64; RINGS] {
        let levels = level * self.range;
        let per = self.range.powi(-2);
        let (variance, code) = (self.model.variance(levels), self.model.code_slope(levels));
        std::array::from_fn(|k| (variance * self.shape[k]).max(self.model.compression(middle(k), code)) * per)
    }

    /// What the quietest of some patches say, where they may be noise: they deviate by at most `excess` times what white noise does.
    fn quiet(&self, group: &[&Sight], excess: f64) -> Option<(f64, [f64; RINGS])> {
        let mut quietest: Vec<(f64, &Sight)> = group
            .iter()
            .map(|s| {
                let expected = self.expected(s.level);
                (s.seen.power.iter().zip(&expected).map(|(p, e)| (p / e).max(1e-9).ln()).sum::<f64>(), *s)
            })
            .collect();
        quietest.sort_by(|a, b| a.0.total_cmp(&b.0));
        let share = (quietest.len() as f64 * QUIET).ceil() as usize;
        let chosen = &quietest[..share.min(quietest.len())];
        let (_, typical) = chosen.get(chosen.len() / 2)?;
        let level = typical.level;
        let white = self.model.variance(level * self.range) / self.range.powi(2);
        let limit =
            (CODES * self.model.code_slope(level * self.range) / self.range).powi(2).max(excess.powi(2) * white);
        if typical.seen.variance > limit {
            return None;
        }
        let expected = self.expected(level);
        let ratios = std::array::from_fn(|k| {
            let mut powers: Vec<f64> = chosen.iter().map(|(_, s)| s.seen.power[k]).collect();
            powers.sort_by(f64::total_cmp);
            (powers[powers.len() / 2] / expected[k]).clamp(RANGE.0, self.most).ln()
        });
        Some((level, ratios))
    }

    /// Noise power of each ring at a level (relative luminance).
    pub(super) fn at(&self, level: f64) -> [f64; RINGS] {
        let mut power = self.expected(level);
        let above = self.found.partition_point(|f| f.0 < level);
        let (low, high) = (above.checked_sub(1).and_then(|i| self.found.get(i)), self.found.get(above));
        let (Some(a), Some(b)) = (low.or(high), high.or(low)) else { return power };
        let share = if b.0 > a.0 { ((level - a.0) / (b.0 - a.0)).clamp(0.0, 1.0) } else { 0.0 };
        for (k, p) in power.iter_mut().enumerate() {
            *p *= (a.1[k] + share * (b.1[k] - a.1[k])).exp();
        }
        power
    }

    /// Standard deviation of white noise at a level (relative luminance).
    pub(super) fn white(&self, level: f64) -> f64 {
        white(self.model, self.range, level)
    }
}

/// Whether some patches are as alike as those of noise.
fn even(group: &[&Sight]) -> bool {
    group.len() >= MANY && spread(group) < ALIKE
}

/// Spread of ln variance over the quieter half of some patches, the quietest twentieth left out.
fn spread(group: &[&Sight]) -> f64 {
    let all = || group.iter().map(|s| s.seen.variance.max(f64::MIN_POSITIVE).ln()).collect();
    ranked(all(), 0.5).zip(ranked(all(), 0.05)).map_or(f64::INFINITY, |(half, least)| half - least)
}

/// Standard deviation of white noise at a level, both relative luminance; `range`: levels between black and white.
pub(super) fn white(model: &NoiseModel, range: f64, level: f64) -> f64 {
    model.variance(level * range).sqrt() / range
}

/// Power of unit white noise of the sensor's samples in the plane that intake makes of them.
///
/// Of a Bayer sensor every other sample is K * n, the kernel of Malvar, He and Cutler (ICASSP 2004) with a gain of 1/2, so the
/// plane is (n + K n) / 2 + (-1)^(x+y) (n - K n) / 2.
fn shape(mosaic: Mosaic) -> [f64; RINGS] {
    let Mosaic::Checkerboard { .. } = mosaic else { return [1.0; RINGS] };
    const DIRECTIONS: u32 = 16;
    let kernel = |x: f64, y: f64| 0.5 + 0.5 * (x.cos() + y.cos()) - 0.25 * ((2.0 * x).cos() + (2.0 * y).cos());
    std::array::from_fn(|k| {
        let f = std::f64::consts::TAU * middle(k);
        let at = |i: u32| {
            let angle = std::f64::consts::PI * f64::from(i) / f64::from(DIRECTIONS);
            let (x, y) = (f * angle.cos(), f * angle.sin());
            let turned = kernel(x + std::f64::consts::PI, y + std::f64::consts::PI);
            0.25 * (1.0 + kernel(x, y)).powi(2) + 0.25 * (1.0 - turned).powi(2)
        };
        (0..DIRECTIONS).map(at).sum::<f64>() / f64::from(DIRECTIONS)
    })
}

#[cfg(test)]
mod tests {
    use super::super::loops::SIDE;
    use super::super::patch::Looker;
    use super::*;
    use crate::measure::grid::Grid;
    use crate::measure::survey::survey_row;

    /// Noise of 300 levels over waves of 24 px, whose coarse rings hold far more: even texture without a quiet place.
    fn waves(mosaic: Mosaic) -> Plane {
        const ACROSS: usize = 6 * SIDE;
        let mut dice = fastrand::Rng::with_seed(11);
        let mut sample = |x: usize, y: usize| {
            let normal = (0..12).map(|_| dice.f64()).sum::<f64>() - 6.0;
            let wave = |at: usize| (std::f64::consts::TAU * at as f64 / 24.0).sin();
            (20_000.0 + 300.0 * normal + 400.0 * (wave(x) + wave(y))) as u16
        };
        let data = (0..ACROSS * ACROSS).map(|i| sample(i % ACROSS, i / ACROSS)).collect();
        Plane { mosaic, ..Plane::of_test(ACROSS, data) }
    }

    #[test]
    fn no_ring_of_a_mosaic_has_more_noise_than_white_noise_has() {
        for mosaic in [Mosaic::None, Mosaic::Checkerboard { even: true }] {
            let plane = waves(mosaic);
            let grid = Grid::new(plane.width, plane.height, 24);
            let surveys: Vec<_> = (0..grid.rows).flat_map(|row| survey_row(&plane, &grid, row)).collect();
            let model = NoiseModel::fit(&plane, &surveys);
            let mut looker = Looker::new();
            let sights: Vec<Sight> = (0..36)
                .map(|i| looker.look(&plane, (i % 6 * SIDE) as isize, (i / 6 * SIDE) as isize, |_| 0.0))
                .collect();
            let spectrum = NoiseSpectrum::of(&plane, &model, sights.iter());
            let level = 1.0 / 3.0;
            let most = spectrum.at(level).iter().zip(spectrum.expected(level)).map(|(n, e)| n / e).fold(0.0, f64::max);
            // Of a picture that was processed, such power may be coloured noise.
            assert!(if mosaic == Mosaic::None { most > 10.0 } else { most <= 1.0 + 1e-9 }, "{mosaic:?}: {most}");
        }
    }

    /// The most that a ring has of what is expected of white noise at two levels, where one half of a picture has quiet noise and the
    /// other grain drawn by a Gaussian of 0.8 px.
    fn beside_quiet(quiet: f64, grainy: f64) -> [f64; 2] {
        const ACROSS: usize = 6 * SIDE;
        let mut dice = fastrand::Rng::with_seed(12);
        let mut normal = || (0..12).map(|_| dice.f64()).sum::<f64>() - 6.0;
        let white: Vec<f64> = (0..ACROSS * ACROSS).map(|_| normal()).collect();
        let weight: [f64; 9] = std::array::from_fn(|d| (-0.5 * ((d as f64 - 4.0) / 0.8).powi(2)).exp());
        let along = |of: &[f64], step: usize| -> Vec<f64> {
            let at = |i: usize, d: usize| of[(i + of.len() + d * step - 4 * step) % of.len()];
            (0..of.len()).map(|i| (0..9).map(|d| weight[d] * at(i, d)).sum()).collect()
        };
        // So drawn, a unit of white noise deviates by the root of the squared weights, once each way.
        let unit = weight.iter().map(|w| w * w).sum::<f64>();
        let grain = along(&along(&white, 1), ACROSS);
        let sample = |i: usize| {
            let light = if i < white.len() / 2 { quiet + 300.0 * white[i] } else { grainy + 1500.0 * grain[i] / unit };
            light as u16
        };
        let plane = Plane { rendered: true, ..Plane::of_test(ACROSS, (0..white.len()).map(sample).collect()) };
        let grid = Grid::new(plane.width, plane.height, 24);
        let surveys: Vec<_> = (0..grid.rows).flat_map(|row| survey_row(&plane, &grid, row)).collect();
        let model = NoiseModel::fit(&plane, &surveys);
        let mut looker = Looker::new();
        let corners = (0..=5 * SIDE).step_by(SIDE / 4).filter(|y| !(2 * SIDE + 1..3 * SIDE).contains(y));
        let corners = corners.flat_map(|y| (0..=5 * SIDE).step_by(SIDE / 4).map(move |x| (x as isize, y as isize)));
        let sights: Vec<Sight> = corners.map(|(x, y)| looker.look(&plane, x, y, |_| 0.0)).collect();
        let spectrum = NoiseSpectrum::of(&plane, &model, sights.iter());
        [quiet, grainy].map(|level| {
            let level = level / spectrum.range;
            spectrum.at(level).iter().zip(spectrum.expected(level)).map(|(n, e)| n / e).fold(0.0, f64::max)
        })
    }

    /// Noise grows with light (EMVA 1288): what is even below a quiet level is texture, above one it may be grain.
    #[test]
    fn even_texture_below_a_quiet_level_is_no_grain() {
        let [sky, sand] = beside_quiet(45_000.0, 20_000.0);
        assert!(sky < 3.0 && sand < 3.0, "{sky} {sand}");
        let [shadow, film] = beside_quiet(10_000.0, 40_000.0);
        assert!(shadow < 3.0 && film > 20.0, "{shadow} {film}");
    }
}
