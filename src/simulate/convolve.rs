//! Blurs a finely sampled scene and integrates it over pixels, in one pass through the frequency domain.

use realfft::RealFftPlanner;
use rustfft::num_complex::Complex;
use rustfft::{Fft, FftPlanner};
use std::f64::consts::PI;
use std::sync::Arc;

use super::psf::Transfer;

/// Transforms for one block size, and the weights that turn fine samples into pixels.
pub(super) struct Convolver {
    /// Pixels across the (square or oblong) block.
    pub(super) width: usize,
    /// Pixels down.
    pub(super) height: usize,
    /// Fine samples to a pixel.
    pub(super) fine: usize,
    rows: Arc<dyn realfft::RealToComplex<f32>>,
    columns: Arc<dyn Fft<f32>>,
    out_rows: Arc<dyn realfft::ComplexToReal<f32>>,
    out_columns: Arc<dyn Fft<f32>>,
}

/// Spectrum of a block: row-major, `fine_height` rows of `fine_width / 2 + 1` frequencies.
pub(super) type Spectrum = Vec<Complex<f32>>;

impl Convolver {
    /// For blocks of `width` x `height` pixels with `fine` x `fine` samples in each; width must be even.
    pub(super) fn new(width: usize, height: usize, fine: usize) -> Self {
        let mut real = RealFftPlanner::new();
        let mut plain = FftPlanner::new();
        Self {
            width,
            height,
            fine,
            rows: real.plan_fft_forward(width * fine),
            columns: plain.plan_fft_forward(height * fine),
            out_rows: real.plan_fft_inverse(width),
            out_columns: plain.plan_fft_inverse(height),
        }
    }

    /// Frequencies along x that a spectrum holds.
    fn half(&self) -> usize {
        self.width * self.fine / 2 + 1
    }

    /// Spectrum of a block of fine samples (row-major, overwritten), each pixel's worth of them averaged.
    ///
    /// Fine samples are area averages over 1/fine px, so the mean of fine x fine of them is the exact pixel
    /// aperture; without `pixel` the width of the fine samples themselves is taken out instead. The phase of the
    /// shift from a fine sample's centre to a pixel's is applied here too.
    pub(super) fn forward(&self, samples: &mut [f32], pixel: bool) -> Spectrum {
        let (w, h, half, fine) = (self.width * self.fine, self.height * self.fine, self.half(), self.fine as f64);
        let mut spectrum = vec![Complex::default(); half * h];
        let mut scratch = self.rows.make_scratch_vec();
        for (row, out) in samples.chunks_exact_mut(w).zip(spectrum.chunks_exact_mut(half)) {
            // The lengths agree by construction, which is all that can go wrong here.
            let _ = self.rows.process_with_scratch(row, out, &mut scratch);
        }
        each_column(&mut spectrum, half, h, &*self.columns);
        let sinc = |t: f64| if t.abs() < 1e-9 { 1.0 } else { (PI * t).sin() / (PI * t) };
        let line = |k: usize, size: usize, pixels: usize| -> Complex<f32> {
            // The highest frequency of an even length has no partner of the other sign; leave it out.
            if k * 2 == size && fine > 1.0 {
                return Complex::default();
            }
            let f = if k * 2 > size { k as f64 - size as f64 } else { k as f64 } / pixels as f64;
            let part = if pixel { sinc(f) / sinc(f / fine) } else { 1.0 / sinc(f / fine) };
            // Samples that already are pixels keep what they have.
            let part = if fine > 1.0 { part } else { 1.0 };
            let weight = Complex::from_polar(part, PI * f * (fine - 1.0) / fine);
            Complex::new(weight.re as f32, weight.im as f32)
        };
        let along_x: Vec<_> = (0..half).map(|i| line(i, w, self.width)).collect();
        for (j, row) in spectrum.chunks_exact_mut(half).enumerate() {
            let along_y = line(j, h, self.height);
            for (value, weight) in row.iter_mut().zip(&along_x) {
                *value *= *weight * along_y;
            }
        }
        spectrum
    }

    /// A point spread's transfer (without pixel aperture) at every frequency of a spectrum.
    pub(super) fn transfer(&self, transfer: &Transfer) -> Vec<f32> {
        const STEPS: f64 = 400.0;
        let (h, half) = (self.height * self.fine, self.half());
        // The part alike in all directions is worked out once along a line and joined by straight pieces there.
        let last = (0.75 * self.fine as f64 * STEPS) as usize + 2;
        let round: Vec<f32> = (0..=last).map(|k| transfer.round(k as f64 / STEPS) as f32).collect();
        let mut out = Vec::with_capacity(half * h);
        for j in 0..h {
            let signed = if j * 2 > h { j as f64 - h as f64 } else { j as f64 };
            let fy = signed / self.height as f64;
            out.extend((0..half).map(|i| {
                let fx = i as f64 / self.width as f64;
                let place = (fx * fx + fy * fy).sqrt() * STEPS;
                let k = (place as usize).min(last - 1);
                let value = round[k] + (round[k + 1] - round[k]) * (place - k as f64) as f32;
                if value == 0.0 { 0.0 } else { value * transfer.rest(fx, fy) as f32 }
            }));
        }
        out
    }

    /// The blurred block as pixels, row-major `height` rows of `width`.
    ///
    /// Pixels are every `fine`-th sample of the blurred block, so its spectrum is folded first and the inverse
    /// transform need only be as large as the pixels are many. Aliasing is thereby that of a real sensor.
    pub(super) fn pixels(&self, spectrum: &[Complex<f32>], transfer: &[f32]) -> Vec<f32> {
        let (w, h, half) = (self.width * self.fine, self.height * self.fine, self.half());
        let small = self.width / 2 + 1;
        let mut folded = vec![Complex::new(0.0f32, 0.0); small * self.height];
        for j in 0..h {
            let mirror = (h - j) % h;
            let row = j % self.height;
            for i in 0..small {
                let mut sum = Complex::new(0.0f32, 0.0);
                for a in 0..self.fine {
                    let x = i + a * self.width;
                    sum += if x < half {
                        spectrum[j * half + x] * transfer[j * half + x]
                    } else {
                        let at = mirror * half + (w - x);
                        spectrum[at].conj() * transfer[at]
                    };
                }
                folded[row * small + i] += sum;
            }
        }
        each_column(&mut folded, small, self.height, &*self.out_columns);
        let mut pixels = vec![0.0f32; self.width * self.height];
        let mut scratch = self.out_rows.make_scratch_vec();
        for (row, out) in folded.chunks_exact_mut(small).zip(pixels.chunks_exact_mut(self.width)) {
            // Only the imaginary parts of the first and last frequency can be faulted; they must be zero.
            row[0].im = 0.0;
            row[small - 1].im = 0.0;
            let _ = self.out_rows.process_with_scratch(row, out, &mut scratch);
        }
        let scale = 1.0 / (w * h) as f32;
        pixels.iter_mut().for_each(|v| *v *= scale);
        pixels
    }
}

/// Transforms every column of a row-major array of `half` x `h`, sixteen columns at a time for the cache's sake.
fn each_column(data: &mut [Complex<f32>], half: usize, h: usize, fft: &dyn Fft<f32>) {
    const BAND: usize = 16;
    let mut band = vec![Complex::default(); BAND * h];
    let mut scratch = vec![Complex::default(); fft.get_inplace_scratch_len()];
    for start in (0..half).step_by(BAND) {
        let count = BAND.min(half - start);
        for (j, row) in data.chunks_exact(half).enumerate() {
            for (k, &v) in row[start..start + count].iter().enumerate() {
                band[k * h + j] = v;
            }
        }
        fft.process_with_scratch(&mut band[..count * h], &mut scratch);
        for (j, row) in data.chunks_exact_mut(half).enumerate() {
            for (k, v) in row[start..start + count].iter_mut().enumerate() {
                *v = band[k * h + j];
            }
        }
    }
}

/// The smallest even size at or above `least` with no prime factor but 2, 3 and 5.
pub(super) fn quick_size(least: usize) -> usize {
    let mut size = least.max(2).next_multiple_of(2);
    loop {
        let mut rest = size;
        for p in [2, 3, 5] {
            while rest.is_multiple_of(p) {
                rest /= p;
            }
        }
        if rest == 1 {
            return size;
        }
        size += 2;
    }
}
