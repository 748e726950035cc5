//! Things that stand up from the ground: neighbouring tiles sharper than a fit has them, all at one distance.
//!
//! A fit reckons with single tiles that are sharper than it says, each by itself and rarely. Where several that touch
//! are, they are mostly one thing (a rock, a trunk) nearer to the focus than the ground behind it. Distance changes only the disc:
//! what the fit lays to the lens there, the thing has too, so that a fit that makes the lens soft where a picture shows something
//! crisp pays for it. A thing stands on ground at its own distance, so that a far scene above soft water, or ground, is none; nor is
//! what fills the foreground from side to side: that is ground, and for a fit to explain.

use std::collections::BTreeSet;

use image::{GrayImage, Luma};
use imageproc::region_labelling::{Connectivity, connected_components};

use super::evidence::{APART, Evidence, Sample};
use super::fit::{Fit, Problem, cost};
use super::foreground::LOWEST;
use super::model::Ready;
use super::parameters::Parameter::Horizon;

/// Residual from a fit's width, in standard deviations, below which a tile is sharper. Chosen: one honest tile in
/// fifteen is as sharp by chance, three that touch hardly ever.
const SHARPER: f64 = -1.5;
/// Fewest touching tiles that make a thing. Chosen: a row's errors go together, so two that touch are no witness.
const FEWEST: usize = 3;
/// What a thing costs, in ln of the evidence. Chosen: odds of one in four hundred, for its being there and for its
/// distance.
const PRICE: f64 = 6.0;

/// Share of the foreground's width that a thing may fill. Chosen: a little more than two columns in three.
const WIDE: f64 = 0.7;

/// How much less the fit's energy is when neighbouring sharp tiles count as things at distances of their own.
pub(super) fn refund(fit: &Fit, problem: &Problem) -> f64 {
    let (e, mix, ready) = (&problem.evidence, &problem.mix, Ready::new(&fit.theta));
    let sharp: Vec<(&Sample, f64)> = e
        .samples
        .iter()
        .zip(problem.widths(&ready))
        .map(|(s, model)| (s, s.y - model))
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
            let tiles: Vec<&Sample> = thing.iter().map(|&k| sharp[k].0).collect();
            if fills_the_foreground(&tiles, e) || !stands(&tiles, own, &ready, problem) {
                return 0.0;
            }
            let gain = |&k: &usize| {
                let (s, residual) = sharp[k];
                let share = mix.soft_at(s.v, fit.theta[Horizon]);
                let least = ready.in_focus(s, &problem.surface) - APART.ln();
                s.say * (cost(residual, s.sd, mix, share).0 - cost(s.y - own.max(least), s.sd, mix, share).0)
            };
            (thing.iter().map(gain).sum::<f64>() - PRICE).max(0.0)
        })
        .sum()
}

/// Side of a tile, in half diagonals. What touches what is asked by the numbers of tiles, which stay as they are where the evidence is
/// turned on its side; where they lie in the picture, by their places.
fn side(e: &Evidence) -> f64 {
    (4.0 * e.right * e.bottom / (e.columns * e.rows) as f64).sqrt()
}

/// Whether a thing fills most of the foreground from side to side.
fn fills_the_foreground(thing: &[&Sample], e: &Evidence) -> bool {
    let columns = (2.0 * e.right / side(e)).round().max(1.0);
    let column = |s: &&Sample| ((s.u + e.right) / (2.0 * e.right) * columns).clamp(0.0, columns - 1.0) as usize;
    let low = thing.iter().filter(|s| s.v > (1.0 - 2.0 * LOWEST) * e.bottom);
    low.map(column).collect::<BTreeSet<usize>>().len() as f64 > WIDE * columns
}

/// Whether a thing of a width (ln) may stand where it does: on ground below its lowest tile that the fit has about as sharp (part of
/// it may have no number), or with its foot or its head out of the picture (by a row, since the last may hold little of it).
fn stands(thing: &[&Sample], own: f64, ready: &Ready, problem: &Problem) -> bool {
    let e = &problem.evidence;
    let side = side(e);
    let Some(foot) = thing.iter().max_by(|a, b| a.v.total_cmp(&b.v)) else { return false };
    let mut below = (1..).map(|k| foot.v + side * f64::from(k)).take_while(|v| *v < e.bottom);
    let as_sharp = |v: f64| ready.at(&Sample::place(foot.u, v, None), &problem.surface).y < own + APART.ln();
    let cut = foot.v > e.bottom - 2.0 * side || thing.iter().any(|s| s.v < side - e.bottom);
    cut || below.any(as_sharp)
}

/// Groups of tiles that touch, by their places in the list.
fn things(sharp: &[(&Sample, f64)], columns: usize) -> Vec<Vec<usize>> {
    let place = |k: usize| ((sharp[k].0.index % columns) as u32, (sharp[k].0.index / columns) as u32);
    let rows = (0..sharp.len()).map(|k| place(k).1 + 1).max().unwrap_or(0);
    // A column and a row more: the library has no room for as many things as there are places (a map of one tile).
    let mut grid = GrayImage::new(columns as u32 + 1, rows + 1);
    (0..sharp.len()).for_each(|k| grid.put_pixel(place(k).0, place(k).1, Luma([1])));
    let labels = connected_components(&grid, Connectivity::Eight, Luma([0]));
    let mut all: Vec<Vec<usize>> = Vec::new();
    for k in 0..sharp.len() {
        // Labels count from one, nought being what isn't sharp.
        let label = labels.get_pixel(place(k).0, place(k).1).0[0] as usize;
        all.resize(all.len().max(label), Vec::new());
        all[label - 1].push(k);
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::diagnose::parameters::Free;
    use crate::diagnose::parameters::Parameter::{Centre, Far, Growth};
    use crate::diagnose::surface::Surface;
    use crate::measure::{Tile, TileMap, TileState};
    use crate::quantity::{Estimate, Intent};
    use crate::shot::Capture;

    /// A picture of 8 x 6 tiles, all of one width (px) but for twelve that touch.
    fn with_a_thing(width: f64, thing: f64) -> Problem {
        let tile = |i: u32| {
            let (x, y) = (i % 8, i / 8);
            let blur = if (2..6).contains(&x) && (2..5).contains(&y) { thing } else { width };
            Tile {
                x: 100 * x,
                y: 100 * y,
                width: 100,
                height: 100,
                state: TileState::Measured,
                contrast: 0.5,
                noise: 0.0,
                level: 0.2,
                blur: Some(Estimate::new(blur, 0.05 * blur, 10)),
                alone: None,
                bound: None,
                spread: None,
            }
        };
        let (columns, rows) = (8, 6);
        let tiles = (0..columns * rows).map(tile).collect();
        let map = TileMap { width: 800, height: 600, columns, rows, tiles, ..TileMap::default() };
        let (capture, intent) = (Capture::default(), Intent::default());
        Problem::new(Evidence::new(&map, &capture, None), Surface::at_scale(None), &capture, &intent, None)
    }

    #[test]
    fn a_thing_may_be_nearer_to_the_focus_but_has_the_same_lens() {
        let problem = with_a_thing(3.0, 0.6);
        let mut fit = problem.descend(problem.priors.start(), Free::default(), 0);
        (fit.theta[Growth], fit.theta[Far], fit.theta[Centre]) = (-12.0, -problem.surface.disc_for(3.0, 0.0), 0.0);
        assert!(refund(&fit, &problem) > 1.0, "{}", refund(&fit, &problem));
        (fit.theta[Far], fit.theta[Centre]) = (0.0, problem.surface.gauss_for(3.0, 0.0));
        assert!(refund(&fit, &problem) < 1e-9, "{}", refund(&fit, &problem));
        // Things are read up to a half apart.
        let problem = with_a_thing(3.0, 2.2);
        assert!(refund(&fit, &problem) > 1.0, "{}", refund(&fit, &problem));
    }

    #[test]
    fn a_thing_stands_on_ground_as_sharp_as_it_is() {
        // Tiles of 100 px in a picture of 800 x 600: a thing in the third row.
        let problem = with_a_thing(3.0, 0.6);
        let thing = |rows: &[usize]| -> Vec<Sample> {
            let all = problem.evidence.samples.iter();
            all.filter(|s| rows.contains(&(s.index / 8)) && (2..6).contains(&(s.index % 8))).copied().collect()
        };
        let may_stand = |rows: &[usize], growth: f64| {
            let mut fit = problem.descend(problem.priors.start(), Free::default(), 0);
            // Out of focus above; below, as the ground's disc grows, in focus at the lower edge or nowhere.
            (fit.theta[Far], fit.theta[Growth], fit.theta[Horizon], fit.theta[Centre]) = (-10.0, growth, -0.4, 0.1);
            let tiles = thing(rows);
            stands(&tiles.iter().collect::<Vec<_>>(), 0.6_f64.ln(), &Ready::new(&fit.theta), &problem)
        };
        assert!(!may_stand(&[1, 2], -12.0) && may_stand(&[1, 2, 3, 4, 5], -12.0) && may_stand(&[0, 1], -12.0));
        // A disc that has gone by the fourth row, v = 0.1.
        assert!(may_stand(&[1, 2], 20.0_f64.ln()));
        // Turned clockwise the right side is the lower edge.
        let turned = problem.with(problem.evidence.turned(true));
        let at = |columns: [usize; 2]| -> bool {
            let mut fit = problem.descend(problem.priors.start(), Free::default(), 0);
            (fit.theta[Far], fit.theta[Growth], fit.theta[Centre]) = (-10.0, -12.0, 0.1);
            let inside = |s: &&Sample| columns.contains(&(s.index % 8)) && [2, 3].contains(&(s.index / 8));
            let tiles: Vec<&Sample> = turned.evidence.samples.iter().filter(inside).collect();
            stands(&tiles, 0.6_f64.ln(), &Ready::new(&fit.theta), &turned)
        };
        assert!(at([6, 7]) && at([0, 1]) && !at([3, 4]));
    }

    #[test]
    fn what_fills_the_foreground_is_no_thing() {
        // Eight columns of six rows.
        let upright = with_a_thing(3.0, 0.6).evidence;
        let fills = |e: &Evidence, columns: std::ops::Range<usize>, rows: std::ops::Range<usize>| {
            let inside = |s: &&Sample| columns.contains(&(s.index % 8)) && rows.contains(&(s.index / 8));
            fills_the_foreground(&e.samples.iter().filter(inside).collect::<Vec<_>>(), e)
        };
        assert!(fills(&upright, 0..6, 3..6) && !fills(&upright, 0..5, 3..6) && !fills(&upright, 0..8, 1..4));
        // Turned clockwise the foreground is the right side, six tiles wide.
        let turned = upright.turned(true);
        assert!(fills(&turned, 5..8, 0..5) && !fills(&turned, 5..8, 0..4) && !fills(&turned, 0..6, 0..6));
    }

    #[test]
    fn things_are_told_apart_in_maps_of_any_shape() {
        let sample = |index: usize| Sample { index, ..Sample::place(0.0, 0.0, None) };
        let found = |columns: usize, at: &[usize]| {
            let samples: Vec<Sample> = at.iter().map(|&i| sample(i)).collect();
            things(&samples.iter().map(|s| (s, 0.0)).collect::<Vec<_>>(), columns).len()
        };
        assert_eq!((found(1, &[0]), found(1, &[]), found(1, &[0, 2, 4])), (1, 0, 3));
        // Of three by three the corners touch nothing, but all touch the middle.
        assert_eq!((found(3, &[0, 2, 6, 8]), found(3, &[0, 2, 4, 6, 8])), (4, 1));
    }
}
