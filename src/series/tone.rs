//! How contrast goes with light in the rendered frames of one scene.

use rayon::prelude::*;

use super::resolve::{Frame, Tile};
use crate::measure::pair::ToneCurve;

/// The tone curve that rendered frames share, by how the contrast of one place changes where its level does; `None` where fewer
/// than two are rendered or too little can be compared.
///
/// Without it contrast would have to be left free in each tile, and a disc of defocus or a diffraction pattern would be taken
/// for a change of contrast in part: the differences of squared widths came out 0.1 to 0.2 px^2 wrong.
#[must_use]
pub fn tone_curve(frames: &[Frame]) -> Option<ToneCurve> {
    let rendered = |k: usize| frames[k].spectra.rendered;
    if (0..frames.len()).filter(|&k| rendered(k)).count() < 2 {
        return None;
    }
    let count = frames.first().map_or(0, |f| f.spectra.tiles.len());
    let of_tile = |t: usize| {
        let tile = Tile::new(frames, t, None, None);
        let readings = tile.into_iter().filter(|tile| rendered(tile.sharpest)).flat_map(|tile| {
            let others =
                tile.relative.into_iter().enumerate().filter(move |(k, _)| *k != tile.sharpest && rendered(*k));
            others.filter_map(|(_, r)| r.map(|r| (r.levels, r.gain)))
        });
        readings.collect::<Vec<_>>()
    };
    let readings: Vec<_> = (0..count).into_par_iter().flat_map_iter(of_tile).collect();
    ToneCurve::learn(&readings)
}
