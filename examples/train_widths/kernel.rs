//! Random spreads of light, and pictures under them.

use std::collections::HashMap;
use std::f64::consts::PI;

use fastrand::Rng;
use rustfft::FftPlanner;
use rustfft::num_complex::Complex32;
use tussock::simulate::Psf;
use tussock::simulate::psf::{GREEN, Pupil};

use crate::scene::Picture;

/// Pixel pitch that stands for all, um: only its ratio to wavelength times f-number matters.
const PITCH: f64 = 4.0;

/// Even in the logarithm between two bounds.
pub fn log_even(dice: &mut Rng, low: f64, high: f64) -> f64 {
    low * (high / low).powf(dice.f64())
}

/// Even between two bounds.
pub fn even(dice: &mut Rng, low: f64, high: f64) -> f64 {
    low + (high - low) * dice.f64()
}

/// Normal with mean 0 and standard deviation 1 (Box & Muller 1958).
pub fn normal(dice: &mut Rng) -> f64 {
    (-2.0 * (1.0 - dice.f64()).ln()).sqrt() * (2.0 * PI * dice.f64()).cos()
}

/// A spread without the pixel aperture, which the scenes have already, and what is told of the pupil.
#[derive(Clone, Copy)]
pub struct Kernel {
    pub psf: Psf,
    /// Wavelength times f-number over pixel pitch, where the estimator is to know it.
    pub lambda_n_px: Option<f64>,
}

/// The pupil of this wavelength times f-number over pitch, out of focus by a disc of this diameter (px).
pub fn pupil(lambda_n_px: f64, disc_px: f64) -> Psf {
    let f_number = lambda_n_px * PITCH / 0.55;
    let pupil = Pupil { f_number, pitch_um: PITCH, defocus_um: disc_px * PITCH, light: GREEN };
    Psf { pupil: Some(pupil), pixel: false, ..Psf::default() }
}

pub fn disc(diameter: f64) -> Psf {
    Psf { disc_px: diameter, pixel: false, ..Psf::default() }
}

/// A spread as lenses, focus and hands make them, each cause also alone.
pub fn random(dice: &mut Rng) -> Kernel {
    // From a fast lens wide open on large pixels to a closed one on small.
    let lambda = even(dice, 0.08, 3.5);
    let known = dice.f64() < 0.7;
    let share = dice.f64();
    // A lens's own softness, in half of the cases, and a little longer one way than the other.
    let lens = if dice.bool() { even(dice, 0.05, 0.6) } else { 0.0 };
    let (long, turn) = (1.0 + 0.15 * normal(dice).abs(), PI * dice.f64());
    let soft = |psf: Psf, by: f64| psf.softened(by * long, by / long, turn);
    let (psf, mut told) = if share < 0.11 {
        (soft(Psf { pixel: false, ..Psf::default() }, log_even(dice, 0.12, 6.0)), None)
    } else if share < 0.27 {
        // Missed focus is the commonest cause, and a disc its bare form.
        (disc(log_even(dice, 0.8, 6.0)), None)
    } else if share < 0.33 {
        (disc(log_even(dice, 6.0, 26.0)), None)
    } else if share < 0.40 {
        (soft(disc(log_even(dice, 0.8, 26.0)), lens.max(0.1)), None)
    } else if share < 0.58 {
        // Waves out of focus, to a fiftieth, for the tables of pupils are worked out once each; w waves make a disc of
        // 8 w lambda N.
        let waves = log_even(dice, 0.06, 7.9).min(2.0 / lambda);
        let waves = (50.0 * waves).round() / 50.0;
        (soft(pupil(lambda, 8.0 * waves * lambda), lens), Some(lambda))
    } else if share < 0.66 {
        (pupil(lambda, 0.0), Some(lambda))
    } else if share < 0.73 {
        (soft(pupil(lambda, 0.0), lens), Some(lambda))
    } else if share < 0.77 {
        // Next to nothing: the picture as sharp as its pixels.
        (Psf::gaussian(even(dice, 0.02, 0.25)), None)
    } else if share < 0.92 {
        let length = log_even(dice, 1.0, 20.0);
        let base = match dice.u8(0..3) {
            0 => Psf::gaussian(log_even(dice, 0.15, 1.0)),
            1 => disc(log_even(dice, 0.8, 5.0)),
            _ => pupil(lambda, 0.0),
        };
        (base.moved(length, PI * dice.f64()), base.pupil.map(|_| lambda))
    } else {
        let wide = log_even(dice, 0.4, 3.0);
        let narrow = wide * even(dice, 0.2, 0.8);
        let base = if dice.bool() { pupil(lambda, 0.0) } else { disc(log_even(dice, 0.5, 4.0)) };
        (base.softened(wide, narrow, PI * dice.f64()), base.pupil.map(|_| lambda))
    };
    if told.is_none() && dice.f64() < 0.5 {
        // Some pupil was there too, and is part of the width: any that spreads less than half as much, since a lens wide
        // open out of focus spreads next to nothing by itself.
        let most = (0.45 * psf.truth().sigma / 0.46).min(3.5);
        told = (most > 0.08).then(|| log_even(dice, 0.08, most));
    }
    Kernel { psf, lambda_n_px: told.filter(|_| known) }
}

/// ln of the true width of a spread together with the scene's own blur (Gaussian) and the pixel aperture, px.
pub fn truth(psf: &Psf, own: f64) -> f64 {
    Psf { pixel: true, ..psf.softened(own, own, 0.0) }.truth().sigma.ln()
}

/// Truths of one spread by the scene's own blur, to a hundredth of a pixel.
pub struct Truths<'a> {
    psf: &'a Psf,
    known: HashMap<i64, f64>,
}

impl<'a> Truths<'a> {
    pub fn of(psf: &'a Psf) -> Self {
        Self { psf, known: HashMap::new() }
    }

    pub fn at(&mut self, own: f64) -> f64 {
        let key = (100.0 * own).round() as i64;
        *self.known.entry(key).or_insert_with(|| truth(self.psf, key as f64 / 100.0))
    }
}

/// A picture under a spread; its borders are mirrored.
pub fn blurred(picture: &Picture, psf: &Psf) -> Picture {
    let reach = psf.reach().ceil() as usize;
    let padded = |size: usize| (size + 2 * reach).next_multiple_of(32);
    let (width, height) = (padded(picture.width), padded(picture.height));
    let mirrored = |at: usize, size: usize| {
        let at = (at as isize - reach as isize).rem_euclid(2 * size as isize) as usize;
        if at < size { at } else { 2 * size - 1 - at }
    };
    let mut values: Vec<Complex32> = (0..width * height)
        .map(|i| {
            let (x, y) = (mirrored(i % width, picture.width), mirrored(i / width, picture.height));
            Complex32::new(picture.data[y * picture.width + x], 0.0)
        })
        .collect();
    let mut planner = FftPlanner::new();
    let turn = |values: &[Complex32], w: usize, h: usize| -> Vec<Complex32> {
        (0..w * h).map(|i| values[i % h * w + i / h]).collect()
    };
    planner.plan_fft_forward(width).process(&mut values);
    let mut columns = turn(&values, width, height);
    planner.plan_fft_forward(height).process(&mut columns);
    let transfer = psf.transfer();
    let frequency = |k: usize, n: usize| (if 2 * k > n { k as f64 - n as f64 } else { k as f64 }) / n as f64;
    for (kx, column) in columns.chunks_exact_mut(height).enumerate() {
        for (ky, value) in column.iter_mut().enumerate() {
            *value *= transfer.at(frequency(kx, width), frequency(ky, height)) as f32;
        }
    }
    planner.plan_fft_inverse(height).process(&mut columns);
    let mut rows = turn(&columns, height, width);
    planner.plan_fft_inverse(width).process(&mut rows);
    let scale = 1.0 / (width * height) as f32;
    let data = (0..picture.width * picture.height)
        .map(|i| {
            let (x, y) = (i % picture.width + reach, i / picture.width + reach);
            (rows[y * width + x].re * scale).max(0.0)
        })
        .collect();
    Picture { data, ..*picture }
}
