//! Fourier transforms of square pictures.

use std::sync::Arc;

use rustfft::num_complex::Complex;
use rustfft::{Fft, FftPlanner};

/// Transforms forward and back.
pub(super) type Plans = (Arc<dyn Fft<f32>>, Arc<dyn Fft<f32>>);

/// Plans for rows of this length.
pub(super) fn plans(n: usize) -> Plans {
    let mut planner = FftPlanner::new();
    (planner.plan_fft_forward(n), planner.plan_fft_inverse(n))
}

/// A transform over rows, then columns, of a square picture; the answer keeps the picture's order.
pub(in crate::measure) fn two_dimensional(fft: &dyn Fft<f32>, n: usize, data: &mut [Complex<f32>]) {
    for row in data.chunks_exact_mut(n) {
        fft.process(row);
    }
    transpose(n, data);
    for row in data.chunks_exact_mut(n) {
        fft.process(row);
    }
    transpose(n, data);
}

fn transpose(n: usize, data: &mut [Complex<f32>]) {
    for y in 0..n {
        for x in 0..y {
            data.swap(y * n + x, x * n + y);
        }
    }
}

/// Weights of a square spectrum that fall off as a Gaussian of the distance from its middle; `width` in cycles a pixel.
pub(super) fn soft_band(n: usize, width: f32) -> Vec<f32> {
    let of = |i: usize| (frequency(i % n, n) as f32).hypot(frequency(i / n, n) as f32) / width;
    (0..n * n).map(|i| (-of(i).powi(2)).exp()).collect()
}

/// Signed frequency of a bin, cycles a pixel.
pub(super) fn frequency(i: usize, n: usize) -> f64 {
    if i > n / 2 { i as f64 / n as f64 - 1.0 } else { i as f64 / n as f64 }
}
