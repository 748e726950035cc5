//! What sensors, cameras and files make of light: the plane that the estimator gets, by the product's own reading where there
//! is any.

use std::path::Path;

use anyhow::Context as _;
use fastrand::Rng;
use image::codecs::jpeg::JpegEncoder;
use image::{ExtendedColorType, ImageEncoder as _};
use tussock::intake::raw::{Pattern, Sensor, luminance};
use tussock::intake::{self, Overrides};
use tussock::shot::{Mosaic, Plane};
use tussock::simulate::Noise;
use tussock::simulate::sensor::{from_srgb, to_srgb};

use crate::kernel::{even, log_even, normal};
use crate::scene::Picture;

/// Noise of a sensor, stronger towards the corners where a lens's falloff of light is made up for.
#[derive(Clone, Copy, Debug)]
pub struct Grain {
    pub sensor: Noise,
    /// How many times stronger it is in the corners, less one.
    pub corners: f64,
}

impl Grain {
    fn sd(&self, picture: &Picture, index: usize, level: f32) -> f64 {
        let (w, h) = (picture.width as f64, picture.height as f64);
        let (x, y) = ((index % picture.width) as f64 - w / 2.0, (index / picture.width) as f64 - h / 2.0);
        let radius = (x * x + y * y) / (0.25 * (w * w + h * h));
        self.sensor.sd(f64::from(level)) * (1.0 + self.corners * radius)
    }
}

/// How a picture comes to the estimator.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Way {
    /// Every pixel measured, 16 bits, linear or behind a tone curve.
    Plain { rendered: bool },
    /// Colour filters of a Bayer sensor; which of its four phases.
    Bayer(u8),
    /// Colour filters of an X-Trans sensor.
    Six,
    /// JPEG of this quality, of all pixels measured.
    Jpeg(u8),
    /// As cameras and raw developers make them: a JPEG of this quality, or 16 bits without loss.
    Developed(Option<u8>, Processing),
}

/// What a camera does to a picture before it compresses it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Processing {
    /// Whether it came from a Bayer sensor.
    pub mosaic: bool,
    /// Averages neighbours that differ by less than so many standard deviations of the noise; none at 0.
    pub smoothing: f32,
    /// Unsharp mask: amount and radius (sigma, px).
    pub amount: f32,
    pub radius: f32,
    /// Strength of an S-shaped tone curve on top of sRGB.
    pub curve: f32,
}

impl Way {
    pub fn random(dice: &mut Rng) -> Self {
        let quality = if dice.u8(0..4) == 0 { dice.u8(75..=88) } else { dice.u8(85..=98) };
        match dice.u8(0..100) {
            0..22 => Self::Plain { rendered: dice.bool() },
            22..47 => Self::Bayer(dice.u8(0..4)),
            47..53 => Self::Six,
            53..74 => Self::Jpeg(quality),
            _ => {
                let lossless = dice.u8(0..5) == 0;
                Self::Developed((!lossless).then_some(quality), Processing::random(dice))
            }
        }
    }

    /// A number for the table.
    pub const fn number(self) -> f32 {
        match self {
            Self::Plain { .. } => 0.0,
            Self::Bayer(_) => 1.0,
            Self::Six => 2.0,
            Self::Jpeg(_) => 3.0,
            Self::Developed(..) => 4.0,
        }
    }
}

impl Processing {
    pub fn random(dice: &mut Rng) -> Self {
        let sharpened = dice.u8(0..10) < 7;
        Self {
            mosaic: dice.bool(),
            smoothing: if dice.bool() { even(dice, 0.8, 3.5) as f32 } else { 0.0 },
            amount: if sharpened { log_even(dice, 0.1, 1.8) as f32 } else { 0.0 },
            radius: even(dice, 0.5, 1.4) as f32,
            curve: if dice.bool() { even(dice, 0.0, 0.25) as f32 } else { 0.0 },
        }
    }
}

/// The plane of a picture that came this way.
pub fn plane(picture: &Picture, way: Way, noise: Grain, scratch: &Path, dice: &mut Rng) -> anyhow::Result<Plane> {
    match way {
        Way::Plain { rendered } => Ok(plain(&noisy(picture, noise, dice), rendered)),
        Way::Bayer(phase) => Ok(luminance(&sensor(picture, bayer(phase), noise, dice))),
        Way::Six => Ok(luminance(&sensor(picture, six(), noise, dice))),
        Way::Jpeg(quality) => {
            let mut codes = noisy(picture, noise, dice);
            codes.data.iter_mut().for_each(|v| *v = to_srgb(*v));
            compressed(&codes, quality, scratch)
        }
        Way::Developed(quality, processing) => {
            let mut codes = if processing.mosaic {
                let plane = luminance(&sensor(picture, bayer(dice.u8(0..4)), noise, dice));
                let data = (0..picture.data.len()).map(|i| plane.luminance(i % plane.width, i / plane.width)).collect();
                Picture { data, ..*picture }
            } else {
                noisy(picture, noise, dice)
            };
            develop(&mut codes, processing, noise.sensor);
            match quality {
                Some(quality) => compressed(&codes, quality, scratch),
                None => {
                    codes.data.iter_mut().for_each(|v| *v = from_srgb(v.clamp(0.0, 1.0)));
                    Ok(plain(&codes, true))
                }
            }
        }
    }
}

fn noisy(picture: &Picture, noise: Grain, dice: &mut Rng) -> Picture {
    let seen = |(i, &v): (usize, &f32)| v + (noise.sd(picture, i, v) * normal(dice)) as f32;
    let data = picture.data.iter().enumerate().map(seen).collect();
    Picture { data, ..*picture }
}

fn plain(picture: &Picture, rendered: bool) -> Plane {
    let (black, white) = if rendered { (0, 65_535) } else { (2048, 63_488) };
    let (base, range) = (f32::from(black), f32::from(white) - f32::from(black));
    Plane {
        width: picture.width,
        height: picture.height,
        data: picture.data.iter().map(|v| (base + range * v).round().clamp(0.0, f32::from(white)) as u16).collect(),
        black,
        white,
        saturation: white - white / 500,
        mosaic: Mosaic::None,
        jpeg: None,
        rendered,
    }
}

/// Red green / green blue from one of its four corners.
fn bayer(phase: u8) -> Pattern {
    let mut colours = [0; 36];
    for (i, colour) in colours.iter_mut().enumerate().take(4) {
        let (x, y) = ((i as u8 + phase) % 2, (i as u8 / 2 + phase / 2) % 2);
        *colour = x + y;
    }
    Pattern { side: 2, colours }
}

/// The 6 x 6 arrangement of X-Trans sensors as raw files state it: greens in 20 of 36 places.
fn six() -> Pattern {
    const ROWS: [&[u8; 6]; 6] = [b"GBGGRG", b"RGRBGB", b"GBGGRG", b"GRGGBG", b"BGBRGR", b"GRGGBG"];
    let colour = |c: u8| match c {
        b'R' => 0,
        b'G' => 1,
        _ => 2,
    };
    Pattern { side: 6, colours: std::array::from_fn(|i| colour(ROWS[i / 6][i % 6])) }
}

/// Samples behind colour filters: red and blue light weaker, hence noisier once balanced, and of a contrast of their own.
fn sensor(picture: &Picture, pattern: Pattern, noise: Grain, dice: &mut Rng) -> Sensor {
    let mean = (picture.data.iter().sum::<f32>() / picture.data.len() as f32).max(1e-3);
    let passed = [even(dice, 0.35, 0.9) as f32, 1.0, even(dice, 0.35, 0.9) as f32];
    let contrast = [0.15 * normal(dice) as f32, 0.0, 0.15 * normal(dice) as f32];
    // A colour cast stays after balancing.
    let cast = [(0.2 * normal(dice)).exp() as f32, 1.0, (0.2 * normal(dice)).exp() as f32];
    let (black, white) = (512.0, 16_383.0_f32);
    let samples = picture
        .data
        .iter()
        .enumerate()
        .map(|(i, &v)| {
            let colour = pattern.colour(i % picture.width % pattern.side, i / picture.width % pattern.side);
            let tinted = v * (v.max(1e-4) / mean).powf(contrast[colour]) * cast[colour];
            let level = if colour == 1 { v } else { passed[colour] * tinted };
            let seen = level + (noise.sd(picture, i, level) * normal(dice)) as f32;
            (black + (white - black) * seen).round().clamp(0.0, white) as u16
        })
        .collect();
    Sensor {
        samples,
        stride: picture.width,
        left: 0,
        top: 0,
        width: picture.width,
        height: picture.height,
        channels: 1,
        pattern: Some(pattern),
        black: [black; 4],
        white,
        gains: passed.map(|p| 1.0 / p),
        from_srgb: None,
        orientation: 1,
        exposures: 1,
        coded: None,
        flags: Vec::new(),
    }
}

/// Smoothing, tone curve and unsharp mask, in that order; linear light becomes code values of 0 to 1.
fn develop(picture: &mut Picture, how: Processing, noise: Noise) {
    if how.smoothing > 0.0 {
        smooth(picture, how.smoothing, noise);
    }
    for v in &mut picture.data {
        let code = to_srgb(*v);
        // An S about the middle that keeps black and white.
        *v = code + how.curve * code * (1.0 - code) * (2.0 * code - 1.0);
    }
    if how.amount > 0.0 {
        let soft = gaussian(picture, how.radius);
        for (v, s) in picture.data.iter_mut().zip(soft) {
            *v += how.amount * (*v - s);
        }
    }
}

/// Mean of the neighbours (5 x 5) that differ by less than a few standard deviations: smooths noise and spares edges.
fn smooth(picture: &mut Picture, limit: f32, noise: Noise) {
    let (w, h) = (picture.width as isize, picture.height as isize);
    let from = picture.data.clone();
    for (i, out) in picture.data.iter_mut().enumerate() {
        let (x, y) = (i as isize % w, i as isize / w);
        let here = from[i];
        let most = limit * noise.sd(f64::from(here)) as f32;
        let (mut sum, mut count) = (0.0, 0.0);
        for dy in -2..=2 {
            let row = (y + dy).clamp(0, h - 1) * w;
            for dx in -2..=2 {
                let there = from[(row + (x + dx).clamp(0, w - 1)) as usize];
                if (there - here).abs() <= most {
                    sum += there;
                    count += 1.0;
                }
            }
        }
        *out = sum / count;
    }
}

fn gaussian(picture: &Picture, sigma: f32) -> Vec<f32> {
    let reach = (3.0 * sigma).ceil() as isize;
    let mut taps: Vec<f32> = (-reach..=reach).map(|k| (-0.5 * (k as f32 / sigma).powi(2)).exp()).collect();
    let sum: f32 = taps.iter().sum();
    taps.iter_mut().for_each(|t| *t /= sum);
    let (w, h) = (picture.width as isize, picture.height as isize);
    let along = |from: &[f32], step: (isize, isize)| -> Vec<f32> {
        (0..w * h)
            .map(|i| {
                let (x, y) = (i % w, i / w);
                let at = |k: isize| {
                    let (x, y) = ((x + k * step.0).clamp(0, w - 1), (y + k * step.1).clamp(0, h - 1));
                    from[(y * w + x) as usize]
                };
                taps.iter().zip(-reach..).map(|(t, k)| t * at(k)).sum()
            })
            .collect()
    };
    along(&along(&picture.data, (1, 0)), (0, 1))
}

/// Code values as a JPEG, read as the product reads it.
fn compressed(codes: &Picture, quality: u8, scratch: &Path) -> anyhow::Result<Plane> {
    let bytes: Vec<u8> = codes.data.iter().map(|v| (255.0 * v).round().clamp(0.0, 255.0) as u8).collect();
    let mut out = Vec::new();
    let (width, height) = (codes.width as u32, codes.height as u32);
    JpegEncoder::new_with_quality(&mut out, quality).write_image(&bytes, width, height, ExtendedColorType::L8)?;
    std::fs::write(scratch, out)?;
    let shot = intake::read(scratch, &Overrides::default()).map_err(|e| anyhow::anyhow!("{e}"))?;
    anyhow::Ok(shot.plane).context("a JPEG just written can't be read")
}
