//! What the picture's light says of the horizon: where the sky ends, and whether haze hides the far scene.

use crate::measure::{Tile, TileMap};
use crate::stats::{Line, line, upper_median};

/// Share of the columns that must have sky at the top for the sky's lower edge to say where the horizon is. Chosen:
/// half; less may be gaps between trees.
const SKY_COLUMNS: f64 = 0.5;
/// Quantile of the columns' lower edges of sky, from the top, that is taken. Chosen: hills hide the horizon, gaps
/// between them show it best.
const GAPS: f64 = 0.75;

/// v of the sky's lower edge, by the columns where it reaches lowest; `None` where too little sky shows.
pub(super) fn skyline(map: &TileMap, sky: &[bool]) -> Option<f64> {
    let columns = map.columns as usize;
    if columns == 0 || sky.len() != map.tiles.len() {
        return None;
    }
    let mut edges: Vec<f64> = (0..columns)
        .filter_map(|x| {
            let last = (0..map.rows as usize).map(|y| y * columns + x).take_while(|&i| sky[i]).last()?;
            Some(f64::from(map.tiles[last].y + map.tiles[last].height))
        })
        .collect();
    if (edges.len() as f64) < SKY_COLUMNS * columns as f64 {
        return None;
    }
    edges.sort_by(f64::total_cmp);
    let edge = edges[((edges.len() - 1) as f64 * GAPS) as usize];
    Some(map.uv((0.0, edge)).1)
}

/// Shares of the foreground's contrast, and of its step in level from the sky, between which a row lies in the
/// veil. Chosen: from just told from the sky to well below the foreground.
const VEILED_CONTRAST: (f64, f64) = (0.08, 0.62);
const VEILED_LEVEL: (f64, f64) = (0.05, 0.93);
/// Fewest rows, and least share of the picture's height, over which a veil thins; two rows are enough where even the
/// second has less than `THICK` of the foreground's step. Chosen: a clear skyline is one row, ridges in thin haze two.
const VEIL_ROWS: usize = 3;
const THICK: f64 = 0.8;
const VEIL_HEIGHT: f64 = 0.12;
/// How far above the picture, in v, the horizon of a veil may lie. Chosen: a quarter of the half diagonal; a root that
/// lies higher is of lighting, not of air.
const ABOVE: f64 = 0.25;
/// Least step in level between sky and foreground, as a share of the larger. Chosen: haze must be told from the
/// foreground by more than an uneven light.
const STEP: f64 = 0.15;

/// v of the horizon where haze or fog hides it; `None` where the far scene is not veiled.
///
/// Contrast seen through air falls as exp(-distance / V) and the level goes to the air's own in the same measure
/// (Koschmieder 1924). On level ground distance is one over v - horizon, so 1 / -ln(contrast ratio) is a straight
/// line in v with its root at the horizon. Rows count from the first that is told from the sky down to where the
/// foreground's contrast is reached; both contrast and level must grow from each to the next.
pub(super) fn veiled_horizon(map: &TileMap) -> Option<f64> {
    let (columns, rows) = (map.columns as usize, map.rows as usize);
    if columns == 0 || rows < 6 || map.tiles.len() != columns * rows {
        return None;
    }
    let contrast = |tiles: &[Tile]| upper_median(tiles.iter().map(|t| t.contrast).collect());
    let level = |tiles: &[Tile]| upper_median(tiles.iter().map(|t| t.level).collect());
    let row = |y: usize| &map.tiles[y * columns..(y + 1) * columns];
    let lowest = &map.tiles[columns * (rows - rows / 3)..];
    let (foreground, top, ground) = (contrast(lowest)?, level(row(0))?, level(lowest)?);
    // Haze is as bright as the sky behind it, so the ground must be darker for it to show.
    if !(foreground > 0.0 && top - ground > STEP * top) {
        return None;
    }
    let mut veil: Vec<(f64, f64)> = Vec::new();
    let mut before = (0.0, 0.0);
    for y in 0..rows {
        let contrast = contrast(row(y))? / foreground;
        let level = (top - level(row(y))?) / (top - ground);
        if veil.is_empty() && (contrast < VEILED_CONTRAST.0 || level < VEILED_LEVEL.0) {
            if contrast > VEILED_CONTRAST.1 || level > VEILED_LEVEL.1 {
                return None;
            }
            continue;
        }
        if contrast > VEILED_CONTRAST.1 || level > VEILED_LEVEL.1 {
            break;
        }
        if contrast < before.0 || level < before.1 {
            return None;
        }
        before = (contrast, level);
        veil.push((map.uv(row(y)[0].centre()).1, -1.0 / contrast.ln()));
    }
    let few = veil.len() < VEIL_ROWS && !(veil.len() == VEIL_ROWS - 1 && before.1 < THICK);
    if few || (veil.len() as f64) < VEIL_HEIGHT * rows as f64 {
        return None;
    }
    let Line { at_zero, slope } = line(veil.iter().map(|&(v, y)| (v, y, 1.0)))?;
    // No lower than the first row that is told from the sky; a root far above the picture is no veil's.
    let horizon = (-at_zero / slope).min(veil[0].0);
    let top = map.uv((0.0, 0.0)).1;
    // The row above the first shows too little to tell it from the sky, and so it must by the line: what stands out
    // of it at once is a ridge.
    let above = 2.0 * veil[0].0 - veil[1].0;
    let shows = above > horizon && (-1.0 / (slope * (above - horizon))).exp() > VEILED_CONTRAST.0;
    (slope > 0.0 && horizon > top - ABOVE && !shows).then_some(horizon)
}
