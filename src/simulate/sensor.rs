//! What a sensor makes of light: shot and read noise, clipping, quantisation.

use super::noise::Dice;
use crate::shot::Plane;

/// Noise of a sensor, in relative luminance (white = 1): variance = `shot` * level + `read`^2, after the
/// photon-transfer model of EMVA 1288.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Noise {
    /// Variance a unit of level: the reciprocal of the full-well count of photo-electrons.
    pub shot: f64,
    /// Standard deviation in the dark.
    pub read: f64,
}

impl Noise {
    /// No noise.
    pub const NONE: Self = Self { shot: 0.0, read: 0.0 };

    /// Noise with this ratio of signal to noise at `level`, nine tenths of its variance there from photons.
    #[must_use]
    pub fn at_snr(snr: f64, level: f64) -> Self {
        let variance = (level / snr).powi(2);
        Self { shot: 0.9 * variance / level, read: (0.1 * variance).sqrt() }
    }

    /// Standard deviation at a level.
    #[must_use]
    pub fn sd(&self, level: f64) -> f64 {
        (self.shot * level.max(0.0) + self.read * self.read).sqrt()
    }
}

/// Level that stands for no light in simulated planes.
pub(crate) const BLACK: u16 = 2048;
/// Level that stands for relative luminance 1.
pub(crate) const WHITE: u16 = 63_488;

/// Luminance (row-major, white = 1) with noise added, clipped and quantised: a plane without a mosaic.
#[must_use]
pub fn expose(luminance: &[f32], width: usize, height: usize, noise: Noise, seed: u64) -> Plane {
    let mut dice = Dice::new(seed ^ 0x5EED_0F50_1CE0_0001);
    let range = f64::from(WHITE - BLACK);
    let data = luminance
        .iter()
        .map(|&v| {
            let v = f64::from(v);
            let noisy = if noise == Noise::NONE { v } else { v + noise.sd(v) * dice.normal() };
            (f64::from(BLACK) + range * noisy).round().clamp(0.0, f64::from(WHITE)) as u16
        })
        .collect();
    Plane { black: BLACK, ..Plane::plain(width, height, data, WHITE) }
}

/// sRGB code value (0 to 1) to linear light, IEC 61966-2-1; the simulator's own, since it shares no formula with what it checks.
#[must_use]
pub fn from_srgb(v: f32) -> f32 {
    if v <= 0.040_45 { v / 12.92 } else { ((v + 0.055) / 1.055).powf(2.4) }
}

/// Linear light (0 to 1) to sRGB code value, IEC 61966-2-1.
#[must_use]
pub fn to_srgb(v: f32) -> f32 {
    if v <= 0.003_130_8 { 12.92 * v.max(0.0) } else { 1.055 * v.min(1.0).powf(1.0 / 2.4) - 0.055 }
}
