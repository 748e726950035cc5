//! The fitted frame put into figures for the report: the model's posterior, each tile's budget and standing.

use super::evidence::{Evidence, Sample};
use super::fit::Problem;
use super::implied::Moments;
use super::model::Ready;
use super::parameters::Parameter::{Far, Growth, Horizon, Tilt};
use super::parameters::Theta;
use super::posterior::Posterior;
use super::weigh::DIFFRACTION_SIGMA;
use super::{Budget, FrameModel, Standing};
use crate::measure::{Streak, TileMap};
use crate::quantity::{DISC_SIGMA, Estimate, Point, TRACK_SIGMA};

/// The posterior of the model in the terms of the contract.
pub(super) fn model(posterior: &Posterior, problem: &Problem, streak: Option<&Streak>) -> FrameModel {
    let e = &problem.evidence;
    let tiles = e.samples.len() as u32;
    let estimate = |f: &dyn Fn(&Theta) -> f64| {
        let mut m = Moments::default();
        for draw in &posterior.draws {
            m.add(f(&draw.theta), draw.weight);
        }
        let (mean, sd) = m.get().unwrap_or((0.0, 0.0));
        Estimate::new(mean, sd, tiles)
    };
    let best = &posterior.modes[0].theta;
    let growth = |t: &Theta| t[Growth].exp();
    let lens_at = |t: &Theta, u: f64, v: f64| problem.predict(t, &bare(u, v, &e.samples)).lens;
    let (right, bottom) = (e.right, e.bottom);
    let (mut chi, mut count) = (0.0, 0.0);
    for s in &e.samples {
        let (residual, honest) = problem.residual(&Ready::new(best), s);
        chi += honest * (residual / s.sd).powi(2);
        count += honest;
    }
    FrameModel {
        disc_px: estimate(&|t| t[Far] - growth(t) * t[Horizon]),
        disc_down_px: estimate(&growth),
        disc_right_px: estimate(&|t| t[Tilt]),
        disc_far_px: estimate(&|t| t[Far]),
        horizon: estimate(&|t| t[Horizon]).value,
        lens_centre_px: estimate(&|t| lens_at(t, 0.0, 0.0)),
        lens_corner_px: estimate(&|t| {
            let corners = [(right, bottom), (-right, bottom), (right, -bottom), (-right, -bottom)];
            corners.iter().map(|&(u, v)| lens_at(t, u, v)).sum::<f64>() / 4.0
        }),
        motion_px: streak.map_or(Estimate::new(0.0, 0.0, 0), |s| s.length),
        doubled_px: streak.and_then(|s| s.doubled),
        motion_angle: streak.map(|s| s.angle.value),
        lambda_n_px: e.lambda_n_px,
        focus_line: focus_line(best, e),
        chi_square: if count > 0.0 { chi / count } else { 0.0 },
    }
}

/// A place without a tile of its own; a learned baseline is taken from the nearest tile.
fn bare(u: f64, v: f64, samples: &[Sample]) -> Sample {
    let nearest = samples
        .iter()
        .filter(|s| s.learned.is_some())
        .min_by(|a, b| ((a.u - u).hypot(a.v - v)).total_cmp(&(b.u - u).hypot(b.v - v)));
    Sample::place(u, v, nearest.and_then(|s| s.learned))
}

/// Where the signed disc passes through zero on the ground, at the left and the right edge of the picture.
fn focus_line(t: &Theta, e: &Evidence) -> Option<[Point; 2]> {
    let growth = t[Growth].exp();
    if growth < 0.2 {
        return None;
    }
    let at = |u: f64| {
        let v = t[Horizon] - (t[Far] + t[Tilt] * u) / growth;
        let y = 0.5 + 0.5 * v / e.bottom;
        (v >= t[Horizon] && (0.0..=1.0).contains(&y)).then_some(y)
    };
    Some([Point { x: 0.0, y: at(-e.right)? }, Point { x: 1.0, y: at(e.right)? }])
}

/// The blur by cause at one place over the posterior.
pub(super) fn budget(place: &Sample, posterior: &Posterior, problem: &Problem, motion: Estimate) -> Budget {
    let e = &problem.evidence;
    let (mut disc, mut lens) = (Moments::default(), Moments::default());
    for (ready, weight) in &posterior.few {
        disc.add(DISC_SIGMA * ready.disc(place).abs(), *weight);
        lens.add(ready.lens(place), *weight);
    }
    let n = e.samples.len() as u32;
    let of = |m: Moments| m.get().map_or(Estimate::new(0.0, 0.0, 0), |(v, sd)| Estimate::new(v, sd, n));
    let best = problem.predict(&posterior.modes[0].theta, place);
    Budget {
        pixel: TRACK_SIGMA,
        diffraction: e.lambda_n_px.map(|x| DIFFRACTION_SIGMA * x),
        defocus: of(disc),
        lens: of(lens),
        motion,
        total: problem.surface.whole(best.disc.abs(), best.gauss).ln.exp(),
    }
}

/// The budget of every tile that the fit took in.
pub(super) fn budgets(
    map: &TileMap,
    posterior: &Posterior,
    problem: &Problem,
    motion: Estimate,
) -> Vec<Option<Budget>> {
    let mut all = vec![None; map.tiles.len()];
    for s in &problem.evidence.samples {
        all[s.index] = Some(budget(s, posterior, problem, motion));
    }
    all
}

/// What each tile shows beside the best mode.
pub(super) fn standings(map: &TileMap, posterior: &Posterior, problem: &Problem) -> Vec<Standing> {
    let mut all = vec![Standing::Unmeasured; map.tiles.len()];
    let t = &posterior.modes[0].theta;
    let ready = Ready::new(t);
    for s in &problem.evidence.samples {
        let (residual, honest) = problem.residual(&ready, s);
        all[s.index] = if honest > 0.5 {
            if s.v < t[Horizon] { Standing::Far } else { Standing::Ground }
        } else if residual > 0.0 {
            Standing::SoftContent
        } else if ready.disc(s) < 0.0 {
            // Sharper than the ground there though the ground lies beyond the focus: it stands nearer.
            Standing::Nearer
        } else {
            Standing::Farther
        };
    }
    // What lies in the sky takes no part in the fit: cloud is soft of itself, and what stands sharp there is far or nearer.
    for (standing, tile) in all.iter_mut().zip(&map.tiles).filter(|(s, _)| **s == Standing::Unmeasured) {
        if let Some(blur) = tile.blur {
            let (u, v) = map.uv(tile.centre());
            let place = Sample::place(u, v, None);
            let soft = blur.value.ln() > ready.at(&place, &problem.surface).y;
            *standing = if soft { Standing::SoftContent } else { Standing::Far };
        }
    }
    all
}
