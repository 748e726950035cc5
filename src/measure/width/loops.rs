//! The loops over the samples of one patch, written so that several are worked on at once.
//!
//! Sums run beside each other in the same order whatever the processor, so that numbers do not depend on it.

use multiversion::multiversion;
use rustfft::num_complex::Complex32;

use super::shape::{PROFILE, REACH, Ring, SIDE};

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

/// Of each row of a patch the sum of its samples, and of these times their distance from the middle.
#[multiversion(targets("x86_64+avx2"))]
pub(super) fn row_sums(patch: &[f32], middle: f32) -> [(f32, f32); SIDE] {
    let mut out = [(0.0, 0.0); SIDE];
    for (row, out) in patch.chunks_exact(SIDE).zip(&mut out) {
        let (mut whole, mut along) = ([0.0_f32; 8], [0.0_f32; 8]);
        for (i, some) in row.chunks_exact(8).enumerate() {
            let first = (8 * i) as f32 - middle;
            for k in 0..8 {
                whole[k] += some[k];
                along[k] += (first + k as f32) * some[k];
            }
        }
        *out = (whole.iter().sum(), along.iter().sum());
    }
    out
}

/// A row less its trend and under the window; sum of the squares before the window.
#[multiversion(targets("x86_64+avx2"))]
pub(super) fn windowed(row: &[f32], base: f32, slope: f32, scale: f32, window: &[f32; SIDE], out: &mut [f32]) -> f32 {
    let middle = (SIDE as f32 - 1.0) / 2.0;
    let mut sums = [0.0_f32; 8];
    let groups = row.chunks_exact(8).zip(window.chunks_exact(8)).zip(out.chunks_exact_mut(8)).enumerate();
    for (i, ((row, window), out)) in groups {
        for k in 0..8 {
            let rest = row[k] - base - slope * ((8 * i + k) as f32 - middle);
            sums[k] += rest * rest;
            out[k] = rest * scale * window[k];
        }
    }
    sums.iter().sum()
}

/// Power of each frequency.
#[multiversion(targets("x86_64+avx2"))]
pub(super) fn powers(spectrum: &[Complex32], out: &mut [f32]) {
    for (o, v) in out.iter_mut().zip(spectrum) {
        *o = v.re * v.re + v.im * v.im;
    }
}

/// Power of a ring's frequencies times their weights, all together.
pub(super) fn ring(ring: &Ring, power: &[f32]) -> [f32; 3] {
    // Four sums beside each other, since each addition waits for the one before.
    let mut sums = [[0.0_f32; 3]; 4];
    for (at, weights) in ring.at.chunks(4).zip(ring.weights.chunks(4)) {
        for ((sum, &at), weights) in sums.iter_mut().zip(at).zip(weights) {
            let p = power[at as usize];
            for k in 0..3 {
                sum[k] += p * weights[k];
            }
        }
    }
    std::array::from_fn(|k| (sums[0][k] + sums[1][k]) + (sums[2][k] + sums[3][k]))
}

/// Least and most of the values, and most of the squares, of each column over some rows.
#[multiversion(targets("x86_64+avx2"))]
pub(super) fn extremes(values: &[f32], squares: &[f32], side: usize, rows: std::ops::Range<usize>) -> [[f32; SIDE]; 3] {
    let (mut low, mut high, mut most) = ([f32::MAX; SIDE], [f32::MIN; SIDE], [0.0_f32; SIDE]);
    for y in rows {
        let values = &values[y * side..][..side];
        for ((low, high), &v) in low.iter_mut().zip(&mut high).zip(values) {
            // Comparisons, unlike `min` and `max`, need no care for what is no number.
            *low = if v < *low { v } else { *low };
            *high = if v > *high { v } else { *high };
        }
        for (most, &v) in most.iter_mut().zip(&squares[y * side..][..side - 1]) {
            *most = if v > *most { v } else { *most };
        }
    }
    [low, high, most]
}

/// Squares of the gradients of a square picture into `squares` (last column and row unused); sums of their parts.
#[multiversion(targets("x86_64+avx2"))]
pub(super) fn differences(values: &[f32], side: usize, squares: &mut [f32]) -> (f64, f64, f64) {
    let mut sums = (0.0_f64, 0.0_f64, 0.0_f64);
    for y in 0..side - 1 {
        let here = &values[y * side..(y + 1) * side];
        let below = &values[(y + 1) * side..(y + 2) * side];
        let out = &mut squares[y * side..(y + 1) * side - 1];
        let mut parts = [[0.0_f32; 8]; 3];
        let mut one = |k: usize, o: &mut f32, h: f32, next: f32, b: f32| {
            let (gx, gy) = (next - h, b - h);
            *o = gx * gx + gy * gy;
            parts[0][k] += gx * gx;
            parts[1][k] += gy * gy;
            parts[2][k] += gx * gy;
        };
        let whole = (side - 1) / 8 * 8;
        for (((out, here), next), below) in out[..whole]
            .chunks_exact_mut(8)
            .zip(here.chunks_exact(8))
            .zip(here[1..].chunks_exact(8))
            .zip(below.chunks_exact(8))
        {
            for k in 0..8 {
                one(k, &mut out[k], here[k], next[k], below[k]);
            }
        }
        for k in whole..side - 1 {
            one(k - whole, &mut out[k], here[k], here[k + 1], below[k]);
        }
        let sum = |p: &[f32; 8]| f64::from(p.iter().sum::<f32>());
        sums = (sums.0 + sum(&parts[0]), sums.1 + sum(&parts[1]), sums.2 + sum(&parts[2]));
    }
    sums
}

/// Brightness along the gradient through the middle of the four samples at (x, y), from dark to bright.
pub(super) fn profile(values: &[f32], side: usize, x: usize, y: usize) -> [f32; PROFILE] {
    let at = |x: usize, y: usize| values[y * side + x];
    let (x1, y1) = (x + 1, y + 1);
    let gx = at(x1, y) - at(x, y) + at(x1, y1) - at(x, y1);
    let gy = at(x, y1) - at(x, y) + at(x1, y1) - at(x1, y);
    let length = (gx * gx + gy * gy).sqrt().max(1e-12);
    let (dx, dy) = (gx / length, gy / length);
    let last = side as f32 - 1.001;
    let mut out: [f32; PROFILE] = std::array::from_fn(|k| {
        let t = k as f32 - REACH as f32;
        let (px, py) = ((x as f32 + 0.5 + t * dx).clamp(0.0, last), (y as f32 + 0.5 + t * dy).clamp(0.0, last));
        let (i, j) = (px as usize, py as usize);
        let (u, v) = (px - i as f32, py - j as f32);
        let above = at(i, j) + u * (at(i + 1, j) - at(i, j));
        let below = at(i, j + 1) + u * (at(i + 1, j + 1) - at(i, j + 1));
        above + v * (below - above)
    });
    let (low, high) = out.iter().fold((f32::MAX, f32::MIN), |(l, h), &v| (l.min(v), h.max(v)));
    let (middle, per) = (out[REACH], 1.0 / (high - low).max(1e-9));
    out.iter_mut().for_each(|v| *v = (*v - middle) * per);
    out
}

/// Smooths a square picture along both axes by the binomial 1 4 6 4 1, mirrored at its borders.
#[multiversion(targets("x86_64+avx2"))]
pub(super) fn binomial(values: &mut [f32], side: usize, spare: &mut [f32]) {
    let mean = |a: f32, b: f32, c: f32, d: f32, e: f32| (a + e + 4.0 * (b + d) + 6.0 * c) * (1.0 / 16.0);
    for (row, out) in values.chunks_exact(side).zip(spare.chunks_exact_mut(side)) {
        for (o, v) in out[2..side - 2].iter_mut().zip(row.windows(5)) {
            *o = mean(v[0], v[1], v[2], v[3], v[4]);
        }
        for i in [0, 1, side - 2, side - 1] {
            let at = |k: isize| row[mirrored(i as isize + k, side)];
            out[i] = mean(at(-2), at(-1), at(0), at(1), at(2));
        }
    }
    for (j, out) in values.chunks_exact_mut(side).enumerate() {
        let row = |k: isize| &spare[mirrored(j as isize + k, side) * side..][..side];
        let (a, b, c, d, e) = (row(-2), row(-1), row(0), row(1), row(2));
        for i in 0..side {
            out[i] = mean(a[i], b[i], c[i], d[i], e[i]);
        }
    }
}

/// Every second sample of every second row.
pub(super) fn halve(values: &[f32], side: usize, out: &mut [f32]) {
    let small = side / 2;
    for (j, row) in out[..small * small].chunks_exact_mut(small).enumerate() {
        for (o, pair) in row.iter_mut().zip(values[2 * j * side..].chunks_exact(2)) {
            *o = pair[0];
        }
    }
}
