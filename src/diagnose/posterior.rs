//! Posterior of the frame model: modes from several starts, models weighed by their evidence, weighted draws.

use nalgebra::SVector;

use super::evidence::{Evidence, Sample};
use super::fit::{Fit, Mix, descend, energy, retune};
use super::model::{
    CENTRE, CORNER, CURVE, FAR, GROWTH, HORIZON, POWER, Priors, RISE, Ready, SCALE, SHAKE, SHIFT, SIZE, TILT, Theta,
};
use super::objects;
use super::surface::Surface;
use crate::stats::Dice;

const LENS: u32 = 1 << CENTRE | 1 << CORNER | 1 << POWER | 1 << SCALE;
const DEFOCUS: u32 = 1 << FAR | 1 << GROWTH | 1 << HORIZON;

/// Draws a mode.
const DRAWS: usize = 40;
/// Energy above the best mode's from which a mode is left out: it has less than a thousandth of the weight.
const NO_MATTER: f64 = 9.0;
/// The same before the shares of soft content are found, which move the energies by less than the difference.
const HOPELESS: f64 = 25.0;
/// Energy above a plain mode's from which an addition to it, roughly fitted, is not worth fitting well.
const UNPROMISING: f64 = 3.0;
/// Measured tiles beyond which the starts are tried on every second or third of them.
const PLENTY: usize = 100;

/// Prior odds of a tilted or decentred lens against a straight one.
const ODDS_ASKEW: f64 = 0.05;
/// Prior odds of a curved field against a flat one.
const ODDS_CURVED: f64 = 0.02;
/// What may be added to a plain model.
struct Addition {
    /// Its parameters, a bit each.
    on: u32,
    /// Prior odds against going without.
    odds: f64,
    /// Parameters that starts differ in, with their values.
    starts: &'static [(usize, f64)],
}

/// A lens is decentred in any direction, up and down as well as to a side.
const ADDITIONS: [Addition; 3] = [
    Addition { on: 1 << TILT, odds: ODDS_ASKEW, starts: &[(TILT, -1.5), (TILT, 1.5)] },
    Addition {
        on: 1 << SHIFT | 1 << RISE,
        odds: ODDS_ASKEW,
        starts: &[(SHIFT, -0.15), (SHIFT, 0.15), (RISE, -0.15), (RISE, 0.15)],
    },
    Addition { on: 1 << CURVE, odds: ODDS_CURVED, starts: &[(CURVE, -2.5), (CURVE, 2.5)] },
];

/// Prior odds of a scene all at one distance against ground that leads to it.
const ODDS_FLAT: f64 = 0.2;
/// Prior odds of no defocus at all.
const ODDS_FOCUSED: f64 = 0.2;

/// Parameter vectors with their weights.
type Weighted = Vec<(Theta, f64)>;

/// One draw from the posterior.
#[derive(Clone, Copy, Debug)]
pub struct Draw {
    /// Parameters.
    pub theta: Theta,
    /// Which mode it came from.
    pub mode: usize,
    /// Its share of the posterior; all of them add up to one.
    pub weight: f64,
}

impl Posterior {
    /// Whether a draw has all of the scene at one distance.
    #[must_use]
    pub fn flat(&self, draw: &Draw) -> bool {
        self.modes[draw.mode].on >> GROWTH & 1 == 0
    }
}

/// The posterior.
#[derive(Clone, Debug)]
pub struct Posterior {
    /// Modes, the most probable first.
    pub modes: Vec<Fit>,
    /// Share of each mode.
    pub shares: Vec<f64>,
    /// Weighted draws.
    pub draws: Vec<Draw>,
    /// A few of the draws, evenly chosen, for what is wanted at every tile.
    pub few: Vec<(Ready, f64)>,
    /// Shares of soft and odd content, and the tiles' scatter, at the best mode.
    pub mix: Mix,
}

/// How many draws are a few.
const FEW: usize = 24;
/// Weight below which a draw is left out.
const NEGLIGIBLE: f64 = 1e-5;

/// Explores the posterior of a frame.
#[must_use]
pub fn explore(e: &Evidence, surface: &Surface, priors: &Priors, shaken: bool) -> Posterior {
    let shake = if shaken { 1 << SHAKE } else { 0 };
    let mut mix = Mix { soft: 0.15, far: 0.3, sky: 0.5, odd: 0.02, inflate: 1.2, skyline: e.skyline };
    let mut found = search(e, surface, priors, shake, &mix);
    let best = |found: &[(Fit, f64)], mix: &Mix| -> Option<(Fit, f64)> {
        let height = |(fit, odds): &(Fit, f64)| fit.energy - odds.ln() - objects::refund(fit, e, surface, mix);
        let heights = found.iter().map(|f| (f, height(f)));
        heights.min_by(|a, b| a.1.total_cmp(&b.1)).map(|(f, _)| f.clone())
    };
    if let Some((best, _)) = best(&found, &mix) {
        mix = retune(&best, e, surface, &mix);
    }
    let floor = found.iter().map(|(f, _)| f.energy).fold(f64::INFINITY, f64::min);
    found.retain(|(f, _)| f.energy < floor + HOPELESS);
    for (fit, _) in &mut found {
        *fit = descend(fit.theta, fit.on, 12, &e.samples, surface, priors, &mix);
    }
    // The additions are tried from the best plain mode only: they refine, they don't re-explain.
    if let Some((best, odds)) = best(&found, &mix) {
        // A learned lens has its curvature in what is expected of it.
        let learned = 2 * e.samples.iter().filter(|s| s.learned.is_some()).count() > e.samples.len();
        let thinned = thinned(e);
        for addition in ADDITIONS.iter().filter(|a| !learned || a.on != 1 << CURVE) {
            let on = best.on | addition.on;
            let started = addition.starts.iter().map(|&(k, value)| {
                let mut from = best.theta;
                // A lens exactly in line has no slope to follow.
                from[SHIFT] = if on >> SHIFT & 1 == 1 { 0.02 } else { 0.0 };
                from[k] = value;
                (from, energy(&from, on, &e.samples, surface, priors, &mix))
            });
            let Some((from, _)) = started.min_by(|a, b| a.1.total_cmp(&b.1)) else { continue };
            let rough = descend(from, on, 6, &thinned, surface, priors, &mix);
            if energy(&rough.theta, on, &e.samples, surface, priors, &mix) < best.energy + UNPROMISING {
                found.push((descend(rough.theta, on, 10, &e.samples, surface, priors, &mix), odds * addition.odds));
            }
        }
    }
    if let Some(fit) = strongly_tilted(e, surface, priors, shake, &mix) {
        found.push((fit, ODDS_ASKEW));
    }
    for (fit, odds) in &mut found {
        *odds *= objects::refund(fit, e, surface, &mix).exp();
    }
    draw(found, e, surface, priors, mix)
}

/// Starts of the far disc, as a share of what the ground does from top to bottom, with a factor on that.
const FOCUSES: [(f64, f64); 3] = [(-0.2, 1.0), (-0.5, 1.0), (-1.3, 0.5)];

/// The tiles that starts are tried on, where there are plenty: steps that don't divide a row of the grid, so that every
/// column has its share.
fn thinned(e: &Evidence) -> Vec<Sample> {
    let stride = (e.samples.len() / PLENTY).clamp(1, 3);
    e.samples.iter().step_by(stride).copied().collect()
}

/// The deepest minimum among starts with a tilt as large as what the ground does from top to bottom: such a frame looks
/// like none of the plain models, so no refinement of one leads there.
fn strongly_tilted(e: &Evidence, surface: &Surface, priors: &Priors, shake: u32, mix: &Mix) -> Option<Fit> {
    let on = LENS | DEFOCUS | 1 << TILT | shake;
    let span = priors.beliefs[GROWTH].mean.exp() * (e.bottom - priors.beliefs[HORIZON].mean);
    let thinned = thinned(e);
    let mut best: Option<Fit> = None;
    for tilt in [-2.0, -0.7, 0.7, 2.0] {
        for (far, factor) in FOCUSES {
            let mut start: Theta = std::array::from_fn(|k| priors.beliefs[k].mean);
            (start[CENTRE], start[CORNER]) = (0.3, 0.6);
            start[GROWTH] += f64::ln(factor);
            start[FAR] = far * span * factor;
            start[TILT] = tilt * span * factor / e.right;
            let fit = descend(start, on, 5, &thinned, surface, priors, mix);
            if best.as_ref().is_none_or(|b| fit.energy < b.energy) {
                best = Some(fit);
            }
        }
    }
    best.map(|fit| descend(fit.theta, on, 15, &e.samples, surface, priors, mix))
}

/// The distinct minima of the plain models, the deepest first, each with its prior odds.
fn search(e: &Evidence, surface: &Surface, priors: &Priors, shake: u32, mix: &Mix) -> Vec<(Fit, f64)> {
    let mut base: Theta = std::array::from_fn(|k| priors.beliefs[k].mean);
    base[CENTRE] = 0.3;
    base[CORNER] = 0.6;
    for off in [TILT, SHIFT, RISE, CURVE] {
        base[off] = 0.0;
    }
    if shake == 0 {
        base[SHAKE] = 0.0;
    }
    let mut flat = base;
    flat[FAR] = 0.0;
    flat[GROWTH] = -12.0;
    flat[HORIZON] = 0.0;
    let run = |start: Theta, on: u32, steps: usize| descend(start, on | shake, steps, &e.samples, surface, priors, mix);

    let thinned = thinned(e);
    let try_out = |start: Theta, on: u32| descend(start, on | shake, 4, &thinned, surface, priors, mix);
    let mut rough = Vec::new();
    for horizon in [-0.8, -0.4, -0.22, -0.05, 0.12] {
        let growth = priors.beliefs[GROWTH].mean;
        let span = growth.exp() * (e.bottom - horizon);
        for (far, factor) in FOCUSES {
            let mut start = base;
            start[HORIZON] = horizon;
            start[GROWTH] = growth + f64::ln(factor);
            start[FAR] = far * span * factor;
            rough.push(try_out(start, LENS | DEFOCUS));
        }
    }
    rough.sort_by(|a, b| a.energy.total_cmp(&b.energy));
    let mut found: Vec<(Fit, f64)> = Vec::new();
    for fit in rough.iter().take(4) {
        let fit = run(fit.theta, LENS | DEFOCUS, 20);
        if found.iter().all(|(other, _)| apart(&fit.theta, &other.theta, e.bottom)) {
            found.push((fit, 1.0));
        }
    }
    let mut away = flat;
    away[FAR] = -3.0;
    found.push((run(flat, LENS, 20), ODDS_FOCUSED));
    found.push((run(away, LENS | 1 << FAR, 20), ODDS_FLAT));
    found.sort_by(|a, b| (a.0.energy - a.1.ln()).total_cmp(&(b.0.energy - b.1.ln())));
    found
}

/// Whether two modes tell different stories: discs at the far scene or at the bottom differ by half a pixel.
fn apart(a: &Theta, b: &Theta, bottom: f64) -> bool {
    let near = |t: &Theta| t[FAR] + t[GROWTH].exp() * (bottom - t[HORIZON]).max(0.0);
    (a[FAR] - b[FAR]).abs() > 0.5 || (near(a) - near(b)).abs() > 0.5 || (a[HORIZON] - b[HORIZON]).abs() > 0.15
}

/// Importance-weighted draws from every mode; the mean weight of a mode is its evidence.
fn draw(found: Vec<(Fit, f64)>, e: &Evidence, surface: &Surface, priors: &Priors, mix: Mix) -> Posterior {
    let mut normal = Dice::new(0x7455_5353_4f43_4b21);
    let mut weighed: Vec<(Fit, f64, Weighted)> = Vec::new();
    let height = |fit: &Fit, odds: f64| fit.energy - odds.ln().max(0.0);
    let floor = found.iter().map(|(f, odds)| height(f, *odds)).fold(f64::INFINITY, f64::min);
    for (fit, odds) in found {
        // A mode this much worse can't matter.
        if height(&fit, odds) > floor + NO_MATTER {
            continue;
        }
        let Some(factor) = fit.curvature.cholesky() else { continue };
        let lower = factor.l();
        let upper = lower.transpose();
        let free: Vec<usize> = (0..SIZE).filter(|&k| fit.on >> k & 1 == 1).collect();
        let log_determinant: f64 = free.iter().map(|&k| 2.0 * lower[(k, k)].ln()).sum();
        let volume = 0.5 * free.len() as f64 * std::f64::consts::TAU.ln() - 0.5 * log_determinant;
        let mut draws = Vec::with_capacity(DRAWS);
        for k in 0..DRAWS {
            let mut z = SVector::<f64, SIZE>::zeros();
            for &i in &free {
                z[i] = normal.normal();
            }
            // The first draw is the mode itself.
            let square = if k == 0 {
                z.fill(0.0);
                0.0
            } else {
                z.norm_squared()
            };
            let Some(step) = upper.solve_upper_triangular(&z) else { continue };
            let mut theta = fit.theta;
            for &i in &free {
                theta[i] += step[i];
            }
            let whole = energy(&theta, fit.on, &e.samples, surface, priors, &mix) + priors.recorded_energy(&theta);
            draws.push((theta, floor - whole + 0.5 * square + volume));
        }
        // A Gaussian's tails can be too light: one draw must not stand for all.
        let peak = draws.iter().map(|d| d.1).fold(f64::NEG_INFINITY, f64::max);
        let mean = draws.iter().map(|d| (d.1 - peak).exp()).sum::<f64>() / draws.len().max(1) as f64;
        let cap = mean * (DRAWS as f64).sqrt();
        let draws: Vec<(Theta, f64)> =
            draws.into_iter().map(|(t, w)| (t, odds * (w - peak).exp().min(cap) * peak.exp())).collect();
        let share = draws.iter().map(|d| d.1).sum::<f64>();
        // Few draws in many dimensions: at full weight two or three would stand for the mode and its spread would
        // be lost, so within a mode the roots of the weights share it out.
        let roots: f64 = draws.iter().map(|d| d.1.sqrt()).sum();
        let draws: Vec<(Theta, f64)> =
            draws.into_iter().map(|(t, w)| (t, if roots > 0.0 { share * w.sqrt() / roots } else { 0.0 })).collect();
        weighed.push((fit, share, draws));
    }
    weighed.sort_by(|a, b| b.1.total_cmp(&a.1));
    let total: f64 = weighed.iter().map(|w| w.1).sum::<f64>().max(f64::MIN_POSITIVE);
    let mut posterior = Posterior { modes: Vec::new(), shares: Vec::new(), draws: Vec::new(), few: Vec::new(), mix };
    for (mode, (fit, share, draws)) in weighed.into_iter().enumerate() {
        posterior.modes.push(fit);
        posterior.shares.push(share / total);
        let kept = draws.into_iter().map(|(theta, w)| Draw { theta, mode, weight: w / total });
        posterior.draws.extend(kept.filter(|d| d.weight > NEGLIGIBLE));
    }
    posterior.few = few(&posterior.draws);
    posterior
}

/// Draws at even steps of the summed weight: each stands for the same share.
fn few(draws: &[Draw]) -> Vec<(Ready, f64)> {
    let total: f64 = draws.iter().map(|d| d.weight).sum();
    let (mut sum, mut next, mut chosen) = (0.0, 0.5, Vec::with_capacity(FEW));
    for draw in draws {
        sum += draw.weight / total * FEW as f64;
        let mut times = 0.0;
        while sum > next && chosen.len() < FEW {
            times += 1.0;
            next += 1.0;
        }
        if times > 0.0 {
            chosen.push((Ready::new(&draw.theta), times / FEW as f64));
        }
    }
    chosen
}

/// Disc at the sides, px, from which a side-to-side gradient is strong enough to ask whether the picture lies on
/// its side, and the gain in ln evidence that answers yes.
const STRONG_TILT: f64 = 3.0;
const TURNED_GAIN: f64 = 6.0;

/// Whether a strong side-to-side gradient is better explained by a picture turned on its side.
#[must_use]
pub fn turned(posterior: &Posterior, e: &Evidence, surface: &Surface, priors: &Priors) -> bool {
    let Some(best) = posterior.modes.first() else { return false };
    if (best.theta[TILT] * e.right).abs() < STRONG_TILT && best.theta[SHIFT].abs() < 0.2 {
        return false;
    }
    let deepest = [false, true].map(|clockwise| {
        let e = e.turned(clockwise);
        let found = search(&e, surface, priors, best.on & 1 << SHAKE, &posterior.mix);
        found.first().map_or(f64::INFINITY, |(fit, _)| fit.energy)
    });
    // The tilt's own price: the turned picture needs none.
    best.energy - ODDS_ASKEW.ln() - deepest[0].min(deepest[1]) > TURNED_GAIN
}

/// How much better a curved field explains the corners than softness of the lens does, in ln of the evidence;
/// both have the same number of free parameters but one, which the lens's law of growth takes.
#[must_use]
pub fn curvature_gain(posterior: &Posterior, e: &Evidence, surface: &Surface, priors: &Priors) -> Option<f64> {
    let best = posterior.modes.first()?;
    let on = (best.on & !(1 << CORNER | 1 << POWER | 1 << SHIFT | 1 << RISE)) | 1 << CURVE;
    [-3.0, 3.0]
        .iter()
        .map(|&side| {
            let mut from = best.theta;
            from[CURVE] = side;
            from[CORNER] = 0.0;
            from[SHIFT] = 0.0;
            from[RISE] = 0.0;
            best.energy - descend(from, on, 15, &e.samples, surface, priors, &posterior.mix).energy
        })
        .max_by(f64::total_cmp)
}
