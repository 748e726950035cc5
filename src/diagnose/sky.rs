//! Which tiles are sky, and which of those say nothing.

use crate::measure::TileMap;
use crate::stats::upper_median;

/// Least level of a tile of sky, as a share of the upper edge's usual level, and of the level of the tile of sky beside
/// it; and its highest contrast. Chosen: land under an open sky is several times darker, ridges in haze are a step
/// darker than the sky behind them, and a tile that holds the skyline has more contrast.
pub(super) const SKY_LEVEL: f64 = 0.5;
const SKY_STEP: f64 = 0.9;
pub(super) const SKY_CONTRAST: f64 = 0.3;
/// Share of the lowest third of the picture above which what hangs together as bright as the upper edge is no sky but a
/// bright picture. Chosen: a low horizon leaves less sky there.
const SKY_LOW: f64 = 0.25;

/// Share of a row up to which what stands in the sky is no part of the scene. Chosen: masts and trunks are narrower
/// than a tenth, hills wider.
const MAST: f64 = 0.1;

/// Which tiles are sky. Little of it is as sharp by nature as land is.
///
/// Grown from the upper edge through neighbours that are as bright and as even. Where it fills much of the lowest
/// third of the picture or reaches its lower edge (snow, a wall, a picture of one brightness) nothing is taken for sky. What fades into the sky without
/// a step goes with it.
pub(super) fn sky(map: &TileMap) -> Vec<bool> {
    let (columns, rows) = (map.columns as usize, map.rows as usize);
    let mut sky = vec![false; map.tiles.len()];
    if columns == 0 || map.tiles.len() != columns * rows {
        return sky;
    }
    let top = map.tiles[..columns].iter().map(|t| t.level).collect();
    let least = SKY_LEVEL * upper_median(top).unwrap_or(0.0);
    let like = |i: usize| map.tiles[i].level >= least && map.tiles[i].contrast < SKY_CONTRAST;
    let mut next: Vec<usize> = (0..columns).filter(|&i| like(i)).collect();
    while let Some(i) = next.pop() {
        if std::mem::replace(&mut sky[i], true) {
            continue;
        }
        let (x, y) = (i % columns, i / columns);
        let beside = [
            (x > 0).then(|| i - 1),
            (x + 1 < columns).then_some(i + 1),
            (y > 0).then(|| i - columns),
            (y + 1 < rows).then_some(i + columns),
        ];
        next.extend(
            beside
                .into_iter()
                .flatten()
                .filter(|&j| !sky[j] && like(j) && map.tiles[j].level >= SKY_STEP * map.tiles[i].level),
        );
    }
    let lowest = &sky[columns * (rows - rows / 3)..];
    let low = lowest.iter().filter(|s| **s).count() as f64 > SKY_LOW * lowest.len() as f64;
    if low || sky[columns * (rows - 1)..].contains(&true) {
        sky.fill(false);
    }
    // What has sky below it stands in the sky: a flag, a lamp, a branch, a cloud.
    for x in 0..columns {
        if let Some(last) = (0..rows).rev().find(|&y| sky[y * columns + x]) {
            (0..last).for_each(|y| sky[y * columns + x] = true);
        }
    }
    sky.chunks_exact_mut(columns).for_each(masts);
    sky
}

/// Adds to the sky of one row what is narrow and has sky, or sky and the picture's edge, beside it: a mast, a trunk, a rope. At
/// whatever distance it stands, the row shows nothing else, and it would be asked as if it were a scene.
fn masts(row: &mut [bool]) {
    let widest = (MAST * row.len() as f64) as usize;
    let mut from = 0;
    while let Some(start) = row[from..].iter().position(|s| !s).map(|k| from + k) {
        let end = row[start..].iter().position(|s| *s).map_or(row.len(), |k| start + k);
        if end - start <= widest && (start, end) != (0, row.len()) {
            row[start..end].fill(true);
        }
        from = end;
    }
}

/// Share of a row's tiles of sky that must have a width of their own, and how many. Chosen: most of them, and as many
/// as a row of the ground is asked for.
const SEEN: f64 = 0.5;
const FEWEST: usize = 5;
/// Spread of ln width up to which a row's tiles of sky agree. Set on 49 photographs and scenes as raw, sharp and with
/// their far scenes out of focus by discs of 8 px: where half of a row's sky has widths, they mostly scatter by 0.01 to
/// 0.12 about the width of the land below.
const AGREEING: f64 = 0.15;

/// Which tiles of the sky say nothing of focus or lens: all of it but rows most of which have widths, and those agree. What is soft
/// by nature has none, or as many as it has tiles; what was taken for sky and is land out of focus, and the edges of clouds, are as
/// sharp as the optics draw what is far away.
pub(super) fn silent(map: &TileMap, sky: &[bool]) -> Vec<bool> {
    let columns = (map.columns as usize).max(1);
    let mut silent = sky.to_vec();
    for (tiles, silent) in map.tiles.chunks(columns).zip(silent.chunks_mut(columns)) {
        let inside = || tiles.iter().zip(silent.iter()).filter(|(_, s)| **s).map(|(t, _)| t);
        let widths: Vec<f64> = inside().filter_map(|t| Some(t.by_itself()?.value.ln())).collect();
        let seen = widths.len() >= FEWEST && widths.len() as f64 >= SEEN * inside().count() as f64;
        if seen && scatter(widths).is_some_and(|s| s <= AGREEING) {
            silent.fill(false);
        }
    }
    silent
}

/// Spread of some numbers by their median distance from their median: 1.48 of it is the standard deviation of the normal law.
fn scatter(all: Vec<f64>) -> Option<f64> {
    let middle = upper_median(all.clone())?;
    Some(1.48 * upper_median(all.into_iter().map(|y| (y - middle).abs()).collect())?)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::{Tile, TileState};
    use crate::quantity::Estimate;

    fn map(rows: &[(f64, f64)]) -> TileMap {
        let tile = |&(level, contrast): &(f64, f64)| Tile {
            x: 0,
            y: 0,
            width: 10,
            height: 10,
            state: TileState::NoDetail,
            contrast,
            noise: 0.0,
            level,
            blur: None,
            alone: None,
            bound: None,
            spread: None,
        };
        TileMap {
            width: 80,
            height: 10 * rows.len() as u32,
            columns: 8,
            rows: rows.len() as u32,
            tiles: rows.iter().flat_map(|row| vec![tile(row); 8]).collect(),
            ..TileMap::default()
        }
    }

    fn sky_rows(rows: &[(f64, f64)]) -> Vec<bool> {
        sky(&map(rows)).chunks(8).map(|row| row.iter().all(|s| *s)).collect()
    }

    #[test]
    fn sky_ends_at_the_skyline() {
        let found = sky_rows(&[(0.5, 0.02), (0.7, 0.2), (0.5, 0.5), (0.1, 0.3), (0.12, 0.3), (0.1, 0.3)]);
        assert_eq!(found, [true, true, false, false, false, false]);
    }

    #[test]
    fn masts_are_no_part_of_the_scene_and_hills_are() {
        let row = |text: &str| -> Vec<bool> { text.bytes().map(|b| b == b's').collect() };
        let after = |text: &str| {
            let mut row = row(text);
            masts(&mut row);
            row.iter().map(|s| if *s { 's' } else { '-' }).collect::<String>()
        };
        assert_eq!(after("ssss--ssssssssssssssssss"), "s".repeat(24));
        assert_eq!(after("ssssssssssssssssssssss--"), "s".repeat(24));
        assert_eq!(after("ssss-----sss---sssssssss"), "ssss-----sss---sssssssss");
        assert_eq!(after("-".repeat(24).as_str()), "-".repeat(24));
    }

    #[test]
    fn water_that_mirrors_the_sky_is_not_sky() {
        let found = sky_rows(&[(0.5, 0.02), (0.15, 0.4), (0.5, 0.1), (0.1, 0.3), (0.1, 0.3), (0.1, 0.3)]);
        assert_eq!(found, [true, false, false, false, false, false]);
    }

    #[test]
    fn snow_and_walls_are_not_sky() {
        assert!(!sky_rows(&[(0.6, 0.02); 6]).contains(&true));
        assert!(!sky_rows(&[(0.6, 0.02), (0.7, 0.1), (0.8, 0.1), (0.8, 0.2), (0.9, 0.2), (0.1, 0.3)]).contains(&true));
    }

    /// Rows of sky with these widths, px, in eight tiles.
    fn silent_rows(widths: &[[Option<f64>; 8]]) -> Vec<bool> {
        let mut map = map(&vec![(0.5, 0.02); widths.len()]);
        for (tile, width) in map.tiles.iter_mut().zip(widths.iter().flatten()) {
            tile.blur = width.map(|w| Estimate::new(w, 0.1 * w, 1));
        }
        silent(&map, &vec![true; map.tiles.len()]).chunks(8).map(|row| row.iter().all(|s| *s)).collect()
    }

    #[test]
    fn what_is_as_sharp_all_along_a_row_is_heard() {
        let few = [Some(2.2), Some(2.2), Some(2.2), Some(2.2), None, None, None, None];
        let alike = [Some(2.2), Some(2.0), Some(2.4), Some(2.3), Some(2.1), None, None, None];
        let beside_a_thing = [Some(2.2), Some(2.1), Some(2.2), Some(2.3), Some(2.2), Some(0.4), Some(0.4), None];
        let cloud = [Some(2.2), Some(1.1), Some(4.0), Some(1.6), Some(3.0), Some(5.0), None, None];
        assert_eq!(silent_rows(&[few, alike, beside_a_thing, cloud]), [true, false, false, true]);
    }
}
