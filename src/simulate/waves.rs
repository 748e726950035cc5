//! Transfer functions summed numerically and kept as tables: of a disc, and of a pupil out of focus.
//!
//! Diffraction and defocus come from one integral: a complex pupil with the phase of defocus, its squared Fourier
//! transform, and the Fourier transform of that. No closed form of either is used here, so that this module can judge the
//! ones elsewhere.

use std::collections::HashMap;
use std::f64::consts::PI;
use std::sync::{Arc, Mutex, OnceLock, PoisonError};

use rustfft::FftPlanner;
use rustfft::num_complex::Complex32;

/// Transform of a uniform disc of diameter 1 at t cycles, summed numerically over its chords.
pub(super) fn disc_transfer(t: f64) -> f64 {
    const STEP: f64 = 1.0 / 64.0;
    const LAST: usize = 64 * 24;
    static TABLE: OnceLock<Vec<f64>> = OnceLock::new();
    let table = TABLE.get_or_init(|| {
        let chords = 4096;
        (0..=LAST)
            .map(|i| {
                let t = i as f64 * STEP;
                // x = sin(a) / 2 spreads the samples so that the chord, cos(a), has no steep end.
                let (mut sum, mut weight) = (0.0, 0.0);
                for k in 0..chords {
                    let a = PI * ((k as f64 + 0.5) / chords as f64 - 0.5);
                    let w = a.cos() * a.cos();
                    sum += w * (PI * t * a.sin()).cos();
                    weight += w;
                }
                sum / weight
            })
            .collect()
    });
    let place = t.abs() / STEP;
    if place >= (LAST - 2) as f64 { 0.0 } else { cubic(table, place) }
}

/// A table of transfer against frequency over the cut-off, 0 to 1.
pub(super) fn look_up(table: &[f64], share: f64) -> f64 {
    if share >= 1.0 { 0.0 } else { cubic(table, share * (table.len() - 1) as f64) }
}

/// Cubic (Catmull-Rom) interpolation of an even function tabulated from zero.
fn cubic(table: &[f64], place: f64) -> f64 {
    let last = table.len() - 1;
    let i = (place as usize).min(last - 1);
    let t = place - i as f64;
    let before = if i == 0 { table[1] } else { table[i - 1] };
    let after = if i + 2 > last { 0.0 } else { table[i + 2] };
    let (a, b) = (table[i], table[i + 1]);
    a + 0.5 * t * (b - before + t * (2.0 * before - 5.0 * a + 4.0 * b - after + t * (3.0 * (a - b) + after - before)))
}

/// Transfer of a pupil `w` waves out of focus against frequency over the cut-off, remembered.
pub(super) fn wave_table(w: f64) -> Arc<Vec<f64>> {
    static TABLES: OnceLock<Mutex<HashMap<u64, Arc<Vec<f64>>>>> = OnceLock::new();
    const KEPT: usize = 4096;
    let tables = TABLES.get_or_init(Mutex::default);
    let key = w.to_bits();
    if let Some(table) = tables.lock().unwrap_or_else(PoisonError::into_inner).get(&key) {
        return Arc::clone(table);
    }
    let table = Arc::new(integrate_pupil(w));
    let mut tables = tables.lock().unwrap_or_else(PoisonError::into_inner);
    if tables.len() >= KEPT {
        tables.clear();
    }
    tables.insert(key, Arc::clone(&table));
    table
}

/// Pupil -> |FFT|^2 -> FFT: the transfer along one axis, from 0 to the cut-off in steps of 1/samples.
fn integrate_pupil(w: f64) -> Vec<f64> {
    // The phase must turn by less than half a wave from one sample to the next: across > 8 w.
    let across = if w < 2.0 { 128 } else { 256 };
    let size = 2 * across;
    let centre = across as f64 / 2.0;
    let mut field = vec![Complex32::default(); size * size];
    let mut area = 0.0;
    for y in 0..across {
        for x in 0..across {
            let (dx, dy) = (x as f64 + 0.5 - centre, y as f64 + 0.5 - centre);
            let radius = dx.hypot(dy);
            // Samples that the rim crosses count by the share of them inside.
            let inside = (centre - radius + 0.5).clamp(0.0, 1.0);
            area += inside;
            let phase = 2.0 * PI * w * (radius / centre).powi(2);
            field[y * size + x] = Complex32::from_polar(inside as f32, phase as f32);
        }
    }
    let mut planner = FftPlanner::new();
    let fft = planner.plan_fft_forward(size);
    // Only the transfer along x is wanted: the spread's projection on x, so columns are summed after squaring.
    fft.process(&mut field);
    let mut spread = vec![0.0f64; size];
    let mut column = vec![Complex32::default(); size];
    for (x, sum) in spread.iter_mut().enumerate() {
        for (y, sample) in column.iter_mut().enumerate() {
            *sample = field[y * size + x];
        }
        fft.process(&mut column);
        *sum = column.iter().map(|v| f64::from(v.norm_sqr())).sum();
    }
    // The overlap of the pupil with itself, unshifted, is its area; samples on the rim, which hold part of it,
    // would count squared there and only there, so the area itself is the measure.
    let whole = area * (size * size) as f64;
    let turn = 2.0 * PI / size as f64;
    (0..=across)
        .map(|k| {
            let at = |(x, v): (usize, &f64)| v * (turn * (k * x % size) as f64).cos();
            if k == 0 { 1.0 } else { spread.iter().enumerate().map(at).sum::<f64>() / whole }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// MTF of a perfect lens, at frequencies over the cut-off (numbers tabulated from the closed form of the
    /// unaberrated circular pupil, Goodman, Introduction to Fourier Optics; values recomputed from memory of it).
    const PERFECT: [(f64, f64); 5] = [(0.1, 0.87289), (0.3, 0.62384), (0.5, 0.39100), (0.7, 0.18812), (0.9, 0.03739)];

    /// Transfer a quarter wave out of focus, from Hopkins' integral (Proc. R. Soc. A 231, 1955).
    const QUARTER: [(f64, f64); 5] = [(0.1, 0.83886), (0.3, 0.50157), (0.5, 0.28747), (0.7, 0.15249), (0.9, 0.03603)];

    #[test]
    fn the_pupil_integral_meets_published_transfer_functions() {
        for (w, values) in [(0.0, PERFECT), (0.25, QUARTER)] {
            let table = wave_table(w);
            for (s, expected) in values {
                let got = look_up(&table, s);
                assert!((got - expected).abs() < 1.5e-3, "w {w} s {s}: {got} for {expected}");
            }
        }
    }
}
