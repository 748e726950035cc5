//! Where to start from: the table of squared widths as a sum of a row, a column and a product.

use nalgebra::{DMatrix, DVector, SymmetricEigen};

use super::data::{Data, Point, Table, TileData};
use super::{FEWEST, SHARED, State};
use crate::quantity::DISC_SIGMA;
use crate::stats;

/// The table of squared widths as row + column + product; see [`super::focusing`].
pub(super) fn first_guess(data: &Data, table: &Table) -> Option<State> {
    let n = data.frames.len();
    // Of the squares, from the sd of the logarithm of the width.
    let weight = |o: &Point| 0.25 / (o.square * o.sd).powi(2);
    // The product's frame part from the scatter of doubly centred squares of tiles known in all frames.
    let whole: Vec<&TileData> = data.tiles.iter().filter(|t| t.points.len() == n).collect();
    if whole.len() < FEWEST.1 {
        return None;
    }
    let centred: Vec<Vec<f64>> = whole
        .iter()
        .map(|t| {
            let mean = t.points.iter().map(|p| p.square).sum::<f64>() / n as f64;
            t.points.iter().map(|p| p.square - mean).collect()
        })
        .collect();
    let column: Vec<f64> = (0..n).map(|k| centred.iter().map(|c| c[k]).sum::<f64>() / centred.len() as f64).collect();
    let scatter = DMatrix::from_fn(n, n, |i, j| {
        centred.iter().map(|c| (c[i] - column[i]) * (c[j] - column[j])).sum::<f64>() / centred.len() as f64
    });
    let eigen = SymmetricEigen::new(scatter);
    let first = eigen.eigenvalues.imax();
    let mut u: Vec<f64> = eigen.eigenvectors.column(first).iter().copied().collect();
    let mut p = column;
    let mut of_tile: Vec<(f64, f64)> = vec![(0.0, 0.0); data.tiles.len()];
    for _ in 0..30 {
        for (t, own) in data.tiles.iter().zip(&mut of_tile) {
            *own = line(t.points.iter().map(|o| (u[o.frame], o.square - p[o.frame], weight(o)))).unwrap_or(*own);
        }
        for k in 0..n {
            let of_frame = data.tiles.iter().zip(&of_tile).flat_map(|(t, &(c, b))| {
                t.points.iter().filter(|o| o.frame == k).map(move |o| (b, o.square - c, weight(o)))
            });
            (p[k], u[k]) = line(of_frame).unwrap_or((p[k], u[k]));
        }
    }
    // The column is a parabola of the product's frame part; its bend is the square of the scale.
    let normal = DMatrix::from_fn(n, 3, |k, i| u[k].powi(i as i32));
    let fit = normal.svd(true, true).solve(&DVector::from_vec(p), 1e-9).ok()?;
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

/// Level and slope of the straight line through (x, y, weight); `None` where x does not vary.
fn line(points: impl Iterator<Item = (f64, f64, f64)>) -> Option<(f64, f64)> {
    stats::line(points).map(|l| (l.at_zero, l.slope))
}
