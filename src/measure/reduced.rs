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
use super::noise::NoiseModel;
use super::survey;
use super::tile::{BOUND, WIDEST};
use super::tilemap::{Tile, TileState};
use super::width::{self, KNOWN, Known, Reading};
use crate::quantity::{Estimate, PIXEL_SIGMA, Region};
use crate::shot::Plane;

/// Chosen: a quarter reaches from where full size ends to discs of 40 px, an eighth to twice that. How many times
/// smaller the pictures are that are looked at.
const TIMES: [usize; 2] = [4, 8];
/// Derived: what the network was trained on. Side of the estimator's patch, px.
const PATCH: usize = 96;
/// Derived: two patches of the estimator. Least side of a reduced picture, px.
const LEAST: usize = 2 * PATCH;
/// Chosen: what the first reduced picture can tell from sharp. Width, px, from which a number had at full size is
/// looked at again: there what is far wider may look like the widest that the estimator knows.
const DOUBTED: f64 = 2.0;
/// Chosen: twice the pixel's own. Least width, px of the reduced picture, that is believed: what is narrower is sharp
/// there, which says nothing of blur but only that the content is coarse.
const BLURRED: f64 = 2.0 * PIXEL_SIGMA;
/// Chosen: both err, one way or the other. Standard deviations by which a reduced picture must read wider for a number
/// to give way.
const APART: f64 = 1.5;
/// Chosen: a fifth of what the blur of ground changes by from one tile to the next where it is wide, about a third.
/// What each further tile's width that a patch reaches over adds to the standard deviation of ln width.
const REACH: f64 = 0.06;
/// Set on the photographs of ../shared and 35 more: of those that are sharp throughout hardly a tile reads more than twice as wide
/// in a smaller picture, and over what is out of focus noise reads five to forty times as wide. How many times wider than at full
/// size a tile must be at the least for its fine detail to be noise.
const OF_NOISE: f64 = 3.0;
/// Chosen: a look at every tile would cost a fifth more. How many tiles away one without fine detail makes those with it doubtful.
const AROUND: usize = 2;

/// Gives those tiles a number that a smaller picture can tell of, and takes it from those whose number was of noise.
pub(super) fn settle(plane: &Plane, across: u32, columns: usize, known: &Known, tiles: &mut [Tile]) {
    for times in TIMES {
        let open = open(columns, tiles);
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
            tell(&mut tiles[i], reading, times as f64);
        }
    }
}

/// Tiles to look at: those without fine detail, and those with it that have such a one about them.
fn open(columns: usize, tiles: &[Tile]) -> Vec<usize> {
    let coarse: Vec<bool> =
        tiles.iter().map(|t| t.state == TileState::AtLeast || t.blur.is_some_and(|b| b.value > DOUBTED)).collect();
    let place = |i: usize| (i % columns.max(1), i / columns.max(1));
    let about = |i: usize| {
        let (x, y) = place(i);
        let lines = y.saturating_sub(AROUND)..=y + AROUND;
        let mut near = lines
            .flat_map(|y| (x.saturating_sub(AROUND)..=(x + AROUND).min(columns - 1)).map(move |x| y * columns + x));
        near.any(|k| coarse.get(k) == Some(&true))
    };
    (0..tiles.len()).filter(|&i| coarse[i] || fine(&tiles[i]).is_some() && about(i)).collect()
}

/// What a tile of fine detail says of its width, or of its bound, px.
fn fine(tile: &Tile) -> Option<f64> {
    let bound = tile.bound.filter(|_| tile.state == TileState::AtMost);
    tile.blur.map(|b| b.value).or(bound)
}

/// What a reduced picture says of a tile.
fn tell(tile: &mut Tile, reading: Reading, times: f64) {
    let Some((log, sd, n)) = reading.width.filter(|_| reading.detail) else { return };
    let width = log.exp();
    if width <= BLURRED {
        return;
    }
    // The large pixel's aperture gives way to the picture's own.
    let optical = times * (width * width - PIXEL_SIGMA * PIXEL_SIGMA).sqrt();
    let whole = optical.hypot(PIXEL_SIGMA);
    let over = times * PATCH as f64 / f64::from(tile.width.min(tile.height).max(1));
    let known = sd < KNOWN && width < WIDEST;
    let sd = sd.hypot(REACH * (over - 1.0).max(0.0));
    let seen = Estimate::new(whole, whole * sd, n);
    let least = whole * (-BOUND * sd).exp();
    // A number that stands is the better one, since it is the tile's alone.
    let wider = tile.blur.is_none_or(|b| seen.value - b.value > APART * seen.sd.hypot(b.sd));
    match fine(tile) {
        Some(fine) if fine <= DOUBTED => {
            if least > OF_NOISE * fine {
                let state = if known { TileState::Measured } else { TileState::AtLeast };
                (tile.blur, tile.bound, tile.spread) = (known.then_some(seen), (!known).then_some(least), None);
                tile.state = state;
            }
        }
        _ if known && wider => (tile.blur, tile.bound, tile.state) = (Some(seen), None, TileState::Measured),
        _ => {}
    }
}

/// Means over squares of 4, 8 or 16 px. Of a mosaic, samples and interpolated ones alike: they differ by less than is left.
pub(super) fn reduce(plane: &Plane, times: usize) -> Plane {
    let add: fn(&[u16], &mut [u32]) = match times {
        4 => add_squares::<4>,
        8 => add_squares::<8>,
        16 => add_squares::<16>,
        _ => unreachable!("pictures are made smaller by 4, 8 or 16"),
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
