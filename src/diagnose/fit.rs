//! Robust one-sided fit of the frame model: content may add blur, so tiles far above the model cost little.

use std::sync::Arc;

use multiversion::multiversion;
use nalgebra::{SMatrix, SVector};

use super::eight::{EIGHT, Lane, Tiles};
use super::evidence::{Evidence, Sample};
use super::model::{Place, Ready};
use super::parameters::Parameter::Horizon;
use super::parameters::{Free, Parameter, SIZE, TABLE, Theta};
use super::priors::Priors;
use super::surface::Surface;
use crate::quantity::{Estimate, Intent};
use crate::shot::Capture;
use crate::stats::{Pace, descend, exp, ln};

type Square = SMatrix<f64, SIZE, SIZE>;

/// Shares of tiles that show what they show for other reasons than optics.
#[derive(Clone, Copy, Debug)]
pub(super) struct Mix {
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

/// Shares of a frame's tiles before a fit. Chosen: a guess, which the first fit replaces by the frame's own shares.
const USUAL: Mix = Mix { soft: 0.15, far: 0.3, sky: 0.5, odd: 0.02, inflate: 1.2, skyline: None };
/// How many tiles the shares before a fit count for, which keeps those after it off 0 and 1. Chosen: a row or so of
/// tiles outweighs that many.
const WEIGHT: f64 = 8.0;

/// Excess of soft content over the optics, in ln of the width, up to which it is about evenly spread; beyond, it is
/// rarer. Chosen: water and cloud are found from a little to four times as wide as what lies beside them.
const EXCESS: f64 = 1.3;
/// How fast larger excesses get rarer, in ln of the width. Chosen: a fifth of the even range, wide enough for a slope to follow.
const EXCESS_EDGE: f64 = 0.25;
/// Spread of misread tiles, in ln of the width. Chosen: a misread tile reads from half of its width to double.
const ODD_SPREAD: f64 = 0.35;
/// Square root of a full turn (2 pi): what normalises the normal distribution. Derived: a mathematical constant.
const NORM: f64 = 2.506_628_274_631_000_5;

/// Share of tiles that show something that stands up from the ground, nearer than the model has it there and so perhaps
/// sharper; by up to how much, in ln of the width, about evenly spread. Chosen: two tiles of 250 before things that
/// touch are looked for; sharper by up to four times.
const OBJECTS: f64 = 0.008;
const SHARPER: f64 = 1.5;

/// Half the height, in v, over which ground passes into sky. Chosen: a third of a row of tiles.
const SKYLINE: f64 = 0.02;
/// Least share of soft content at the horizon. Chosen: haze and smooth slopes are never rare there; the share is the
/// foreground's before a fit.
const FAR_SOFT: f64 = 0.15;

impl Mix {
    /// Share of soft content to reckon with at a height in the picture.
    #[inline(always)]
    pub(super) fn soft_at(&self, v: f64, horizon: f64) -> f64 {
        let above = |edge: f64| 1.0 / (1.0 + exp((v - edge) / SKYLINE));
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
#[inline(always)]
pub(super) fn cost(residual: f64, sd: f64, mix: &Mix, share: f64) -> (f64, f64, f64) {
    let sd = sd * mix.inflate;
    let z = residual / sd;
    let honest = (1.0 - share - mix.odd - OBJECTS) * exp(-0.5 * z * z) / (sd * NORM);
    // Logistic stand-ins for steps: soft content starts at the honest width and ends at the largest excess.
    let (rise, above) = (1.0 / (1.0 + exp(-1.702 * z)), exp((residual - EXCESS) / EXCESS_EDGE));
    let fall = 1.0 / (1.0 + above);
    // The tail keeps a very wide tile possible.
    let soft = share / EXCESS * rise * (fall + 0.02);
    let y = residual / ODD_SPREAD;
    let odd = mix.odd * (exp(-0.5 * y * y) + 1e-3) / (ODD_SPREAD * NORM);
    // Even between SHARPER and the honest width, with the same logistic edges.
    let (near, lowest) = (1.0 - rise, above / (above + exp(-(EXCESS + SHARPER) / EXCESS_EDGE)));
    let object = OBJECTS / SHARPER * near * lowest;
    let object_slope = 1.702 * rise / sd - (1.0 - lowest) / EXCESS_EDGE;
    let whole = honest + soft + odd + object;
    let soft_slope = -1.702 * (1.0 - rise) / sd + fall * (1.0 - fall) / (EXCESS_EDGE * (fall + 0.02));
    (
        -ln(whole),
        (honest * z / sd + soft * soft_slope + odd * y / ODD_SPREAD + object * object_slope) / whole,
        honest / whole,
    )
}

/// What tiles of one height cost in all, given as residuals with their standard deviations, when all are moved down by each of
/// these.
#[multiversion(targets("x86_64+avx2"))]
pub(super) fn costs_moved(residuals: &[(f64, f64)], downs: &[f64], mix: &Mix, share: f64) -> Vec<f64> {
    let mut sums = vec![0.0; downs.len()];
    for &(residual, sd) in residuals {
        for (sum, down) in sums.iter_mut().zip(downs) {
            *sum += cost(residual - down, sd, mix, share).0;
        }
    }
    sums
}

/// What tiles cost in all.
#[multiversion(targets("x86_64+avx2"))]
fn energy(tiles: &[Tiles], ready: &Ready, surface: &Surface, mix: &Mix) -> f64 {
    let horizon = ready.theta()[Horizon];
    let mut sum = Lane::default();
    for s in tiles {
        let y = ready.widths(s, surface);
        for k in 0..EIGHT {
            sum[k] += s.say[k] * cost(s.y[k] - y[k], s.sd[k], mix, mix.soft_at(s.v[k], horizon)).0;
        }
    }
    sum.iter().sum()
}

/// ln of the widths that would be measured at tiles.
#[multiversion(targets("x86_64+avx2"))]
fn widths(tiles: &[Tiles], ready: &Ready, surface: &Surface) -> Vec<f64> {
    let mut widths = Vec::with_capacity(EIGHT * tiles.len());
    for s in tiles {
        widths.extend_from_slice(&ready.widths(s, surface));
    }
    widths
}

/// Energy, downhill slope and the lower triangle of the Gauss-Newton curvature of every eighth tile.
struct Sums {
    energy: Lane,
    slope: [Lane; SIZE],
    curvature: [[Lane; SIZE]; SIZE],
}

/// Sums over tiles, along the parameters at these places.
#[multiversion(targets("x86_64+avx2"))]
fn sums(tiles: &[Tiles], ready: &Ready, surface: &Surface, mix: &Mix, places: &[usize]) -> Sums {
    let horizon = ready.theta()[Horizon];
    let nought = Lane::default();
    let mut sums = Sums { energy: nought, slope: [nought; SIZE], curvature: [[nought; SIZE]; SIZE] };
    for s in tiles {
        let (y, j) = ready.slopes(s, surface);
        let (mut down, mut weight) = (nought, nought);
        for k in 0..EIGHT {
            let (e, d, honest) = cost(s.y[k] - y[k], s.sd[k], mix, mix.soft_at(s.v[k], horizon));
            let sd = s.sd[k] * mix.inflate;
            sums.energy[k] += s.say[k] * e;
            (down[k], weight[k]) = (s.say[k] * d, s.say[k] * honest / (sd * sd));
        }
        for (i, &a) in places.iter().enumerate() {
            let mut weighed = nought;
            for k in 0..EIGHT {
                sums.slope[a][k] += down[k] * j[a][k];
                weighed[k] = weight[k] * j[a][k];
            }
            for &b in &places[..=i] {
                for k in 0..EIGHT {
                    sums.curvature[a][b][k] += weighed[k] * j[b][k];
                }
            }
        }
    }
    sums
}

/// A fitted mode.
#[derive(Clone, Debug)]
pub(super) struct Fit {
    /// Parameters at the minimum.
    pub theta: Theta,
    /// Which parameters were free.
    pub free: Free,
    /// Energy (minus ln of posterior density) there.
    pub energy: f64,
    /// Curvature there.
    pub curvature: Square,
}

/// One frame to be explained: its tiles, the widths that its optics give, what is believed beforehand, and the shares of the
/// tiles that show other things.
#[derive(Clone, Debug)]
pub(super) struct Problem {
    /// The measured tiles, with the frame's scales.
    pub evidence: Evidence,
    /// The same tiles, eight at a time.
    tiles: Vec<Tiles>,
    /// Widths at the frame's diffraction.
    pub surface: Arc<Surface>,
    /// What is believed before the tiles are looked at.
    pub priors: Priors,
    /// What else the tiles may show.
    pub mix: Mix,
}

impl Problem {
    /// A frame before any fit. `shake`: length of a streak that the widths hold.
    pub(super) fn new(
        evidence: Evidence,
        surface: Arc<Surface>,
        capture: &Capture,
        intent: &Intent,
        shake: Option<Estimate>,
    ) -> Self {
        let mix = Mix { skyline: evidence.skyline, ..USUAL };
        let priors = Priors::new(&evidence, capture, intent, shake);
        Self { tiles: Tiles::of(&evidence.samples), evidence, surface, priors, mix }
    }

    /// The same frame with other evidence.
    pub(super) fn with(&self, evidence: Evidence) -> Self {
        let (surface, priors) = (Arc::clone(&self.surface), self.priors.clone());
        Self { tiles: Tiles::of(&evidence.samples), evidence, surface, priors, mix: self.mix }
    }

    /// The same frame told by every second or third of its tiles, where there are more than `plenty`: by steps that don't
    /// divide a row of the grid, so that every column has its share.
    pub(super) fn thinned(&self, plenty: usize) -> Self {
        let stride = (self.evidence.samples.len() / plenty).clamp(1, 3);
        let samples = self.evidence.samples.iter().step_by(stride).copied().collect();
        self.with(Evidence { samples, ..self.evidence.clone() })
    }

    /// The forward model at one place.
    pub(super) fn predict(&self, t: &Theta, s: &Sample) -> Place {
        Ready::new(t).at(s, &self.surface)
    }

    /// ln of the widths that the model has at the tiles.
    pub(super) fn widths(&self, ready: &Ready) -> Vec<f64> {
        let mut widths = widths(&self.tiles, ready, &self.surface);
        widths.truncate(self.evidence.samples.len());
        widths
    }

    /// ln of what a tile measured less what the model has there, and the probability that the tile is honest.
    pub(super) fn residual(&self, ready: &Ready, s: &Sample) -> (f64, f64) {
        let residual = s.y - ready.at(s, &self.surface).y;
        (residual, cost(residual, s.sd, &self.mix, self.mix.soft_at(s.v, ready.theta()[Horizon])).2)
    }

    /// Energy of a parameter vector: data and separate priors.
    pub(super) fn energy(&self, t: &Theta, free: Free) -> f64 {
        energy(&self.tiles, &Ready::new(t), &self.surface, &self.mix) + self.priors.energy(t, free)
    }

    /// Goes downhill from a start by damped Gauss-Newton steps.
    pub(super) fn descend(&self, start: Theta, free: Free, steps: usize) -> Fit {
        let step = |theta: &Theta, (slope, curvature): &(SVector<f64, SIZE>, Square), damping: f64| {
            let mut damped = *curvature;
            for k in 0..SIZE {
                damped[(k, k)] += damping * curvature[(k, k)].max(1e-9);
            }
            let step = damped.cholesky()?.solve(slope);
            let mut next = *theta;
            for (k, row) in TABLE.iter().enumerate() {
                next.0[k] += step[k].clamp(-row.step, row.step);
            }
            Some(next)
        };
        let pace = Pace { steps, eased: 0.2, enough: 0.02 };
        let (theta, energy, (_, curvature)) = descend(start, pace, |t| self.assemble(t, free), step);
        Fit { theta, free, energy, curvature }
    }

    /// Energy, downhill slope and Gauss-Newton curvature.
    fn assemble(&self, t: &Theta, free: Free) -> (f64, (SVector<f64, SIZE>, Square)) {
        let places: Vec<usize> = free.iter().map(|p| p as usize).collect();
        let sums = sums(&self.tiles, &Ready::new(t), &self.surface, &self.mix, &places);
        let whole = |lane: &Lane| lane.iter().sum::<f64>();
        let mut sum = whole(&sums.energy);
        let mut slope = SVector::<f64, SIZE>::from_fn(|a, _| whole(&sums.slope[a]));
        let mut curvature = Square::from_fn(|a, b| whole(&sums.curvature[a][b]));
        curvature.fill_upper_triangle_with_lower_triangle();
        for p in Parameter::ALL {
            let k = p as usize;
            if free.has(p) {
                let (e, d, c) = self.priors.of(p).energy(t[p]);
                sum += e;
                slope[k] -= d;
                curvature[(k, k)] += c;
            } else {
                // A parameter that is switched off stays where it is.
                curvature[(k, k)] = 1.0;
            }
        }
        (sum, (slope, curvature))
    }

    /// Sets the shares of soft content and the scatter of honest tiles by a fit.
    pub(super) fn retune(&mut self, fit: &Fit) {
        let ready = Ready::new(&fit.theta);
        let (mix, horizon) = (&self.mix, fit.theta[Horizon]);
        let (mut soft, mut count) = ([0.0; 3], [0.0; 3]);
        let (mut honest_sum, mut square) = (0.0, 0.0);
        for s in &self.evidence.samples {
            let (residual, honest) = self.residual(&ready, s);
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
        let share = |k: usize, prior: f64| (soft[k] + WEIGHT * prior) / (count[k] + WEIGHT);
        self.mix = Mix {
            soft: share(0, USUAL.soft).clamp(0.03, 0.6),
            far: share(1, USUAL.far).clamp(FAR_SOFT, 0.6),
            sky: share(2, USUAL.sky).clamp(0.1, 0.8),
            inflate: ((square + 6.0) / (honest_sum + 6.0)).sqrt().clamp(1.0, 1.5),
            ..*mix
        };
    }
}
