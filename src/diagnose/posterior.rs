//! Posterior of the frame model: modes from several starts, models weighed by their evidence, weighted draws.

use nalgebra::SVector;

use super::fit::{Fit, Problem};
use super::model::Ready;
use super::objects;
use super::parameters::Parameter::{
    Centre, Corner, Curve, Far, Growth, Horizon, Power, Rise, Scale, Shake, Shift, Tilt,
};
use super::parameters::{Free, Parameter, SIZE, Theta};
use crate::stats::{Dice, ranked};

const LENS: Free = Free::of(&[Centre, Corner, Power, Scale]);
const DEFOCUS: Free = Free::of(&[Far, Growth, Horizon]);
const TILTED: Free = Free::of(&[Tilt]);
const DECENTRED: Free = Free::of(&[Shift, Rise]);
const CURVED: Free = Free::of(&[Curve]);
const SHAKEN: Free = Free::of(&[Shake]);

/// Number of draws from a mode. Chosen: as many as time allows; within a mode roots of the weights share out what few draws hold.
const DRAWS: usize = 40;
/// Energy above the best mode's from which a mode is left out. Derived: such a mode has less than a thousandth of the weight.
const NO_MATTER: f64 = 9.0;
/// The same before the shares of soft content are found. Chosen: the shares move the energies by less than the two
/// limits differ.
const HOPELESS: f64 = 25.0;
/// Energy above a plain mode's from which an addition to it, roughly fitted, is not worth fitting well. Chosen: what a
/// good fit may still gain on a rough one.
const UNPROMISING: f64 = 3.0;
/// Number of measured tiles beyond which the starts are tried on every second or third of them. Chosen: fewer than
/// these would leave a row or a column without a say.
const PLENTY: usize = 100;

/// Prior odds of a tilted or decentred lens against a straight one. Chosen: one lens in twenty, no published share
/// being known.
const ODDS_ASKEW: f64 = 0.05;
/// Prior odds of a curved field against a flat one. Chosen: one in fifty; corners are mostly soft and not out of focus.
const ODDS_CURVED: f64 = 0.02;
/// What may be added to a plain model.
struct Addition {
    /// Its parameters.
    free: Free,
    /// Prior odds against going without.
    odds: f64,
    /// Parameters that starts differ in, with their values.
    starts: &'static [(Parameter, f64)],
}

/// A lens is decentred in any direction, up and down as well as to a side.
fn additions() -> [Addition; 3] {
    [
        Addition { free: TILTED, odds: ODDS_ASKEW, starts: &[(Tilt, -1.5), (Tilt, 1.5)] },
        Addition {
            free: DECENTRED,
            odds: ODDS_ASKEW,
            starts: &[(Shift, -0.15), (Shift, 0.15), (Rise, -0.15), (Rise, 0.15)],
        },
        Addition { free: CURVED, odds: ODDS_CURVED, starts: &[(Curve, -2.5), (Curve, 2.5)] },
    ]
}

/// Prior odds of a scene all at one distance against ground that leads to a far one. Chosen: one landscape in five is a
/// distant view or a wall.
const ODDS_FLAT: f64 = 0.2;
/// Prior odds of no defocus at all. Chosen: one in five.
const ODDS_FOCUSED: f64 = 0.2;

/// Parameter vectors with their weights.
type Weighted = Vec<(Theta, f64)>;

/// One draw from the posterior.
#[derive(Clone, Copy, Debug)]
pub(super) struct Draw {
    /// Parameters.
    pub theta: Theta,
    /// Which mode it came from.
    pub mode: usize,
    /// Its share of the posterior; all of them add up to one.
    pub weight: f64,
}

impl Posterior {
    /// Whether a draw has all of the scene at one distance.
    pub(super) fn flat(&self, draw: &Draw) -> bool {
        !self.modes[draw.mode].free.has(Growth)
    }
}

/// The posterior.
#[derive(Clone, Debug)]
pub(super) struct Posterior {
    /// Modes, the most probable first.
    pub modes: Vec<Fit>,
    /// Share of each mode.
    pub shares: Vec<f64>,
    /// Weighted draws.
    pub draws: Vec<Draw>,
    /// A few of the draws, evenly chosen, for what is wanted at every tile.
    pub few: Vec<(Ready, f64)>,
}

/// Number of evenly chosen draws that stand for all. Derived: a mean over as many is within a fifth of the spread of all draws.
const FEW: usize = 24;
/// Weight below which a draw is left out. Chosen: all draws left out together have less than a hundredth.
const NEGLIGIBLE: f64 = 1e-5;

/// Explores the posterior of a frame; the problem's shares of soft and odd content become those at the best mode. `shaken`:
/// whether a measured streak leaves its mark on the widths.
pub(super) fn explore(problem: &mut Problem, shaken: bool) -> Posterior {
    let shake = if shaken { SHAKEN } else { Free::default() };
    let mut found = search(problem, shake);
    if let Some((best, _)) = best(&found, problem) {
        problem.retune(&best);
    }
    let heights: Vec<f64> = found.iter().map(|(f, _)| f.energy - objects::refund(f, problem)).collect();
    let floor = heights.iter().copied().fold(f64::INFINITY, f64::min);
    let mut hopeful = heights.into_iter().map(|h| h < floor + HOPELESS);
    found.retain(|_| hopeful.next().unwrap_or(false));
    for (fit, _) in &mut found {
        *fit = problem.descend(fit.theta, fit.free, 12);
    }
    let thinned = problem.thinned(PLENTY);
    // The additions are tried from the best plain mode only: they refine, they don't re-explain.
    if let Some((best, odds)) = best(&found, problem) {
        // A learned lens has its curvature in what is expected of it.
        let learned = problem.evidence.learned();
        for addition in additions().iter().filter(|a| !learned || a.free != CURVED) {
            if let Some(fit) = added(problem, &thinned, &best, addition) {
                found.push((fit, odds * addition.odds));
            }
        }
    }
    if let Some(fit) = strongly_tilted(problem, &thinned, shake) {
        found.push((fit, ODDS_ASKEW));
    }
    for (fit, odds) in &mut found {
        *odds *= objects::refund(fit, problem).exp();
    }
    draw(found, problem)
}

/// The most probable of some modes.
fn best(found: &[(Fit, f64)], problem: &Problem) -> Option<(Fit, f64)> {
    ranked_modes(found.to_vec(), problem).into_iter().next()
}

/// Modes with their odds, the most probable first, things counted as things.
fn ranked_modes(found: Vec<(Fit, f64)>, problem: &Problem) -> Vec<(Fit, f64)> {
    let height = |(fit, odds): &(Fit, f64)| fit.energy - odds.ln() - objects::refund(fit, problem);
    let mut heights: Vec<(f64, (Fit, f64))> = found.into_iter().map(|f| (height(&f), f)).collect();
    heights.sort_by(|a, b| a.0.total_cmp(&b.0));
    heights.into_iter().map(|(_, f)| f).collect()
}

/// A plain mode with something added, fitted well if a rough fit promises anything.
fn added(problem: &Problem, thinned: &Problem, plain: &Fit, addition: &Addition) -> Option<Fit> {
    let free = plain.free.and(addition.free);
    let started = addition.starts.iter().map(|&(p, value)| {
        let mut from = plain.theta;
        // A lens exactly in line has no slope to follow.
        from[Shift] = if free.has(Shift) { 0.02 } else { 0.0 };
        from[p] = value;
        (from, problem.energy(&from, free))
    });
    let (from, _) = started.min_by(|a, b| a.1.total_cmp(&b.1))?;
    let rough = thinned.descend(from, free, 6);
    let promising = problem.energy(&rough.theta, free) < plain.energy + UNPROMISING;
    promising.then(|| problem.descend(rough.theta, free, 10))
}

/// Starts of the far disc, as a share of what the ground's disc grows by from top to bottom, with a factor on
/// that. Chosen: focus far off, in the middle of the ground and before the picture's lower edge.
const FOCUSES: [(f64, f64); 3] = [(-0.2, 1.0), (-0.5, 1.0), (-1.3, 0.5)];

/// The deepest minimum among starts with a tilt as large as what the ground does from top to bottom: such a frame looks
/// like none of the plain models, so no refinement of one leads there.
fn strongly_tilted(problem: &Problem, thinned: &Problem, shake: Free) -> Option<Fit> {
    let free = LENS.and(DEFOCUS).and(TILTED).and(shake);
    let (e, priors) = (&problem.evidence, &problem.priors);
    let span = priors.of(Growth).mean.exp() * (e.bottom - priors.of(Horizon).mean);
    let mut best: Option<Fit> = None;
    for tilt in [-2.0, -0.7, 0.7, 2.0] {
        for (far, factor) in FOCUSES {
            let mut start = priors.start();
            start[Growth] += f64::ln(factor);
            start[Far] = far * span * factor;
            start[Tilt] = tilt * span * factor / e.right;
            let fit = thinned.descend(start, free, 5);
            if best.as_ref().is_none_or(|b| fit.energy < b.energy) {
                best = Some(fit);
            }
        }
    }
    best.map(|fit| problem.descend(fit.theta, free, 15))
}

/// Number of starts, of fifteen, that are followed to the end. Chosen: as many as time allows; of four, three have
/// ended in one minimum and the best was the fifth.
const PROMISING: usize = 6;

/// The distinct minima of the plain models, the deepest first, each with its prior odds.
fn search(problem: &Problem, shake: Free) -> Vec<(Fit, f64)> {
    let base = problem.priors.start();
    let (plain, bottom) = (LENS.and(DEFOCUS).and(shake), problem.evidence.bottom);
    let thinned = problem.thinned(PLENTY);
    let mut rough = Vec::new();
    for horizon in [-0.8, -0.4, -0.22, -0.05, 0.12] {
        let span = base[Growth].exp() * (bottom - horizon);
        for (far, factor) in FOCUSES {
            let mut start = base;
            start[Horizon] = horizon;
            start[Growth] = base[Growth] + f64::ln(factor);
            start[Far] = far * span * factor;
            let fit = thinned.descend(start, plain, 4);
            // Tiles of a thing touch each other only where none is left out.
            rough.push((Fit { energy: problem.energy(&fit.theta, plain), ..fit }, 1.0));
        }
    }
    let mut found: Vec<(Fit, f64)> = Vec::new();
    for (fit, _) in ranked_modes(rough, problem).iter().take(PROMISING) {
        let fit = problem.descend(fit.theta, plain, 20);
        if found.iter().all(|(other, _)| apart(&fit.theta, &other.theta, bottom)) {
            found.push((fit, 1.0));
        }
    }
    let mut flat = base;
    (flat[Far], flat[Growth], flat[Horizon]) = (0.0, -12.0, 0.0);
    found.push((problem.descend(flat, LENS.and(shake), 20), ODDS_FOCUSED));
    flat[Far] = -behind(problem);
    found.push((problem.descend(flat, LENS.and(Free::of(&[Far])).and(shake), 20), ODDS_FLAT));
    ranked_modes(found, problem)
}

/// Least disc, px, from which a scene all at one distance and out of focus is looked for. Chosen: within reach of the
/// discs of a soft landscape.
const BEHIND: f64 = 3.0;
/// Share of the tiles that may be narrower than that disc makes them. Chosen: a quarter may show what stands before the scene.
const BEFORE: f64 = 0.25;

/// Disc, px, from which a scene all at one distance and out of focus is looked for: a descent that starts far from a background out of
/// focus by tens of pixels ends in lenses that no camera has.
fn behind(problem: &Problem) -> f64 {
    let widths = problem.evidence.samples.iter().map(|s| s.y).collect();
    ranked(widths, BEFORE).map_or(BEHIND, |y| problem.surface.disc_for(y.exp(), 0.0).max(BEHIND))
}

/// Whether two modes tell different stories: discs at the far scene or at the bottom differ by half a pixel.
fn apart(a: &Theta, b: &Theta, bottom: f64) -> bool {
    let near = |t: &Theta| t[Far] + t[Growth].exp() * (bottom - t[Horizon]).max(0.0);
    (a[Far] - b[Far]).abs() > 0.5 || (near(a) - near(b)).abs() > 0.5 || (a[Horizon] - b[Horizon]).abs() > 0.15
}

/// Importance-weighted draws from every mode; the mean weight of a mode is its evidence.
fn draw(found: Vec<(Fit, f64)>, problem: &Problem) -> Posterior {
    let mut normal = Dice::new(0x7455_5353_4f43_4b21);
    let height = |fit: &Fit, odds: f64| fit.energy - odds.ln().max(0.0);
    let floor = found.iter().map(|(f, odds)| height(f, *odds)).fold(f64::INFINITY, f64::min);
    let mut weighed: Vec<(Fit, f64, Weighted)> = Vec::new();
    for (fit, odds) in found {
        // A mode this much worse can't matter.
        if height(&fit, odds) > floor + NO_MATTER {
            continue;
        }
        let Some(draws) = draws_of(&fit, problem, floor, &mut normal) else { continue };
        let draws = share_out(draws, odds);
        weighed.push((fit, draws.0, draws.1));
    }
    weighed.sort_by(|a, b| b.1.total_cmp(&a.1));
    let total: f64 = weighed.iter().map(|w| w.1).sum::<f64>().max(f64::MIN_POSITIVE);
    let mut posterior = Posterior { modes: Vec::new(), shares: Vec::new(), draws: Vec::new(), few: Vec::new() };
    for (mode, (fit, share, draws)) in weighed.into_iter().enumerate() {
        posterior.modes.push(fit);
        posterior.shares.push(share / total);
        let kept = draws.into_iter().map(|(theta, w)| Draw { theta, mode, weight: w / total });
        posterior.draws.extend(kept.filter(|d| d.weight > NEGLIGIBLE));
    }
    posterior.few = few(&posterior.draws);
    posterior
}

/// Draws of the normal law that a mode's curvature gives, each with ln of its weight above `floor`; `None` where the
/// curvature has no root.
fn draws_of(fit: &Fit, problem: &Problem, floor: f64, normal: &mut Dice) -> Option<Weighted> {
    let lower = fit.curvature.cholesky()?.l();
    let upper = lower.transpose();
    let free: Vec<usize> = fit.free.iter().map(|p| p as usize).collect();
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
            theta.0[i] += step[i];
        }
        let whole = problem.energy(&theta, fit.free) + problem.priors.recorded_energy(&theta);
        draws.push((theta, floor - whole + 0.5 * square + volume));
    }
    Some(draws)
}

/// Shares out a mode's weight among its draws; with the weight of all.
fn share_out(draws: Weighted, odds: f64) -> (f64, Weighted) {
    // A Gaussian's tails can be too light: one draw must not stand for all.
    let peak = draws.iter().map(|d| d.1).fold(f64::NEG_INFINITY, f64::max);
    let mean = draws.iter().map(|d| (d.1 - peak).exp()).sum::<f64>() / draws.len().max(1) as f64;
    let cap = mean * (DRAWS as f64).sqrt();
    let draws: Weighted = draws.into_iter().map(|(t, w)| (t, odds * (w - peak).exp().min(cap) * peak.exp())).collect();
    let share = draws.iter().map(|d| d.1).sum::<f64>();
    // Few draws in many dimensions: at full weight two or three would stand for the mode and its spread would
    // be lost, so within a mode the roots of the weights share it out.
    let roots: f64 = draws.iter().map(|d| d.1.sqrt()).sum();
    let rooted = |w: f64| if roots > 0.0 { share * w.sqrt() / roots } else { 0.0 };
    (share, draws.into_iter().map(|(t, w)| (t, rooted(w))).collect())
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

/// Disc at the sides, px, from which a side-to-side gradient is strong enough to ask whether the picture lies on its
/// side, and the gain in ln evidence that answers yes. Chosen: half of what a tilt is believed to come to; odds of four
/// hundred to one.
const STRONG_TILT: f64 = 3.0;
const TURNED_GAIN: f64 = 6.0;
/// How far off the middle, in half diagonals, the centre of the lens's field must lie for the same question. Chosen: a
/// fifth of the half diagonal, well beyond what assembly leaves.
const OFF_MIDDLE: f64 = 0.2;

/// Whether a strong side-to-side gradient is better explained by a picture turned on its side.
pub(super) fn turned(posterior: &Posterior, problem: &Problem) -> bool {
    let Some(best) = posterior.modes.first() else { return false };
    if (best.theta[Tilt] * problem.evidence.right).abs() < STRONG_TILT && best.theta[Shift].abs() < OFF_MIDDLE {
        return false;
    }
    let deepest = [false, true].map(|clockwise| {
        let turned = problem.with(problem.evidence.turned(clockwise));
        let found = search(&turned, best.free.among(SHAKEN));
        found.first().map_or(f64::INFINITY, |(fit, _)| fit.energy)
    });
    // The tilt's own price: the turned picture needs none.
    best.energy - ODDS_ASKEW.ln() - deepest[0].min(deepest[1]) > TURNED_GAIN
}

/// How much better a curved field explains the corners than softness of the lens does, in ln of the evidence;
/// both have the same number of free parameters but one, which the lens's law of growth takes.
pub(super) fn curvature_gain(posterior: &Posterior, problem: &Problem) -> Option<f64> {
    let best = posterior.modes.first()?;
    let straight = best.free.without(DECENTRED);
    let free = straight.without(Free::of(&[Corner, Power])).and(CURVED);
    // The best mode may have both; what is asked is which of the two does without the other.
    let soft = if best.free.has(Curve) {
        let mut from = best.theta;
        from[Curve] = 0.0;
        problem.descend(from, straight.without(CURVED).and(Free::of(&[Corner, Power])), 15).energy
    } else {
        best.energy
    };
    let gain = |side: f64| {
        let mut from = best.theta;
        from[Curve] = side;
        (from[Corner], from[Shift], from[Rise]) = (0.0, 0.0, 0.0);
        soft - problem.descend(from, free, 15).energy
    };
    [-3.0, 3.0].map(gain).into_iter().max_by(f64::total_cmp)
}
