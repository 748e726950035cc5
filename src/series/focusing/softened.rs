//! Frames of a bracket that are blurred by more than their focus: shaken, where defocus hides the streaks.

use rayon::prelude::*;

use super::data::{Data, Table, TileData};
use super::{State, fitted, median, trust};
use crate::quantity::Region;
use crate::series::Blurs;
use crate::series::fit::IN_COMMON;
use crate::series::odd::{SPOILED, SURE};

/// A frame that is softer where it is in focus than the others are where they are.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Softened {
    /// The frame.
    pub frame: usize,
    /// By how many standard deviations.
    pub by_sd: f64,
}

/// Fewest tiles that a frame shows about its focus for it to be judged. Derived: of a dozen tiles a tenth is still one.
const TILES: usize = 12;
/// How far from a focus a tile may lie and still be about it, px of disc. Chosen: within it a disc adds less to a width
/// in focus than the softening that is asked about.
const ABOUT: f64 = 2.0;
/// Most frames of a bracket in which softened ones are looked for. Chosen: each is held against a fit of all the
/// others, a third of a second for a dozen.
const FRAMES: usize = 24;
/// Most frames found, as a share of the bracket's. Chosen: two or three frames of a bracket, more make another picture of it.
const SHARE: f64 = 0.4;

/// The frames, by the squared width that each adds to what the others know of places and lens; worst first found.
///
/// Along the depth of a scene the squared width of a frame is a bowl whose lowest point is its focus, and what it holds there is
/// lens, diffraction and pixel, which are those of all frames. Movement during the exposure lifts the bowl as a whole. So each
/// frame in turn is held against places and lens found without it, its focus and its lift free. One that is focused beyond all
/// tiles shows no lowest point, and isn't judged. Nor is one focused beyond all others, as the first and the last of a bracket are: what
/// lies there they see from one side, out of focus, from where a softer lens can't be told from a place further off.
pub(in crate::series) fn softened(blurs: &Blurs, tiles: &[Region], lambda_n_px: Option<f64>) -> Vec<Softened> {
    let mut found: Vec<Softened> = Vec::new();
    let frames = blurs.sigma.len();
    let most = if frames > FRAMES { 0 } else { (SHARE * frames as f64) as usize };
    while found.len() < most {
        let left = blurs.without(&found.iter().map(|f| f.frame).collect::<Vec<_>>());
        let of = |k: usize| of_frame(&left, k, tiles, lambda_n_px);
        let lifted: Vec<Softened> = (0..frames).into_par_iter().filter_map(of).collect();
        let Some(worst) = lifted.into_iter().max_by(|a, b| a.by_sd.total_cmp(&b.by_sd)) else { break };
        found.push(worst);
    }
    found.sort_by_key(|f| f.frame);
    found
}

fn of_frame(blurs: &Blurs, frame: usize, tiles: &[Region], lambda_n_px: Option<f64>) -> Option<Softened> {
    let all = Data::new(blurs, tiles)?;
    let own = all.frames.iter().position(|&k| k == frame)?;
    let (others, table, state) = fitted(&blurs.without(&[frame]), tiles, lambda_n_px)?;
    let sds: Vec<f64> = others.tiles.iter().enumerate().map(|(i, t)| state.place_sd((t, i), &table)).collect();
    let usual = median(sds.clone());
    let (low, high) = state.focus.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |m, &f| (m.0.min(f), m.1.max(f)));
    let point = |(i, t): (usize, &TileData)| {
        let same = all.tiles.iter().find(|a| a.tile == t.tile)?;
        let o = same.points.iter().find(|o| o.frame == own && !o.at_least)?;
        let soft = state.softness(t.at);
        let place = state.place[i] + state.slope[i].0 * o.off.0 + state.slope[i].1 * o.off.1;
        // What a tile's frames share is known to it from the others.
        let shared = t.shared / o.square;
        Some(Held { place, soft, square: o.square, sd: o.sd.hypot(0.5 * shared) })
            .filter(|_| sds[i] <= super::DOUBTFUL * usual && (low..=high).contains(&place))
    };
    let held: Vec<Held> = others.tiles.iter().enumerate().filter_map(point).collect();
    lifted(&held, &table, &state).map(|by_sd| Softened { frame, by_sd })
}

/// What a frame shows of a tile whose place and softness are known from the others.
struct Held {
    place: f64,
    soft: f64,
    square: f64,
    sd: f64,
}

/// By how many standard deviations a frame is lifted, where that is beyond chance and more than matters.
fn lifted(held: &[Held], table: &Table, state: &State) -> Option<f64> {
    let places = || held.iter().map(|h| h.place);
    let (low, high) = (places().fold(f64::INFINITY, f64::min), places().fold(f64::NEG_INFINITY, f64::max));
    let focuses = || state.focus.iter().copied();
    let (low, high) = (low.min(focuses().fold(low, f64::min)), high.max(focuses().fold(high, f64::max)));
    if !(high - low).is_finite() || held.len() < TILES {
        return None;
    }
    let step = 0.1;
    let fit = |i: usize| {
        let focus = low + step * i as f64;
        let (lift, sd, cost) = lift(held, table, focus);
        (focus, lift, sd, cost)
    };
    let steps = ((high - low) / step).ceil() as usize;
    let (focus, lift, sd, _) = (0..=steps).map(fit).min_by(|a, b| a.3.total_cmp(&b.3))?;
    let nearby = || held.iter().filter(|h| (h.place - focus).abs() <= ABOUT);
    let about: Vec<f64> = nearby().map(|h| table.square(0.0, h.soft)).collect();
    // The lowest point must be seen from both sides.
    let beside = |side: f64| held.iter().filter(|h| side * (h.place - focus) > 0.0).count() >= TILES;
    if about.len() < TILES || !beside(1.0) || !beside(-1.0) {
        return None;
    }
    let in_focus = median(about);
    let matters = (SPOILED * SPOILED - 1.0) * in_focus;
    // What all of a frame's widths may be off by in common: of its own, and of the others where they show these tiles sharpest.
    let sharpest = |h: &Held| focuses().map(|f| table.square(h.place - f, h.soft)).fold(f64::INFINITY, f64::min);
    let others = median(nearby().map(sharpest).collect());
    let sd = sd.hypot(2.0 * IN_COMMON * (in_focus + lift)).hypot(2.0 * IN_COMMON * others);
    (lift > matters + SURE * sd).then(|| (lift - matters) / sd)
}

/// Best lift at a focus, px^2, its standard deviation and the cost; rounds of weights of Student's t.
fn lift(held: &[Held], table: &Table, focus: f64) -> (f64, f64, f64) {
    let mut lift = 0.0;
    let mut out = (0.0, f64::INFINITY, f64::INFINITY);
    for _ in 0..4 {
        let (mut sum, mut weights, mut cost, mut square) = (0.0, 0.0, 0.0, 0.0);
        for h in held {
            let model = table.square(h.place - focus, h.soft);
            let sd = 2.0 * h.sd * (model + lift).max(0.05);
            let scaled = (h.square - model - lift) / sd;
            let weight = trust(scaled) / (sd * sd);
            sum += weight * (h.square - model);
            weights += weight;
            cost += 2.5 * (1.0 + scaled * scaled / 4.0).ln();
            square += weight * (h.square - model - lift).powi(2);
        }
        // What the model leaves unexplained counts as error.
        let misfit = (square / held.len() as f64).max(1.0);
        out = (lift, (misfit / weights).sqrt(), cost);
        lift = (sum / weights).max(0.0);
    }
    out
}
