//! One streaming pass over a row of tiles: level, contrast, clipping, quiet spots for the noise, and places
//! where an edge may be.
//!
//! The pass works on 2 x 2 sums of the samples, which halve the noise and treat a colour mosaic's own
//! samples and the interpolated ones alike; full resolution is read again only around chosen edges.

use multiversion::multiversion;

use super::grid::Grid;
use crate::shot::{Mosaic, Plane};

/// Side of the cells, px, that each offer their strongest gradient and one noise reading. Chosen: two of JPEG's blocks.
const CELL: usize = 16;
/// One row of so many in a cell is sampled for noise. Chosen: neighbouring rows share their samples.
const NOISE_EVERY: usize = 4;

/// A place where an edge may be.
#[derive(Clone, Copy, Debug)]
pub(super) struct Candidate {
    /// Position of the strongest gradient, px (sample indices).
    pub x: u32,
    /// See `x`.
    pub y: u32,
    /// Gradient of the 2 x 2 means over four pixels, levels.
    pub strength: f32,
}

/// What the pass found in one tile.
#[derive(Clone, Debug, Default)]
pub(super) struct Survey {
    /// Mean sample above black, levels.
    pub mean: f64,
    /// Variance of the 2 x 2 means, levels^2.
    pub variance: f64,
    /// Mean of the squared gradients (differences over two) of the 2 x 2 sums, and of their squares, levels^2 and ^4.
    pub steep: (f64, f64),
    /// Clipped samples.
    pub clipped: u64,
    /// Samples.
    pub count: u64,
    /// Level and noise variance (levels^2) of the quietest cells; `None` in a tile too small for any.
    pub quiet: Option<(f64, f64)>,
    /// Strongest gradient of each cell, strongest first.
    pub candidates: Vec<Candidate>,
}

impl Survey {
    /// Mean fourth power of the gradient over the square of its mean square, noise taken out: 2 for a field of
    /// random phases, whose gradients are a Gaussian in two dimensions, however it is blurred; more where the
    /// gradient gathers in edges. `None` where noise rules. `variance` is the noise of one sample, levels^2.
    pub(super) fn gathering(&self, variance: f64) -> Option<f64> {
        let (two, four) = self.steep;
        // Each gradient is a pair of differences of two sums of four samples.
        let noise = 16.0 * variance;
        (two > 1.5 * noise).then(|| 2.0 + (four / (two * two) - 2.0) * (two / (two - noise)).powi(2))
    }
}

/// Running sums of one tile.
#[derive(Clone, Default)]
struct Sums {
    sum: f64,
    square: f64,
    steep: (f64, f64),
    bins: u64,
    clipped: u64,
    cells: Vec<(f32, f32)>,
    candidates: Vec<Candidate>,
}

/// Surveys every tile of one tile row, left to right.
pub(super) fn survey_row(plane: &Plane, grid: &Grid, row: u32) -> Vec<Survey> {
    let columns = grid.columns as usize;
    let mut sums = vec![Sums::default(); columns];
    let first = grid.cell(0, row);
    let (y0, y1) = (first.y as usize, (first.y + first.height) as usize);
    // Column borders in 2 x 2 bins; a tile too narrow for a bin has none.
    let borders: Vec<usize> =
        (0..columns).map(|c| grid.cell(c as u32, row).x as usize / 2).chain([plane.width / 2]).collect();
    gradients(plane, y0, y1, &borders, &mut sums);
    noise(plane, y0, y1, &borders, &mut sums);
    clipping(plane, grid, row, &mut sums);
    sums.into_iter().enumerate().map(|(c, s)| finish(plane, grid, c as u32, row, s)).collect()
}

/// Adds rows `y` and `y + 1` in 2 x 2 blocks.
#[inline(always)]
fn bin(plane: &Plane, y: usize, out: &mut [f32]) {
    let (a, b) = (plane.row(y), plane.row(y + 1));
    for (o, (p, q)) in out.iter_mut().zip(a.as_chunks::<2>().0.iter().zip(b.as_chunks::<2>().0)) {
        *o = (i32::from(p[0]) + i32::from(p[1]) + i32::from(q[0]) + i32::from(q[1])) as f32;
    }
}

/// Sum of the values, and of their squares.
#[inline(always)]
fn moments(values: &[f32]) -> (f64, f64) {
    let (whole, rest) = values.as_chunks::<8>();
    let (mut one, mut two) = ([0.0_f32; 8], [0.0_f32; 8]);
    for some in whole {
        for k in 0..8 {
            one[k] += some[k];
            two[k] += some[k] * some[k];
        }
    }
    let (one, two) = (one.iter().chain(rest), two.into_iter().chain(rest.iter().map(|v| v * v)));
    (one.map(|&v| f64::from(v)).sum(), two.map(f64::from).sum())
}

/// Sums, squares and the strongest gradient of each cell.
#[multiversion(targets("x86_64+avx2"))]
fn gradients(plane: &Plane, y0: usize, y1: usize, borders: &[usize], sums: &mut [Sums]) {
    let width = plane.width / 2;
    let rows = (y1 - y0) / 2;
    if width == 0 || rows == 0 {
        return;
    }
    let at = |k: isize| (y0 as isize + 2 * k).clamp(0, plane.height as isize - 2) as usize;
    let (mut above, mut here, mut below) = (vec![0.0; width], vec![0.0; width], vec![0.0; width]);
    bin(plane, at(-1), &mut above);
    bin(plane, at(0), &mut here);
    // Squares of the gradients of a row of cells, and the most of each column.
    let mut squares = vec![vec![0.0_f32; width]; CELL / 2];
    let mut most = vec![0.0_f32; width];
    for k in 0..rows {
        bin(plane, at(k as isize + 1), &mut below);
        for (s, pair) in sums.iter_mut().zip(borders.windows(2)) {
            // Sums of four samples of 16 bits: eight sums of them beside each other are exact in tiles of up to a thousand pixels.
            let (sum, square) = moments(&here[pair[0]..pair[1]]);
            s.sum += sum;
            s.square += square;
            s.bins += (pair[1] - pair[0]) as u64;
        }
        let in_cell = k % (CELL / 2);
        if width > 2 {
            let squares = &mut squares[in_cell];
            let inner = &mut squares[1..width - 1];
            let across = here.iter().zip(&here[2..]);
            for ((o, (left, right)), (a, b)) in inner.iter_mut().zip(across).zip(above[1..].iter().zip(&below[1..])) {
                let (gx, gy) = (right - left, b - a);
                *o = gx * gx + gy * gy;
            }
            for (s, pair) in sums.iter_mut().zip(borders.windows(2)) {
                let (two, four) = moments(&squares[pair[0]..pair[1]]);
                s.steep = (s.steep.0 + two, s.steep.1 + four);
            }
            for (most, &square) in most.iter_mut().zip(squares.iter()) {
                *most = if square > *most { square } else { *most };
            }
        }
        if in_cell + 1 == CELL / 2 || k + 1 == rows {
            let top = y0 + 2 * (k - in_cell);
            candidates(&squares[..=in_cell], &most, (borders, top), sums);
            most.fill(0.0);
        }
        std::mem::swap(&mut above, &mut here);
        std::mem::swap(&mut here, &mut below);
    }
}

/// Notes the strongest gradient of each cell of a row of them; of equals the first row's, and in it the first.
#[inline(always)]
fn candidates(squares: &[Vec<f32>], most: &[f32], (borders, top): (&[usize], usize), sums: &mut [Sums]) {
    for (c, columns) in most.chunks(CELL / 2).enumerate() {
        let square = columns.iter().fold(0.0_f32, |a, &b| if b > a { b } else { a });
        if square <= 0.0 {
            continue;
        }
        let strongest = (0..columns.len()).filter(|&i| columns[i] == square).map(|i| c * (CELL / 2) + i);
        let place = strongest.filter_map(|x| squares.iter().position(|row| row[x] == square).map(|k| (k, x))).min();
        if let Some((k, x)) = place
            && let Some(s) = tile_of(borders, x).and_then(|t| sums.get_mut(t))
        {
            let (x, y) = ((2 * x + 1) as u32, (top + 2 * k + 1) as u32);
            s.candidates.push(Candidate { x, y, strength: square.sqrt() / 4.0 });
        }
    }
}

/// The tile whose bins hold bin `x`.
fn tile_of(borders: &[usize], x: usize) -> Option<usize> {
    borders.partition_point(|&b| b <= x).checked_sub(1)
}

/// Spacing at which a mosaic repeats its measured sites, so that interpolated samples don't pose as quiet ones.
const fn stride(mosaic: Mosaic) -> usize {
    match mosaic {
        Mosaic::None => 1,
        Mosaic::Checkerboard { .. } => 2,
        Mosaic::Six(_) => 3,
    }
}

/// Mean absolute response to the 3 x 3 kernel that no linear or bilinear shading excites
/// (Immerkaer, Computer Vision and Image Understanding 64(2) 300, 1996), cell by cell.
#[multiversion(targets("x86_64+avx2"))]
fn noise(plane: &Plane, y0: usize, y1: usize, borders: &[usize], sums: &mut [Sums]) {
    let step = stride(plane.mosaic);
    if plane.width < 2 * step + CELL || plane.height < 2 * step + 1 {
        return;
    }
    let width = plane.width - 2 * step;
    let mut response = vec![0_i32; width];
    let mut cells = vec![(0_u64, 0_u64, 0_u32); plane.width.div_ceil(CELL)];
    for (i, y) in (y0..y1).enumerate() {
        if i % NOISE_EVERY == NOISE_EVERY / 2 && y >= step && y + step < plane.height {
            let (a, h, b) = (plane.row(y - step), plane.row(y), plane.row(y + step));
            for (x, r) in response.iter_mut().enumerate() {
                let second = |v: &[u16]| i32::from(v[x]) - 2 * i32::from(v[x + step]) + i32::from(v[x + 2 * step]);
                *r = (second(a) - 2 * second(h) + second(b)).abs();
            }
            match plane.mosaic {
                Mosaic::None => {
                    let (whole, rest) = response.as_chunks::<CELL>();
                    let (levels, _) = h[step..].as_chunks::<CELL>();
                    for ((cell, values), levels) in cells.iter_mut().zip(whole).zip(levels) {
                        add_cell(cell, values, levels);
                    }
                    if let Some(cell) = cells.get_mut(whole.len()).filter(|_| !rest.is_empty()) {
                        add_cell(cell, rest, h[step..].chunks(CELL).nth(whole.len()).unwrap_or_default());
                    }
                }
                mosaic => {
                    for (x, (&r, &l)) in response.iter().zip(&h[step..]).enumerate() {
                        if mosaic.measured(x + step, y) {
                            let cell = &mut cells[x / CELL];
                            cell.0 += r as u64;
                            cell.1 += u64::from(l);
                            cell.2 += 1;
                        }
                    }
                }
            }
        }
        if (i + 1) % CELL == 0 || y + 1 == y1 {
            for (c, cell) in cells.iter_mut().enumerate() {
                if cell.2 >= 16
                    && let Some(s) = tile_of(borders, c * CELL / 2).and_then(|t| sums.get_mut(t))
                {
                    let n = f64::from(cell.2);
                    // The kernel's gain is 6; a Gaussian's mean absolute value is sqrt(2 / pi) sigma.
                    let sigma = cell.0 as f64 / n / 6.0 * std::f64::consts::FRAC_PI_2.sqrt();
                    s.cells.push((sigma as f32, (cell.1 as f64 / n - f64::from(plane.black)) as f32));
                }
                *cell = (0, 0, 0);
            }
        }
    }
}

/// Adds responses and levels of a row of a cell.
#[inline(always)]
fn add_cell(cell: &mut (u64, u64, u32), values: &[i32], levels: &[u16]) {
    cell.0 += u64::from(values.iter().map(|&v| v as u32).sum::<u32>());
    cell.1 += u64::from(levels.iter().map(|&v| u32::from(v)).sum::<u32>());
    cell.2 += values.len() as u32;
}

/// Counts clipped samples.
#[multiversion(targets("x86_64+avx2"))]
fn clipping(plane: &Plane, grid: &Grid, row: u32, sums: &mut [Sums]) {
    for (c, s) in sums.iter_mut().enumerate() {
        let r = grid.cell(c as u32, row);
        for y in r.y..r.y + r.height {
            let samples = &plane.row(y as usize)[r.x as usize..(r.x + r.width) as usize];
            // Counted in the samples' own width, as many at once as that holds.
            for some in samples.chunks(usize::from(u16::MAX)) {
                s.clipped += u64::from(some.iter().map(|&v| u16::from(v >= plane.saturation)).sum::<u16>());
            }
        }
    }
}

/// Share of the cells taken as quiet. Chosen: a fifth, which most frames have even.
const QUIET_SHARE: f64 = 0.2;
/// What the quiet cells' reading is multiplied by. Derived: a cell's noise reading scatters by about 11 % (64
/// neighbouring responses), so the quantile at one fifth of pure noise lies 9 % low.
const QUIET_BIAS: f64 = 1.09;

/// Turns sums into a survey.
fn finish(plane: &Plane, grid: &Grid, column: u32, row: u32, mut s: Sums) -> Survey {
    let r = grid.cell(column, row);
    let black = f64::from(plane.black);
    let bins = (s.bins.max(1)) as f64;
    let mean = s.sum / bins / 4.0;
    let variance = (s.square / bins / 16.0 - mean * mean).max(0.0);
    s.candidates.sort_by(|a, b| b.strength.total_cmp(&a.strength).then((a.y, a.x).cmp(&(b.y, b.x))));
    s.cells.sort_by(|a, b| a.0.total_cmp(&b.0));
    let take = (s.cells.len() as f64 * QUIET_SHARE).ceil() as usize;
    let quiet = (take > 0).then(|| {
        let level = s.cells[..take].iter().map(|c| f64::from(c.1)).sum::<f64>() / take as f64;
        (level, (f64::from(s.cells[take - 1].0) * QUIET_BIAS).powi(2))
    });
    Survey {
        mean: if s.bins == 0 { 0.0 } else { mean - black },
        variance,
        steep: (s.steep.0 / bins, s.steep.1 / bins),
        clipped: s.clipped,
        count: u64::from(r.width) * u64::from(r.height),
        quiet,
        candidates: s.candidates,
    }
}
