//! Baselines from an aperture series of a flat or far subject, and from a whole shoot.

use super::field::{self, Field, Prior};
use super::sample::{self, Frame, Sample, samples};
use super::{Baseline, Entry, LearnedFrom, Unsuitable};
use crate::measure::TileMap;
use crate::shot::Capture;

/// Chosen: cells as large as two tiles a side. Columns and rows of a learned grid.
pub(super) const GRID: (u32, u32) = (12, 8);

/// Chosen: a median of fewer follows one scene. Frames a shoot must have at least.
const SHOOT_FRAMES: usize = 6;
/// Chosen: the smooth field says nothing of places where nothing was measured. Clean tiles that a cell must have about
/// it, over all f-numbers, to be known.
const CLEAN_NEAR: f64 = 2.0;
/// Chosen: a cell and a half. How far about a cell's centre they may lie, half-diagonals.
const NEAR: f64 = 0.2;
/// Chosen: with a scatter of 5 to 8 % the mean of a dozen is known to about 2 %. Clean tiles that the centre and the
/// outer field must each have, over all frames.
const CLEAN_TILES: f64 = 12.0;

/// Learns a baseline from frames of one flat or far subject at several f-numbers, focused on it.
///
/// What can't be told from such a series: an error of focus common to the frames counts as lens blur.
///
/// # Errors
/// [`Unsuitable`] says why the frames won't do.
pub fn learn_aperture_series(frames: &[(&TileMap, &Capture)]) -> Result<Baseline, Unsuitable> {
    let frames = sample::usable(frames)?;
    one_lens(&frames)?;
    if stops(&frames).len() < 2 {
        return Err(Unsuitable::OneStop);
    }
    learn(&frames, LearnedFrom::ApertureSeries, Prior { lopsided: 3.0 })
}

/// Learns a baseline from many frames of a shoot: at each place and f-number the lens is what remains of the
/// sharpest, so it takes many frames, focused here and there.
///
/// # Errors
/// [`Unsuitable`] says why the frames won't do.
pub fn learn_from_shoot(frames: &[(&TileMap, &Capture)]) -> Result<Baseline, Unsuitable> {
    let frames = sample::usable(frames)?;
    one_lens(&frames)?;
    if frames.len() < SHOOT_FRAMES {
        return Err(Unsuitable::TooFew { found: frames.len(), needed: SHOOT_FRAMES });
    }
    learn(&frames, LearnedFrom::Shoot, Prior { lopsided: 0.1 })
}

/// The provisional baseline of a shoot, for auditing that very shoot: frames of one lens and focal length.
///
/// # Errors
/// [`Unsuitable`] says why the frames won't do.
pub fn learn_shoot(frames: &[(&TileMap, &Capture)]) -> Result<Baseline, Unsuitable> {
    learn_from_shoot(frames).map(|baseline| Baseline { provisional: true, ..baseline })
}

/// Distinct f-numbers, rising.
fn stops(frames: &[Frame]) -> Vec<f64> {
    let mut all: Vec<f64> = frames.iter().map(|f| f.f_number).collect();
    all.sort_by(f64::total_cmp);
    all.dedup_by(|a, b| same_stop(*a, *b));
    all
}

fn same_stop(a: f64, b: f64) -> bool {
    (a / b).ln().abs() < 0.03
}

/// Lens name and focal length common to the frames; unknown ones go with any.
pub(super) fn one_lens(frames: &[Frame]) -> Result<(String, f64), Unsuitable> {
    let names: Vec<&str> = frames.iter().filter_map(|f| f.capture.lens.as_ref()).map(|l| l.value.trim()).collect();
    let focals: Vec<f64> = frames.iter().filter_map(|f| f.capture.focal_length_mm.as_ref()).map(|f| f.value).collect();
    let name = names.first().copied().unwrap_or("");
    let focal = focals.first().copied().unwrap_or(0.0);
    if names.iter().any(|n| !n.eq_ignore_ascii_case(name)) || focals.iter().any(|f| (f / focal - 1.0).abs() > 0.05) {
        return Err(Unsuitable::Mixed);
    }
    Ok((name.to_owned(), focal))
}

fn learn(frames: &[Frame], from: LearnedFrom, prior: Prior) -> Result<Baseline, Unsuitable> {
    let (lens, focal_length_mm) = one_lens(frames)?;
    let all: Vec<Sample> = frames.iter().enumerate().flat_map(|(i, frame)| samples(frame, i)).collect();
    let fitted = field::fit(&all, prior).ok_or(Unsuitable::LittleInFocus { place: "anywhere" })?;
    for (place, inside) in [("centre", true), ("outer field", false)] {
        let clean: f64 = all
            .iter()
            .zip(&fitted.clean)
            .filter(|(s, _)| if inside { s.u.hypot(s.v) < 0.5 } else { s.u.hypot(s.v) > 0.7 })
            .map(|(_, c)| c)
            .sum();
        if clean < CLEAN_TILES {
            return Err(Unsuitable::LittleInFocus { place });
        }
    }
    let entries = stops(frames).into_iter().map(|n| entry(n, &fitted, &all, frames)).collect();
    Ok(Baseline { lens, focal_length_mm, provisional: false, learned_from: from, entries, curvature: None })
}

fn entry(f_number: f64, fitted: &Field, all: &[Sample], frames: &[Frame]) -> Entry {
    let at_stop: Vec<(&Sample, f64)> =
        all.iter().zip(&fitted.clean).filter(|(s, _)| same_stop(s.f_number, f_number)).map(|(s, c)| (s, *c)).collect();
    let mut used: Vec<usize> = at_stop.iter().filter(|(_, c)| *c > 0.5).map(|(s, _)| s.frame).collect();
    used.dedup();
    let sigma_um = cells(frames[0].map, GRID)
        .map(|(u, v)| {
            let near = |s: &Sample| (s.u - u).hypot(s.v - v) < NEAR;
            let ever: f64 = all.iter().zip(&fitted.clean).filter(|(s, _)| near(s)).map(|(_, c)| c).sum();
            let here: f64 = at_stop.iter().filter(|(s, _)| near(s)).map(|(_, c)| c).sum();
            if ever < CLEAN_NEAR { None } else { fitted.sigma_um(u, v, f_number, here.round() as u32) }
        })
        .collect();
    Entry { f_number, frames: used.len() as u32, columns: GRID.0, rows: GRID.1, sigma_um }
}

/// Centres of the grid's cells from the picture's centre, in half-diagonals, row-major.
pub(super) fn cells(map: &TileMap, grid: (u32, u32)) -> impl Iterator<Item = (f64, f64)> {
    let (w, h) = (f64::from(map.width), f64::from(map.height));
    let half = 0.5 * w.hypot(h);
    (0..grid.1).flat_map(move |row| {
        (0..grid.0).map(move |column| {
            let fraction = |i: u32, n: u32| (f64::from(i) + 0.5) / f64::from(n) - 0.5;
            (fraction(column, grid.0) * w / half, fraction(row, grid.1) * h / half)
        })
    })
}
