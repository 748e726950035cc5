//! Robust one-sided fit of the frame model: content may add blur, so tiles far above the model cost little.

use nalgebra::{SMatrix, SVector};

use super::evidence::{Evidence, Sample};
use super::model::{HORIZON, Priors, Ready, SIZE, Theta};
use super::surface::Surface;

type Square = SMatrix<f64, SIZE, SIZE>;

/// Shares of tiles that show what they show for other reasons than optics.
#[derive(Clone, Copy, Debug)]
pub struct Mix {
    /// Softer than the optics, below the horizon: water, haze, grass that moved.
    pub soft: f64,
    /// The same at and above the horizon, below the sky: ridges in haze, smooth slopes.
    pub far: f64,
    /// The same in the sky: cloud.
    pub sky: f64,
    /// Off either way: a misread tile.
    pub odd: f64,
    /// Factor on the tiles' relative errors.
    pub inflate: f64,
    /// v of the sky's lower edge, where it is known.
    pub skyline: Option<f64>,
}

/// Excess of soft content over the optics, in ln of the width: about evenly spread up to here, then rarer.
/// Water and cloud are found from a little to four times as wide as what lies beside them.
const EXCESS: f64 = 1.3;
/// How fast it gets rarer there.
const EXCESS_EDGE: f64 = 0.25;
/// Spread of misread tiles, in ln of the width.
const ODD_SPREAD: f64 = 0.35;
/// Square root of a full turn: the norm of the normal law.
const NORM: f64 = 2.506_628_274_631_000_5;

/// Share of tiles that show something that stands up from the ground, nearer than the model has it there and so
/// perhaps sharper; by up to how much, in ln of the width, about evenly spread.
const OBJECTS: f64 = 0.008;
const SHARPER: f64 = 1.5;

/// Half the height, in v, over which ground passes into sky.
const SKYLINE: f64 = 0.02;
/// Least share of soft content at the horizon.
const FAR_SOFT: f64 = 0.15;

impl Mix {
    /// Share of soft content to reckon with at a height in the picture.
    #[inline]
    #[must_use]
    pub fn soft_at(&self, v: f64, horizon: f64) -> f64 {
        let above = |edge: f64| 1.0 / (1.0 + ((v - edge) / SKYLINE).exp());
        match self.skyline {
            Some(skyline) => {
                let far = self.soft + above(horizon + SKYLINE) * (self.far - self.soft);
                far + above(skyline.min(horizon)) * (self.sky - far)
            }
            // Hills stand above the horizon, so the sky begins a little over it.
            None => self.soft + above(horizon - 3.0 * SKYLINE) * (self.sky - self.soft),
        }
    }
}

/// Cost of one residual (ln measured less ln model), its slope, and the probability that the tile is honest.
#[inline]
#[must_use]
pub fn cost(residual: f64, sd: f64, mix: &Mix, share: f64) -> (f64, f64, f64) {
    let sd = sd * mix.inflate;
    let z = residual / sd;
    let honest = (1.0 - share - mix.odd - OBJECTS) * (-0.5 * z * z).exp() / (sd * NORM);
    // Logistic stand-ins for steps: soft content starts at the honest width and ends at the largest excess.
    let (rise, fall) = (1.0 / (1.0 + (-1.702 * z).exp()), 1.0 / (1.0 + ((residual - EXCESS) / EXCESS_EDGE).exp()));
    // The tail keeps a very wide tile possible.
    let soft = share / EXCESS * rise * (fall + 0.02);
    let y = residual / ODD_SPREAD;
    let odd = mix.odd * ((-0.5 * y * y).exp() + 1e-3) / (ODD_SPREAD * NORM);
    // Even between SHARPER and the honest width, with the same logistic edges.
    let (near, lowest) = (1.0 - rise, 1.0 / (1.0 + (-(residual + SHARPER) / EXCESS_EDGE).exp()));
    let object = OBJECTS / SHARPER * near * lowest;
    let object_slope = 1.702 * rise / sd - (1.0 - lowest) / EXCESS_EDGE;
    let whole = honest + soft + odd + object;
    let soft_slope = -1.702 * (1.0 - rise) / sd + fall * (1.0 - fall) / (EXCESS_EDGE * (fall + 0.02));
    (
        -whole.ln(),
        (honest * z / sd + soft * soft_slope + odd * y / ODD_SPREAD + object * object_slope) / whole,
        honest / whole,
    )
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
    let ready = Ready::new(t);
    let data: f64 = samples
        .iter()
        .map(|s| s.say * cost(s.y - ready.at(s, surface).y, s.sd, mix, mix.soft_at(s.v, t[HORIZON])).0)
        .sum();
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
        let (there, next_slope, next_curvature) = assemble(&next, on, samples, surface, priors, mix);
        if there < here {
            let gain = here - there;
            theta = next;
            damping = (damping * 0.2).max(1e-7);
            (here, slope, curvature) = (there, next_slope, next_curvature);
            if gain < 0.02 {
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
const LEAP: Theta = [3.0, 0.7, 0.2, 1.0, 2.0, 1.0, 0.2, 2.0, 1.0, 0.2, 2.0, 0.2];

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
    let ready = Ready::new(t);
    let free: Vec<usize> = (0..SIZE).filter(|&k| on >> k & 1 == 1).collect();
    for s in samples {
        let (y, j) = ready.slopes(s, surface);
        let (e, d, honest) = cost(s.y - y, s.sd, mix, mix.soft_at(s.v, t[HORIZON]));
        sum += s.say * e;
        let d = s.say * d;
        let sd = s.sd * mix.inflate;
        let w = s.say * honest / (sd * sd);
        for (i, &a) in free.iter().enumerate() {
            slope[a] += d * j[a];
            let wa = w * j[a];
            for &b in &free[..=i] {
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
            curvature[(k, k)] = 1.0;
        }
    }
    (sum, slope, curvature)
}

/// Shares of soft content and the scatter of honest tiles, under a fit.
#[must_use]
pub fn retune(fit: &Fit, evidence: &Evidence, surface: &Surface, mix: &Mix) -> Mix {
    let ready = Ready::new(&fit.theta);
    let horizon = fit.theta[HORIZON];
    let (mut soft, mut count) = ([0.0; 3], [0.0; 3]);
    let (mut honest_sum, mut square) = (0.0, 0.0);
    for s in &evidence.samples {
        let residual = s.y - ready.at(s, surface).y;
        let (_, _, honest) = cost(residual, s.sd, mix, mix.soft_at(s.v, horizon));
        honest_sum += honest;
        square += honest * (residual / s.sd).powi(2);
        let kind = match mix.skyline {
            Some(skyline) if s.v < skyline.min(horizon) => 2,
            Some(_) => usize::from(s.v < horizon + SKYLINE),
            None => 2 * usize::from(s.v < horizon - 3.0 * SKYLINE),
        };
        count[kind] += 1.0;
        if residual > 0.0 {
            soft[kind] += 1.0 - honest;
        }
    }
    // A beta prior of a few tiles keeps the shares off 0 and 1.
    let share = |k: usize, prior: f64| (soft[k] + 8.0 * prior) / (count[k] + 8.0);
    Mix {
        soft: share(0, 0.15).clamp(0.03, 0.6),
        far: share(1, 0.3).clamp(FAR_SOFT, 0.6),
        sky: share(2, 0.5).clamp(0.1, 0.8),
        inflate: ((square + 6.0) / (honest_sum + 6.0)).sqrt().clamp(1.0, 1.5),
        ..*mix
    }
}
