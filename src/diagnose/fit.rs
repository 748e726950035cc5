//! Robust one-sided fit of the frame model: content may add blur, so tiles far above the model cost little.

use nalgebra::{SMatrix, SVector};

use super::evidence::{Evidence, Sample};
use super::model::{Priors, SIZE, Theta, predict, predict_with_slopes};
use super::surface::Surface;

type Square = SMatrix<f64, SIZE, SIZE>;

/// Shares of tiles that show what they show for other reasons than optics.
#[derive(Clone, Copy, Debug)]
pub struct Mix {
    /// Softer than the optics: cloud, water, haze.
    pub soft: f64,
    /// Off either way: a misread tile.
    pub odd: f64,
    /// Factor on the tiles' relative errors.
    pub inflate: f64,
}

/// Mean excess of soft content over the optics, in ln of the width.
const EXCESS: f64 = 0.5;
/// Spread of misread tiles, in ln of the width.
const ODD_SPREAD: f64 = 0.35;

/// Cost of one residual (ln measured less ln model), its slope, and the probability that the tile is honest.
#[inline]
#[must_use]
pub fn cost(residual: f64, sd: f64, mix: &Mix) -> (f64, f64, f64) {
    let sd = sd * mix.inflate;
    let z = residual / sd;
    let tau = std::f64::consts::TAU.sqrt();
    let honest = (1.0 - mix.soft - mix.odd) * (-0.5 * z * z).exp() / (sd * tau);
    // Logistic stand-in for the normal integral: soft content starts at the honest width.
    let gate = 1.0 / (1.0 + (-1.702 * z).exp());
    let soft = mix.soft / EXCESS * (-residual.max(-1.0) / EXCESS).exp() * gate;
    let y = residual / ODD_SPREAD;
    let odd = mix.odd * (-0.5 * y * y).exp().max(1e-3) / (ODD_SPREAD * tau);
    let whole = honest + soft + odd;
    let slope = (honest * z / sd + soft * (1.0 / EXCESS - 1.702 * (1.0 - gate) / sd) + odd * y / ODD_SPREAD) / whole;
    (-whole.ln(), slope, honest / whole)
}

/// A fitted mode.
#[derive(Clone, Debug)]
pub struct Fit {
    /// Parameters at the minimum.
    pub theta: Theta,
    /// Which parameters were free, a bit each.
    pub on: u32,
    /// Energy (minus ln of posterior density) there.
    pub energy: f64,
    /// Curvature there.
    pub curvature: Square,
}

/// Energy of a parameter vector: data and separate priors.
#[must_use]
pub fn energy(t: &Theta, on: u32, samples: &[Sample], surface: &Surface, priors: &Priors, mix: &Mix) -> f64 {
    let data: f64 = samples.iter().map(|s| cost(s.y - predict(t, s, surface).y, s.sd, mix).0).sum();
    data + priors.energy(t, on)
}

/// Goes downhill from a start by damped Gauss-Newton steps.
#[must_use]
pub fn descend(
    start: Theta,
    on: u32,
    steps: usize,
    samples: &[Sample],
    surface: &Surface,
    priors: &Priors,
    mix: &Mix,
) -> Fit {
    let mut theta = start;
    let mut damping = 1e-2;
    let (mut here, mut slope, mut curvature) = assemble(&theta, on, samples, surface, priors, mix);
    for _ in 0..steps {
        let mut damped = curvature;
        for k in 0..SIZE {
            damped[(k, k)] += damping * curvature[(k, k)].max(1e-9);
        }
        let Some(factor) = damped.cholesky() else {
            damping *= 10.0;
            continue;
        };
        let step = factor.solve(&slope);
        let mut next = theta;
        for k in 0..SIZE {
            next[k] += step[k].clamp(-LEAP[k], LEAP[k]);
        }
        let there = energy(&next, on, samples, surface, priors, mix);
        if there < here {
            let gain = here - there;
            theta = next;
            damping = (damping * 0.2).max(1e-7);
            (here, slope, curvature) = assemble(&theta, on, samples, surface, priors, mix);
            if gain < 1e-3 {
                break;
            }
        } else {
            damping *= 6.0;
            if damping > 1e6 {
                break;
            }
        }
    }
    Fit { theta, on, energy: here, curvature }
}

/// Longest step of each parameter at once, so that a first step can't leave the model's reach.
const LEAP: Theta = [3.0, 0.7, 0.2, 1.0, 2.0, 1.0, 0.2, 2.0, 1.0, 0.2];

/// Energy, downhill slope and Gauss-Newton curvature.
fn assemble(
    t: &Theta,
    on: u32,
    samples: &[Sample],
    surface: &Surface,
    priors: &Priors,
    mix: &Mix,
) -> (f64, SVector<f64, SIZE>, Square) {
    let mut sum = 0.0;
    let mut slope = SVector::<f64, SIZE>::zeros();
    let mut curvature = Square::zeros();
    for s in samples {
        let (y, j) = predict_with_slopes(t, s, surface);
        let (e, d, honest) = cost(s.y - y, s.sd, mix);
        sum += e;
        let sd = s.sd * mix.inflate;
        let w = honest / (sd * sd);
        for a in 0..SIZE {
            slope[a] += d * j[a];
            let wa = w * j[a];
            for b in 0..=a {
                curvature[(a, b)] += wa * j[b];
            }
        }
    }
    for k in 0..SIZE {
        for b in k + 1..SIZE {
            curvature[(k, b)] = curvature[(b, k)];
        }
    }
    for k in 0..SIZE {
        if on >> k & 1 == 1 {
            let (e, d, c) = priors.beliefs[k].energy(t[k]);
            sum += e;
            slope[k] -= d;
            curvature[(k, k)] += c;
        } else {
            // A parameter that is switched off stays where it is.
            slope[k] = 0.0;
            for b in 0..SIZE {
                curvature[(k, b)] = 0.0;
                curvature[(b, k)] = 0.0;
            }
            curvature[(k, k)] = 1.0;
        }
    }
    (sum, slope, curvature)
}

/// Share of soft and of odd tiles and the scatter of honest ones, under a fit.
#[must_use]
pub fn retune(fit: &Fit, evidence: &Evidence, surface: &Surface, mix: &Mix) -> Mix {
    let (mut soft, mut count, mut honest_sum, mut square) = (0.0, 0.0, 0.0, 0.0);
    for s in &evidence.samples {
        let residual = s.y - predict(&fit.theta, s, surface).y;
        let (_, _, honest) = cost(residual, s.sd, mix);
        count += 1.0;
        honest_sum += honest;
        square += honest * (residual / s.sd).powi(2);
        if residual > 0.0 {
            soft += 1.0 - honest;
        }
    }
    // A beta prior of a few tiles keeps the shares off 0 and 1.
    Mix {
        soft: ((soft + 1.5) / (count + 8.0)).clamp(0.03, 0.7),
        odd: mix.odd,
        inflate: ((square + 6.0) / (honest_sum + 6.0)).sqrt().clamp(1.0, 2.5),
    }
}
