//! Width of a tile's blur by a trained estimator: patches are described by numbers without a unit, and a small network, fitted
//! to real scenes blurred by known amounts, says what width and what error they stand for.

mod features;
mod loops;
mod network;
mod patch;
mod pupil;
mod quiet;
mod rings;
mod steep;

use std::sync::LazyLock;

use rayon::prelude::*;

use self::features::Frame;
use self::loops::SIDE;
use self::network::Saying;
use self::patch::{Looker, Sight};
pub(crate) use self::pupil::LOW;
use self::quiet::NoiseSpectrum;
use self::rings::RINGS;
use self::steep::SCALES;
use super::noise::NoiseModel;
use crate::quantity::Region;
use crate::shot::Plane;

/// Side of a tile, px, from which it gets another patch along that side. Chosen: from there two patches overlap by less
/// than half. From 120 px on 1 to 3 % more tiles of photographs are told (`photo_accuracy`), but in one sky eight more
/// of clear air and thin cloud read some 0.5 px.
const ANOTHER: u32 = 160;
/// Tiles whose patches go through the network together. Chosen: many patches for each time that the weights are fetched.
const TOGETHER: usize = 24;
/// Share of clipped samples from which a patch is not read. Chosen: the border of what is clipped looks crisp.
const CLIPPED: f64 = 0.1;
/// Standard deviation of ln width where nothing stands out of the noise at the frequencies that would show it. Derived:
/// the spread of the widths in the training, which is all that is known then.
pub(super) const UNSEEN: f64 = 0.85;
/// ln of the width, px, that the fit expects where nothing shows. Set on 31 pictures of ../shared, with the networks of
/// version 17: the mean of what is said in such tiles.
pub(super) const EXPECTED: f64 = 0.42;
/// Share of the squared error that patches of one picture have in common: what scenes of a kind mislead by. Set on the
/// shoots kept from the fit (`fit.py` prints it).
pub(super) const COMMON: f64 = 0.37;

/// Standard deviation of ln width up to which a width is given; beyond, only a bound is. Chosen: at a quarter, sharp
/// and twice as wide lie three standard deviations apart.
pub(super) const KNOWN: f64 = 0.25;

/// What noise of each ring adds to squared gradients: always the same.
static NOISE_GRADIENTS: LazyLock<[[f64; RINGS]; SCALES]> = LazyLock::new(steep::noise_gradients);

/// Patches of a tile: their corners, which may lie outside the picture.
fn places(region: Region) -> impl Iterator<Item = (isize, isize)> {
    let along = |from: u32, side: u32| {
        let count = if side < ANOTHER { 1 } else { 2 };
        (0..count).map(move |i| {
            let middle = f64::from(from) + f64::from(side) * (f64::from(i) + 0.5) / f64::from(count);
            (middle - SIDE as f64 / 2.0).round() as isize
        })
    };
    along(region.y, region.height).flat_map(move |y| along(region.x, region.width).map(move |x| (x, y)))
}

/// Where a patch begins along one side of a picture: moved inside where that is large enough, else mirrored about its borders.
fn begins(at: isize, size: usize) -> isize {
    if size >= SIDE { at.min((size - SIDE) as isize).max(0) } else { at }
}

/// Middle of what the width of a tile is read from, px: at the rim of a picture whose tiles are smaller than a patch that lies further in
/// than the tile's own.
pub(super) fn read_at(region: Region, (width, height): (u32, u32)) -> (f64, f64) {
    let (mut sum, mut count) = ((0.0, 0.0), 0.0);
    for (x, y) in places(region) {
        sum.0 += begins(x, width as usize) as f64 + SIDE as f64 / 2.0;
        sum.1 += begins(y, height as usize) as f64 + SIDE as f64 / 2.0;
        count += 1.0;
    }
    (sum.0 / count, sum.1 / count)
}

/// What is seen in the patches of each tile.
fn look(plane: &Plane, regions: &[Region], noise: &NoiseModel) -> Vec<Vec<Sight>> {
    let range = f64::from(plane.range()).max(1.0);
    let white = |level: f64| quiet::white(noise, range, level);
    regions
        .par_iter()
        .with_min_len(16)
        .map_init(Looker::new, |looker, region| {
            places(*region)
                .map(|(x, y)| looker.look(plane, begins(x, plane.width), begins(y, plane.height), white))
                .collect()
        })
        .collect()
}

/// A frame's patches and all that is needed to describe them.
struct Views<'a> {
    sights: Vec<Vec<Sight>>,
    spectrum: NoiseSpectrum<'a>,
    /// What is known of the frame, with its pupil and without.
    told: Frame,
    untold: Frame,
    /// How likely the pupil is to have formed the picture.
    belief: f64,
    noise: &'a NoiseModel,
    range: f64,
    /// What noise of each ring adds to squared gradients.
    gradients: &'static [[f64; RINGS]; SCALES],
}

impl<'a> Views<'a> {
    fn of(plane: &Plane, regions: &[Region], noise: &'a NoiseModel, known: &Known) -> Self {
        let sights = look(plane, regions, noise);
        let spectrum = NoiseSpectrum::of(plane, noise, sights.iter().flatten());
        let frame = |known| Frame::of(plane, noise.fine_step(), known);
        let (told, untold) = (frame(known), frame(&Known { lambda_n_px: None, ..*known }));
        let range = f64::from(plane.range()).max(1.0);
        Self {
            sights,
            spectrum,
            told,
            untold,
            belief: known.belief.unwrap_or(1.0),
            noise,
            range,
            gradients: &NOISE_GRADIENTS,
        }
    }

    fn described(&self, sight: &Sight, noise: &[f64; RINGS], frame: &Frame) -> [f32; features::COUNT] {
        let code = self.noise.code_slope(sight.level * self.range) / self.range;
        features::of(sight, frame, (noise, self.spectrum.white(sight.level)), self.gradients, code)
    }

    /// What some patches, each with its noise, say: with their pupil and without, each as far as it is believed.
    fn said(&self, patches: &[(&Sight, [f64; RINGS])]) -> Vec<Saying> {
        let by = |frame: &Frame| {
            network::read(&patches.iter().map(|(s, noise)| self.described(s, noise, frame)).collect::<Vec<_>>())
        };
        if self.belief >= 1.0 || self.told.pupil().is_none() {
            return by(&self.told);
        }
        if self.belief <= 0.0 {
            return by(&self.untold);
        }
        by(&self.told).into_iter().zip(by(&self.untold)).map(|(a, b)| a.mixed(b, self.belief)).collect()
    }

    /// What the patches of some tiles say, those of a tile together.
    fn readings(&self, tiles: &[Vec<Sight>]) -> Vec<Reading> {
        let mut readings = vec![Reading::default(); tiles.len()];
        let (mut patches, mut whose) = (Vec::new(), Vec::new());
        for (k, sights) in tiles.iter().enumerate() {
            for sight in sights.iter().filter(|s| s.clipped <= CLIPPED) {
                let noise = self.spectrum.at(sight.level);
                let rounding = self.noise.rounding(sight.level * self.range) / self.range;
                if features::has_detail(sight, &noise, rounding) {
                    readings[k].detail = true;
                    readings[k].alive |= features::alive(sight, &noise);
                    patches.push((sight, noise));
                    whose.push(k);
                }
            }
        }
        let sayings: Vec<(usize, Saying)> = whose
            .into_iter()
            .zip(patches.iter().zip(self.said(&patches)))
            .map(|(k, ((sight, noise), said))| {
                let shown = features::shows(sight, noise, self.gradients, said.log.exp());
                (k, if shown { said } else { Saying { sd: said.sd.max(UNSEEN), ..said } })
            })
            .collect();
        for of_one in sayings.chunk_by(|a, b| a.0 == b.0) {
            let reading = &mut readings[of_one[0].0];
            *reading = reading.saying(&of_one.iter().map(|s| s.1).collect::<Vec<_>>());
        }
        readings
    }

    fn all(&self) -> Vec<Reading> {
        self.sights.par_chunks(TOGETHER).flat_map_iter(|tiles| self.readings(tiles)).collect()
    }
}

/// What is known of a frame beside its pixels.
#[derive(Clone, Copy, Debug)]
pub(super) struct Known {
    /// Typical overshoot of its edges, as a share of their step.
    pub overshoot: Option<f64>,
    /// Wavelength times f-number over the pixel pitch.
    pub lambda_n_px: Option<f64>,
    /// How likely the picture is to show that pupil, from 0 to 1; `None` where it is to be asked.
    pub belief: Option<f64>,
}

/// What the estimator is told of each patch of each tile, for training it.
pub(super) fn described(plane: &Plane, regions: &[Region], noise: &NoiseModel, known: &Known) -> Vec<Vec<Vec<f32>>> {
    let views = Views::of(plane, regions, noise, known);
    let described = |s: &Sight| views.described(s, &views.spectrum.at(s.level), &views.told).to_vec();
    views.sights.iter().map(|tile| tile.iter().map(described).collect()).collect()
}

/// What was read in one tile.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Reading {
    /// Whether anything stands above the noise, and whether it does up to the finest scale.
    pub detail: bool,
    pub alive: bool,
    /// ln of the width, px, its standard deviation, and how many patches it rests on.
    pub width: Option<(f64, f64, u32)>,
    /// ln of the width and its standard deviation as the patches say it by themselves ([`word`]). `None` where they know no more than
    /// the fit expects of any tile.
    pub word: Option<(f64, f64)>,
}

impl Reading {
    /// The same tile with what its patches say.
    fn saying(self, patches: &[Saying]) -> Self {
        let words: Vec<Saying> = patches.iter().filter_map(|s| word(*s)).collect();
        Self { width: pooled(patches), word: pooled(&words).map(|(log, sd, _)| (log, sd)), ..self }
    }

    /// A tile with detail of which one patch says this.
    #[cfg(test)]
    pub(super) fn of_test(log: f64, sd: f64) -> Self {
        Self { detail: true, ..Self::default() }.saying(&[Saying { log, sd }])
    }
}

/// What a patch says by itself: what is read is drawn towards what the fit expects of any patch, the more the less there is to see,
/// and many tiles together would be as far off as each of them. By the normal law's rule for a mean, 1 / s^2 = 1 / p^2 - 1 / UNSEEN^2
/// for a stated p. `None` where no more is known than was expected.
fn word(said: Saying) -> Option<Saying> {
    let (stated, expected) = (said.sd.powi(-2), UNSEEN.powi(-2));
    let own = stated - expected;
    (own > 0.0).then(|| Saying { log: (said.log * stated - EXPECTED * expected) / own, sd: own.powf(-0.5) })
}

/// Reads tiles of a frame, its pupil believed as far as `known` says, or after asking some of them, or all, whether they show it; how far
/// it is believed comes back beside them.
pub(super) fn read(plane: &Plane, regions: &[Region], noise: &NoiseModel, known: &Known) -> (Vec<Reading>, f64) {
    let mut views = Views::of(plane, regions, noise, known);
    if let Some(lambda_n_px) = known.lambda_n_px.filter(|_| known.belief.is_none()) {
        let every = views.sights.len().div_ceil(pupil::ASKED).max(1);
        let some: Vec<Vec<Sight>> = views.sights.iter().step_by(every).cloned().collect();
        let widths = |readings: Vec<Reading>| {
            readings.iter().filter_map(|r| r.width).filter(|w| w.1 < KNOWN).map(|w| w.0).collect()
        };
        // They are asked without it.
        views.belief = 0.0;
        let shown = pupil::shown(widths(views.readings(&some)), lambda_n_px);
        // Where detail is scarce all are asked.
        views.belief = shown.or_else(|| pupil::shown(widths(views.all()), lambda_n_px)).unwrap_or(1.0);
    }
    (views.all(), views.belief)
}

/// Mean of some patches, weighted by their errors, in ln.
///
/// Patches of one tile err alike for the most part. Where they differ by more than their errors (near and far in one tile) the
/// mean is as uncertain as they are apart.
fn pooled(sayings: &[Saying]) -> Option<(f64, f64, u32)> {
    let weight: f64 = sayings.iter().map(|s| s.sd.powi(-2)).sum();
    let n = sayings.len() as f64;
    if sayings.is_empty() {
        return None;
    }
    let log = sayings.iter().map(|s| s.log * s.sd.powi(-2)).sum::<f64>() / weight;
    let typical = n / weight;
    let alike = typical * (COMMON + (1.0 - COMMON) / n);
    let apart =
        if n > 1.0 { sayings.iter().map(|s| ((s.log - log) / s.sd).powi(2)).sum::<f64>() / (n - 1.0) } else { 0.0 };
    Some((log, (alike * apart.max(1.0)).sqrt(), sayings.len() as u32))
}

/// Error that the tiles of a picture share, in ln of the width, from their stated errors.
pub(super) fn common(errors: impl Iterator<Item = f64>) -> Option<f64> {
    let mut errors: Vec<f64> = errors.collect();
    errors.sort_by(f64::total_cmp);
    errors.get(errors.len() / 2).map(|typical| COMMON.sqrt() * typical)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn patches_of_one_tile_err_alike() {
        let one = Saying { log: 0.1, sd: 0.1 };
        let (log, sd, n) = pooled(&[one; 4]).expect("a width");
        assert!((log - 0.1).abs() < 1e-12 && n == 4);
        assert!(sd < 0.1 && sd > 0.1 * COMMON.sqrt(), "{sd}");
        assert!(pooled(&[]).is_none());
    }

    #[test]
    fn patches_that_differ_are_no_surer_for_it() {
        let apart = [Saying { log: 0.0, sd: 0.1 }, Saying { log: 1.0, sd: 0.1 }];
        assert!(pooled(&apart).expect("a width").1 > 0.4);
    }

    #[test]
    fn tiles_of_any_size_have_patches_about_their_middles() {
        let tile = |width| Region { x: 100, y: 50, width, height: 96 };
        assert_eq!(places(tile(96)).collect::<Vec<_>>(), [(100, 50)]);
        assert_eq!(places(tile(20)).collect::<Vec<_>>(), [(62, 50)]);
        assert_eq!(places(tile(240)).collect::<Vec<_>>(), [(112, 50), (232, 50)]);
    }

    #[test]
    fn a_width_is_read_where_its_patches_lie() {
        // On a ramp the mean level of what is looked at is that at its middle.
        let (width, height) = (900usize, 700usize);
        let ramp = |at: usize, side: usize| (60_000.0 * (at as f64 + 0.5) / side as f64) as u16;
        let across: Vec<u16> = (0..height).flat_map(|_| (0..width).map(|x| ramp(x, width))).collect();
        let down: Vec<u16> = (0..height).flat_map(|y| vec![ramp(y, height); width]).collect();
        for (x, y, side) in [(0, 0, 40), (860, 660, 40), (400, 300, 40), (0, 320, 40), (500, 400, 300)] {
            let region = Region { x, y, width: side, height: side };
            let (read_x, read_y) = read_at(region, (width as u32, height as u32));
            let level = |data: &Vec<u16>| {
                let plane = Plane::plain(width, height, data.clone(), 60_000);
                let noise = NoiseModel::fit(&plane, &[]);
                let sights = look(&plane, &[region], &noise).remove(0);
                sights.iter().map(|s| s.level).sum::<f64>() / sights.len() as f64
            };
            assert!((level(&across) * width as f64 - read_x).abs() < 1.0, "{region:?}: across at {read_x}");
            assert!((level(&down) * height as f64 - read_y).abs() < 1.0, "{region:?}: down at {read_y}");
        }
    }
}
