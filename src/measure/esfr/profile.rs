//! From samples beside a fitted edge to its spread, line spread and modulation.

use std::f64::consts::PI;

use super::line::{EdgeError, LEAST_SNR, Line, Samples};
use super::{Window, crossing};
use crate::optics::kernel::sinc;

/// Groups of rows for the jackknife. Chosen: enough for a spread, few enough to leave each a whole turn of the edge's phase.
pub(super) const GROUPS: usize = 10;
/// Bin width, px. Published: ISO 12233, four bins a pixel.
const BIN: f64 = 0.25;
/// Steps of frequency, cycles a pixel. Chosen: half a hundredth of the sampling frequency.
const STEP: f64 = 0.005;

/// Binned samples, each group of rows apart.
pub(super) struct Profile {
    /// Bins each side of the edge.
    half: usize,
    /// `[group][bin]`.
    bins: Vec<Vec<Bin>>,
    /// Rough sigma of the line spread, px.
    sigma: f64,
    noise: f64,
    low: f64,
    high: f64,
}

/// Samples of one bin: the sum of their values and of their places from the bin's middle, bins, and their count.
#[derive(Clone, Copy, Default)]
struct Bin {
    sum: f64,
    off: f64,
    count: f64,
}

impl std::iter::Sum for Bin {
    fn sum<I: Iterator<Item = Self>>(bins: I) -> Self {
        let add = |a: Self, b: Self| Self { sum: a.sum + b.sum, off: a.off + b.off, count: a.count + b.count };
        bins.fold(Self::default(), add)
    }
}

/// The curves of a profile.
pub(super) struct Curve {
    pub(super) mtf: Vec<(f64, f64)>,
    pub(super) esf: Vec<(f64, f64)>,
    pub(super) rise: Option<f64>,
    pub(super) overshoot: f64,
}

impl Profile {
    pub(super) fn new(samples: &Samples, line: &Line) -> Result<Self, EdgeError> {
        let reach = samples
            .iter()
            .map(|(_, along, u, _)| line.distance(along, u))
            .fold((0.0f64, 0.0f64), |m, d| (m.0.min(d), m.1.max(d)));
        // Bins that only a few rows reach (the corners of the region) say little and may hold another subject.
        let ends = samples.rows() as f64 / 2.0;
        let away = |along: f64| line.at(along).min(samples.width - line.at(along)) / line.slope(along).hypot(1.0);
        let least = away(-ends).min(away(ends)).max(4.0);
        let half = ((reach.1.min(-reach.0)).min(least.max(12.0)) / BIN).floor().max(16.0) as usize;
        let mut bins = vec![vec![Bin::default(); 2 * half]; GROUPS];
        let mut squares = vec![0.0; 2 * half];
        for (row, along, u, value) in samples.iter() {
            let at = line.distance(along, u) / BIN;
            let bin = at.floor() + half as f64;
            if bin >= 0.0 && bin < (2 * half) as f64 {
                let cell = &mut bins[row * GROUPS / samples.rows()][bin as usize];
                let own = Bin { sum: value, off: at - at.floor() - 0.5, count: 1.0 };
                *cell = [*cell, own].into_iter().sum();
                squares[bin as usize] += value * value;
            }
        }
        let mut profile = Self { half, bins, sigma: 1.0, noise: 0.0, low: 0.0, high: 1.0 };
        let (esf, empty) = profile.edge_spread(None);
        if empty > 0.2 {
            return Err(EdgeError::NotSlanted);
        }
        profile.settle(&esf)?;
        profile.noise = profile.plateau_noise(&squares);
        let snr = profile.snr();
        if snr < LEAST_SNR { Err(EdgeError::Noisy { snr }) } else { Ok(profile) }
    }

    pub(super) fn snr(&self) -> f64 {
        (self.high - self.low) / self.noise.max(1e-9)
    }

    pub(super) fn levels(&self) -> (f64, f64) {
        (self.low, self.high)
    }

    /// Value at the middle of each bin, between the means of the bins' samples where these lie, and the share of gaps within 3 px
    /// of the edge.
    ///
    /// Edges of simple slopes (one in four, one in three) meet the pixels at a few places only, so that a bin's samples all lie to one
    /// side of its middle; taken for its middle they would make the edge steeper here and flatter there.
    fn edge_spread(&self, without: Option<usize>) -> (Vec<f64>, f64) {
        let count = 2 * self.half;
        let of_bin = |i: usize| -> Bin {
            self.bins.iter().enumerate().filter(|(g, _)| Some(*g) != without).map(|(_, b)| b[i]).sum()
        };
        let all: Vec<Bin> = (0..count).map(of_bin).collect();
        let near = self.half - 12.min(self.half)..self.half + 12.min(self.half);
        let gaps = all[near.clone()].iter().filter(|b| b.count == 0.0).count() as f64 / near.len() as f64;
        let known: Vec<(f64, f64)> = all
            .iter()
            .enumerate()
            .filter(|(_, b)| b.count > 0.0)
            .map(|(i, b)| (i as f64 + b.off / b.count, b.sum / b.count))
            .collect();
        let value = |i: usize| {
            let right = known.partition_point(|k| k.0 < i as f64);
            match (right.checked_sub(1).map(|l| known[l]), known.get(right)) {
                (Some(l), Some(r)) => l.1 + (r.1 - l.1) * (i as f64 - l.0) / (r.0 - l.0),
                (Some(one), None) | (None, Some(&one)) => one.1,
                (None, None) => 0.0,
            }
        };
        ((0..count).map(value).collect(), gaps)
    }

    /// Levels of the plateaus and a rough sigma, each from the other.
    fn settle(&mut self, esf: &[f64]) -> Result<(), EdgeError> {
        let quarter = (esf.len() / 8).max(2);
        let mean = |part: &[f64]| part.iter().sum::<f64>() / part.len().max(1) as f64;
        (self.low, self.high) = (mean(&esf[..quarter]), mean(&esf[esf.len() - quarter..]));
        for _ in 0..3 {
            if self.high - self.low < 1e-4 {
                return Err(EdgeError::NoEdge);
            }
            let level = |share: f64| self.low + share * (self.high - self.low);
            let at = |l: f64, near: usize| {
                // Outward from the middle, so that noise on the plateaus is not met first.
                esf[..near].iter().rposition(|&v| v < l).map_or(0, |i| i + 1)
            };
            let top = (self.half..esf.len()).find(|&i| esf[i] > level(0.841)).ok_or(EdgeError::TooWide)?;
            let bottom = at(level(0.159), self.half.max(1));
            self.sigma = ((top - bottom) as f64 * BIN / 2.0).max(0.3);
            let flat = self.flat();
            if flat + 6 > self.half {
                return Err(EdgeError::TooWide);
            }
            let far = (2 * flat).max(flat + 12).min(self.half);
            self.low = mean(&esf[self.half - far..self.half - flat]);
            self.high = mean(&esf[self.half + flat..self.half + far]);
        }
        if let Some((low, high)) = self.beyond(esf) {
            (self.low, self.high) = (low, high);
        }
        Ok(())
    }

    /// Levels far from the edge where light of its tail still lies on the plateaus; `None` where there is no such tail.
    ///
    /// The transfer function of a diffracting pupil starts with a slope, 1 - 4 f / (pi f_c) (Goodman, Introduction to
    /// Fourier Optics, section 6.3), and a kink of slope -a at zero leaves a line spread of a / (2 pi^2 x^2), hence an edge
    /// that nears its level as one over the distance. Fitted with a common strength on both sides and a slope of the light.
    fn beyond(&self, esf: &[f64]) -> Option<(f64, f64)> {
        /// Standard deviations from which a tail is there, and the most of it: that of a pupil cut off at 0.13 cycles/px.
        const SURE: f64 = 4.0;
        const MOST: f64 = 0.5;
        let flat = self.flat();
        let rows: Vec<(nalgebra::Vector4<f64>, f64)> = esf
            .iter()
            .enumerate()
            .filter(|(i, _)| i.abs_diff(self.half) >= flat)
            .map(|(i, &v)| {
                let x = (i as f64 + 0.5 - self.half as f64) * BIN;
                let right = f64::from(u8::from(x > 0.0));
                (nalgebra::Vector4::new(1.0 - right, right, -1.0 / x, x), v)
            })
            .collect();
        let (mut normal, mut right) = (nalgebra::Matrix4::<f64>::zeros(), nalgebra::Vector4::<f64>::zeros());
        for (row, v) in &rows {
            normal += row * row.transpose();
            right += row * *v;
        }
        let inverse = normal.try_inverse()?;
        let fit = inverse * right;
        let square = rows.iter().map(|(row, v)| (v - row.dot(&fit)).powi(2)).sum::<f64>();
        let sd = (square / (rows.len().checked_sub(5)? as f64) * inverse[(2, 2)]).sqrt();
        let (low, high, tail) = (fit[0], fit[1], fit[2]);
        (tail > SURE * sd && tail < MOST * (high - low)).then_some((low, high))
    }

    /// Bins from the edge to where the plateaus begin: 3.5 sigma.
    fn flat(&self) -> usize {
        (3.5 * self.sigma / BIN).ceil() as usize + 2
    }

    /// Standard deviation of samples about the mean of their bin, over both plateaus.
    fn plateau_noise(&self, squares: &[f64]) -> f64 {
        let flat = self.flat();
        let (mut sum, mut freedom) = (0.0, 0.0);
        for (i, square) in squares.iter().enumerate() {
            if i.abs_diff(self.half) < flat {
                continue;
            }
            let all: Bin = self.bins.iter().map(|b| b[i]).sum();
            if all.count > 1.0 {
                sum += square - all.sum * all.sum / all.count;
                freedom += all.count - 1.0;
            }
        }
        (sum / f64::max(freedom, 1.0)).max(0.0).sqrt()
    }

    /// The curves, all groups of rows but `without`.
    pub(super) fn curve(&self, without: Option<usize>, window: Window) -> Curve {
        let (esf, _) = self.edge_spread(without);
        let centre = self.half as f64;
        let position = |i: usize| (i as f64 + 0.5 - centre) * BIN;
        let step = self.high - self.low;
        // Derivative [-1/2 0 1/2]; its ends repeat their neighbours.
        let derivative = |i: usize| if i == 0 || i + 1 == esf.len() { 0.0 } else { (esf[i + 1] - esf[i - 1]) / 2.0 };
        let flat = self.flat() as f64;
        let reach = (2.0 * flat).min(centre);
        let weight = |i: usize| match window {
            Window::Hamming => 0.54 + 0.46 * (PI * (i as f64 + 0.5 - centre) / centre).cos(),
            Window::Shouldered => {
                let away = (i as f64 + 0.5 - centre).abs();
                let fall = ((away - flat) / (reach - flat)).clamp(0.0, 1.0);
                0.5 + 0.5 * (PI * fall).cos()
            }
        };
        let spread: Vec<(f64, f64)> = (0..esf.len()).map(|i| (position(i), weight(i) * derivative(i))).collect();
        let area = match window {
            Window::Hamming => spread.iter().map(|s| s.1).sum(),
            Window::Shouldered => step,
        };
        let mtf = (0..=(1.0 / STEP) as usize)
            .map(|k| {
                let f = k as f64 * STEP;
                if k == 0 {
                    return (0.0, 1.0);
                }
                let (re, im) = spread.iter().fold((0.0, 0.0), |s, &(x, v)| {
                    let (sin, cos) = (2.0 * PI * f * x).sin_cos();
                    (s.0 + v * cos, s.1 + v * sin)
                });
                // The derivative filter's own response, and the bin's.
                let filter = sinc(2.0 * BIN, f) * sinc(BIN, f);
                (f, f64::hypot(re, im) / area / filter.max(0.1))
            })
            .collect();
        let share = |v: f64| (v - self.low) / step;
        let curve: Vec<(f64, f64)> = (0..esf.len()).map(|i| (position(i), share(esf[i]))).collect();
        let rise = self.rise(&curve);
        let overshoot = self.overshoot(&curve);
        Curve { mtf, esf: curve, rise, overshoot }
    }

    /// 10-90 % rise, px, the width of the bins taken out in quadrature.
    fn rise(&self, esf: &[(f64, f64)]) -> Option<f64> {
        let place = |level: f64| {
            // The crossing nearest the middle, then a parabola through the bins around it against noise.
            let upward = |i: &usize| esf[*i].1 < level && esf[*i + 1].1 >= level;
            let i = (0..esf.len() - 1).filter(upward).min_by_key(|&i| i.abs_diff(self.half))?;
            let reach = (0.5 * self.sigma / BIN).round().max(1.0) as usize;
            let near = &esf[i.saturating_sub(reach)..(i + 2 + reach).min(esf.len())];
            local_crossing(near, level).or_else(|| {
                let falling: Vec<(f64, f64)> = esf[i..i + 2].iter().map(|p| (p.0, -p.1)).collect();
                crossing(&falling, -level)
            })
        };
        let rise = place(0.9)? - place(0.1)?;
        let bin = 2.563_10 * BIN / 12f64.sqrt();
        (rise > 0.0).then(|| (rise * rise - bin * bin).max(0.0).sqrt())
    }

    /// How far the bins beside the edge pass the plateaus, less what noise alone would do.
    fn overshoot(&self, esf: &[(f64, f64)]) -> f64 {
        let reach = (6.0 * self.sigma).max(3.0);
        let near = esf.iter().filter(|p| p.0.abs() < reach);
        let (low, high) = near.fold((0.0f64, 1.0f64), |m, p| (m.0.min(p.1), m.1.max(p.1)));
        let samples: f64 = self.bins.iter().map(|b| b[self.half].count).sum();
        let chance = 2.5 / (self.snr() * samples.max(1.0).sqrt());
        ((high - 1.0).max(-low) - chance).max(0.0)
    }
}

/// Where a parabola fitted to a few points passes `level`, if it does so among them.
fn local_crossing(points: &[(f64, f64)], level: f64) -> Option<f64> {
    if points.len() < 5 {
        return None;
    }
    let middle = points.iter().map(|p| p.0).sum::<f64>() / points.len() as f64;
    let mut normal = nalgebra::Matrix3::<f64>::zeros();
    let mut right = nalgebra::Vector3::<f64>::zeros();
    for &(x, y) in points {
        let row = nalgebra::Vector3::new(1.0, x - middle, (x - middle).powi(2));
        normal += row * row.transpose();
        right += row * y;
    }
    let c = normal.cholesky()?.solve(&right);
    let (a, b, d) = (c[2], c[1], c[0] - level);
    let root = if a.abs() < 1e-9 {
        -d / b
    } else {
        let s = (b * b - 4.0 * a * d).sqrt();
        // The rising root: derivative b + 2 a x positive.
        (-b + s) / (2.0 * a)
    };
    let (first, last) = (points.first()?.0 - middle, points.last()?.0 - middle);
    (first..=last).contains(&root).then_some(root + middle)
}
