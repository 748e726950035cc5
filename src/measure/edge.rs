//! One edge: its normal, its profile, and a fitted width with an error.

use super::noise::NoiseModel;
use super::profile::{Line, Profile};
use super::stepfit::{Care, Fitted, Steps, departure, refine};
use super::strips::{Coarse, normal, strips};
use super::survey::Candidate;
use crate::shot::{JpegBlocks, Mosaic, Plane};

/// A fitted edge.
#[derive(Clone, Copy, Debug)]
pub(super) struct Edge {
    /// Gaussian-equivalent sigma, px.
    pub sigma: f64,
    /// Its standard deviation from noise and misfit, px.
    pub sd: f64,
    /// Direction of the normal, radians from +x towards +y, modulo pi.
    pub angle: f64,
    /// Overshoot beside it as a share of its step, where level ground on both sides tells.
    pub overshoot: Option<f32>,
}

/// How much too narrow a wide edge reads, in standard deviations from noise, because its place was chosen: of several
/// along one edge the strongest gradient is where noise steepens it. Squared width, px^2, from which half of that holds:
/// the gradient is taken over four pixels, so that the strongest is not the narrowest where edges are narrower than those.
/// And how much larger the true scatter is than the fit's own covariance, which knows nothing of windows and directions
/// that follow the noise. Set on straight, isolated, Gaussian edges of 0.4 to 2.5 px at noises of 3 to 10 % of the step.
const CHOSEN: f64 = 0.5;
const CHOSEN_FROM: f64 = 0.5;
const UNSTATED: f64 = 1.3;
/// Relative error of what coarse JPEG steps took from an edge. Chosen: a third; the steps say how much was lost, not
/// from which edge.
const LOST_ERROR: f64 = 0.3;

/// Fits one candidate; `None` where no straight, well-lit edge (alone, or with one parallel neighbour on either
/// side) is there.
pub(super) fn fit(plane: &Plane, candidate: &Candidate, noise: &NoiseModel, profile: &mut Profile) -> Option<Edge> {
    let (x, y) = (candidate.x as usize, candidate.y as usize);
    let (n, coherence) = normal(plane, x, y)?;
    if coherence < 0.4 {
        return None;
    }
    let level = f64::from(plane.data[y * plane.width + x]) - f64::from(plane.black);
    let noise_sd = noise.variance(level).sqrt() as f32;
    let across = strips(plane, x, y, n)?;
    let coarse = across.coarse(noise_sd)?;
    if coarse.step < 5.0 * noise_sd {
        return None;
    }
    let (turn, bend, rest) = across.course(&coarse);
    if bend.abs() > 0.15 || turn.abs() > 0.4 || rest > 0.3 + 0.2 * coarse.sigma {
        return None;
    }
    // The edge lies at t = place + turn s: its normal is turned the other way.
    let (c, s) = (turn.cos(), turn.sin());
    let line = Line { x, y, normal: (c * n.0 + s * n.1, c * n.1 - s * n.0), bend };
    let (steps, line, fitted) = narrowed(plane, &coarse, line, profile)?;
    let (sigma, sd) = width(&steps, &fitted, &coarse, profile, (noise, level))?;
    if let Some(blocks) = &plane.jpeg
        && on_block_line(blocks, candidate, line.normal, steps.steps[0].1)
    {
        return None;
    }
    let angle = f64::from(line.normal.1.atan2(line.normal.0)).rem_euclid(std::f64::consts::PI);
    Some(Edge { sigma, sd, angle, overshoot: across.overshoot(&coarse, noise_sd) })
}

/// Fits the steps along a line in a window that follows their width: once from the rough width, once from the fitted one.
/// With it the line, as far as its edge was seen to depart from it. `None` where a window holds too little.
fn narrowed(plane: &Plane, coarse: &Coarse, mut line: Line, profile: &mut Profile) -> Option<(Steps, Line, Fitted)> {
    let mut steps = Steps { low: coarse.low, sigma: coarse.sigma, steps: [(coarse.step, coarse.place); 3], count: 1 };
    let mut result = None;
    let sparse = plane.mosaic != Mosaic::None;
    for care in [Care::Rough, Care::Full] {
        let limits = limits(coarse, &mut steps);
        if limits[0].min(limits[1]) < 1.6 * steps.sigma + 0.7 {
            return None;
        }
        // Half the sites of a mosaic tell, so the window is longer there.
        let along = if sparse { (1.8 * steps.sigma).clamp(3.2, 8.0) } else { (1.5 * steps.sigma).clamp(2.2, 8.0) };
        let width = (0.3 * steps.sigma).max(0.25);
        if !profile.gather(plane, &line, (coarse.place - limits[0], coarse.place + limits[1]), along, width) {
            return None;
        }
        result = Some(refine(&profile.bins, &mut steps, care)?);
        if care == Care::Rough
            && let Some((turn, bend)) = departure(&profile.samples, &steps)
        {
            line = line.departed(turn, bend);
        }
    }
    Some((steps, line, result?))
}

/// How far to either side of the chosen step a window for the width of `steps` reaches, px. Where a neighbour cuts it short,
/// the neighbour is put among the steps.
fn limits(coarse: &Coarse, steps: &mut Steps) -> [f32; 2] {
    let want = 3.0 * steps.sigma + 1.5;
    let mut limits = coarse.flanks.map(|f| f.min(want));
    steps.count = 1;
    steps.low = coarse.low;
    for (k, sign) in [-1.0, 1.0].into_iter().enumerate() {
        if let Some(n) = coarse.neighbours[k]
            && limits[k] < want
        {
            steps.steps[steps.count] = (-n.step, coarse.place + sign * n.place);
            steps.count += 1;
            if k == 0 {
                // Left of a left neighbour lies its own, higher level; the step runs down from there.
                steps.low += n.step;
            }
            limits[k] = n.end.min(n.place + want);
        }
    }
    limits
}

/// The width of a fitted edge and its standard deviation, px, with what is known to bias it taken out; `None` where it is no
/// straight edge, or too little is known of it. `light`: the noise, and the level at the edge.
fn width(
    steps: &Steps,
    fitted: &Fitted,
    coarse: &Coarse,
    profile: &Profile,
    light: (&NoiseModel, f64),
) -> Option<(f64, f64)> {
    let (noise, level) = light;
    let noise_sd = noise.variance(level).sqrt() as f32;
    let sigma = f64::from(steps.sigma);
    let (step, place) = steps.steps[0];
    let whole = fitted.unit_sd.is_finite();
    if !whole || !(0.2..=8.0).contains(&sigma) || step < 5.0 * noise_sd || (place - coarse.place).abs() > 2.5 {
        return None;
    }
    // Misfits, and values that differ along the edge, are no straight edges.
    let step = f64::from(step);
    let spread = f64::from(profile.scatter).max(fitted.misfit).sqrt();
    if spread > (0.2 * step).hypot(1.5 * f64::from(noise_sd)) {
        return None;
    }
    let from_noise = fitted.unit_sd * f64::from(noise_sd);
    let sd = UNSTATED * fitted.unit_sd * spread.max(f64::from(noise_sd));
    if sd > 0.4 * UNSTATED * sigma {
        return None;
    }
    let lost = noise.lost(level, step, sigma);
    let square = sigma * sigma - lost;
    let sigma = square.sqrt();
    let sd = sd.hypot(LOST_ERROR * lost / (2.0 * sigma));
    Some((sigma + CHOSEN * from_noise * square / (square + CHOSEN_FROM), sd))
}

/// Whether the gradient at a candidate points at least 35 degrees away from a direction (radians, modulo pi).
pub(super) fn faces_away(plane: &Plane, candidate: &Candidate, facing: f64) -> bool {
    normal(plane, candidate.x as usize, candidate.y as usize).is_some_and(|((x, y), _)| {
        let along = f64::from(x) * facing.cos() + f64::from(y) * facing.sin();
        along.abs() < 35.0_f64.to_radians().cos()
    })
}

/// Whether an edge lies along a line between JPEG blocks.
fn on_block_line(blocks: &JpegBlocks, c: &Candidate, n: (f32, f32), place: f32) -> bool {
    let near = |position: f32, first: usize| {
        let size = blocks.size.max(1) as f32;
        let offset = (position - first as f32).rem_euclid(size);
        offset.min(size - offset) < 0.75
    };
    // Sample centres lie half a pixel inside their squares.
    (n.1.abs() < 0.12 && near(c.x as f32 + 0.5 + place * n.0, blocks.x0))
        || (n.0.abs() < 0.12 && near(c.y as f32 + 0.5 + place * n.1, blocks.y0))
}
