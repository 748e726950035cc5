//! Baselines from an aperture series of a flat or far subject, and from a whole shoot.

use super::field::{self, Field, Prior};
use super::glass::Glass;
use super::sample::{self, Frame, Sample, Span, samples};
use super::{Baseline, Entry, LearnedFrom, Unsuitable};
use crate::measure::{ALIKE, TileMap};
use crate::optics::stops::{distinct, same};
use crate::shot::Capture;
use crate::stats;

/// Columns and rows of a learned grid. Chosen: cells as large as two tiles a side.
pub(super) const GRID: (u32, u32) = (12, 8);

/// Fewest frames of a shoot. Chosen: a median of fewer follows one scene.
const SHOOT_FRAMES: usize = 6;
/// Clean tiles, over all f-numbers, that a cell must have about it to be known. Chosen: the smooth field says nothing
/// of places where nothing was measured.
pub(super) const CLEAN_NEAR: f64 = 2.0;
/// How far from a cell's centre these tiles may lie, half-diagonals. Chosen: a cell and a half.
pub(super) const NEAR: f64 = 0.2;
/// Clean tiles that the centre and the outer field must each have, over all frames. Chosen: with a scatter of 5 to 8 %
/// the mean of a dozen is known to about 2 %.
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
    if let Some(f_number) = sample::too_sharp(&frames) {
        return Err(Unsuitable::TooSharp { f_number });
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

/// The provisional baseline of a shoot, for auditing that very shoot: frames of one lens and focal length. Frames of which
/// one side is softer than the other are left out: what they show is the fault that the audit is to find.
///
/// # Errors
/// [`Unsuitable`] says why the frames won't do.
pub fn learn_shoot(frames: &[(&TileMap, &Capture)]) -> Result<Baseline, Unsuitable> {
    let even: Vec<(&TileMap, &Capture)> = frames.iter().copied().filter(|(map, _)| !one_sided(map)).collect();
    if even.len() < frames.len() {
        let count = |frames: &[(&TileMap, &Capture)]| sample::usable(frames).map_or(0, |f| f.len());
        let (found, of) = (count(&even), sample::usable(frames)?.len());
        if found < SHOOT_FRAMES.min(of) {
            return Err(Unsuitable::OneSided { found: of - found, of });
        }
    }
    learn_from_shoot(&even).map(|baseline| Baseline { provisional: true, ..baseline })
}

/// Share of the width that a side takes. Chosen: the outer quarters of the width, as a third is what a lens out of line softens.
const SIDE: f64 = 0.25;
/// Fewest tiles of a side in the upper or the lower half. Chosen: a median of fewer follows one thing.
const SIDE_TILES: usize = 6;

/// Whether one side of a frame is softer than the other, in its upper and its lower half alike as far as either tells: a near
/// thing at one side shows in the lower alone.
fn one_sided(map: &TileMap) -> bool {
    let (w, h) = (f64::from(map.width), f64::from(map.height));
    let widths = |right: bool, low: bool| -> Option<f64> {
        let tiles = map.tiles.iter().filter(|t| {
            let (x, y) = t.centre();
            (y > 0.5 * h) == low && if right { x > (1.0 - SIDE) * w } else { x < SIDE * w }
        });
        let all: Vec<f64> = tiles.filter_map(|t| t.by_itself()).map(|b| b.value).collect();
        (all.len() >= SIDE_TILES).then(|| stats::quantile(&all, 0.5)).flatten()
    };
    let leans: Vec<f64> =
        [false, true].into_iter().filter_map(|low| Some((widths(true, low)? / widths(false, low)?).ln())).collect();
    let beyond = |sign: f64| !leans.is_empty() && leans.iter().all(|l| sign * l > ALIKE.ln());
    beyond(1.0) || beyond(-1.0)
}

/// Distinct f-numbers, rising.
fn stops(frames: &[Frame]) -> Vec<f64> {
    distinct(frames.iter().map(|f| f.f_number))
}

/// Lens name and focal length common to the frames; what a frame doesn't state goes with any.
pub(super) fn one_lens(frames: &[Frame]) -> Result<(String, Option<f64>), Unsuitable> {
    let lens = frames.iter().find_map(|f| f.capture.lens.clone());
    let focal = frames.iter().find_map(|f| f.capture.focal_length_mm.clone());
    let body = frames.iter().find_map(|f| f.capture.body.clone());
    let name = lens.as_ref().map_or(String::new(), |l| l.value.trim().to_owned());
    let common = Glass::of(&Capture { lens, body, focal_length_mm: focal, ..Capture::default() });
    if frames.iter().any(|f| !Glass::of(f.capture).may_be(&common)) {
        return Err(Unsuitable::Mixed);
    }
    Ok((name, common.focal_length_mm))
}

fn learn(frames: &[Frame], from: LearnedFrom, prior: Prior) -> Result<Baseline, Unsuitable> {
    let (lens, focal_length_mm) = one_lens(frames)?;
    let span = Span::of(frames);
    let all: Vec<Sample> = frames.iter().enumerate().flat_map(|(i, frame)| samples(frame, i, span)).collect();
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
    // Those of a shoot differ by focus and movement, too, which one frame can't be told from; those of one subject have in common what it
    // shows at each place, which is taken for the lens.
    let apart = if from == LearnedFrom::Shoot { apart(&fitted, &all, frames.len()) } else { 2.0 * CONTENT };
    let entries = stops(frames).into_iter().map(|n| entry(n, (from, apart), &fitted, &all, span)).collect();
    Ok(Baseline {
        lens,
        focal_length_mm,
        frame_mm: Some((span.0, span.1)),
        provisional: false,
        learned_from: from,
        entries,
        curvature: None,
    })
}

/// Share of a whole width, of which pixel and diffraction are part, that the tiles of a place err by alike, for they
/// show the same things at every aperture. The square errs by twice as much. Set on rendered aperture series
/// (docs/accuracy.md): widths of the inner zones scatter by 4 %, those of the corners by 3 %.
const CONTENT: f64 = 0.04;

/// Share of a frame's samples in the inner or the outer field that must be clean for it to have a say there in how far
/// frames are apart, and the fewest samples there must be. Chosen: a frame with less in focus says little of the lens.
const SOME_CLEAN: f64 = 0.25;
const SOME_SAMPLES: usize = 12;
/// Where the outer field begins, half-diagonals. Chosen: about half of the picture lies within.
const OUTER: f64 = 0.6;
/// How many standard deviations below its mean a normal law's lower quartile lies. Derived: a quarter of the law lies below that.
const QUARTER_SD: f64 = 0.6745;

/// How far the frames of a shoot are apart: the departure from the field of the sharpest quarter of each, in the inner and the
/// outer field, less what chance makes of it; root mean square, as a share of the squared whole width.
fn apart(fitted: &Field, all: &[Sample], frames: usize) -> f64 {
    let mut squares = Vec::new();
    for (frame, outer) in (0..frames).flat_map(|frame| [(frame, false), (frame, true)]) {
        let of = all.iter().zip(&fitted.clean).filter(|(s, _)| s.frame == frame && (s.u.hypot(s.v) > OUTER) == outer);
        let (mut departures, mut errors, mut clean) = (Vec::new(), Vec::new(), 0.0);
        for (s, c) in of {
            let field = fitted.square(s.u, s.v, s.f_number).0;
            let whole = field.max(0.0) + s.floor;
            departures.push((s.square - field) / whole);
            errors.push(s.sd_at(field) / whole);
            clean += c;
        }
        if departures.len() >= SOME_SAMPLES
            && clean >= SOME_CLEAN * departures.len() as f64
            && let (Some(low), Some(error)) = (stats::quantile(&departures, 0.25), stats::quantile(&errors, 0.5))
        {
            squares.push((low + QUARTER_SD * error).powi(2));
        }
    }
    (squares.iter().sum::<f64>() / (squares.len() as f64).max(1.0)).sqrt()
}

fn entry(f_number: f64, (from, apart): (LearnedFrom, f64), fitted: &Field, all: &[Sample], span: Span) -> Entry {
    let at_stop: Vec<(&Sample, f64)> =
        all.iter().zip(&fitted.clean).filter(|(s, _)| same(s.f_number, f_number)).map(|(s, c)| (s, *c)).collect();
    let mut used: Vec<usize> = at_stop.iter().filter(|(_, c)| *c > 0.5).map(|(s, _)| s.frame).collect();
    used.dedup();
    let floor = at_stop.first().map_or(0.0, |(s, _)| s.floor);
    let sigma_um = cells(span, GRID)
        .map(|(u, v)| {
            let near = |s: &Sample| (s.u - u).hypot(s.v - v) < NEAR;
            let ever: f64 = all.iter().zip(&fitted.clean).filter(|(s, _)| near(s)).map(|(_, c)| c).sum();
            let here: f64 = at_stop.iter().filter(|(s, _)| near(s)).map(|(_, c)| c).sum();
            // What one subject showed nowhere near at this f-number is not known there, whatever the field says.
            let unseen = from == LearnedFrom::ApertureSeries && here.round() < 1.0;
            if ever < CLEAN_NEAR || unseen {
                None
            } else {
                fitted.sigma_um((u, v), f_number, here.round() as u32, (apart, floor))
            }
        })
        .collect();
    Entry { f_number, frames: used.len() as u32, columns: GRID.0, rows: GRID.1, sigma_um }
}

/// Centres of the grid's cells from the field's centre, in half-diagonals, row-major.
pub(super) fn cells(field: Span, grid: (u32, u32)) -> impl Iterator<Item = (f64, f64)> {
    let (Span(w, h), half) = (field, field.half_mm());
    (0..grid.1).flat_map(move |row| {
        (0..grid.0).map(move |column| {
            let fraction = |i: u32, n: u32| (f64::from(i) + 0.5) / f64::from(n) - 0.5;
            (fraction(column, grid.0) * w / half, fraction(row, grid.1) * h / half)
        })
    })
}
