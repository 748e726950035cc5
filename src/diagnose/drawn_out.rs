//! A track so long, and so straight along a side of the picture, that nothing which lies across it is left: from a moving car, or
//! a camera swung. Edges and bands tell shorter ones (`measure`).

use super::evidence::Evidence;
use crate::measure::TileMap;
use crate::stats::upper_median;

/// log2 of the energy of gradients one way over that of gradients the other way, in the median of the tiles, beyond
/// which a frame is drawn out (eight times), and the contrast from which a tile tells: in noise both are alike. Set on
/// 31 photographs moved by 150 and 300 px to the side (2.4 to 6.1 in the median of their tiles, beyond the limit in 58
/// of 62) and 54 that did not move (at most 2.0).
const LAYERED: f64 = 3.0;
const CONTRAST: f64 = 0.1;
/// Share of those tiles that may nonetheless read within twice the permitted blur; fewest tiles, as a share of
/// all. Chosen: more would be a thing that moved along.
const FINE: (f64, f64) = (0.08, 2.0);
const TILES: f64 = 0.1;

/// Whether the whole frame is drawn out to the side, or up and down.
pub(super) fn drawn_out(map: &TileMap, e: &Evidence, permitted: f64) -> bool {
    let told = || {
        map.tiles.iter().zip(&map.layers).filter_map(|(t, l)| Some((t, (*l)?))).filter(|(t, _)| t.contrast > CONTRAST)
    };
    let layers: Vec<f64> = told().map(|(_, l)| f64::from(l)).collect();
    let n = layers.len() as f64;
    let fine = e.samples.iter().filter(|s| s.y < (FINE.1 * permitted).ln()).count() as f64;
    n > TILES * map.tiles.len() as f64 && fine <= FINE.0 * n && upper_median(layers).is_some_and(|l| l.abs() > LAYERED)
}
