//! Finds one patch of a frame in another by cross-correlation, then to a fraction of a pixel by its phases.

use std::f64::consts::{PI, TAU};
use std::sync::Arc;

use rustfft::num_complex::Complex;
use rustfft::{Fft, FftPlanner};

use super::Small;
use super::similarity::Pair;
use super::square::{frequency, two_dimensional};
use crate::shot::Plane;

/// Where patches are cut from.
pub(super) enum Source<'a> {
    Small(&'a Small),
    Full(&'a Plane),
}

impl Source<'_> {
    pub(super) fn size(&self) -> (usize, usize) {
        match self {
            Self::Small(s) => (s.width, s.height),
            Self::Full(p) => (p.width, p.height),
        }
    }

    fn row(&self, x: usize, y: usize, size: usize, into: &mut [f32]) {
        match self {
            Self::Small(s) => into.copy_from_slice(&s.data[y * s.width + x..][..size]),
            Self::Full(p) => {
                let black = f32::from(p.black);
                for (to, &v) in into.iter_mut().zip(&p.row(y)[x..x + size]) {
                    *to = f32::from(v) - black;
                }
            }
        }
    }
}

/// Matches square patches of one size.
pub(super) struct Matcher {
    size: usize,
    forward: Arc<dyn Fft<f32>>,
    inverse: Arc<dyn Fft<f32>>,
    window: Vec<f32>,
    /// Places of the used frequencies in a spectrum, without the constant part.
    band: Vec<usize>,
}

/// Share of the cross-spectrum that must be in phase at the best alignment. Chosen: unrelated patches reach about 0.3.
const IN_PHASE: f64 = 0.55;
/// Highest frequency used, cycles a pixel. Chosen: above, noise and differing blur rule.
const BAND: f64 = 0.3;

impl Matcher {
    pub(super) fn new(size: usize) -> Self {
        let mut planner = FftPlanner::new();
        let window = (0..size).map(|i| (0.5 - 0.5 * (TAU * (i as f64 + 0.5) / size as f64).cos()) as f32).collect();
        let within = |&i: &usize| frequency(i % size, size).hypot(frequency(i / size, size)) <= BAND;
        let band = (1..size * size).filter(within).collect();
        Self { size, forward: planner.plan_fft_forward(size), inverse: planner.plan_fft_inverse(size), window, band }
    }

    /// Looks for the patch of `a` centred at `from` near `near` in `b`; `None` where it is not there, or flat.
    pub(super) fn find(&self, a: &Source, b: &Source, from: (f64, f64), near: (f64, f64)) -> Option<Pair> {
        let corner_a = self.corner(a, from)?;
        let mut corner_b = self.corner(b, near)?;
        let mut shift = (0.0, 0.0);
        // A second look centred on the first answer makes both windows hold the same content.
        for round in 0..2 {
            let cross = self.cross(a, corner_a, b, corner_b)?;
            if round == 0 {
                let (dx, dy) = self.peak(&cross);
                let moved = (corner_b.0 as i64 + dx, corner_b.1 as i64 + dy);
                let (w, h) = b.size();
                if moved.0 < 0 || moved.1 < 0 || moved.0 as usize + self.size > w || moved.1 as usize + self.size > h {
                    return None;
                }
                corner_b = (moved.0 as usize, moved.1 as usize);
            } else {
                shift = self.refine(&cross)?;
            }
        }
        let to = |from: f64, a: usize, b: usize, d: f64| from + b as f64 - a as f64 + d;
        Some(Pair {
            from,
            to: (to(from.0, corner_a.0, corner_b.0, shift.0), to(from.1, corner_a.1, corner_b.1, shift.1)),
            weight: 1.0,
        })
    }

    fn corner(&self, source: &Source, centre: (f64, f64)) -> Option<(usize, usize)> {
        let (w, h) = source.size();
        let half = self.size as f64 / 2.0;
        let place = |c: f64, length: usize| {
            let corner = (c - half).round();
            (corner >= 0.0 && corner as usize + self.size <= length).then_some(corner as usize)
        };
        Some((place(centre.0, w)?, place(centre.1, h)?))
    }

    /// conj(A) B of the two windowed patches; `None` where one is flat.
    fn cross(&self, a: &Source, at_a: (usize, usize), b: &Source, at_b: (usize, usize)) -> Option<Vec<Complex<f32>>> {
        let n = self.size;
        let mut pair = vec![Complex::new(0.0f32, 0.0); n * n];
        let (mut row, mut means) = (vec![0.0f32; n], [0.0f64; 2]);
        for (which, (source, at)) in [(a, at_a), (b, at_b)].into_iter().enumerate() {
            for y in 0..n {
                source.row(at.0, at.1 + y, n, &mut row);
                means[which] += row.iter().map(|&v| f64::from(v)).sum::<f64>();
                for (to, &v) in pair[y * n..].iter_mut().zip(&row) {
                    if which == 0 { to.re = v } else { to.im = v }
                }
            }
        }
        let mean = means.map(|m| (m / (n * n) as f64) as f32);
        let mut variance = [0.0f64; 2];
        for (i, v) in pair.iter_mut().enumerate() {
            let w = self.window[i % n] * self.window[i / n];
            *v = Complex::new((v.re - mean[0]) * w, (v.im - mean[1]) * w);
            variance[0] += f64::from(v.re * v.re);
            variance[1] += f64::from(v.im * v.im);
        }
        // Below 0.2 % of the mean there is only quantisation.
        let flat = |k: usize| variance[k] / ((n * n) as f64) < (0.002 * f64::from(mean[k])).powi(2).max(1e-12);
        if flat(0) || flat(1) {
            return None;
        }
        two_dimensional(&*self.forward, n, &mut pair);
        // The two real patches went through one complex transform; their spectra come apart by symmetry.
        let cross = (0..n * n)
            .map(|i| {
                let (x, y) = (i % n, i / n);
                let other = pair[(n - y) % n * n + (n - x) % n].conj();
                let first = (pair[i] + other) * 0.5;
                let second = (pair[i] - other) * Complex::new(0.0, -0.5);
                first.conj() * second
            })
            .collect();
        Some(cross)
    }

    /// Whole-pixel offset with the highest correlation, the spectrum whitened by its square root.
    fn peak(&self, cross: &[Complex<f32>]) -> (i64, i64) {
        let n = self.size;
        let mut work = vec![Complex::new(0.0f32, 0.0); n * n];
        for &i in &self.band {
            work[i] = cross[i] / cross[i].norm().sqrt().max(1e-12);
        }
        two_dimensional(&*self.inverse, n, &mut work);
        let limit = (n / 3) as i64;
        let signed = |i: usize| if i > n / 2 { i as i64 - n as i64 } else { i as i64 };
        let best = (0..n * n)
            .filter(|&i| signed(i % n).abs() <= limit && signed(i / n).abs() <= limit)
            .max_by(|&a, &b| work[a].re.total_cmp(&work[b].re))
            .unwrap_or(0);
        (signed(best % n), signed(best / n))
    }

    /// Remaining shift from the slope of the phases, by Gauss-Newton; `None` where the phases do not agree.
    fn refine(&self, cross: &[Complex<f32>]) -> Option<(f64, f64)> {
        let n = self.size;
        // The spectrum of what is real repeats itself, conjugate, on the other side of its middle: one half tells all.
        let half = self.band.iter().filter(|&&i| i < (n - i / n) % n * n + (n - i % n) % n);
        let modes: Vec<Mode> = half
            .map(|&i| {
                let cross = Complex::new(f64::from(cross[i].re), f64::from(cross[i].im));
                // The square root keeps the few lowest frequencies from deciding alone.
                Mode { column: i % n, row: i / n, cross, weight: cross.norm().sqrt() }
            })
            .collect();
        let (mut dx, mut dy) = (0.0f64, 0.0f64);
        for _ in 0..6 {
            let (mut xx, mut xy, mut yy, mut bx, mut by) = (0.0, 0.0, 0.0, 0.0, 0.0);
            let turned = self.turned(dx, dy);
            for m in &modes {
                let phase = turned(m).arg();
                if phase.abs() < 0.6 * PI {
                    let (kx, ky) = (-TAU * frequency(m.column, n), -TAU * frequency(m.row, n));
                    xx += m.weight * kx * kx;
                    xy += m.weight * kx * ky;
                    yy += m.weight * ky * ky;
                    bx += m.weight * kx * phase;
                    by += m.weight * ky * phase;
                }
            }
            let det = xx * yy - xy * xy;
            if det <= 1e-6 * xx * yy {
                return None;
            }
            let step = ((bx * yy - by * xy) / det, (by * xx - bx * xy) / det);
            dx += step.0;
            dy += step.1;
            if step.0.abs().max(step.1.abs()) < SETTLED {
                break;
            }
        }
        let turned = self.turned(dx, dy);
        let (mut together, mut all) = (0.0, 0.0);
        for m in &modes {
            let c = turned(m);
            // The cosine of its phase.
            together += m.weight * c.re / c.norm().max(f64::MIN_POSITIVE);
            all += m.weight;
        }
        (together > IN_PHASE * all && dx.hypot(dy) < 2.0).then_some((dx, dy))
    }

    /// What turns a mode back by a shift: the phase of a place is the product of those of its column and its row.
    fn turned(&self, dx: f64, dy: f64) -> impl Fn(&Mode) -> Complex<f64> {
        let along = |d: f64| -> Vec<Complex<f64>> {
            (0..self.size).map(|i| Complex::from_polar(1.0, TAU * frequency(i, self.size) * d)).collect()
        };
        let (columns, rows) = (along(dx), along(dy));
        move |m| m.cross * columns[m.column] * rows[m.row]
    }
}

/// One frequency of a cross-spectrum.
struct Mode {
    column: usize,
    row: usize,
    cross: Complex<f64>,
    weight: f64,
}

/// Step below which a shift has settled, px. Chosen: far below the thousandths of a pixel that are ever told.
const SETTLED: f64 = 1e-6;
