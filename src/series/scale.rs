//! The scale of diffraction where no pixel pitch is recorded: from how frames soften on stopping down.

use rayon::prelude::*;

use super::resolve::{Frame, Tile};
use crate::measure::pair::{Relative, ToneCurve};
use crate::optics::WAVELENGTH_UM;
use crate::optics::blur::{Parts, square_at};
use crate::stats;

/// Least ratio of two f-numbers that tells. Derived: a stop.
const APART: f64 = 1.4;
/// Bounds of the scale of diffraction where no pitch is known, px a unit of f-number. Derived: pixels of 0.8 to 40 um,
/// for pictures are made smaller too.
pub(super) const BOUNDS: (f64, f64) = (0.014, 0.7);
/// Most that defocus may have taken from the growth of diffraction, as a share of that growth. Chosen: a third; more,
/// and it is defocus that is measured.
const DEFOCUS: f64 = 0.3;
/// Fewest readings, and the largest standard error as a share of their middle. Chosen: a median of a dozen known to a
/// tenth.
const READINGS: usize = 12;
const SURE: f64 = 0.1;

/// Pixel pitch, um, on which light of 0.55 um would soften the frames on stopping down as they do, after whatever resizing;
/// `None` where a pitch is recorded or the frames don't tell.
///
/// In tiles whose sharpest frame was taken at one f-number, what a narrower one adds to the squared width, at the frequency
/// compared at, is the difference of two diffraction patterns that the scale alone sets (Goodman, Introduction to Fourier
/// Optics, section 6.3). What defocus takes away meanwhile is reckoned from the next wider frame and left out where large.
/// Without it frames were taken for Gaussian, whose squared width is the same at all frequencies while a diffraction
/// pattern's is not, and what small stops add came out a tenth to a quarter small.
#[must_use]
pub fn pitch_um(frames: &[Frame], curve: Option<&ToneCurve>) -> Option<f64> {
    if frames.iter().any(|f| f.pitch_um.is_some()) || frames.iter().filter(|f| f.f_number.is_some()).count() < 2 {
        return None;
    }
    let count = frames.first().map_or(0, |f| f.spectra.tiles.len());
    let tiles: Vec<Tile> = (0..count).into_par_iter().filter_map(|t| Tile::new(frames, t, None, curve)).collect();
    let found: Vec<f64> = tiles.par_iter().flat_map_iter(|t| of_tile(frames, t)).collect();
    let (middle, scatter) = (stats::median(&found)?, stats::scatter(&found)?);
    let sd = stats::MEDIAN_SD * scatter / (found.len() as f64).sqrt();
    (found.len() >= READINGS && sd < SURE * middle).then(|| WAVELENGTH_UM / middle)
}

/// Squared width of a diffraction pattern as it acts at a frequency, px^2.
fn pattern(growth: f64, n: f64, frequency: f64) -> f64 {
    let parts = Parts { lambda_n_px: Some(growth * n), ..Parts::default() };
    square_at(&parts, frequency)
}

/// The scale by each frame that was stopped down further than the tile's sharpest.
fn of_tile(frames: &[Frame], tile: &Tile) -> Vec<f64> {
    let Some(own) = frames[tile.sharpest].f_number else { return Vec::new() };
    let stops = || {
        let known = |(k, f): (usize, &Frame)| Some((f.f_number?, tile.relative[k]?));
        frames.iter().enumerate().filter_map(known)
    };
    let wider = stops().filter(|s| APART * s.0 <= own).max_by(|a, b| a.0.total_cmp(&b.0));
    // A tile without number in the wider frames may be far out of focus.
    if wider.is_none() && frames.iter().filter_map(|f| f.f_number).any(|n| APART * n <= own) {
        return Vec::new();
    }
    stops().filter(|s| s.0 >= APART * own).filter_map(|s| solve(own, s, wider)).collect()
}

/// The scale at which the patterns of two stops differ as the frames do.
fn solve(own: f64, (n, softer): (f64, Relative), wider: Option<(f64, Relative)>) -> Option<f64> {
    let grows = |growth: f64| pattern(growth, n, softer.frequency) - pattern(growth, own, softer.frequency);
    let closes = |growth: f64| {
        wider.map_or(0.0, |(w, r)| {
            let patterns = pattern(growth, own, r.frequency) - pattern(growth, w, r.frequency);
            let disc = (r.squared.value + patterns).max(0.0) / (w.powi(-2) - own.powi(-2));
            disc * (own.powi(-2) - n.powi(-2))
        })
    };
    let beyond = |growth: f64| grows(growth) - closes(growth) - softer.squared.value;
    let (mut low, mut high) = BOUNDS;
    if beyond(low) >= 0.0 || beyond(high) <= 0.0 {
        return None;
    }
    for _ in 0..30 {
        let middle = (low * high).sqrt();
        if beyond(middle) < 0.0 { low = middle } else { high = middle }
    }
    let growth = (low * high).sqrt();
    (closes(growth) < DEFOCUS * grows(growth)).then_some(growth)
}
