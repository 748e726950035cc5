//! Fourier transforms of square pictures.

use rustfft::Fft;
use rustfft::num_complex::Complex;

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
