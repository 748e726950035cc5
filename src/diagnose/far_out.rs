//! Ends of a picture that are out of focus by far, whatever the fitted model makes of them: nothing in them is fine, and what they
//! show is neither sky nor water.

use std::collections::BTreeSet;

use super::evidence::{Evidence, Sample};
use super::foreground::{FAR_OUT, MOST, Told, layered, median};
use super::sky::{SKY_CONTRAST, SKY_LEVEL, sky};
use super::zones::NEAR_BAND;
use crate::measure::{Tile, TileMap, TileState};
use crate::quantity::DISC_SIGMA;

/// Least contrast of tiles that are no sky for certain: no sky is seen, and they are darker than what lies below them;
/// or sky is seen, and they lie below it, beside the one thing that is fine. Set on pictures made with a far scene out
/// of focus by 24 and 48 px, and on close subjects read by eye: what is left of the contrast of a tile then.
const SMOOTH: f64 = 0.05;
/// Fewest tiles that tell, as a share of the columns. Chosen: fewer may be one thing at the edge.
const WIDE: f64 = 0.3;

/// The width of a tile, px, or the least that it may be, where that is more than `least`; nothing where it is less; unknown where
/// neither is known.
fn wider(tile: &Tile, least: f64) -> Option<Option<f64>> {
    match (tile.state, tile.blur, tile.bound) {
        (_, Some(b), _) => Some((b.value > least).then_some(b.value)),
        (TileState::AtMost, _, Some(bound)) if bound < least => Some(None),
        (TileState::AtLeast, _, Some(bound)) if bound > least => Some(Some(bound)),
        _ => None,
    }
}

/// Share of the tiles below the sky that are wider than what counts as out of focus by far, of those that tell, whatever their
/// contrast.
pub(super) fn share_far_out(map: &TileMap, permitted: f64) -> f64 {
    let below = map.tiles.iter().zip(sky(map)).filter(|(_, sky)| !sky);
    let told: Vec<bool> = below.filter_map(|(t, _)| Some(wider(t, FAR_OUT.0 * permitted)?.is_some())).collect();
    told.iter().filter(|soft| **soft).count() as f64 / f64::max(told.len() as f64, 1.0)
}

/// Tiles most of which are out of focus by far: of a contrast, and nothing in them is fine. Ground or not, such a zone is
/// soft. The focus lies on whatever is fine elsewhere: farther than the nearest thing, nearer than the farthest.
fn far_out(map: &TileMap, e: &Evidence, tiles: &[u32], permitted: f64, contrast: f64, far: bool) -> Option<Told> {
    let least = FAR_OUT.0 * permitted;
    let place = |t: &Tile| map.uv(t.centre());
    // ln of the width of what is far out of focus, nothing of what is fine.
    let told = |t: &Tile| match wider(t, least)? {
        _ if e.skyline.is_some_and(|edge| place(t).1 < edge) => None,
        None => Some(None),
        Some(_) if t.contrast < contrast => None,
        Some(width) => Some(Some(width.ln())),
    };
    let inside: Vec<(&Tile, Option<f64>)> =
        tiles.iter().map(|&i| &map.tiles[i as usize]).filter_map(|t| Some((t, told(t)?))).collect();
    let soft: Vec<(&Tile, f64)> = inside.iter().filter_map(|&(t, y)| Some((t, y?))).collect();
    let n = soft.len() as f64;
    let ln_width = median(soft.iter().map(|s| s.1).collect());
    // Focus can't miss by more than it does a hand's breadth before the lens: what is softer yet flows or moves.
    let possible = ln_width.exp() <= DISC_SIGMA * e.largest_disc();
    if n < MOST * inside.len() as f64 || n < WIDE * e.columns as f64 || !possible {
        return None;
    }
    let fine = map.tiles.iter().filter(|t| told(t) == Some(None)).count() as f64;
    let side = match far {
        _ if fine < WIDE * e.columns as f64 => 0.0,
        true => -1.0,
        false => 1.0,
    };
    let (u, v) = soft.iter().fold((0.0, 0.0), |sum, s| (sum.0 + place(s.0).0 / n, sum.1 + place(s.0).1 / n));
    Some(Told { place: Sample::place(u, v, None), ln_width, sd: 0.3, used: n, side })
}

/// The same of the far zone. `drawn_out`: whether water and mist would have been drawn out.
pub(super) fn scene_far_out(
    map: &TileMap,
    e: &Evidence,
    tiles: &[u32],
    permitted: f64,
    drawn_out: bool,
) -> Option<Told> {
    let no_sky = e.skyline.map_or_else(
        || brightness(map, tiles) < 1.0,
        |edge| fine_is_one_thing(map, e, tiles, (edge, FAR_OUT.0 * permitted), drawn_out),
    );
    far_out(map, e, tiles, permitted, if no_sky { SMOOTH } else { FAR_OUT.1 }, true)
}

/// What is finer than what counts as out of focus by far between the edge of the sky and the far zone, where most columns show
/// something so; else nothing. It is as far as the zone or farther.
pub(super) fn fine_above(map: &TileMap, e: &Evidence, tiles: &[u32], permitted: f64) -> Vec<u32> {
    let Some(edge) = e.skyline else { return Vec::new() };
    let width = map.columns.max(1);
    let from = tiles.iter().min().map_or(0, |first| first / width * width);
    let fine = |i: &u32| {
        let tile = &map.tiles[*i as usize];
        map.uv(tile.centre()).1 >= edge && wider(tile, FAR_OUT.0 * permitted) == Some(None)
    };
    let found: Vec<u32> = (0..from).filter(fine).collect();
    let columns: BTreeSet<u32> = found.iter().map(|i| i % width).collect();
    if columns.len() as f64 > MOST * e.columns as f64 { found } else { Vec::new() }
}

/// Whether the far zone is soft by far below a scene that isn't: a lake mirrors what stands behind it more softly.
pub(super) fn may_mirror(map: &TileMap, e: &Evidence, tiles: &[u32], permitted: f64) -> bool {
    far_out(map, e, tiles, permitted, SMOOTH, true).is_some() && !fine_above(map, e, tiles, permitted).is_empty()
}

/// Whether, from the edge of the sky down, most columns of the far zone show something but nothing finer than a `least` width: what
/// is fine in the others then stands before the far scene. A shore or a ridge is fine in every column, however smooth what lies
/// below it; of a sea or a mist that was drawn out nothing fine may be left, but it lies in layers.
fn fine_is_one_thing(map: &TileMap, e: &Evidence, tiles: &[u32], (edge, least): (f64, f64), drawn_out: bool) -> bool {
    let width = map.columns.max(1);
    let columns = |tiles: &[u32]| tiles.iter().map(|i| i % width).collect::<BTreeSet<u32>>();
    let tile = |i: u32| &map.tiles[i as usize];
    let v = |i: u32| map.uv(tile(i).centre()).1;
    let told = |i: u32| wider(tile(i), least);
    let row = 2.0 * e.bottom / e.rows.max(1) as f64;
    let down_to = tiles.iter().max().map_or(0, |last| (last / width + 1) * width);
    // The skyline itself crosses the row above its edge.
    let fine = columns(&(0..down_to).filter(|&i| v(i) >= edge - row && told(i) == Some(None)).collect::<Vec<_>>());
    let wide = |i: u32| matches!(told(i), Some(Some(_))) && tile(i).contrast >= SMOOTH && v(i) >= edge;
    let soft: Vec<u32> = tiles.iter().copied().filter(|&i| wide(i) && !fine.contains(&(i % width))).collect();
    let (fine, wide) = (fine.len() as f64, columns(&soft).len() as f64);
    wide > MOST * (fine + wide) && wide > WIDE * e.columns as f64 && !(drawn_out && layered(map, &soft))
}

/// The same of the lowest eighth of the picture, from side to side.
pub(super) fn lowest_far_out(map: &TileMap, e: &Evidence, permitted: f64) -> Option<Told> {
    let from = (1.0 - NEAR_BAND) * f64::from(map.height);
    let lowest: Vec<u32> = (0..).zip(&map.tiles).filter(|(_, t)| t.centre().1 > from).map(|(i, _)| i).collect();
    far_out(map, e, &lowest, permitted, FAR_OUT.1, false)
}

/// The same of what lies above the far zone, with its tiles, where no sky is seen and what is there is as unlike one in
/// brightness and contrast as a sky is told by: the far scene is out of focus, and the zone lies on something nearer.
pub(super) fn above_far_out(map: &TileMap, e: &Evidence, far: &[u32], permitted: f64) -> Option<(Told, Vec<u32>)> {
    let from = *far.iter().min()?;
    let above: Vec<u32> = (0..from).collect();
    if e.skyline.is_some() || from == 0 || may_be_sky(map, &above) {
        return None;
    }
    let contrast = if brightness(map, &above) < 1.0 { SMOOTH } else { SKY_CONTRAST };
    let strong: Vec<u32> = above.into_iter().filter(|&i| map.tiles[i as usize].contrast >= contrast).collect();
    Some((far_out(map, e, &strong, permitted, contrast, true)?, strong))
}

/// Whether tiles are as much brighter than what lies below them as a sky is.
pub(super) fn may_be_sky(map: &TileMap, tiles: &[u32]) -> bool {
    SKY_LEVEL * brightness(map, tiles) > 1.0
}

/// How many times as bright as what lies below them some tiles are.
fn brightness(map: &TileMap, tiles: &[u32]) -> f64 {
    let level = |tiles: &mut dyn Iterator<Item = &Tile>| median(tiles.map(|t| t.level).collect());
    let below = tiles.iter().max().map_or(0, |last| *last as usize + 1);
    let own = level(&mut tiles.iter().map(|&i| &map.tiles[i as usize]));
    own / level(&mut map.tiles[below..].iter())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::Estimate;
    use crate::shot::Capture;

    const COLUMNS: u32 = 24;

    /// Four rows of sky, three of mountains that are fine in so many columns, two that are soft, and sharp ground below.
    fn lake(fine: u32) -> TileMap {
        let tile = |i: u32| {
            let (column, row) = (i % COLUMNS, i / COLUMNS);
            let width = match row {
                0..4 => None,
                4..7 => (column < fine).then_some(0.5),
                7..9 => Some(6.0),
                _ => Some(0.5),
            };
            Tile {
                x: 100 * column,
                y: 100 * row,
                width: 100,
                height: 100,
                state: if width.is_some() { TileState::Measured } else { TileState::NoDetail },
                contrast: if row < 4 { 0.01 } else { 0.4 },
                noise: 0.003,
                level: if row < 4 { 0.8 } else { 0.2 },
                blur: width.map(|w| Estimate::new(w, 0.1 * w, 4)),
                alone: None,
                bound: None,
                spread: None,
            }
        };
        let tiles = (0..16 * COLUMNS).map(tile).collect();
        TileMap { width: 2400, height: 1600, columns: COLUMNS, rows: 16, tiles, ..TileMap::default() }
    }

    /// A mirror image is no sharper than what it mirrors, which lies farther than the water. What is fine in a few columns alone may
    /// stand before the soft rows.
    #[test]
    fn what_is_soft_below_a_scene_that_is_fine_from_side_to_side_mirrors_it() {
        let zone: Vec<u32> = (7 * COLUMNS..9 * COLUMNS).collect();
        let (map, few) = (lake(COLUMNS), lake(COLUMNS / 3));
        let e = Evidence::new(&map, &Capture::default(), None);
        assert!(e.skyline.is_some());
        assert!(may_mirror(&map, &e, &zone, 0.53));
        assert_eq!(fine_above(&map, &e, &zone, 0.53), (4 * COLUMNS..7 * COLUMNS).collect::<Vec<_>>());
        assert!(!may_mirror(&few, &Evidence::new(&few, &Capture::default(), None), &zone, 0.53));
        // Nothing is mirrored where nothing is soft.
        assert!(!may_mirror(&map, &e, &(9 * COLUMNS..11 * COLUMNS).collect::<Vec<_>>(), 0.53));
    }
}
