//! Looks again at tiles in a picture made smaller. What has detail but little or nothing fine may have a blur too wide for the
//! estimator at full size, which is within its reach there; content that is merely coarse has edges there that are sharp.
//!
//! So has what is sharp: scenes hold detail at all scales alike (Field 1987, J. Opt. Soc. Am. A 4, 2379), and a thing in focus is
//! sharp in the smaller picture too. What looks fine at full size but is widely blurred in the smaller picture is noise, which
//! cameras smooth and sharpen until it resembles detail, over something out of focus.
//!
//! A mean over k x k pixels has their common aperture, that of one large pixel, so that a reduced picture is to the estimator
//! what any picture is. Its noise is what of a k-th is left, and of a JPEG's blocks nothing that it would mind.

use multiversion::multiversion;

use super::grid::Grid;
use super::neighbours::beside;
use super::noise::NoiseModel;
use super::survey;
use super::tile::{BOUND, WIDEST};
use super::tilemap::{Tile, TileState};
use super::width::{self, KNOWN, Known, Reading};
use crate::quantity::{Estimate, PIXEL_SIGMA, Region};
use crate::shot::Plane;

/// How many times smaller the pictures are that are looked at. Chosen: each reaches twice as far as the one before, an
/// eighth to discs of 80 px.
const TIMES: [usize; 3] = [2, 4, 8];
/// Side of the estimator's patch, px. Derived: what the network was trained on.
const PATCH: usize = 96;
/// Least side of a reduced picture, px. Derived: two patches of the estimator.
const LEAST: usize = 2 * PATCH;
/// Width read at full size, px, above which a tile is looked at again: what is far wider may look there like the widest
/// that the estimator knows. Chosen: what the first reduced picture can tell from sharp.
const DOUBTED: f64 = 2.0;
/// Least width, px of the reduced picture, that is believed, and that in the picture half as large: what is narrower is sharp
/// there, which says nothing of blur but only that the content is coarse. Chosen: twice the pixel's own; three times in the picture
/// half as large, where there still is noise that the camera smoothed, which looks to the estimator some two times as wide.
const BLURRED: f64 = 2.0 * PIXEL_SIGMA;
const BLURRED_BY_HALF: f64 = 3.0 * PIXEL_SIGMA;
/// Standard deviations by which a reduced picture must read wider for a full-size number to give way. Chosen: both
/// numbers err, one way or the other.
const APART: f64 = 1.5;
/// What each further tile's width that a patch reaches over adds to the standard deviation of ln width. Chosen: a fifth
/// of what the blur of ground changes by from one tile to the next where it is wide (about a third).
const REACH: f64 = 0.06;
/// How many times wider than at full size a tile must read at the least for its fine detail to be noise. Set on the
/// photographs of ../shared and 35 more: of those that are sharp throughout hardly a tile reads more than twice as wide
/// in a smaller picture, and noise over what is out of focus reads five to forty times as wide.
const OF_NOISE: f64 = 3.0;

/// How many times smaller a picture must be for what is sharp in it to be settled: all that the patch shows lies in
/// that of a smaller picture, too, where what is thin is drowned. Chosen: a quarter of the noise is left there, too
/// little to pass for detail; in a picture half as large, what the camera smoothed may.
const SETTLED: usize = 4;

/// Gives those tiles a number or a bound that a smaller picture can tell of, and takes it from those whose number was of noise.
pub(super) fn settle(plane: &Plane, across: u32, columns: usize, known: &Known, tiles: &mut [Tile]) {
    let mut coarse: Vec<bool> = tiles.iter().map(|t| !is_fine(t)).collect();
    let mut settled = vec![false; tiles.len()];
    for times in TIMES {
        let mut open = open(columns, tiles, &coarse);
        open.retain(|&i| !settled[i]);
        let small = |side: usize| side / times < LEAST;
        if open.is_empty() || small(plane.width.min(plane.height)) {
            return;
        }
        let reduced = reduce(plane, times);
        let shrink = |t: &Tile| {
            let (x, y) = (t.x / times as u32, t.y / times as u32);
            let (width, height) = ((t.width / times as u32).max(1), (t.height / times as u32).max(1));
            Region { x, y, width, height }
        };
        // All of the picture tells what its noise is like, some of the tiles are read.
        let regions: Vec<Region> = open.iter().map(|&i| shrink(&tiles[i])).collect();
        let grid = Grid::new(reduced.width, reduced.height, across);
        let surveys: Vec<_> = (0..grid.rows).flat_map(|row| survey::survey_row(&reduced, &grid, row)).collect();
        let noise = NoiseModel::fit(&reduced, &surveys);
        let known = Known { lambda_n_px: known.lambda_n_px.map(|l| l / times as f64), ..*known };
        for (&i, reading) in open.iter().zip(width::read(&reduced, &regions, &noise, &known).0) {
            settled[i] = times >= SETTLED && is_sharp(&reading);
            coarse[i] |= tell(&mut tiles[i], reading, times as f64, coarse[i]);
        }
    }
}

/// Whether a tile says that it is sharp or nearly so; one without any detail says nothing, and is left alone.
fn is_fine(tile: &Tile) -> bool {
    tile.state != TileState::AtLeast && tile.blur.is_none_or(|b| b.value <= DOUBTED)
}

/// Tiles to look at: those without fine detail, and those with it that have such a one beside them (a look at all of them tells no
/// more).
fn open(columns: usize, tiles: &[Tile], coarse: &[bool]) -> Vec<usize> {
    let about = |i: usize| beside(tiles.len(), columns, i).any(|k| coarse[k]);
    (0..tiles.len()).filter(|&i| coarse[i] || fine(&tiles[i]).is_some() && about(i)).collect()
}

/// What a tile with fine detail says of its width, or of its bound, px.
fn fine(tile: &Tile) -> Option<f64> {
    let bound = tile.bound.filter(|_| tile.state == TileState::AtMost);
    tile.blur.map(|b| b.value).or(bound)
}

/// Whether a reduced picture shows no blur that it could tell, and is sure of it.
fn is_sharp(reading: &Reading) -> bool {
    reading.detail && reading.width.is_some_and(|(log, sd, _)| sd < KNOWN && log.exp() <= BLURRED)
}

/// What a reduced picture says of a tile, which was `coarse` before; whether its fine detail is found to be noise.
fn tell(tile: &mut Tile, reading: Reading, times: f64, coarse: bool) -> bool {
    let Some((log, sd, n)) = reading.width.filter(|_| reading.detail) else { return false };
    let width = log.exp();
    if width <= if times > 2.0 { BLURRED } else { BLURRED_BY_HALF } {
        return false;
    }
    // The large pixel's aperture gives way to the picture's own.
    let whole = |width: f64| {
        let optical = times * (width * width - PIXEL_SIGMA * PIXEL_SIGMA).max(0.0).sqrt();
        optical.hypot(PIXEL_SIGMA)
    };
    let over = times * PATCH as f64 / f64::from(tile.width.min(tile.height).max(1));
    let known = sd < KNOWN && width < WIDEST;
    let reach = REACH * (over - 1.0).max(0.0);
    let word = reading.word.unwrap_or((log, sd));
    let told = whole(word.0.exp());
    let seen = Estimate::new(told, told * word.1.hypot(reach), n);
    let least = whole(width) * (-BOUND * sd.hypot(reach)).exp();
    // A number that stands is the better one, since it is the tile's alone.
    let wider = tile.blur.is_none_or(|b| seen.value - b.value > APART * seen.sd.hypot(b.sd));
    if coarse && known && wider {
        (tile.blur, tile.bound, tile.state) = (Some(seen), None, TileState::Measured);
    } else if coarse && tile.state == TileState::AtLeast {
        tile.bound = tile.bound.map(|bound| bound.max(least));
    }
    let noise = !coarse && fine(tile).is_some_and(|fine| least > OF_NOISE * fine);
    if noise {
        let (state, bound) = if known { (TileState::Measured, None) } else { (TileState::AtLeast, Some(least)) };
        (tile.blur, tile.bound, tile.spread, tile.state) = (known.then_some(seen), bound, None, state);
    }
    noise
}

/// Means over squares of 2, 4, 8 or 16 px. Of a mosaic, samples and interpolated ones alike: they differ by less than is left.
pub(super) fn reduce(plane: &Plane, times: usize) -> Plane {
    let add: fn(&[u16], &mut [u32]) = match times {
        2 => add_squares::<2>,
        4 => add_squares::<4>,
        8 => add_squares::<8>,
        16 => add_squares::<16>,
        _ => unreachable!("pictures are made smaller by 2, 4, 8 or 16"),
    };
    let (width, height) = (plane.width / times, plane.height / times);
    let mut data = Vec::with_capacity(width * height);
    let mut sums = vec![0u32; width];
    for y in 0..height {
        sums.fill(0);
        for row in (0..times).map(|k| plane.row(y * times + k)) {
            add(row, &mut sums);
        }
        data.extend(sums.iter().map(|&sum| (sum / (times * times) as u32) as u16));
    }
    plane.resampled(width, height, data)
}

/// Adds a row's samples, `TIMES` to a sum.
#[multiversion(targets("x86_64+avx2"))]
fn add_squares<const TIMES: usize>(row: &[u16], sums: &mut [u32]) {
    for (sum, part) in sums.iter_mut().zip(row.as_chunks::<TIMES>().0) {
        *sum += part.iter().map(|&v| u32::from(v)).sum::<u32>();
    }
}
