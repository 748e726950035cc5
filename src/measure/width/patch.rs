//! One patch of a picture as the estimator looks at it: its spectrum by rings and directions, and how steep its gradients
//! are at four scales.

use std::sync::Arc;

use realfft::{RealFftPlanner, RealToComplex};
use rustfft::num_complex::Complex32;
use rustfft::{Fft, FftPlanner};

use super::loops::{
    binomial, differences, extremes, halve, mirrored, powers, profile, relative, ring, row_sums, windowed,
};
pub(super) use super::shape::{PROFILE, REACH, Ring, SIDE};
use crate::shot::Plane;

/// Derived: a real transform's. Frequencies that are kept of a row of a real transform.
const HALF: usize = SIDE / 2 + 1;
/// Chosen: fine steps where wide spreads end, even ones up to Nyquist; the network is trained on these. Rings of
/// frequency, and their borders in cycles a pixel.
pub(super) const RINGS: usize = 20;
const BORDERS: [f32; RINGS + 1] = [
    0.015, 0.03, 0.045, 0.06, 0.075, 0.09, 0.105, 0.12, 0.14, 0.17, 0.2, 0.23, 0.26, 0.29, 0.32, 0.35, 0.38, 0.41,
    0.44, 0.47, 0.5,
];
/// Chosen: groups as wide as their centre's octave or so; the network is trained on these. Groups of rings over which
/// power is compared between directions: first ring of each and the end.
pub(super) const SECTORS: usize = 8;
const SECTOR_STARTS: [usize; SECTORS + 1] = [0, 2, 4, 7, 10, 12, 14, 17, RINGS];
/// Chosen: as it is, smoothed by the binomial 1 4 6 4 1 (sigma 1 px), and twice more after halving (sigma 2.2 and 4.6
/// px). Scales at which gradients are looked at.
pub(super) const SCALES: usize = 4;
/// Chosen: larger than the edges that are still narrow there. Side of the cells at each scale, samples of that scale.
const CELLS: [usize; SCALES] = [12, 12, 8, 6];
/// Derived: halved with the picture. Side of the picture at each scale, samples.
const SIDES: [usize; SCALES] = [SIDE, SIDE, SIDE / 2, SIDE / 4];

/// Middle of a ring, cycles a pixel.
pub(super) fn middle(ring: usize) -> f64 {
    f64::from(BORDERS[ring] + BORDERS[ring + 1]) / 2.0
}

/// Chosen: full size, and where wide spreads end. Scales at which the profiles of steep places are told.
pub(super) const PROFILES: [usize; 2] = [0, 2];
/// The steepest place of a cell.
#[derive(Clone, Debug)]
pub(super) struct Steep {
    /// Range of brightness in the cell.
    pub range: f32,
    /// That over the gradient here, samples: how wide the steepest edge is at most.
    pub width: f32,
    /// Brightness along the gradient from dark to bright, less that in the middle, over the profile's own range; zeros at
    /// scales that are not among [`PROFILES`].
    pub profile: [f32; PROFILE],
}

/// What is seen of the gradients at one scale, in relative luminance a sample.
#[derive(Clone, Debug, Default)]
pub(super) struct Steepness {
    /// Mean squares along x and y, and mean product.
    pub xx: f64,
    pub yy: f64,
    pub xy: f64,
    /// 90th and 99th percentile of the magnitude.
    pub p90: f64,
    pub p99: f64,
    /// Steepest place of each cell.
    pub cells: Vec<Steep>,
}

/// What is seen of a patch before anything is known of the noise; relative luminance (white = 1).
#[derive(Clone, Debug, Default)]
pub(super) struct Sight {
    /// Mean.
    pub level: f64,
    /// Variance about the best plane.
    pub variance: f64,
    /// Share of samples that are clipped.
    pub clipped: f64,
    /// Mean power of each ring, scaled so that white noise reads its variance.
    pub power: [f64; RINGS],
    /// Sums of power weighted by the cosine and sine of twice the direction, over those of power, for each group of rings.
    pub sectors: [(f64, f64); SECTORS],
    /// Gradients at each scale.
    pub steepness: [Steepness; SCALES],
}

/// Plans, tables and buffers for looking at patches; one a thread.
pub(super) struct Looker {
    rows: Arc<dyn RealToComplex<f32>>,
    columns: Arc<dyn Fft<f32>>,
    window: [f32; SIDE],
    rings: Vec<Ring>,
    patch: Vec<f32>,
    row: Vec<f32>,
    line: Vec<Complex32>,
    spectrum: Vec<Complex32>,
    scratch: Vec<Complex32>,
    smooth: Vec<f32>,
    spare: Vec<f32>,
    squares: Vec<f32>,
    counts: Vec<u32>,
}

impl Looker {
    pub(super) fn new() -> Self {
        let rows = RealFftPlanner::<f32>::new().plan_fft_forward(SIDE);
        let columns = FftPlanner::<f32>::new().plan_fft_forward(SIDE);
        let mut rings: Vec<Ring> = (0..RINGS).map(|_| Ring::default()).collect();
        for kx in 0..HALF {
            for ky in 0..SIDE {
                let x = kx as f32 / SIDE as f32;
                let y = if ky > SIDE / 2 { ky as f32 - SIDE as f32 } else { ky as f32 } / SIDE as f32;
                let ring = BORDERS.partition_point(|&border| border <= x.hypot(y));
                if (1..=RINGS).contains(&ring) {
                    let twice = 2.0 * y.atan2(x);
                    let weight = if kx == 0 || kx == SIDE / 2 { 1.0 } else { 2.0 };
                    let ring = &mut rings[ring - 1];
                    ring.at.push((kx * SIDE + ky) as u32);
                    ring.weights.push([weight, weight * twice.cos(), weight * twice.sin()]);
                    ring.total += weight;
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
            rings,
            patch: vec![0.0; SIDE * SIDE],
            row: vec![0.0; SIDE],
            line: vec![Complex32::default(); HALF],
            spectrum: vec![Complex32::default(); HALF * SIDE],
            scratch: vec![Complex32::default(); scratch],
            smooth: vec![0.0; SIDE * SIDE],
            spare: vec![0.0; SIDE * SIDE],
            squares: vec![0.0; SIDE * SIDE],
            counts: vec![0; BINS],
        }
    }

    /// Looks at the patch whose corner is at (x, y), which may lie outside the picture: what is missing is mirrored.
    pub(super) fn look(&mut self, plane: &Plane, x: isize, y: isize) -> Sight {
        let clipped = self.gather(plane, x, y);
        let (level, slopes) = self.trend();
        let mut sight = Sight { level, clipped, ..Sight::default() };
        self.transform(level as f32, slopes, &mut sight);
        self.smooth.copy_from_slice(&self.patch);
        for scale in 0..SCALES {
            let side = SIDES[scale];
            if scale > 1 {
                halve(&self.smooth, 2 * side, &mut self.spare);
                std::mem::swap(&mut self.smooth, &mut self.spare);
            }
            if scale > 0 {
                binomial(&mut self.smooth[..side * side], side, &mut self.spare);
            }
            sight.steepness[scale] = self.steepness(scale);
        }
        sight
    }

    /// Fills the patch with relative luminance; the share of samples that are clipped.
    fn gather(&mut self, plane: &Plane, x: isize, y: isize) -> f64 {
        let (black, per) = (f32::from(plane.black), 1.0 / plane.range().max(1.0));
        let inside = x >= 0 && x as usize + SIDE <= plane.width;
        let mut clipped = 0_u32;
        for (j, row) in self.patch.chunks_exact_mut(SIDE).enumerate() {
            let samples = plane.row(mirrored(y + j as isize, plane.height));
            if inside {
                let samples = &samples[x as usize..x as usize + SIDE];
                clipped += relative(samples, plane.saturation, black, per, row);
            } else {
                for (i, value) in row.iter_mut().enumerate() {
                    let sample = samples[mirrored(x + i as isize, plane.width)];
                    clipped += u32::from(sample >= plane.saturation);
                    *value = (f32::from(sample) - black) * per;
                }
            }
        }
        f64::from(clipped) / (SIDE * SIDE) as f64
    }

    /// Mean of the patch and its slopes along x and y (least squares).
    fn trend(&self) -> (f64, (f32, f32)) {
        let middle = (SIDE as f32 - 1.0) / 2.0;
        let (mut sum, mut sx, mut sy) = (0.0_f64, 0.0_f64, 0.0_f64);
        for (j, (whole, along)) in row_sums(&self.patch, middle).into_iter().enumerate() {
            sum += f64::from(whole);
            sx += f64::from(along);
            sy += f64::from((j as f32 - middle) * whole);
        }
        let n = (SIDE * SIDE) as f64;
        // Mean square of the distance from the middle of n samples a unit apart: (n^2 - 1) / 12.
        let spread = n * ((SIDE * SIDE - 1) as f64 / 12.0);
        (sum / n, ((sx / spread) as f32, (sy / spread) as f32))
    }

    /// Variance, power by rings and by directions.
    fn transform(&mut self, level: f32, slopes: (f32, f32), sight: &mut Sight) {
        let middle = (SIDE as f32 - 1.0) / 2.0;
        let mut square = 0.0_f64;
        for (j, row) in self.patch.chunks_exact(SIDE).enumerate() {
            let base = level + slopes.1 * (j as f32 - middle);
            let scale = self.window[j] / SIDE as f32;
            square += f64::from(windowed(row, base, slopes.0, scale, &self.window, &mut self.row));
            // The lengths agree by construction, which is all that can go wrong here.
            let _ = self.rows.process_with_scratch(&mut self.row, &mut self.line, &mut self.scratch);
            for (k, v) in self.line.iter().enumerate() {
                self.spectrum[k * SIDE + j] = *v;
            }
        }
        self.columns.process_with_scratch(&mut self.spectrum, &mut self.scratch);
        sight.variance = square / (SIDE * SIDE) as f64;
        let mut sums = [(0.0_f64, 0.0_f64, 0.0_f64); RINGS];
        powers(&self.spectrum, &mut self.squares);
        for ((cells, power), sums) in self.rings.iter().zip(&mut sight.power).zip(&mut sums) {
            let [sum, cos, sin] = ring(cells, &self.squares);
            let weight = cells.total;
            *power = f64::from(sum / weight);
            // Rings count alike in a group, or the lowest would say it all.
            *sums = (f64::from(cos / weight), f64::from(sin / weight), *power);
        }
        for (k, sector) in sight.sectors.iter_mut().enumerate() {
            let group = SECTOR_STARTS[k]..SECTOR_STARTS[k + 1];
            let n = group.len() as f64;
            let over = |part: &dyn Fn(&(f64, f64, f64)) -> f64| {
                sums[group.clone()].iter().map(|s| part(s) / s.2.max(1e-20)).sum::<f64>() / n
            };
            *sector = (over(&|s| s.0), over(&|s| s.1));
        }
    }

    /// Gradients by first differences of what is in `smooth` at a scale.
    fn steepness(&mut self, scale: usize) -> Steepness {
        let (side, cell) = (SIDES[scale], CELLS[scale]);
        let across = side / cell;
        let sums = differences(&self.smooth, side, &mut self.squares);
        let mut cells = Vec::with_capacity(across * across);
        let mut steepest = 0.0_f32;
        for band in 0..across {
            let rows = band * cell..((band + 1) * cell).min(side - 1);
            let [low, high, most] = extremes(&self.smooth, &self.squares, side, rows.clone());
            for column in 0..across {
                let from = column * cell;
                let (here, steps) = (from..from + cell, from..(from + cell).min(side - 1));
                let low = low[here.clone()].iter().copied().fold(f32::MAX, f32::min);
                let high = high[here].iter().copied().fold(f32::MIN, f32::max);
                let square = most[steps.clone()].iter().copied().fold(0.0, f32::max);
                steepest = steepest.max(square);
                // Where it is, the first of equals; nowhere in a flat cell.
                let found = |y: usize| {
                    let row = &self.squares[y * side..][steps.clone()];
                    row.iter().position(|&v| v == square).map(|x| (from + x, y))
                };
                let (x, y) = if square > 0.0 { rows.clone().find_map(found) } else { found(0) }.unwrap_or((from, 0));
                let profile = if PROFILES.contains(&scale) {
                    profile(&self.smooth[..side * side], side, x, y)
                } else {
                    [0.0; PROFILE]
                };
                cells.push(Steep { range: high - low, width: (high - low) / (square.sqrt() + 1e-9), profile });
            }
        }
        let n = ((side - 1) * (side - 1)) as f64;
        let [p90, p99] = self.percentiles(side, steepest, [0.9, 0.99]);
        Steepness { xx: sums.0 / n, yy: sums.1 / n, xy: sums.2 / n, p90, p99, cells }
    }

    /// Percentiles of the gradients' magnitude, the square of the largest being `most`, from a histogram over the leading bits
    /// of their squares.
    fn percentiles(&mut self, side: usize, most: f32, shares: [f64; 2]) -> [f64; 2] {
        self.counts.fill(0);
        let mut total = 0_u32;
        for row in self.squares[..side * (side - 1)].chunks_exact(side) {
            for v in &row[..side - 1] {
                self.counts[(v.to_bits() >> SHIFT) as usize] += 1;
            }
            total += side as u32 - 1;
        }
        shares.map(|share| {
            let wanted = share * f64::from(total);
            // From above, where both lie: the lowest bin that still has less than the wanted number below it.
            let mut below = f64::from(total);
            let highest = (most.to_bits() >> SHIFT) as usize;
            for (bin, &count) in self.counts[..=highest].iter().enumerate().rev().filter(|(_, c)| **c > 0) {
                let count = f64::from(count);
                below -= count;
                if below < wanted {
                    let low = f64::from(f32::from_bits((bin as u32) << SHIFT));
                    let high = f64::from(f32::from_bits((bin as u32 + 1) << SHIFT));
                    return (low + (high - low) * (wanted - below) / count).sqrt();
                }
            }
            0.0
        })
    }
}

/// Derived: its exponent and five bits of its fraction, 3 % of a square a bin. Leading bits of a positive float that
/// make a bin.
const SHIFT: u32 = 18;
const BINS: usize = 1 << (31 - SHIFT);

/// Mean squared gradient that noise of unit power in a ring makes at each scale; what lies beyond the last ring goes with it,
/// what lies below the first with that.
pub(super) fn noise_gradients() -> [[f64; RINGS]; SCALES] {
    const FINE: usize = 2;
    let mut out = [[0.0; RINGS]; SCALES];
    let n = FINE * SIDE;
    let tau = std::f64::consts::TAU;
    // Transfer of the binomial at samples `step` px apart.
    let binomial = |f: f64, step: f64| (0.5 + 0.5 * (tau * f * step).cos()).powi(2);
    for i in 0..n {
        for j in 0..n {
            let frequency = |k: usize| (if k > n / 2 { k as f64 - n as f64 } else { k as f64 }) / n as f64;
            let (x, y) = (frequency(i), frequency(j));
            let ring = BORDERS.partition_point(|&border| f64::from(border) <= x.hypot(y)).clamp(1, RINGS) - 1;
            let (mut smooth, mut step) = (1.0, 1.0);
            for (scale, out) in out.iter_mut().enumerate() {
                if scale > 1 {
                    step *= 2.0;
                }
                if scale > 0 {
                    smooth *= (binomial(x, step) * binomial(y, step)).powi(2);
                }
                let difference = |f: f64| 4.0 * (tau / 2.0 * f * step).sin().powi(2);
                out[ring] += smooth * (difference(x) + difference(y)) / (n * n) as f64;
            }
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn noise(side: usize, sd: f64) -> Plane {
        let mut dice = fastrand::Rng::with_seed(3);
        let mut normal = || (0..12).map(|_| dice.f64()).sum::<f64>() - 6.0;
        Plane::of_test(side, (0..side * side).map(|_| (20_000.0 + sd * normal()) as u16).collect())
    }

    #[test]
    fn white_noise_reads_its_variance_in_every_ring_and_gradient() {
        const ACROSS: usize = 5;
        let plane = noise(ACROSS * SIDE, 600.0);
        let mut looker = Looker::new();
        let sights: Vec<Sight> = (0..ACROSS * ACROSS)
            .map(|i| looker.look(&plane, (i % ACROSS * SIDE) as isize, (i / ACROSS * SIDE) as isize))
            .collect();
        let mean = |of: &dyn Fn(&Sight) -> f64| sights.iter().map(of).sum::<f64>() / sights.len() as f64;
        let variance = (600.0_f64 / 60_000.0).powi(2);
        // The narrowest ring holds some 16 frequencies of a patch, of which the window leaves a half independent: 7 % over all
        // patches.
        for k in 0..RINGS {
            let power = mean(&|s| s.power[k]);
            assert!((power / variance - 1.0).abs() < 0.2, "ring {k}: {power}");
        }
        let expected = noise_gradients();
        for s in 0..SCALES {
            let square = mean(&|sight| sight.steepness[s].xx + sight.steepness[s].yy);
            let noise = variance * expected[s].iter().sum::<f64>();
            // Mirrored at its borders a patch is smoothed less there, the more the coarser the scale.
            assert!((square / noise - 1.0).abs() < 0.05 + 0.05 * s as f64, "scale {s}: {square} for {noise}");
        }
    }

    #[test]
    fn a_shaded_plane_has_neither_variance_nor_power() {
        let data = (0..SIDE * SIDE).map(|i| (10_000 + 40 * (i % SIDE) + 25 * (i / SIDE)) as u16).collect();
        let sight = Looker::new().look(&Plane::of_test(SIDE, data), 0, 0);
        assert!(sight.variance < 1e-9 && sight.power.iter().all(|p| *p < 1e-9), "{:?}", sight.power);
    }

    #[test]
    fn stripes_say_which_way_they_face() {
        // 12 px from stripe to stripe along x: power at 1/12 cycles a pixel, direction 0.
        let wave = |i: usize| (std::f64::consts::TAU * (i % SIDE) as f64 / 12.0).sin();
        let data = (0..SIDE * SIDE).map(|i| (20_000.0 + 5000.0 * wave(i)) as u16).collect();
        let sight = Looker::new().look(&Plane::of_test(SIDE, data), 0, 0);
        assert!(sight.sectors[2].0 > 0.9 && sight.sectors[2].1.abs() < 0.05, "{:?}", sight.sectors);
        assert!(sight.steepness[0].xx > 100.0 * sight.steepness[0].yy);
    }

    #[test]
    fn a_picture_smaller_than_a_patch_is_mirrored() {
        let small = noise(17, 600.0);
        let sight = Looker::new().look(&small, -30, -40);
        assert!(sight.power.iter().all(|p| p.is_finite()));
        assert_eq!((mirrored(-1, 5), mirrored(5, 5), mirrored(-7, 3), mirrored(0, 1)), (0, 4, 0, 0));
    }
}
