//! Noise of a frame from the corners of its block spectra, where the optics leave nothing of the scene.

use rustfft::FftPlanner;
use rustfft::num_complex::Complex;

use super::BLOCK;
use super::window::{hann, is_high};
use crate::measure::noise::line;
use crate::measure::register::two_dimensional;
use crate::shot::Mosaic;
use crate::stats::normal_beyond;

/// One block: its mean level and the mean power at the highest frequencies, levels and levels^2.
pub(super) type Reading = (f64, f64);

/// Noise variance of a sample against level: read + gain * level (EMVA 1288's form for a linear sensor).
pub(super) struct Noise {
    read: f64,
    gain: f64,
}

/// Groups of level that the noise is fitted over. Chosen: as many as for the noise of one frame.
const GROUPS: usize = 8;
/// Number of blocks of a level of which one counts as quietest. Chosen: a share so small that in most scenes as many are quiet.
const QUIETEST: usize = 7;

impl Noise {
    /// Fits the quietest of the blocks at each level: what fine detail the lens passes only adds to a reading. `scatter` is that
    /// of readings of noise alone, as a share of their mean ([`scatter`]): the quietest of many read less than the noise they hold.
    pub(super) fn fit(readings: &[Reading], scatter: f64) -> Self {
        let mut readings = readings.to_vec();
        readings.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
        let size = readings.len().div_ceil(GROUPS).max(1);
        let quiet: Vec<Reading> = readings
            .chunks(size)
            .map(|group| {
                let mut group = group.to_vec();
                let (count, at) = (group.len(), group.len() / QUIETEST);
                let (level, power) = *group.select_nth_unstable_by(at, |a, b| a.1.total_cmp(&b.1)).1;
                (level, power / of_mean(at, count, scatter))
            })
            .collect();
        let (read, gain) = line(&quiet, 1e-6, 1e-6);
        Self { read, gain }
    }

    pub(super) fn variance(&self, level: f64) -> f64 {
        // Whole-number samples leave 1/12 at least.
        (self.read + self.gain * level.max(0.0)).max(1.0 / 12.0)
    }
}

/// What the reading at a place of `count` sorted ones of the same noise is expected to be, as a share of their mean.
///
/// A mean of squares follows about the law of chi squared with 2 / scatter^2 degrees of freedom, whose cube root is about normal
/// (Wilson & Hilferty, PNAS 17, 1931); the place's share of the law is Blom's (1958).
fn of_mean(at: usize, count: usize, scatter: f64) -> f64 {
    let share = (at as f64 + 0.625) / (count as f64 + 0.25);
    let ninth = scatter * scatter / 9.0;
    (1.0 - ninth + normal_at(share) * ninth.sqrt()).powi(3)
}

/// Where the normal law has this share below it.
fn normal_at(share: f64) -> f64 {
    let (mut low, mut high) = (-6.0, 6.0);
    for _ in 0..40 {
        let middle = 0.5 * (low + high);
        if normal_beyond(-middle) < share { low = middle } else { high = middle }
    }
    0.5 * (low + high)
}

/// Standard deviation of a block's reading of white noise as a share of its mean.
///
/// By Isserlis' theorem the powers of two modes k and l of Gaussian noise under a window w have the covariance
/// |W(k - l)|^2 + |W(k + l)|^2, W being the transform of w^2: neighbours share what the window mixes, and on a mosaic also modes
/// that lie half the sampling frequency apart along both axes, so that a reading rests on fewer than its modes.
pub(super) fn scatter(mosaic: Mosaic) -> f64 {
    let window = hann(BLOCK as f64 / 2.0);
    let squared = |i: usize| {
        let (x, y) = (i % BLOCK, i / BLOCK);
        let w = if mosaic.measured(x, y) { (window[x] * window[y]).powi(2) } else { 0.0 };
        Complex::new(w as f32, 0.0)
    };
    let mut work: Vec<Complex<f32>> = (0..BLOCK * BLOCK).map(squared).collect();
    two_dimensional(&*FftPlanner::new().plan_fft_forward(BLOCK), BLOCK, &mut work);
    let modes: Vec<(usize, usize)> =
        (0..=BLOCK / 2).flat_map(|y| (0..BLOCK).map(move |x| (x, y))).filter(|&(x, y)| is_high(mosaic, x, y)).collect();
    let at = |x: usize, y: usize| f64::from(work[y % BLOCK * BLOCK + x % BLOCK].norm_sqr());
    let of = |a: &(usize, usize)| {
        let with = |b: &(usize, usize)| at(BLOCK + a.0 - b.0, BLOCK + a.1 - b.1) + at(a.0 + b.0, a.1 + b.1);
        modes.iter().map(with).sum::<f64>()
    };
    (modes.iter().map(of).sum::<f64>() / at(0, 0)).sqrt() / (modes.len() as f64).max(1.0)
}
