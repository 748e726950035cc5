//! Things that stand up from the ground: neighbouring tiles sharper than a fit has them, all at one distance.
//!
//! A fit reckons with single tiles that are sharper than it says, each by itself and rarely. Where several that touch
//! are, they are mostly one thing (a rock, a trunk) nearer to the focus than the ground behind it.

use super::evidence::Sample;
use super::fit::{Fit, Problem, cost};
use super::model::Ready;
use super::parameters::Parameter::Horizon;

/// Chosen: one honest tile in fifteen is as sharp by chance, three that touch hardly ever. How far below a fit's width,
/// in standard deviations, a tile is sharper.
const SHARPER: f64 = -1.5;
/// Chosen: a row's errors go together, so two that touch are no witness. Fewest tiles that are a thing.
const FEWEST: usize = 3;
/// Chosen: odds of one in four hundred, for its being there and for its distance. What a thing costs, in ln of the
/// evidence.
const PRICE: f64 = 6.0;

/// How much less the fit's energy is when neighbouring sharp tiles count as things at distances of their own.
#[must_use]
pub fn refund(fit: &Fit, problem: &Problem) -> f64 {
    let (e, mix, ready) = (&problem.evidence, &problem.mix, Ready::new(&fit.theta));
    let sharp: Vec<(&Sample, f64)> = e
        .samples
        .iter()
        .map(|s| (s, s.y - ready.at(s, &problem.surface).y))
        .filter(|(s, residual)| residual / (s.sd * mix.inflate) < SHARPER)
        .collect();
    things(&sharp, e.columns)
        .into_iter()
        .filter(|thing| thing.len() >= FEWEST)
        .map(|thing| {
            let (mut weight, mut sum) = (0.0, 0.0);
            for &k in &thing {
                let (s, _) = sharp[k];
                weight += s.say / (s.sd * s.sd);
                sum += s.say * s.y / (s.sd * s.sd);
            }
            let own = sum / weight;
            let gain = |&k: &usize| {
                let (s, residual) = sharp[k];
                let share = mix.soft_at(s.v, fit.theta[Horizon]);
                s.say * (cost(residual, s.sd, mix, share).0 - cost(s.y - own, s.sd, mix, share).0)
            };
            (thing.iter().map(gain).sum::<f64>() - PRICE).max(0.0)
        })
        .sum()
}

/// Groups of tiles that touch, by their places in the list.
fn things(sharp: &[(&Sample, f64)], columns: usize) -> Vec<Vec<usize>> {
    let mut group: Vec<usize> = (0..sharp.len()).collect();
    let touch = |a: usize, b: usize| {
        let (a, b) = (sharp[a].0.index, sharp[b].0.index);
        (a % columns).abs_diff(b % columns) <= 1 && (a / columns).abs_diff(b / columns) <= 1
    };
    for k in 0..sharp.len() {
        for j in 0..k {
            if touch(k, j) && group[j] != group[k] {
                let (from, to) = (group[k], group[j]);
                group.iter_mut().filter(|g| **g == from).for_each(|g| *g = to);
            }
        }
    }
    let mut all: Vec<Vec<usize>> = vec![Vec::new(); sharp.len()];
    for (k, g) in group.into_iter().enumerate() {
        all[g].push(k);
    }
    all.retain(|t| !t.is_empty());
    all
}
