//! Where to start from: the table of squared widths as a sum of a row, a column and a product.

use nalgebra::{DMatrix, DVector, SymmetricEigen};

use super::data::{Data, Point, Table, TileData};
use super::{FEWEST, SHARED, State, trust};
use crate::quantity::DISC_SIGMA;
use crate::stats::{self, MAD_SD};

/// Share of the usual spread of squared widths below which a tile shows no focus, as clouds that a file keeps little
/// of. Derived: the squared widths of a tile midway between the ends of a bracket spread by a quarter of what those of
/// a tile at an end do, and no tile's by less.
const STILL: f64 = 0.1;

/// The table of squared widths as row + column + product; see [`super::focusing`].
pub(super) fn first_guess(data: &Data, table: &Table) -> Option<State> {
    let Product { column, of_frame: u, of_tile } = Product::new(data)?;
    // The column is a parabola of the product's frame part; its bend is the square of the scale.
    let normal = DMatrix::from_fn(u.len(), 3, |k, i| u[k].powi(i as i32));
    let fit = normal.svd(true, true).solve(&DVector::from_vec(column), 1e-9).ok()?;
    if fit[2] <= 0.0 {
        return None;
    }
    let scale = fit[2].sqrt() / DISC_SIGMA;
    let focus: Vec<f64> = u.iter().map(|v| scale * (v - u[0])).collect();
    let place = of_tile.iter().map(|&(_, b)| -scale * ((b + fit[1]) / (2.0 * fit[2]) + u[0])).collect();
    let least = data.tiles.iter().map(|t| t.points.iter().map(|p| p.square).fold(f64::INFINITY, f64::min));
    let low = stats::ranked(least.collect(), 0.25)?;
    let mut lens = [0.0; SHARED];
    lens[0] = (low - table.square(0.0, 0.0)).max(0.01);
    Some(State { focus, lens, place, slope: vec![(0.0, 0.0); data.tiles.len()] })
}

/// Squared widths as row + column + product.
struct Product {
    column: Vec<f64>,
    /// The product's part by frame.
    of_frame: Vec<f64>,
    /// The row, and the product's part by tile.
    of_tile: Vec<(f64, f64)>,
}

impl Product {
    /// From tiles that focus changes and whose widths are no least ones; regressions with weights of Student's t, for clouds and what
    /// moves are a part of most pictures.
    fn new(data: &Data) -> Option<Self> {
        let n = data.frames.len();
        let (mut column, mut u) = principal(data)?;
        let changes = changing(data);
        // Of the squares, from the sd of the logarithm of the width.
        let sd = |o: &Point| 2.0 * o.square * o.sd;
        let mut of_tile: Vec<(f64, f64)> = vec![(0.0, 0.0); data.tiles.len()];
        let mut chance = f64::INFINITY;
        for _ in 0..30 {
            let rest = |o: &Point, (c, b): (f64, f64), p: &[f64], u: &[f64]| o.square - c - p[o.frame] - b * u[o.frame];
            let weight = |o: &Point, own: (f64, f64), p: &[f64], u: &[f64]| {
                trust(rest(o, own, p, u) / (sd(o) * chance)) / (sd(o) * sd(o))
            };
            let known = |t: &TileData| t.points.iter().copied().filter(|o| !o.at_least).collect::<Vec<Point>>();
            for (t, own) in data.tiles.iter().zip(&mut of_tile) {
                let points = known(t)
                    .into_iter()
                    .map(|o| (u[o.frame], o.square - column[o.frame], weight(&o, *own, &column, &u)));
                *own = line(points).unwrap_or(*own);
            }
            let of_changing = || data.tiles.iter().zip(&of_tile).zip(&changes).filter(|(_, c)| **c).map(|(t, _)| t);
            let all: Vec<(Point, (f64, f64))> =
                of_changing().flat_map(|(t, &own)| known(t).into_iter().map(move |o| (o, own))).collect();
            let (was, then) = (column.clone(), u.clone());
            for k in 0..n {
                let of_frame = all.iter().filter(|(o, _)| o.frame == k);
                let points = of_frame.map(|(o, own)| (own.1, o.square - own.0, weight(o, *own, &was, &then)));
                (column[k], u[k]) = line(points).unwrap_or((column[k], u[k]));
            }
            let scaled = all.iter().map(|(o, own)| (rest(o, *own, &column, &u) / sd(o)).abs()).collect();
            chance = (MAD_SD * stats::upper_median(scaled).unwrap_or(0.0)).max(1.0);
        }
        Some(Self { column, of_frame: u, of_tile })
    }
}

/// Which tiles' widths change with the focus.
fn changing(data: &Data) -> Vec<bool> {
    let spread = |t: &TileData| {
        let squares = || t.points.iter().filter(|o| !o.at_least).map(|o| o.square);
        (squares().fold(0.0, f64::max) - squares().fold(f64::INFINITY, f64::min)).max(0.0)
    };
    let spreads: Vec<f64> = data.tiles.iter().map(spread).collect();
    let usual = stats::median(&spreads).unwrap_or(0.0);
    spreads.iter().map(|s| *s >= STILL * usual).collect()
}

/// Column, and the product's frame part, from the scatter of doubly centred squares of tiles known in all frames.
fn principal(data: &Data) -> Option<(Vec<f64>, Vec<f64>)> {
    let n = data.frames.len();
    let whole = |t: &&TileData| t.points.len() == n && t.points.iter().all(|o| !o.at_least);
    let changes = changing(data);
    let known: Vec<&TileData> =
        data.tiles.iter().zip(&changes).filter(|(_, c)| **c).map(|(t, _)| t).filter(whole).collect();
    if known.len() < FEWEST.1 {
        return None;
    }
    let centre = |t: &&TileData| -> Vec<f64> {
        let mean = t.points.iter().map(|p| p.square).sum::<f64>() / n as f64;
        t.points.iter().map(|p| p.square - mean).collect()
    };
    let centred: Vec<Vec<f64>> = known.iter().map(centre).collect();
    let column: Vec<f64> = (0..n).map(|k| centred.iter().map(|c| c[k]).sum::<f64>() / centred.len() as f64).collect();
    let scatter = DMatrix::from_fn(n, n, |i, j| {
        centred.iter().map(|c| (c[i] - column[i]) * (c[j] - column[j])).sum::<f64>() / centred.len() as f64
    });
    let eigen = SymmetricEigen::new(scatter);
    let first = eigen.eigenvalues.imax();
    let u = eigen.eigenvectors.column(first).iter().copied().collect();
    Some((column, u))
}

/// Level and slope of the straight line through (x, y, weight); `None` where x does not vary.
fn line(points: impl Iterator<Item = (f64, f64, f64)>) -> Option<(f64, f64)> {
    stats::line(points).map(|l| (l.at_zero, l.slope))
}
