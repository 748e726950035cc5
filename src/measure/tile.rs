//! One tile: what its patches say of the width becomes a state with a number.

use super::direction;
use super::edge::Edge;
use super::noise::NoiseModel;
use super::survey::Survey;
use super::tilemap::{Tile, TileState};
use super::width::{KNOWN, Reading};
use crate::quantity::{Estimate, Region};
use crate::shot::Plane;

/// Share of clipped samples from which a tile counts as clipped when it yields no number. Chosen: a fifth; less leaves
/// room for patches beside.
const CLIPPED: f64 = 0.2;
/// Contrast below which there is nothing to measure. Chosen: below, compression and quantisation are all there is.
const CONTRAST: f64 = 0.01;
/// Width, px, beyond which only a bound is given: the spreads that the estimator was trained on end at some 7 px, and what
/// is wider looks to it as if it were 5 to 6 px wide. Set on photographs under discs of 24 and 40 px (`photo_accuracy`).
pub(super) const WIDEST: f64 = 4.5;
/// Standard deviations from the mean at which a bound is set. Derived: one in twenty lies beyond.
pub(crate) const BOUND: f64 = 1.645;
/// Relative error every tile's width has beside its stated one: content that no estimator sees through. Set on the
/// rendered frames used for building, whose tiles scatter by 5 to 8 %.
pub(crate) const TILE_SCATTER: f64 = 0.05;
/// Larger over smaller width, or disc of defocus, up to which two parts of a picture are blurred alike. Chosen: beyond
/// what two parts, each known to a tenth, differ by through chance.
pub(crate) const ALIKE: f64 = 1.4;

/// Concludes on one tile.
pub(super) fn conclude(
    plane: &Plane,
    region: Region,
    survey: &Survey,
    noise: &NoiseModel,
    reading: &Reading,
    edges: &[Edge],
) -> Tile {
    let range = f64::from(plane.range()).max(1.0);
    let variance = noise.variance(survey.mean);
    // Four samples average in a bin.
    let detail = (survey.variance - variance / 4.0).max(0.0).sqrt();
    let contrast = if survey.mean > 0.0 { detail / survey.mean } else { 0.0 };
    let clipped = survey.count > 0 && survey.clipped as f64 > CLIPPED * survey.count as f64;
    let lit = survey.count > 0 && survey.mean > 0.0;
    let (mut blur, mut bound) = (None, None);
    let state = match reading.width {
        Some((log, sd, n)) if lit && reading.detail => {
            if sd < KNOWN && log.exp() < WIDEST {
                let (log, sd) = reading.word.unwrap_or((log, sd));
                blur = Some(Estimate::new(log.exp(), log.exp() * sd, n));
                TileState::Measured
            } else if clipped {
                TileState::Clipped
            } else if reading.alive && (log + BOUND * sd).exp() < WIDEST {
                bound = Some((log + BOUND * sd).exp());
                TileState::AtMost
            } else {
                bound = Some((log - BOUND * sd).exp());
                TileState::AtLeast
            }
        }
        _ if clipped => TileState::Clipped,
        _ if contrast > CONTRAST && detail < 2.0 * variance.sqrt() => TileState::Noisy,
        _ => TileState::NoDetail,
    };
    Tile {
        x: region.x,
        y: region.y,
        width: region.width,
        height: region.height,
        state,
        contrast,
        noise: variance.sqrt() / range,
        level: survey.mean / range,
        blur,
        alone: None,
        bound,
        spread: blur.and_then(|_| direction::spread(edges)),
    }
}
