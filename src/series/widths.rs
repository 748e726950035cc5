//! Widths that a bracket is answered from, and those of one frame steadied by their neighbours.

use crate::quantity::Region;
use crate::stats::{MAD_SD, upper_median};

/// Widths that a bracket is answered from.
#[derive(Clone, Debug, PartialEq)]
pub struct Widths {
    /// `[frame][tile]`: px, pixel aperture included.
    pub sigma: Vec<Vec<Option<f64>>>,
    /// The same by as much narrower as chance may have made it wider, where that is to be allowed: it says whether a place may count as
    /// shown sharp, and no more. `None` where there is nothing to allow for.
    pub low: Option<Vec<Vec<Option<f64>>>>,
    /// Where the tiles lie and the frames are focused, where the frames tell it.
    pub depth: Option<Depth>,
    /// Standard error of a width as a share of it, as far as `low` does not allow for it.
    pub doubt: f64,
}

impl Widths {
    /// The same without widths of these frames.
    #[must_use]
    pub fn without(&self, frames: &[usize]) -> Self {
        let mut kept = self.clone();
        for &k in frames {
            kept.sigma[k].fill(None);
            kept.low.iter_mut().for_each(|low| low[k].fill(None));
        }
        kept
    }

    /// The least that a tile's width may be in a frame, px.
    pub(super) fn may_be(&self, frame: usize, tile: usize) -> Option<f64> {
        self.low.as_ref().unwrap_or(&self.sigma)[frame][tile]
    }
}

/// Places of tiles and frames along the depth of a scene: inverse distances in px of blur disc, to an unknown sign and offset.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Depth {
    /// `[tile]`: where it lies.
    pub place: Vec<Option<f64>>,
    /// `[frame]`: where it is focused.
    pub focus: Vec<Option<f64>>,
    /// `[tile]`: its width where it is in focus, px, pixel aperture included.
    pub in_focus: Vec<Option<f64>>,
}

/// Tiles to each side along the row that steady a tile. Chosen: a third of a row.
const SIDE: usize = 4;

/// Widths of one frame with the chance of single tiles taken out: each that differs from the middle one of its stretch
/// of the row by no more than chance becomes the mean (of logarithms) of those that do so too, much as the sigma filter of
/// Lee (1983) does. One odd tile would otherwise ask for a frame of its own; what stands at another distance stays.
///
/// Neighbours are four to each side along the row, where level ground lies at one distance, and the tiles above and
/// below as a pair, so that blur that grows down the picture stays as it is.
pub(super) fn steadied(values: &[Option<f64>], tiles: &[Region]) -> Vec<Option<f64>> {
    let columns = tiles.iter().take_while(|t| t.y == tiles[0].y).count().max(1);
    let value = |t: usize| values[t];
    let same_row = |a: usize, b: usize| b < values.len() && a / columns == b / columns;
    let steps =
        (0..values.len()).filter(|&t| same_row(t, t + 1)).filter_map(|t| Some((value(t)? - value(t + 1)?).abs()));
    // Scatter of one tile from the middle step between two.
    let chance = MAD_SD * upper_median(steps.collect()).unwrap_or(0.0) / std::f64::consts::SQRT_2;
    (0..values.len())
        .map(|t| {
            let own = value(t)?;
            let row = (t.saturating_sub(SIDE)..=t + SIDE).filter(|&o| same_row(t, o)).filter_map(&value);
            let mut row: Vec<f64> = row.collect();
            row.sort_by(f64::total_cmp);
            let usual = row[row.len() / 2];
            if (own - usual).abs() > 3.0 * chance {
                return Some(own);
            }
            let near = |other: &f64| (other - usual).abs() <= 2.5 * chance;
            let mut alike: Vec<f64> = row.into_iter().filter(near).collect();
            let above = t.checked_sub(columns).and_then(value);
            let below = (t + columns < values.len()).then(|| value(t + columns)).flatten();
            if let Some(middle) = above.zip(below).map(|(a, b)| (a + b) / 2.0).filter(near) {
                alike.extend([middle, middle]);
            }
            Some(alike.iter().sum::<f64>() / alike.len() as f64)
        })
        .collect()
}
