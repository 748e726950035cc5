//! How the gradients of each tile lie: water seen from a shore is drawn in layers, its ripples foreshortened into flat
//! strokes, so that brightness changes far more from row to row than from column to column. Ground stands up from its
//! plane (stones, grass, twigs) and changes about alike both ways.

use multiversion::multiversion;
use rayon::prelude::*;

use super::grid::Grid;
use crate::shot::Plane;

/// One row of 2 x 2 blocks in so many is looked at. Chosen: a tile has far more gradients than are needed.
const EVERY: usize = 4;

/// log2 of the energy of gradients up and down over that of gradients across, tile by tile; `None` where a tile has no
/// gradient. Of 2 x 2 means, which treat a colour mosaic's own samples and the interpolated ones alike.
pub(super) fn layers(plane: &Plane, grid: &Grid) -> Vec<Option<f32>> {
    if plane.width < 8 || plane.height < 8 || plane.data.len() < plane.width * plane.height {
        return vec![None; (grid.columns * grid.rows) as usize];
    }
    let rows: Vec<Vec<Option<f32>>> =
        (0..grid.rows).into_par_iter().map(|row| layers_of_row(plane, grid, row)).collect();
    rows.into_iter().flatten().collect()
}

fn layers_of_row(plane: &Plane, grid: &Grid, row: u32) -> Vec<Option<f32>> {
    let columns = grid.columns as usize;
    let first = grid.cell(0, row);
    let (top, bottom) = (first.y as usize / 2 * 2, (first.y + first.height) as usize);
    let width = plane.width / 2;
    let mut bins = [vec![0.0f32; width], vec![0.0f32; width], vec![0.0f32; width]];
    let mut sums = vec![(0.0f64, 0.0f64); columns];
    // Three rows of 2 x 2 means at a time.
    for y in (top..bottom.saturating_sub(6)).step_by(2 * EVERY) {
        for (k, bin) in bins.iter_mut().enumerate() {
            add_up(plane.row(y + 2 * k), plane.row(y + 2 * k + 1), bin);
        }
        let [above, here, below] = &bins;
        for (c, sum) in sums.iter_mut().enumerate() {
            let cell = grid.cell(c as u32, row);
            let (from, to) = ((cell.x as usize / 2).max(1), ((cell.x + cell.width) as usize / 2).min(width - 1));
            if from < to {
                sum.0 += apart(&below[from..to], &above[from..to]);
                sum.1 += apart(&here[from + 1..=to], &here[from - 1..to - 1]);
            }
        }
    }
    sums.into_iter().map(|(down, across)| (down > 0.0 && across > 0.0).then(|| (down / across).log2() as f32)).collect()
}

/// Sums over 2 x 2 samples of two rows.
#[multiversion(targets("x86_64+avx2"))]
fn add_up(above: &[u16], below: &[u16], out: &mut [f32]) {
    for (o, (p, q)) in out.iter_mut().zip(above.as_chunks::<2>().0.iter().zip(below.as_chunks::<2>().0)) {
        *o = (u32::from(p[0]) + u32::from(p[1]) + u32::from(q[0]) + u32::from(q[1])) as f32;
    }
}

/// Sum of the squared differences.
#[multiversion(targets("x86_64+avx2"))]
fn apart(one: &[f32], other: &[f32]) -> f64 {
    let ((one, one_rest), (other, other_rest)) = (one.as_chunks::<8>(), other.as_chunks::<8>());
    let mut sums = [0.0_f32; 8];
    for (a, b) in one.iter().zip(other) {
        for k in 0..8 {
            sums[k] += (a[k] - b[k]) * (a[k] - b[k]);
        }
    }
    let rest = one_rest.iter().zip(other_rest).map(|(a, b)| f64::from(a - b).powi(2));
    sums.iter().map(|&v| f64::from(v)).sum::<f64>() + rest.sum::<f64>()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn strokes_that_lie_flat_are_layers_and_their_turned_copy_is_not() {
        let make = |flat: bool| {
            let at = |x: usize, y: usize| {
                if flat { (y as f64 / 9.0 + x as f64 / 90.0).sin() } else { (x as f64 / 9.0 + y as f64 / 90.0).sin() }
            };
            let data = (0..480 * 320).map(|i| (8000.0 + 3000.0 * at(i % 480, i / 480)) as u16).collect();
            layers(&Plane::plain(480, 320, data, 65535), &Grid::new(480, 320, 24))
        };
        // Ten times as steep one way as the other: a hundredfold energy, 6.6 in log2.
        assert!(make(true).iter().all(|l| (l.unwrap() - 6.6).abs() < 0.7));
        assert!(make(false).iter().all(|l| (l.unwrap() + 6.6).abs() < 0.7));
    }
}
