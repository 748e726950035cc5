//! Whether the two sides of the frame bear out a lens that is out of line: at more than one height, in like content.

use super::evidence::{Evidence, Sample};
use super::fit::Problem;
use super::foreground::BETTER;
use super::model::Ready;
use super::parameters::Theta;
use crate::measure::TileMap;
use crate::stats::upper_median;

/// Number of heights the measured part of the frame is looked at in, and how many of them must speak for a lens out of
/// line. Chosen: foreground, middle and far.
const BANDS: usize = 3;
const SPEAKING: usize = 2;
/// Share of the half width from which a tile counts as lying at a side. Chosen: the outer two thirds of either half.
const SIDE: f64 = 0.35;
/// Fewest tiles of a side. Chosen: a median of fewer follows one thing.
const TILES: usize = 3;
/// How many times the contrast of one side the other may have for their content to be alike, besides what the softer
/// side loses by its blur: at most in the ratio of the widths, for detail that is as fine as the blur. Chosen: double,
/// as two sides of one meadow differ in light and shade.
const LIKE: f64 = 2.0;
/// Least difference (ln of the width) that a model foretells for a height to have a say, and the share of it that must
/// be found. Chosen: medians of a few tiles differ by as much by chance.
const FORETOLD: f64 = 0.05;
const FOUND: f64 = 0.4;
/// Fewest columns on either side of a step. Chosen: two may be misread.
const COLUMNS: usize = 3;

/// Whether what a fitted tilt or decentring foretells between left and right is found at several heights, each with
/// tiles on both sides whose contrast is alike. Sharp leaves on the left and smooth road on the right are no lens, and neither is
/// a thing that ends where its edge is.
pub(super) fn bear_out(map: &TileMap, theta: &Theta, problem: &Problem) -> bool {
    let (e, ready) = (&problem.evidence, Ready::new(theta));
    let (low, high) = e.samples.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), s| (a.min(s.v), b.max(s.v)));
    let step = (high - low) / BANDS as f64;
    let speaks = |band: usize| {
        let from = low + step * band as f64;
        let side = |sign: f64| -> Option<[f64; 3]> {
            let inside = |s: &&Sample| sign * s.u > SIDE * e.right && s.v >= from - 1e-9 && s.v <= from + step + 1e-9;
            let tiles: Vec<&Sample> = e.samples.iter().filter(inside).collect();
            if tiles.len() < TILES {
                return None;
            }
            let of = |f: &dyn Fn(&Sample) -> f64| upper_median(tiles.iter().map(|s| f(s)).collect());
            Some([of(&|s| s.y)?, of(&|s| ready.at(s, &problem.surface).y)?, of(&|s| map.tiles[s.index].contrast)?])
        };
        let (Some(left), Some(right)) = (side(-1.0), side(1.0)) else { return false };
        let (found, foretold) = (right[0] - left[0], right[1] - left[1]);
        let lost = found.abs().exp();
        let (softer, sharper) = if found > 0.0 { (right[2], left[2]) } else { (left[2], right[2]) };
        let like = softer < LIKE * sharper && sharper < LIKE * lost * softer;
        let inside = |s: &&Sample| s.v >= from - 1e-9 && s.v <= from + step + 1e-9;
        let off = |s: &Sample| s.y - ready.at(s, &problem.surface).y;
        like && foretold.abs() > FORETOLD && found / foretold > FOUND && !jumps(e, inside, off)
    };
    (0..BANDS).filter(|&band| speaks(band)).count() >= SPEAKING
}

/// Whether the blur of some tiles jumps at a column and is level on both sides of it, better than the fitted lens tells it. Tilt
/// and decentring grow all the way across a frame; what stands at one side before something farther ends at its edge. `off`: ln of a
/// tile's width less the model's.
fn jumps(e: &Evidence, inside: impl Fn(&&Sample) -> bool, off: impl Fn(&Sample) -> f64) -> bool {
    let mut tiles: Vec<&Sample> = e.samples.iter().filter(|s| !s.bounded).filter(inside).collect();
    let column = |s: &Sample| s.index % e.columns.max(1);
    tiles.sort_by_key(|s| column(s));
    let columns: Vec<(f64, f64)> = tiles
        .chunk_by(|a, b| column(a) == column(b))
        .filter_map(|c| {
            let median = |of: &dyn Fn(&Sample) -> f64| upper_median(c.iter().map(|s| of(s)).collect());
            Some((median(&|s| s.y)?, median(&|s| off(s))?))
        })
        .collect();
    let left = |of: &[f64]| {
        let mean = of.iter().sum::<f64>() / of.len() as f64;
        of.iter().map(|y| (y - mean).powi(2)).sum::<f64>()
    };
    let (widths, off): (Vec<f64>, Vec<f64>) = columns.into_iter().unzip();
    let by_step = (COLUMNS..=widths.len().saturating_sub(COLUMNS)).map(|k| left(&widths[..k]) + left(&widths[k..]));
    by_step.min_by(f64::total_cmp).is_some_and(|rest| rest < BETTER * left(&off))
}
