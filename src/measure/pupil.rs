//! What a known f-number tells of the blur's shape: not how wide it is, but how its edges fall.
//!
//! A diffracting pupil spreads some light far. A Gaussian fitted to an edge takes the far tails for level ground, so it
//! reads narrower than the one that stands for half contrast, the more so the larger wavelength times f-number is in pixels;
//! a pupil slightly out of focus is worse still. The tables hold what the fit of `stepfit` reads of edges whose transfer
//! comes from `optics` (pixel, pupil and a rest that brings the width to what was read).

use crate::optics::blur::{Parts, sigma_px};
use crate::optics::diffraction;

/// Wavelengths times f-numbers of the tables' rows, px.
const PUPILS: [f64; 8] = [0.0, 0.3, 0.6, 0.9, 1.3, 1.8, 2.5, 3.5];
/// Widths read, columns of the tables, px.
const READ: [f64; 10] = [0.3, 0.4, 0.55, 0.75, 1.0, 1.35, 1.8, 2.4, 3.2, 4.2];

/// Factor from the width read to the one of half contrast, and excess kurtosis that the fit's residuals show.
type Cell = (f64, f64);

const TABLE: [[Cell; READ.len()]; PUPILS.len()] = [
    [
        (1.000, 0.00),
        (1.000, 0.00),
        (1.000, 0.00),
        (1.000, 0.00),
        (1.000, 0.00),
        (1.000, 0.00),
        (1.000, 0.00),
        (1.000, 0.00),
        (1.000, 0.00),
        (1.000, 0.00),
    ],
    [
        (1.031, 1.47),
        (1.005, 0.59),
        (1.017, 0.87),
        (1.019, 0.77),
        (1.018, 0.61),
        (1.015, 0.46),
        (1.012, 0.34),
        (1.010, 0.25),
        (1.008, 0.19),
        (1.006, 0.14),
    ],
    [
        (1.060, 2.77),
        (1.022, 1.36),
        (1.037, 1.57),
        (1.042, 1.50),
        (1.039, 1.25),
        (1.032, 0.95),
        (1.026, 0.70),
        (1.020, 0.51),
        (1.016, 0.38),
        (1.013, 0.29),
    ],
    [
        (1.082, 3.23),
        (1.044, 1.82),
        (1.046, 1.74),
        (1.065, 2.05),
        (1.062, 1.84),
        (1.052, 1.46),
        (1.042, 1.09),
        (1.032, 0.78),
        (1.025, 0.59),
        (1.019, 0.45),
    ],
    [
        (1.102, 3.27),
        (1.063, 1.86),
        (1.061, 1.67),
        (1.081, 2.16),
        (1.092, 2.37),
        (1.081, 2.07),
        (1.065, 1.62),
        (1.049, 1.19),
        (1.038, 0.87),
        (1.029, 0.67),
    ],
    [
        (1.118, 3.10),
        (1.078, 1.69),
        (1.076, 1.50),
        (1.080, 1.66),
        (1.111, 2.37),
        (1.114, 2.55),
        (1.096, 2.21),
        (1.074, 1.70),
        (1.055, 1.24),
        (1.043, 0.95),
    ],
    [
        (1.131, 2.87),
        (1.091, 1.46),
        (1.089, 1.27),
        (1.093, 1.44),
        (1.097, 1.60),
        (1.137, 2.46),
        (1.135, 2.67),
        (1.111, 2.34),
        (1.082, 1.78),
        (1.063, 1.36),
    ],
    [
        (1.143, 2.63),
        (1.103, 1.22),
        (1.100, 1.03),
        (1.105, 1.19),
        (1.109, 1.36),
        (1.113, 1.49),
        (1.158, 2.43),
        (1.156, 2.77),
        (1.125, 2.48),
        (1.094, 1.93),
    ],
];

/// What is to be expected of edges under a pupil; nothing where it is unknown.
#[derive(Clone, Copy, Debug)]
pub(super) struct Pupil {
    lambda_n_px: Option<f64>,
    row: [Cell; READ.len()],
}

impl Pupil {
    /// Of a wavelength times f-number in pixels.
    pub(super) fn new(lambda_n_px: Option<f64>) -> Self {
        let (k, share) = between(&PUPILS, lambda_n_px.unwrap_or(0.0));
        let row = std::array::from_fn(|i| mix(TABLE[k][i], TABLE[k + 1][i], share));
        Self { lambda_n_px, row }
    }

    /// Factor and excess kurtosis for a width read, px.
    pub(super) fn expected(&self, read: f64) -> Cell {
        let (i, share) = between(&READ, read);
        mix(self.row[i], self.row[i + 1], share)
    }

    /// ln T^2 of the pupil alone at a frequency in cycles a pixel; minus infinity beyond its limit.
    pub(super) fn log_power(&self, f: f64) -> f64 {
        self.lambda_n_px.map_or(0.0, |a| 2.0 * diffraction::mtf(a * f).ln())
    }

    /// Width of half contrast of the pupil and a Gaussian rest (pixel included), px.
    pub(super) fn with(&self, rest: f64) -> f64 {
        match self.lambda_n_px {
            None => rest,
            Some(_) => sigma_px(&Parts { lambda_n_px: self.lambda_n_px, lens_px: rest, ..Parts::default() }),
        }
    }
}

/// Column left of a value and how far it lies towards the next; beyond the ends the last.
fn between(columns: &[f64], value: f64) -> (usize, f64) {
    let k = columns.partition_point(|&c| c <= value).clamp(1, columns.len() - 1) - 1;
    (k, ((value - columns[k]) / (columns[k + 1] - columns[k])).clamp(0.0, 1.0))
}

fn mix(a: Cell, b: Cell, share: f64) -> Cell {
    (a.0 + share * (b.0 - a.0), a.1 + share * (b.1 - a.1))
}

#[cfg(test)]
mod tests {
    use super::super::profile::Bins;
    use super::super::stepfit::{Care, Steps, refine};
    use super::*;
    use crate::optics::{hopkins, kernel};
    use crate::quantity::DISC_SIGMA;

    /// What the fit of an edge's profile reads of known parts: (read over true width, excess kurtosis), width read.
    fn read(parts: &Parts) -> (f64, Cell) {
        let truth = sigma_px(parts);
        // The edge spread is half plus the sine transform of the transfer function over the frequency.
        let step = 0.004;
        let terms: Vec<(f64, f64)> = (0..1000)
            .map(|i| step * (f64::from(i) + 0.5))
            .map(|f| (f, transfer(parts, f) / (std::f64::consts::PI * f)))
            .collect();
        let edge = |t: f64| {
            let sum: f64 = terms.iter().map(|(f, m)| m * (2.0 * std::f64::consts::PI * f * t).sin()).sum();
            0.5 + step * sum
        };
        let mut sigma = truth;
        let mut kurtosis = 0.0;
        for _ in 0..4 {
            let reach = 3.0 * sigma + 1.5;
            let width = (0.3 * sigma).max(0.25);
            let count = (2.0 * reach / width).floor();
            let mut bins = Bins::default();
            for i in 0..=count as i32 {
                let t = -reach + 2.0 * reach * f64::from(i) / count;
                bins.push(t as f32, (100.0 + 1000.0 * edge(t)) as f32, 4.0);
            }
            bins.close();
            let mut steps = Steps { low: 100.0, sigma: sigma as f32, steps: [(1000.0, 0.0); 3], count: 1 };
            let fit = refine(&bins, &mut steps, Care::Full).expect("a fit");
            sigma = f64::from(steps.sigma);
            kurtosis = fit.kurtosis;
        }
        (sigma, (truth / sigma, kurtosis))
    }

    /// The transfer function with the sign that a defocused pupil's takes beyond its zeros.
    fn transfer(parts: &Parts, f: f64) -> f64 {
        let pupil = hopkins::otf_by_disc(parts.disc_px * f, parts.lambda_n_px.unwrap_or(0.0) * f);
        pupil * kernel::sinc(1.0, f) * kernel::gaussian(parts.lens_px, f)
    }

    /// Factors and kurtoses at the widths of the tables, with more and more of a rest.
    fn readings(lambda_n_px: f64, rest: impl Fn(f64) -> Parts) -> [Cell; READ.len()] {
        let mut curve: Vec<(f64, Cell)> = (0..14)
            .map(|i| 0.06 * 1.4_f64.powi(i) - 0.06)
            .map(|r| read(&Parts { lambda_n_px: Some(lambda_n_px.max(1e-3)), pixel: true, ..rest(r) }))
            .collect();
        curve.sort_by(|a, b| a.0.total_cmp(&b.0));
        READ.map(|g| {
            let k = curve.partition_point(|c| c.0 <= g).clamp(1, curve.len() - 1) - 1;
            let share = ((g - curve[k].0) / (curve[k + 1].0 - curve[k].0)).clamp(0.0, 1.0);
            mix(curve[k].1, curve[k + 1].1, share)
        })
    }

    #[test]
    fn the_table_is_what_the_fit_reads_of_pupils() {
        let gaussian = |a: f64| readings(a, |r| Parts { lens_px: r, ..Parts::default() });
        let disc = |a: f64| readings(a, |r| Parts { disc_px: r / DISC_SIGMA, ..Parts::default() });
        let bare = [gaussian(0.0), disc(0.0)];
        let mut text = String::new();
        let mut worst = 0.0_f64;
        for (&a, row) in PUPILS.iter().zip(TABLE) {
            let own = [gaussian(a), disc(a)];
            let line: Vec<String> = (0..READ.len())
                .map(|i| {
                    let mean = |pick: &dyn Fn(usize) -> f64| 0.5 * (pick(0) + pick(1));
                    let factor = mean(&|k| own[k][i].0 / bare[k][i].0);
                    let kurtosis = mean(&|k| own[k][i].1 - bare[k][i].1);
                    worst = worst.max((factor - row[i].0).abs()).max((kurtosis - row[i].1).abs() / 20.0);
                    format!("({factor:.3}, {kurtosis:.2})")
                })
                .collect();
            text += &format!("    [{}],\n", line.join(", "));
        }
        assert!(worst < 2e-3, "the table should be\n{text}");
    }
}
