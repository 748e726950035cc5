//! A smooth field through samples of which an unknown share is only ever too large.

use nalgebra::{DMatrix, DVector};

use super::sample::Sample;
use crate::optics::stops;
use crate::quantity::Estimate;
use crate::stats::{self, MAD_SD, excess_density, normal_density};

/// Terms of the field over the place: first those even in the radius, then those that make one side unlike the other. Derived: the
/// terms that `spatial` writes out.
const SPATIAL: usize = 12;
/// How many of the terms have every symmetry. Derived: those that are functions of the radius.
const EVEN: usize = 4;
/// Rounds of sorting samples and fitting again. Chosen: the samples settle in about half as many.
const ROUNDS: usize = 25;

/// Spread of the prior of the even terms, as a share of the field's own size. Chosen: wide, so that the samples decide.
const WIDE: f64 = 10.0;

/// A fitted field of squared lens blur over place and f-number, um^2.
pub(super) struct Field {
    terms: usize,
    reference: f64,
    beta: DVector<f64>,
    covariance: DMatrix<f64>,
    /// Probability that each sample is clean, in the order given.
    pub clean: Vec<f64>,
}

/// How the prior holds the field.
#[derive(Clone, Copy, Debug)]
pub(super) struct Prior {
    /// Spread of the lopsided terms over the squared blur of the sharper samples.
    pub lopsided: f64,
}

fn spatial(u: f64, v: f64) -> [f64; SPATIAL] {
    let rr = u * u + v * v;
    [1.0, rr, rr * rr, rr * rr * rr, u, v, u * rr, v * rr, u * rr * rr, v * rr * rr, u * v, u * u - v * v]
}

/// How lens blur may go with the f-number: squared widths that stay, fall as 1/N^2 (field curvature and focus)
/// or as 1/N^4 (coma).
fn stop_terms(ratio: f64, terms: usize) -> impl Iterator<Item = f64> {
    (0..terms).map(move |j| ratio.powi(2 * j as i32))
}

fn row(u: f64, v: f64, ratio: f64, terms: usize) -> DVector<f64> {
    let space = spatial(u, v);
    DVector::from_iterator(SPATIAL * terms, stop_terms(ratio, terms).flat_map(|t| space.map(|s| s * t)))
}

/// Fits a field. Each sample is either clean, N(field, sd), or has an exponentially distributed excess on top;
/// which, and how often a frame has any, is worked out with the field (expectation-maximisation).
///
/// `None` if there are too few samples for any field.
pub(super) fn fit(samples: &[Sample], prior: Prior) -> Option<Field> {
    let Prepared { rows, precision, terms, reference } = prepare(samples, prior)?;
    // Start from the lower side: samples above the field count for a tenth of those below it.
    let mut weight: Vec<f64> = samples.iter().map(|s| 1.0 / (s.sd * s.sd)).collect();
    let mut solved = solve(&rows, samples, &weight, &precision)?;
    for _ in 0..10 {
        for ((w, s), x) in weight.iter_mut().zip(samples).zip(&rows) {
            let field = x.dot(&solved.0);
            *w = if s.square > field { 0.1 } else { 0.9 } / s.sd_at(field).powi(2);
        }
        solved = solve(&rows, samples, &weight, &precision)?;
    }
    let frames = samples.iter().map(|s| s.frame).max().unwrap_or(0) + 1;
    let mut dirty = vec![0.5; frames];
    let mut scale = 1.0f64;
    let mut clean = vec![1.0; samples.len()];
    for _ in 0..ROUNDS {
        let field: Vec<f64> = rows.iter().map(|x| x.dot(&solved.0)).collect();
        let sd: Vec<f64> = samples.iter().zip(&field).map(|(s, m)| scale * s.sd_at(*m)).collect();
        let residual: Vec<f64> = samples.iter().zip(&field).map(|(s, m)| s.square - m).collect();
        let typical = quantile(sd.iter().copied(), 0.5);
        let bad: f64 = clean.iter().map(|c| 1.0 - c).sum();
        let above: f64 = clean.iter().zip(&residual).map(|(c, d)| (1.0 - c) * d.max(0.0)).sum();
        let excess = (above / bad.max(1.0)).max(2.0 * typical);
        for (i, (c, s)) in clean.iter_mut().zip(samples).enumerate() {
            let good = normal_density(residual[i], sd[i]) * (1.0 - dirty[s.frame]);
            let bad = excess_density(residual[i], sd[i], excess) * dirty[s.frame];
            *c = if good + bad > 0.0 { good / (good + bad) } else { 0.0 };
        }
        // The share of dirty samples a frame, drawn towards the shoot's own by a few samples' worth.
        let overall = 1.0 - clean.iter().sum::<f64>() / clean.len() as f64;
        let mut counts = vec![(4.0 * overall.max(0.05), 4.0); frames];
        for (c, s) in clean.iter().zip(samples) {
            counts[s.frame].0 += 1.0 - c;
            counts[s.frame].1 += 1.0;
        }
        dirty = counts.iter().map(|(bad, all)| (bad / all).clamp(0.01, 0.99)).collect();
        // Samples below the field are never dirty, so the noise is judged by them alone.
        let below = residual.iter().zip(&sd).filter(|(d, _)| **d < 0.0).map(|(d, sd)| (d / sd).powi(2).min(16.0));
        let (square, count) = below.fold((1.0, 1.0), |(sum, n), z| (sum + z, n + 1.0));
        scale = (scale * f64::sqrt(square / count)).clamp(0.5, 3.0);
        for (i, w) in weight.iter_mut().enumerate() {
            *w = clean[i] / sd[i].powi(2);
        }
        solved = solve(&rows, samples, &weight, &precision)?;
    }
    Some(Field { terms, reference, beta: solved.0, covariance: solved.1, clean })
}

/// Fits a field to samples that err either way, large errors counting little (Cauchy's weights).
pub(super) fn fit_even_handed(samples: &[Sample]) -> Option<Field> {
    let Prepared { rows, precision, terms, reference } = prepare(samples, Prior { lopsided: 100.0 })?;
    let mut weight: Vec<f64> = samples.iter().map(|s| 1.0 / (s.sd * s.sd)).collect();
    let mut solved = solve(&rows, samples, &weight, &precision)?;
    for _ in 0..ROUNDS {
        let z: Vec<f64> = samples.iter().zip(&rows).map(|(s, x)| (s.square - x.dot(&solved.0)) / s.sd).collect();
        let scale = (MAD_SD * quantile(z.iter().map(|z| z.abs()), 0.5)).max(0.5);
        for ((w, s), z) in weight.iter_mut().zip(samples).zip(&z) {
            *w = 1.0 / ((scale * s.sd).powi(2) * (1.0 + (z / (2.385 * scale)).powi(2)));
        }
        solved = solve(&rows, samples, &weight, &precision)?;
    }
    Some(Field { terms, reference, beta: solved.0, covariance: solved.1, clean: vec![1.0; samples.len()] })
}

/// What a fit starts from.
struct Prepared {
    /// The field's terms at each sample.
    rows: Vec<DVector<f64>>,
    /// Precision of the prior of each term's coefficient.
    precision: DVector<f64>,
    /// Terms in the f-number.
    terms: usize,
    /// f-number at which they are all one.
    reference: f64,
}

/// `None` if there are too few samples for any field.
fn prepare(samples: &[Sample], prior: Prior) -> Option<Prepared> {
    if samples.len() < 30 {
        return None;
    }
    let stops = stops::distinct(samples.iter().map(|s| s.f_number));
    let terms = match stops.len() {
        1 => 1,
        2 | 3 => 2,
        _ => 3,
    };
    let reference = (stops[0] * stops[stops.len() - 1]).sqrt();
    let rows = samples.iter().map(|s| row(s.u, s.v, reference / s.f_number, terms)).collect();
    let size = quantile(samples.iter().map(|s| s.square.abs()), 0.8).max(quantile(samples.iter().map(|s| s.sd), 0.5));
    // Defocus swells most samples of a shoot; what a lens may have of lopsidedness goes with the sharp ones.
    let least = quantile(samples.iter().map(|s| s.square.max(0.0) + 0.1 * s.sd), 0.25);
    let precision = DVector::from_iterator(
        SPATIAL * terms,
        (0..SPATIAL * terms).map(|i| {
            if i % SPATIAL < EVEN {
                1.0 / (WIDE * size).powi(2)
            } else {
                // Held at the widest stop, where the terms in the f-number are largest.
                let swollen = (reference / stops[0]).powi(2 * (i / SPATIAL) as i32);
                (swollen / (prior.lopsided * least)).powi(2)
            }
        }),
    );
    Some(Prepared { rows, precision, terms, reference })
}

impl Field {
    /// Squared lens blur, um^2, and its standard deviation.
    pub(super) fn square(&self, u: f64, v: f64, f_number: f64) -> (f64, f64) {
        let x = row(u, v, self.reference / f_number, self.terms);
        (x.dot(&self.beta), (&self.covariance * &x).dot(&x).max(0.0).sqrt())
    }

    /// Lens blur, um, at a place; `None` where it is not known to better than 60 % and 0.6 um. Frames are `apart` by a share of
    /// the squared whole width, of which pixel and diffraction have `floor`, um^2.
    pub(super) fn sigma_um(
        &self,
        (u, v): (f64, f64),
        f_number: f64,
        n: u32,
        (apart, floor): (f64, f64),
    ) -> Option<Estimate> {
        let (square, sd) = self.square(u, v, f_number);
        let value = square.max(0.0).sqrt();
        // At zero the spread of the square itself is the honest scale. Tiles of one frame err together, so
        // three per cent always remain.
        let spread = |sd: f64| (if square > sd { 0.5 * sd / value } else { 0.7 * sd.sqrt() }).hypot(0.03 * value);
        let known = spread(sd);
        let told = spread(sd.hypot(apart * (square.max(0.0) + floor)));
        (told.is_finite() && (known < 0.6 * value || known < 0.6)).then(|| Estimate::new(value, told, n))
    }
}

/// Weighted least squares with the prior: coefficients and their covariance.
fn solve(
    rows: &[DVector<f64>],
    samples: &[Sample],
    weight: &[f64],
    precision: &DVector<f64>,
) -> Option<(DVector<f64>, DMatrix<f64>)> {
    let mut normal = DMatrix::from_diagonal(precision);
    let mut right = DVector::zeros(precision.len());
    // What is all but surely soft says nothing; in a shoot that is most of it.
    let least = 1e-4 * weight.iter().copied().fold(0.0, f64::max);
    for ((x, s), w) in rows.iter().zip(samples).zip(weight).filter(|(_, w)| **w > least) {
        for (column, xj) in x.iter().enumerate() {
            let wx = w * xj;
            right[column] += wx * s.square;
            for (into, xi) in normal.column_mut(column).iter_mut().zip(x.iter()) {
                *into += wx * xi;
            }
        }
    }
    let cholesky = normal.cholesky()?;
    Some((cholesky.solve(&right), cholesky.inverse()))
}

pub(super) fn quantile(values: impl Iterator<Item = f64>, share: f64) -> f64 {
    let known: Vec<f64> = values.filter(|v| v.is_finite()).collect();
    stats::quantile(&known, share).unwrap_or(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_shifted_density_integrates_to_one() {
        for (sd, excess) in [(1.0, 0.05), (1.0, 2.0), (0.3, 10.0)] {
            let step = 0.002;
            let sum: f64 = (-20_000..120_000).map(|i| excess_density(f64::from(i) * step, sd, excess)).sum();
            assert!((sum * step - 1.0).abs() < 2e-3, "{sd} {excess}: {}", sum * step);
        }
    }
}
