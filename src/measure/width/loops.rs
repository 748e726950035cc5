//! The loops over the samples of one patch, written so that several are worked on at once.
//!
//! Sums run beside each other in the same order whatever the processor, so that numbers do not depend on it: most of them
//! column by column, since then no sample waits for its neighbour.

use multiversion::multiversion;
use rustfft::num_complex::Complex32;

/// Side of a patch, px. Chosen: the network is trained on patches of this size.
pub(super) const SIDE: usize = 96;

/// Index inside `size` for one that may lie outside, mirrored at the borders as often as it takes.
pub(super) fn mirrored(at: isize, size: usize) -> usize {
    let twice = 2 * size as isize;
    let at = at.rem_euclid(twice);
    (if at < size as isize { at } else { twice - 1 - at }) as usize
}

/// Relative luminance of samples; how many of them are clipped.
#[multiversion(targets("x86_64+avx2"))]
pub(super) fn relative(samples: &[u16], saturation: u16, black: f32, per: f32, out: &mut [f32]) -> u32 {
    for (value, &sample) in out.iter_mut().zip(samples) {
        *value = (f32::from(sample) - black) * per;
    }
    samples.iter().map(|&v| u32::from(v >= saturation)).sum()
}

/// Sum of a patch's samples, and of these times their distance from the middle along x and along y.
#[multiversion(targets("x86_64+avx2"))]
pub(super) fn moments(patch: &[[f32; SIDE]]) -> [f64; 3] {
    let middle = (SIDE as f32 - 1.0) / 2.0;
    let (mut whole, mut down) = ([0.0_f32; SIDE], [0.0_f32; SIDE]);
    for (j, row) in patch.iter().enumerate() {
        let away = j as f32 - middle;
        for i in 0..SIDE {
            whole[i] += row[i];
            down[i] += away * row[i];
        }
    }
    let (mut sum, mut sx, mut sy) = (0.0_f64, 0.0_f64, 0.0_f64);
    for i in 0..SIDE {
        sum += f64::from(whole[i]);
        sx += f64::from(i as f32 - middle) * f64::from(whole[i]);
        sy += f64::from(down[i]);
    }
    [sum, sx, sy]
}

/// A patch less its trend and under the window, two samples of a row in each complex number; mean of the squares before the
/// window.
#[multiversion(targets("x86_64+avx2"))]
pub(super) fn windowed(
    patch: &[[f32; SIDE]],
    level: f32,
    slopes: (f32, f32),
    window: &[f32; SIDE],
    out: &mut [[Complex32; SIDE / 2]],
) -> f64 {
    let middle = (SIDE as f32 - 1.0) / 2.0;
    let across: [f32; SIDE] = std::array::from_fn(|i| slopes.0 * (i as f32 - middle));
    let mut squares = [0.0_f32; SIDE];
    for (j, (row, out)) in patch.iter().zip(out).enumerate() {
        let base = level + slopes.1 * (j as f32 - middle);
        let scale = window[j] / SIDE as f32;
        let mut seen = [0.0_f32; SIDE];
        for i in 0..SIDE {
            let rest = row[i] - base - across[i];
            squares[i] += rest * rest;
            seen[i] = rest * scale * window[i];
        }
        for (o, pair) in out.iter_mut().zip(seen.chunks_exact(2)) {
            *o = Complex32::new(pair[0], pair[1]);
        }
    }
    squares.iter().map(|&s| f64::from(s)).sum::<f64>() / (SIDE * SIDE) as f64
}

/// Gradients of a square picture by first differences.
pub(super) struct Gradients<const N: usize> {
    /// Their squares, row by row; zero in the last column, and the last row is not used.
    pub squares: Vec<[f32; N]>,
    /// Of each column over each band of rows, the last row left out: the least and most of the values, and most of the squares.
    pub bands: Vec<[[f32; N]; 3]>,
    /// Sums of the squares along x and y and of the products.
    pub sums: [f64; 3],
}

impl<const N: usize> Gradients<N> {
    pub(super) fn new(bands: usize) -> Self {
        Self { squares: vec![[0.0; N]; N], bands: vec![[[0.0; N]; 3]; bands], sums: [0.0; 3] }
    }

    /// Gradients of `values`, of which there are `N` rows.
    pub(super) fn of(&mut self, values: &[[f32; N]]) {
        differences(values, self);
    }
}

#[multiversion(targets("x86_64+avx2"))]
fn differences<const N: usize>(values: &[[f32; N]], out: &mut Gradients<N>) {
    // Columns that are followed all the way down at once, so that what is gathered of them stays in registers.
    const ABREAST: usize = 8;
    let flat = values.as_flattened();
    let cell = N / out.bands.len();
    out.sums = [0.0; 3];
    for from in (0..N).step_by(ABREAST) {
        let mut parts = [[0.0_f32; ABREAST]; 3];
        for (band, extremes) in out.bands.iter_mut().enumerate() {
            let [mut low, mut high, mut most] = [[f32::MAX; ABREAST], [f32::MIN; ABREAST], [0.0_f32; ABREAST]];
            for y in band * cell..((band + 1) * cell).min(N - 1) {
                let some = |at: usize| flat[at..].first_chunk::<ABREAST>();
                let at = y * N + from;
                // The neighbour of a row's last sample is the first of the next, which is taken out below.
                let (Some(here), Some(next), Some(below)) = (some(at), some(at + 1), some(at + N)) else { continue };
                let Some(squares) = out.squares[y][from..].first_chunk_mut::<ABREAST>() else { continue };
                for i in 0..ABREAST {
                    // Comparisons, unlike `min` and `max`, need no care for what is no number.
                    low[i] = if here[i] < low[i] { here[i] } else { low[i] };
                    high[i] = if here[i] > high[i] { here[i] } else { high[i] };
                    let (gx, gy) = (next[i] - here[i], below[i] - here[i]);
                    squares[i] = gx * gx + gy * gy;
                    most[i] = if squares[i] > most[i] { squares[i] } else { most[i] };
                    parts[0][i] += gx * gx;
                    parts[1][i] += gy * gy;
                    parts[2][i] += gx * gy;
                }
            }
            for (all, some) in extremes.iter_mut().zip([low, high, most]) {
                all[from..from + ABREAST].copy_from_slice(&some);
            }
        }
        for (sum, part) in out.sums.iter_mut().zip(parts) {
            part.iter().take(N - 1 - from).for_each(|&v| *sum += f64::from(v));
        }
    }
    out.squares.iter_mut().for_each(|row| row[N - 1] = 0.0);
    out.bands.iter_mut().for_each(|[_, _, most]| most[N - 1] = 0.0);
}

/// Smooths a square picture along both axes by the binomial 1 4 6 4 1, mirrored at its borders.
#[multiversion(targets("x86_64+avx2"))]
pub(super) fn binomial<const N: usize>(values: &[[f32; N]], spare: &mut [[f32; N]], out: &mut [[f32; N]]) {
    let mean = |a: f32, b: f32, c: f32, d: f32, e: f32| (a + e + 4.0 * (b + d) + 6.0 * c) * (1.0 / 16.0);
    // A row with two samples more at each end.
    let mut wide = [0.0_f32; SIDE + 4];
    for (row, out) in values.iter().zip(spare.iter_mut()) {
        wide[2..N + 2].copy_from_slice(row);
        (wide[0], wide[1], wide[N + 2], wide[N + 3]) = (row[1], row[0], row[N - 1], row[N - 2]);
        let from = |k: usize| wide[k..].first_chunk::<N>();
        let (Some(a), Some(b), Some(c), Some(d), Some(e)) = (from(0), from(1), from(2), from(3), from(4)) else {
            return;
        };
        for i in 0..N {
            out[i] = mean(a[i], b[i], c[i], d[i], e[i]);
        }
    }
    for (j, out) in out.iter_mut().enumerate() {
        let row = |k: isize| &spare[mirrored(j as isize + k, N)];
        let (a, b, c, d, e) = (row(-2), row(-1), row(0), row(1), row(2));
        for i in 0..N {
            out[i] = mean(a[i], b[i], c[i], d[i], e[i]);
        }
    }
}

/// Every second sample of every second row.
pub(super) fn halve<const N: usize, const HALF: usize>(values: &[[f32; N]], out: &mut [[f32; HALF]]) {
    for (row, out) in values.iter().step_by(2).zip(out) {
        for (o, pair) in out.iter_mut().zip(row.chunks_exact(2)) {
            *o = pair[0];
        }
    }
}
