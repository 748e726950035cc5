//! Second opinion for a tile: blur from how its power spectrum falls, with the scene's own spectrum as a prior.
//!
//! ln P(f) of a blurred scene is a sum: the scene's ln S(f) and the blur's ln T^2(f), which for a Gaussian of width
//! sigma is -(2 pi sigma f)^2. Natural scenes fall smoothly on a double logarithmic scale while a blur bends the
//! curve down ever more, which is what tells them apart; how well is a matter of how freely S may bend. S is taken
//! as a Gaussian process: slope, curvature and a cubic term in ln f with the spreads below, and a roughness.

use std::sync::Arc;

use nalgebra::{SMatrix, SVector};
use realfft::{RealFftPlanner, RealToComplex};
use rustfft::num_complex::Complex32;
use rustfft::{Fft, FftPlanner};

use super::noise::NoiseModel;
use super::survey::Survey;
use crate::quantity::{Estimate, Region};
use crate::shot::{Mosaic, Plane};

/// Side of a patch, samples.
pub(super) const SIDE: usize = 64;
/// Frequencies that are kept of a row of a real transform.
const HALF: usize = SIDE / 2 + 1;
/// Borders of the rings, cycles a patch; the lowest frequencies leak into each other, the highest are aliased.
pub(super) const RINGS: [f32; BINS + 1] =
    [2.5, 3.5, 4.5, 6.0, 8.0, 10.0, 12.0, 14.0, 16.0, 18.0, 20.0, 22.0, 24.0, 26.0, 28.0];
pub(super) const BINS: usize = 14;
/// Patches a side of the tile at most.
const ACROSS: usize = 3;
/// Share of clipped samples from which a patch is left out.
const CLIPPED: usize = SIDE * SIDE / 200;

/// Amplitude slope of natural scenes, mean (Tolhurst, Tadmor & Chao, Ophthal. Physiol. Opt. 12, 229, 1992: -1.2 over
/// photographs). The spreads are those of 330 tiles of 26 photographs, shrunk threefold to eightfold so that their
/// own blur was out of the way: slope 0.38, curvature of ln S in ln f 0.43, rest 0.15 to 0.2 a ring.
const NATURAL: Prior = Prior { slope: (-1.15, 0.45), bend: (0.0, 0.45) };
/// The same where detail crowds (grass, gravel, brick at about one detail a pixel): flat up to the size of the
/// detail, steeper beyond.
const CROWDED: Prior = Prior { slope: (-0.7, 0.6), bend: (-0.15, 0.45) };

/// What is thought of a scene's spectrum beforehand: means and spreads.
#[derive(Clone, Copy, Debug)]
struct Prior {
    /// Amplitude slope at the pivot.
    slope: (f64, f64),
    /// Curvature of ln S in ln f.
    bend: (f64, f64),
}
impl Prior {
    /// Mean of ln P, less its level, at a ln frequency from the pivot.
    fn mean(&self, log: f64) -> f64 {
        2.0 * self.slope.0 * log + self.bend.0 * log * log
    }

    /// Covariance of ln P at two ln frequencies from the pivot, its level left free.
    fn covariance(&self, a: f64, b: f64) -> f64 {
        let ab = a * b;
        100.0 + 4.0 * self.slope.1.powi(2) * ab + self.bend.1.powi(2) * ab.powi(2) + CUBIC_SPREAD.powi(2) * ab.powi(3)
    }
}

const CUBIC_SPREAD: f64 = 0.15;
const ROUGHNESS: f64 = 0.12;
/// Frequency (cycles/px) about which slope and curvature turn.
const PIVOT: f64 = 0.15;
/// A blur's shape lies between a Gaussian (0) and an evenly lit disc (1): mean and spread of where.
///
/// With u = (2 pi sigma f)^2 and sigma by equal MTF50, a disc has ln T^2 = -0.885 u - 0.065 u^2 (series of
/// 2 J1(x) / x), a Gaussian -u.
const SHAPE: (f64, f64) = (0.4, 0.6);
/// Attenuation -ln T^2 beyond which the blur's shape, not its width, rules the spectrum.
const DEEPEST: f64 = 3.5;
/// How far noise may be from its model, as a share of its variance.
const NOISE_ERROR: f64 = 0.15;
/// Relative error beyond the posterior's own: the scene is no Gaussian process.
const SYSTEMATIC: f64 = 0.09;
/// Largest stated relative error of a width that is worth giving.
const WIDEST: f64 = 0.21;

/// What a tile's spectrum says.
#[derive(Clone, Copy, Debug)]
pub(super) struct Opinion {
    /// Gaussian-equivalent sigma, px.
    pub blur: Estimate,
    /// Amplitude slope of the scene itself about the pivot (natural scenes: about -1.2; as much detail at every
    /// scale of frequency: 0).
    pub slope: f64,
}

/// Plans and buffers for patches; one a thread.
pub(super) struct Spectrometer {
    rows: Arc<dyn RealToComplex<f32>>,
    columns: Arc<dyn Fft<f32>>,
    window: [f32; SIDE],
    /// Ring of each frequency, `BINS` for none, column by column.
    ring: Vec<u8>,
    cells: [f32; BINS],
    patch: Vec<f32>,
    line: Vec<Complex32>,
    plane: Vec<Complex32>,
    scratch: Vec<Complex32>,
}

impl Spectrometer {
    pub(super) fn new() -> Self {
        let rows = RealFftPlanner::<f32>::new().plan_fft_forward(SIDE);
        let columns = FftPlanner::<f32>::new().plan_fft_forward(SIDE);
        let mut ring = vec![BINS as u8; HALF * SIDE];
        let mut cells = [0.0; BINS];
        for kx in 0..HALF {
            for ky in 0..SIDE {
                let fy = if ky > SIDE / 2 { ky as f32 - SIDE as f32 } else { ky as f32 };
                let f = fy.hypot(kx as f32);
                let k = RINGS.partition_point(|&edge| edge <= f);
                if k > 0 && k <= BINS {
                    ring[kx * SIDE + ky] = (k - 1) as u8;
                    cells[k - 1] += 1.0;
                }
            }
        }
        // Von Hann's window, scaled so that white noise keeps its variance.
        let window = std::array::from_fn(|i| {
            let s = (std::f32::consts::PI * (i as f32 + 0.5) / SIDE as f32).sin();
            s * s / 0.375_f32.sqrt()
        });
        let scratch = rows.get_scratch_len().max(columns.get_inplace_scratch_len());
        Self {
            rows,
            columns,
            window,
            ring,
            cells,
            patch: vec![0.0; SIDE * SIDE],
            line: vec![Complex32::default(); HALF],
            plane: vec![Complex32::default(); HALF * SIDE],
            scratch: vec![Complex32::default(); scratch],
        }
    }

    /// Adds the power of one patch with its corner at (x, y) to `power` (levels^2 a sample, white noise reads its
    /// variance); `false` where too much is clipped.
    fn add(&mut self, plane: &Plane, x: usize, y: usize, power: &mut [f64; BINS]) -> bool {
        let mut clipped = 0;
        let limit = plane.saturation;
        let quincunx = matches!(plane.mosaic, Mosaic::Checkerboard { .. });
        for (j, row) in self.patch.chunks_exact_mut(SIDE).enumerate() {
            if quincunx {
                // The green sites are a square lattice turned by 45 degrees, sqrt(2) px wide.
                let at = (y + j) * plane.width + x + SIDE - 1 - j;
                for (i, v) in row.iter_mut().enumerate() {
                    let sample = plane.data[at + i * (plane.width + 1)];
                    clipped += usize::from(sample >= limit);
                    *v = f32::from(sample);
                }
            } else {
                let at = (y + j) * plane.width + x;
                for (v, &sample) in row.iter_mut().zip(&plane.data[at..at + SIDE]) {
                    clipped += usize::from(sample >= limit);
                    *v = f32::from(sample);
                }
            }
        }
        clipped <= CLIPPED && self.transform(power)
    }

    /// Adds the power of the patch in the buffer to `power`; `false` where the transform fails.
    fn transform(&mut self, power: &mut [f64; BINS]) -> bool {
        let mean = self.patch.iter().sum::<f32>() / (SIDE * SIDE) as f32;
        for (j, row) in self.patch.chunks_exact_mut(SIDE).enumerate() {
            let scale = self.window[j] / SIDE as f32;
            for (v, w) in row.iter_mut().zip(&self.window) {
                *v = (*v - mean) * w * scale;
            }
            if self.rows.process_with_scratch(row, &mut self.line, &mut self.scratch).is_err() {
                return false;
            }
            for (k, v) in self.line.iter().enumerate() {
                self.plane[k * SIDE + j] = *v;
            }
        }
        self.columns.process_with_scratch(&mut self.plane, &mut self.scratch);
        let mut sums = [0.0_f32; BINS + 1];
        for (v, &k) in self.plane.iter().zip(&self.ring) {
            sums[usize::from(k)] += v.norm_sqr();
        }
        for ((p, s), c) in power.iter_mut().zip(&sums).zip(&self.cells) {
            *p += f64::from(s / c);
        }
        true
    }

    /// Adds the power of one patch of means over squares of `shrink` px with its corner at (x, y); `false` where too much
    /// is clipped. Of a checkerboard only the measured samples are averaged.
    fn add_shrunk(&mut self, plane: &Plane, x: usize, y: usize, shrink: usize, power: &mut [f64; BINS]) -> bool {
        let checkered = matches!(plane.mosaic, Mosaic::Checkerboard { .. });
        let (step, count) = if checkered { (2, shrink * shrink / 2) } else { (1, shrink * shrink) };
        let per = 1.0 / count as f32;
        let limit = plane.saturation;
        let mut clipped = 0;
        for (j, row) in self.patch.chunks_exact_mut(SIDE).enumerate() {
            row.fill(0.0);
            for y in y + shrink * j..y + shrink * (j + 1) {
                let skipped = usize::from(checkered && !plane.mosaic.measured(x, y));
                let samples = &plane.data[y * plane.width + x..][..shrink * SIDE];
                for (v, cell) in row.iter_mut().zip(samples.chunks_exact(shrink)) {
                    for &sample in cell.iter().skip(skipped).step_by(step) {
                        clipped += usize::from(sample >= limit);
                        *v += f32::from(sample);
                    }
                }
            }
            row.iter_mut().for_each(|v| *v *= per);
        }
        clipped <= CLIPPED * count && self.transform(power)
    }

    /// Rings of a tile reduced by a whole even factor, for weighing kinds of blur against each other. Rings that drown
    /// in noise count as if they stood at half the noise, so that a weak texture never speaks for more blur than there
    /// is. `None` where a picture or tile is too small or too clipped.
    pub(super) fn shrunk(
        &mut self,
        plane: &Plane,
        region: Region,
        noise: &NoiseModel,
        survey: &Survey,
        shrink: usize,
    ) -> Option<Rings> {
        let reach = shrink * SIDE;
        if plane.width < reach || plane.height < reach || (region.width.min(region.height) as usize) < reach / 2 {
            return None;
        }
        // Patches at the tile's two ends where they hardly overlap, else one about its middle.
        let places = |from: u32, side: u32, size: usize| {
            let (from, side) = (from as usize, side as usize);
            if side >= reach + reach / 2 {
                [from, from + side - reach]
            } else {
                [(from + side / 2).saturating_sub(reach / 2).min(size - reach); 2]
            }
        };
        let (xs, ys) = (places(region.x, region.width, plane.width), places(region.y, region.height, plane.height));
        let mut power = [0.0; BINS];
        let mut patches = 0;
        for k in 0..if xs[0] == xs[1] && ys[0] == ys[1] { 1 } else { 2 } {
            patches += u32::from(self.add_shrunk(plane, xs[k], ys[k], shrink, &mut power));
        }
        if patches == 0 {
            return None;
        }
        let factor = shrink as f64;
        let averaged = factor * factor / if matches!(plane.mosaic, Mosaic::Checkerboard { .. }) { 2.0 } else { 1.0 };
        let points = std::array::from_fn(|k| {
            let f = f64::from(RINGS[k] + RINGS[k + 1]) / 2.0 / SIDE as f64 / factor;
            let drown = noise.at_frequency(survey.mean, f);
            let white = drown.noise / averaged;
            let power = power[k] / f64::from(patches);
            let least = 0.5 * white.max(drown.least / averaged);
            let signal = (power - white).max(least);
            let independent = f64::from(self.cells[k]) / 2.25 * f64::from(patches);
            let chance = (power / signal).powi(2).min(4.0) / independent;
            let doubt = if signal > least { (NOISE_ERROR * white / signal).powi(2) } else { 0.25 };
            // The mean of n samples in a row has a spread of (n^2 - 1) / 12 squared pixels.
            let averaging = (factor * factor - 1.0) / 12.0 * (2.0 * std::f64::consts::PI * f).powi(2);
            Point { f: f * factor, log_power: signal.ln() + averaging, variance: chance + doubt }
        });
        Rings::of(&points, shrink, patches)
    }

    /// Reads a tile; `None` where it is too small, too clipped, too noisy, or its spectrum could be anything.
    pub(super) fn read(
        &mut self,
        plane: &Plane,
        region: Region,
        noise: &NoiseModel,
        survey: &Survey,
        crowded: bool,
    ) -> Option<Opinion> {
        let level = survey.mean;
        let (pitch, reach) = match plane.mosaic {
            Mosaic::None => (1.0, SIDE),
            Mosaic::Checkerboard { .. } => (std::f64::consts::SQRT_2, 2 * SIDE),
            // No square lattice in it.
            Mosaic::Six(_) => return None,
        };
        let (w, h) = (region.width as usize, region.height as usize);
        if w < reach || h < reach {
            return None;
        }
        let across = (w / (reach / 2) - 1).min(ACROSS);
        let down = (h / (reach / 2) - 1).min(ACROSS);
        let at =
            |i: usize, n: usize, room: usize| if n > 1 { i * (room - reach) / (n - 1) } else { (room - reach) / 2 };
        let mut power = [0.0; BINS];
        let mut patches = 0;
        for j in 0..down {
            for i in 0..across {
                let x = region.x as usize + at(i, across, w);
                let mut y = region.y as usize + at(j, down, h);
                if matches!(plane.mosaic, Mosaic::Checkerboard { .. }) && !plane.mosaic.measured(x + SIDE - 1, y) {
                    // One row up or down brings the lattice onto the measured sites; the reach has a row to spare.
                    y += 1;
                }
                patches += u32::from(self.add(plane, x, y, &mut power));
            }
        }
        if patches == 0 {
            return None;
        }
        let power = power.map(|p| p / f64::from(patches));
        let middle = |k: usize| f64::from(RINGS[k] + RINGS[k + 1]) / 2.0 / SIDE as f64 / pitch;
        let mut points = Vec::with_capacity(BINS);
        for k in 0..BINS {
            let f = middle(k);
            let white = noise.at_frequency(level, f);
            let signal = power[k] - white.noise;
            if !(signal > white.noise.max(white.least)) {
                // Beyond the first ring that drowns, what sticks out is chance.
                if k > 2 {
                    break;
                }
                continue;
            }
            // A ring's cells tell half as much each for their mirror images in the same row, and the window smears
            // over 1.5 x 1.5 of them; overlapping patches tell about 0.6 of separate ones.
            let independent = f64::from(self.cells[k]) / 2.25 * (0.6 * f64::from(patches)).max(1.0);
            let chance = (power[k] / signal).powi(2) / independent;
            let doubt = (NOISE_ERROR * white.noise / signal).powi(2);
            points.push(Point { f, log_power: signal.ln(), variance: chance + doubt });
        }
        judge(&points, patches, if crowded { &CROWDED } else { &NATURAL })
    }
}

/// One ring of a spectrum.
#[derive(Clone, Copy, Debug)]
struct Point {
    /// Frequency, cycles/px.
    f: f64,
    /// ln of the signal's power.
    log_power: f64,
    /// Variance of that from chance and noise.
    variance: f64,
}

type Matrix = SMatrix<f64, BINS, BINS>;
type Vector = SVector<f64, BINS>;

/// ln T^2 of a disc less that of a Gaussian at the attenuation u.
fn bulge(u: f64) -> f64 {
    0.115 * u - 0.065 * u * u
}

/// Posterior of the width from a spectrum's rings.
///
/// The model is linear in sigma^2, so that its posterior is a Gaussian in closed form; twice over, since the shape's
/// error depends on the width.
fn judge(points: &[Point], patches: u32, prior: &Prior) -> Option<Opinion> {
    let mut square = 1.0_f64;
    let mut found = None;
    for _ in 0..4 {
        let used: Vec<Point> = points.iter().filter(|p| alive(p.f, square)).take(BINS).copied().collect();
        let fitted = fit(&used, square, prior)?;
        if !(fitted.square > 0.0) {
            return None;
        }
        square = fitted.square;
        found = Some(fitted);
    }
    let Fit { square, sd, slope } = found?;
    let value = square.sqrt();
    let relative = (sd / (2.0 * square)).hypot(SYSTEMATIC);
    (relative < WIDEST).then(|| Opinion { blur: Estimate::new(value, relative * value, patches), slope })
}

/// Whether a blur of squared width `square` (px^2) leaves more at a frequency (cycles/px) than its shape rules.
fn alive(f: f64, square: f64) -> bool {
    (2.0 * std::f64::consts::PI * f).powi(2) * square < DEEPEST
}

/// A fitted spectrum.
#[derive(Clone, Copy, Debug)]
struct Fit {
    /// Squared width, px^2, and its standard deviation.
    square: f64,
    sd: f64,
    /// Amplitude slope of the scene about the pivot.
    slope: f64,
}

/// Squared width from rings, about a squared width for the blur's shape; `None` for fewer than five rings.
fn fit(used: &[Point], square: f64, prior: &Prior) -> Option<Fit> {
    if used.len() < 5 {
        return None;
    }
    let g = |p: &Point| (2.0 * std::f64::consts::PI * p.f).powi(2);
    let mut covariance = Matrix::identity();
    let (mut rest, mut blur, mut tilt) = (Vector::zeros(), Vector::zeros(), Vector::zeros());
    let logs: Vec<f64> = used.iter().map(|p| (p.f / PIVOT).ln()).collect();
    for (i, p) in used.iter().enumerate() {
        for (j, q) in used.iter().enumerate() {
            let shape = SHAPE.1 * SHAPE.1 * bulge(g(p) * square) * bulge(g(q) * square);
            covariance[(i, j)] =
                prior.covariance(logs[i], logs[j]) + shape + if i == j { ROUGHNESS.powi(2) + p.variance } else { 0.0 };
        }
        rest[i] = p.log_power - prior.mean(logs[i]) - SHAPE.0 * bulge(g(p) * square) - used[0].log_power;
        blur[i] = -g(p);
        tilt[i] = 2.0 * prior.slope.1.powi(2) * logs[i];
    }
    let inverse = covariance.cholesky()?;
    let (r, b) = (inverse.solve(&rest), inverse.solve(&blur));
    let information = blur.dot(&b);
    let mean = blur.dot(&r) / information;
    let left = inverse.solve(&(rest - blur * mean));
    // Degrees of freedom: the level and the width are fitted freely.
    let misfit = (rest - blur * mean).dot(&left) / (used.len() as f64 - 2.0);
    let slope = prior.slope.0 + tilt.dot(&left);
    Some(Fit { square: mean, sd: (misfit.max(1.0) / information).sqrt(), slope })
}

/// Rings of a reduced tile with all that a scene without blur may scatter by.
#[derive(Clone, Debug)]
pub(super) struct Rings {
    /// Inverse of the covariance of the rings, levels left free.
    inverse: Matrix,
    /// ln of the power over what the scene is expected to have.
    excess: Vector,
    /// How many times the tile was reduced.
    pub shrink: usize,
    /// Patches they rest on.
    pub patches: u32,
}

impl Rings {
    /// From points whose frequencies are in cycles a reduced pixel: natural scenes look alike at every scale.
    fn of(points: &[Point; BINS], shrink: usize, patches: u32) -> Option<Self> {
        let logs: [f64; BINS] = std::array::from_fn(|i| (points[i].f / PIVOT).ln());
        let scatter = |i: usize, j: usize| {
            let own = if i == j { ROUGHNESS.powi(2) + points[i].variance } else { 0.0 };
            NATURAL.covariance(logs[i], logs[j]) + own
        };
        let inverse = Matrix::from_fn(scatter).cholesky()?.inverse();
        let excess = Vector::from_fn(|i, _| points[i].log_power - points[0].log_power - NATURAL.mean(logs[i]));
        Some(Self { inverse, excess, shrink, patches })
    }

    /// Chi-square of the rings under a blur whose ln T^2 is given.
    pub(super) fn misfit(&self, blur: &[f64; BINS]) -> f64 {
        let rest = self.excess - Vector::from_column_slice(blur);
        rest.dot(&(self.inverse * rest))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rings of a scene of amplitude slope `slope` under a Gaussian blur.
    fn rings(slope: f64, sigma: f64) -> Vec<Point> {
        let f = |k: usize| f64::from(RINGS[k] + RINGS[k + 1]) / 2.0 / SIDE as f64;
        (0..BINS)
            .map(|k| Point {
                f: f(k),
                log_power: 3.0 + 2.0 * slope * f(k).ln() - (2.0 * std::f64::consts::PI * sigma * f(k)).powi(2),
                variance: 0.002,
            })
            .collect()
    }

    #[test]
    fn a_power_law_under_a_gaussian_gives_both_back() {
        for (slope, sigma) in [(-1.2, 0.9), (-1.2, 1.5), (-0.9, 1.2), (-1.4, 2.0)] {
            let found = judge(&rings(slope, sigma), 9, &NATURAL).expect("an opinion");
            assert!((found.blur.value - sigma).abs() < 1.5 * found.blur.sd, "{slope} {sigma}: {found:?}");
            assert!((found.slope - slope).abs() < 0.3, "{slope} {sigma}: {found:?}");
        }
    }

    #[test]
    fn too_few_rings_or_too_little_blur_give_no_opinion() {
        assert!(judge(&rings(-1.2, 1.0)[..4], 9, &NATURAL).is_none());
        assert!(judge(&rings(-1.2, 0.2), 9, &NATURAL).is_none());
    }

    /// White noise blurred by a Gaussian, as samples about 20,000.
    fn blurred_noise(side: usize, sigma: f64) -> Plane {
        let mut dice = fastrand::Rng::with_seed(5);
        let reach = (4.0 * sigma).ceil() as usize;
        let kernel: Vec<f64> =
            (0..=2 * reach).map(|i| (-0.5 * ((i as f64 - reach as f64) / sigma).powi(2)).exp()).collect();
        let wide = side + 2 * reach;
        let white: Vec<f64> = (0..wide * wide).map(|_| dice.f64() - 0.5).collect();
        let weigh = |at: &dyn Fn(usize) -> f64| kernel.iter().enumerate().map(|(k, w)| w * at(k)).sum::<f64>();
        let rows: Vec<f64> = (0..wide * side).map(|i| weigh(&|k| white[i / side * wide + i % side + k])).collect();
        let both: Vec<f64> = (0..side * side).map(|i| weigh(&|k| rows[(i / side + k) * side + i % side])).collect();
        let spread = (both.iter().map(|v| v * v).sum::<f64>() / both.len() as f64).sqrt();
        Plane {
            width: side,
            height: side,
            data: both.iter().map(|v| (20_000.0 + 3000.0 * v / spread) as u16).collect(),
            black: 0,
            white: 60_000,
            saturation: 60_000,
            mosaic: Mosaic::None,
            jpeg: None,
            rendered: false,
        }
    }

    #[test]
    fn blurred_noise_reads_its_blur_on_every_site_and_on_every_other() {
        let plane = blurred_noise(256, 1.2);
        let survey = Survey { mean: 20_000.0, ..Survey::default() };
        let noise = NoiseModel::fit(&plane, &[]);
        let region = Region { x: 0, y: 0, width: 256, height: 256 };
        let mosaic = Plane { mosaic: Mosaic::Checkerboard { even: false }, ..plane.clone() };
        for plane in [&plane, &mosaic] {
            let found = Spectrometer::new().read(plane, region, &noise, &survey, true).expect("an opinion");
            assert!((found.blur.value - 1.2).abs() < 2.0 * found.blur.sd, "{found:?}");
        }
        let six = Plane { mosaic: Mosaic::Six(0x0005_5555_5555), ..plane };
        assert!(Spectrometer::new().read(&six, region, &noise, &survey, true).is_none());
    }
}
