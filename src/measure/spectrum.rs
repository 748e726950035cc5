//! A tile's power spectrum by rings of frequency, at full size and reduced; what it says is worked out in `scene`.

use std::sync::Arc;

use multiversion::multiversion;
use realfft::{RealFftPlanner, RealToComplex};
use rustfft::num_complex::Complex32;
use rustfft::{Fft, FftPlanner};

use super::noise::NoiseModel;
use super::pupil::Pupil;
use super::scene::{CROWDED, NATURAL, Opinion, Point, Rings, judge};
use super::survey::Survey;
use crate::quantity::Region;
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

/// How far noise may be from its model, as a share of its variance.
const NOISE_ERROR: f64 = 0.15;
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

/// Adds a row's cells of `SHRINK` samples to `sums`; how many samples are clipped.
#[multiversion(targets("x86_64+avx2"))]
fn add_cells<const SHRINK: usize>(sums: &mut [f32], samples: &[u16], limit: u16) -> usize {
    let (cells, _) = samples.as_chunks::<SHRINK>();
    let mut clipped = 0_u32;
    for (sum, cell) in sums.iter_mut().zip(cells) {
        *sum += cell.iter().map(|&sample| u32::from(sample)).sum::<u32>() as f32;
        clipped += cell.iter().map(|&sample| u32::from(sample >= limit)).sum::<u32>();
    }
    clipped as usize
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

    /// Adds the power of one patch of means over squares of `SHRINK` px with its corner at (x, y); `false` where too much
    /// is clipped. Of a checkerboard only the measured samples are averaged.
    fn add_shrunk<const SHRINK: usize>(&mut self, plane: &Plane, x: usize, y: usize, power: &mut [f64; BINS]) -> bool {
        let checkered = matches!(plane.mosaic, Mosaic::Checkerboard { .. });
        let count = if checkered { SHRINK * SHRINK / 2 } else { SHRINK * SHRINK };
        let per = 1.0 / count as f32;
        let limit = plane.saturation;
        let mut clipped = 0;
        for (j, row) in self.patch.chunks_exact_mut(SIDE).enumerate() {
            row.fill(0.0);
            for y in y + SHRINK * j..y + SHRINK * (j + 1) {
                let skipped = usize::from(checkered && !plane.mosaic.measured(x, y));
                let samples = &plane.data[y * plane.width + x..][..SHRINK * SIDE];
                clipped += if checkered {
                    let every = samples.iter().enumerate().filter(|(i, _)| i % 2 == skipped);
                    for (i, &sample) in every.clone() {
                        row[i / SHRINK] += f32::from(sample);
                    }
                    every.filter(|(_, sample)| **sample >= limit).count()
                } else {
                    add_cells::<SHRINK>(row, samples, limit)
                };
            }
            row.iter_mut().for_each(|v| *v *= per);
        }
        clipped <= CLIPPED * count && self.transform(power)
    }

    /// Half spectrum, column by column, of a patch about a tile's middle reduced by a whole factor; `None` where the picture
    /// is too small or the patch too clipped. Not reduced, the green sites of a Bayer sensor are a lattice turned by 45
    /// degrees, so that the spectrum's axes point right-down and left-down.
    pub(super) fn middle<const SHRINK: usize>(&mut self, plane: &Plane, region: Region) -> Option<&[Complex32]> {
        let lattice = SHRINK == 1 && matches!(plane.mosaic, Mosaic::Checkerboard { .. });
        let reach = if lattice { 2 * SIDE } else { SHRINK * SIDE };
        if plane.width < reach || plane.height < reach {
            return None;
        }
        let place = |from: u32, side: u32, size: usize| {
            (from as usize + side as usize / 2).saturating_sub(reach / 2).min(size - reach)
        };
        let (x, mut y) = (place(region.x, region.width, plane.width), place(region.y, region.height, plane.height));
        let unused = &mut [0.0; BINS];
        let done = if lattice {
            // One row up or down brings the lattice onto the measured sites; the reach has a row to spare.
            y += usize::from(!plane.mosaic.measured(x + SIDE - 1, y));
            self.add(plane, x, y, unused)
        } else {
            self.add_shrunk::<SHRINK>(plane, x, y, unused)
        };
        done.then_some(&self.plane)
    }

    /// Rings of a tile reduced by a whole even factor, for weighing kinds of blur against each other. Rings that drown
    /// in noise count as if they stood at half the noise, so that a weak texture never speaks for more blur than there
    /// is. `None` where a picture or tile is too small or too clipped.
    pub(super) fn shrunk<const SHRINK: usize>(
        &mut self,
        plane: &Plane,
        region: Region,
        noise: &NoiseModel,
        survey: &Survey,
    ) -> Option<Rings> {
        let reach = SHRINK * SIDE;
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
            patches += u32::from(self.add_shrunk::<SHRINK>(plane, xs[k], ys[k], &mut power));
        }
        if patches == 0 {
            return None;
        }
        let factor = SHRINK as f64;
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
        Rings::of(&points, SHRINK, patches)
    }

    /// Reads a tile; `None` where it is too small, too clipped, too noisy, or its spectrum could be anything.
    pub(super) fn read(
        &mut self,
        plane: &Plane,
        region: Region,
        noise: &NoiseModel,
        survey: &Survey,
        crowded: bool,
        pupil: &Pupil,
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
        judge(&points, patches, if crowded { &CROWDED } else { &NATURAL }, pupil)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

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
        Plane::of_test(side, both.iter().map(|v| (20_000.0 + 3000.0 * v / spread) as u16).collect())
    }

    #[test]
    fn blurred_noise_reads_its_blur_on_every_site_and_on_every_other() {
        let plane = blurred_noise(256, 1.2);
        let survey = Survey { mean: 20_000.0, ..Survey::default() };
        let noise = NoiseModel::fit(&plane, &[]);
        let region = Region { x: 0, y: 0, width: 256, height: 256 };
        let mosaic = Plane { mosaic: Mosaic::Checkerboard { even: false }, ..plane.clone() };
        for plane in [&plane, &mosaic] {
            let found =
                Spectrometer::new().read(plane, region, &noise, &survey, true, &Pupil::new(None)).expect("an opinion");
            assert!((found.blur.value - 1.2).abs() < 2.0 * found.blur.sd, "{found:?}");
        }
        let six = Plane { mosaic: Mosaic::Six(0x0005_5555_5555), ..plane };
        assert!(Spectrometer::new().read(&six, region, &noise, &survey, true, &Pupil::new(None)).is_none());
    }
}
