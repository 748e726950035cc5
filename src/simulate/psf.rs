//! Point spreads integrated numerically from the lens pupil, and their true blur width.
//!
//! A point spread is described by [`Psf`] and used through its transform [`Transfer`], cycles a pixel in,
//! (real) transfer out. Diffraction and defocus come from one integral, that of `waves.rs`.

use std::f64::consts::PI;
use std::sync::Arc;

use super::waves::{disc_transfer, look_up, wave_table};
use crate::quantity::MTF50_SIGMA;

/// Green light, the usual stand-in for daylight: wavelength in um and its weight.
pub const GREEN: &[(f64, f64)] = &[(0.55, 1.0)];

/// Daylight as luminance sees it, in three wavelengths (our own coarse choice around the eye's 0.555 um peak).
pub(crate) const DAYLIGHT: &[(f64, f64)] = &[(0.50, 0.2), (0.55, 0.5), (0.60, 0.3)];

/// Waves of defocus beyond which the geometric disc stands in for the wave integral (there within 1 %).
const GEOMETRIC_WAVES: f64 = 8.0;

/// Everything that blurs one place of a picture, lengths in pixels unless said otherwise.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Psf {
    /// The lens pupil: diffraction and defocus together.
    pub pupil: Option<Pupil>,
    /// Diameter of a uniform disc without diffraction, px.
    pub disc_px: f64,
    /// Second moments [xx, xy, yy] of a Gaussian part, px^2: the lens's own softness.
    pub gaussian: [f64; 3],
    /// Straight, even motion: the track's extent along x and y, px.
    pub track: (f64, f64),
    /// Whether the square pixel aperture (1 px, full fill) belongs to it.
    pub pixel: bool,
}

/// A circular, evenly lit pupil.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pupil {
    /// f-number.
    pub f_number: f64,
    /// Pixel pitch, um.
    pub pitch_um: f64,
    /// Diameter of the geometric blur disc, um; the sign (which side of focus) does not change the spread.
    pub defocus_um: f64,
    /// Wavelengths (um) and weights.
    pub light: &'static [(f64, f64)],
}

impl Default for Psf {
    /// The pixel aperture alone.
    fn default() -> Self {
        Self { pupil: None, disc_px: 0.0, gaussian: [0.0; 3], track: (0.0, 0.0), pixel: true }
    }
}

impl Psf {
    /// A round Gaussian, without pixel aperture: `sigma` px is the whole width.
    #[must_use]
    pub fn gaussian(sigma: f64) -> Self {
        Self { gaussian: [sigma * sigma, 0.0, sigma * sigma], pixel: false, ..Self::default() }
    }

    /// A uniform disc of this diameter (px) under the pixel aperture.
    #[must_use]
    pub fn disc(diameter_px: f64) -> Self {
        Self { disc_px: diameter_px, ..Self::default() }
    }

    /// Diffraction at this f-number and a geometric disc of `defocus_um`, in green light, under the pixel aperture.
    #[must_use]
    pub fn lens(f_number: f64, pitch_um: f64, defocus_um: f64) -> Self {
        Self { pupil: Some(Pupil { f_number, pitch_um, defocus_um, light: GREEN }), ..Self::default() }
    }

    /// The same with a motion track of this length (px) and direction (radians from +x towards +y).
    #[must_use]
    pub fn moved(self, length: f64, angle: f64) -> Self {
        Self { track: (length * angle.cos(), length * angle.sin()), ..self }
    }

    /// The same with further Gaussian softness of these widths (px) along the direction `angle` and across it.
    #[must_use]
    pub fn softened(self, along: f64, across: f64, angle: f64) -> Self {
        let (c, s) = (angle.cos(), angle.sin());
        let (a, b) = (along * along, across * across);
        let [xx, xy, yy] = self.gaussian;
        Self { gaussian: [xx + a * c * c + b * s * s, xy + (a - b) * c * s, yy + a * s * s + b * c * c], ..self }
    }

    /// The transfer function, ready for evaluation.
    #[must_use]
    pub fn transfer(&self) -> Transfer {
        let mut disc_px = self.disc_px;
        let mut waves = Vec::new();
        if let Some(p) = self.pupil {
            let total: f64 = p.light.iter().map(|l| l.1).sum();
            // A wavefront w waves out of focus at the pupil's edge spreads over a disc of 8 w lambda N.
            let out_of_focus = |wavelength: f64| p.defocus_um.abs() / (8.0 * wavelength * p.f_number);
            // All wavelengths or none: parts of the light by the wave integral and parts by the disc would not add up to one.
            if p.light.iter().any(|l| out_of_focus(l.0) > GEOMETRIC_WAVES) {
                disc_px = disc_px.max(p.defocus_um.abs() / p.pitch_um);
            } else {
                waves.extend(p.light.iter().map(|&(wavelength, weight)| {
                    let cut_off = p.pitch_um / (wavelength * p.f_number);
                    (weight / total, cut_off, wave_table(out_of_focus(wavelength)))
                }));
            }
        }
        Transfer { waves, disc_px, gaussian: self.gaussian, track: self.track, pixel: self.pixel }
    }

    /// True width of this spread.
    #[must_use]
    pub fn truth(&self) -> Truth {
        self.transfer().truth()
    }

    /// Half-width (px) beyond which the spread holds next to nothing; a margin for rendering.
    #[must_use]
    pub fn reach(&self) -> f64 {
        let [xx, _, yy] = self.gaussian;
        let (disc, airy) =
            self.pupil.map_or((0.0, 0.0), |p| (p.defocus_um.abs() / p.pitch_um, 6.0 * p.f_number * 0.55 / p.pitch_um));
        4.0 * xx.max(yy).sqrt() + 0.5 * (disc + self.disc_px) + 0.5 * self.track.0.hypot(self.track.1) + airy + 2.0
    }
}

/// Fourier transform of a point spread.
#[derive(Clone, Debug)]
pub struct Transfer {
    /// Weight, cut-off frequency (cycles/px) and table of each wavelength.
    waves: Vec<(f64, f64, Arc<Vec<f64>>)>,
    disc_px: f64,
    gaussian: [f64; 3],
    track: (f64, f64),
    pixel: bool,
}

/// True width of a point spread.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Truth {
    /// Gaussian-equivalent sigma over all directions: the root mean square of sigma(t) = 0.187391 / MTF50(t)
    /// over 24 directions t evenly spread over the half circle, px.
    pub sigma: f64,
}

impl Transfer {
    /// Transfer at a frequency in cycles a pixel along x and y; negative where contrast is reversed.
    #[must_use]
    pub fn at(&self, fx: f64, fy: f64) -> f64 {
        self.round(fx.hypot(fy)) * self.rest(fx, fy)
    }

    /// The part that is alike in all directions: pupil and disc.
    pub(super) fn round(&self, f: f64) -> f64 {
        let mut value = 1.0;
        if !self.waves.is_empty() {
            value = self.waves.iter().map(|(weight, cutoff, table)| weight * look_up(table, f / cutoff)).sum();
        }
        if self.disc_px > 0.0 {
            value *= disc_transfer(self.disc_px * f);
        }
        value
    }

    /// The part that has directions: softness, motion and pixel.
    pub(super) fn rest(&self, fx: f64, fy: f64) -> f64 {
        let mut value = 1.0;
        let [xx, xy, yy] = self.gaussian;
        if xx + yy > 0.0 {
            value *= (-2.0 * PI * PI * (xx * fx * fx + 2.0 * xy * fx * fy + yy * fy * fy)).exp();
        }
        if self.track != (0.0, 0.0) {
            value *= even_transfer(self.track.0 * fx + self.track.1 * fy);
        }
        if self.pixel {
            value *= even_transfer(fx) * even_transfer(fy);
        }
        value
    }

    /// Lowest frequency (cycles/px) along `angle` (radians from +x towards +y) at which contrast falls to one half.
    #[must_use]
    pub fn mtf50(&self, angle: f64) -> f64 {
        let (dx, dy) = (angle.cos(), angle.sin());
        let contrast = |f: f64| self.at(f * dx, f * dy).abs();
        let (mut low, mut high) = (0.0, 2e-3);
        while contrast(high) > 0.5 && high < 16.0 {
            low = high;
            high *= 1.1;
        }
        for _ in 0..30 {
            let middle = 0.5 * (low + high);
            if contrast(middle) > 0.5 {
                low = middle;
            } else {
                high = middle;
            }
        }
        0.5 * (low + high)
    }

    /// Its true width.
    pub(crate) fn truth(&self) -> Truth {
        const DIRECTIONS: u32 = 24;
        let square: f64 = (0..DIRECTIONS)
            .map(|i| (MTF50_SIGMA / self.mtf50(PI * f64::from(i) / f64::from(DIRECTIONS))).powi(2))
            .sum();
        Truth { sigma: (square / f64::from(DIRECTIONS)).sqrt() }
    }
}

/// Transform of an even spread of length 1, at t cycles.
fn even_transfer(t: f64) -> f64 {
    let x = PI * t;
    if x.abs() < 1e-6 { 1.0 } else { x.sin() / x }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_light_is_lost_where_the_disc_takes_over() {
        for step in 0..=60 {
            // 6 to 10 waves of green: each wavelength passes the limit somewhere.
            let waves = 6.0 + f64::from(step) / 15.0;
            let pupil = Pupil { f_number: 2.8, pitch_um: 5.0, defocus_um: waves * 8.0 * 0.55 * 2.8, light: DAYLIGHT };
            let psf = Psf { pupil: Some(pupil), ..Psf::default() };
            let transfer = psf.transfer();
            assert!((transfer.at(0.0, 0.0) - 1.0).abs() < 1e-9, "{waves}");
            // A disc's half contrast, with diffraction adding next to nothing (0.705085 over the diameter).
            let disc = pupil.defocus_um / pupil.pitch_um;
            let mtf50 = transfer.mtf50(0.0);
            assert!((mtf50 * disc / 0.705_085 - 1.0).abs() < 0.03, "{waves}: {mtf50}");
        }
    }

    #[test]
    fn plain_shapes_have_the_half_contrast_of_the_handbooks() {
        // Gaussian 0.187391 / sigma; disc 0.705085 / c (first root of 2 J1(x)/x = 1/2); even track 0.603355 / b.
        let gaussian = Psf::gaussian(1.3).transfer();
        assert!((gaussian.truth().sigma - 1.3).abs() < 1e-6);
        assert!((MTF50_SIGMA / gaussian.mtf50(0.0) - 1.3).abs() < 1e-6);
        let disc = Psf { pixel: false, ..Psf::disc(6.0) }.transfer();
        assert!((disc.mtf50(0.0) * 6.0 - 0.705_085).abs() < 2e-4);
        let track = Psf { pixel: false, ..Psf::default() }.moved(5.0, 0.0).transfer();
        assert!((track.mtf50(0.0) * 5.0 - 0.603_355).abs() < 2e-4);
    }

    #[test]
    fn wave_and_geometric_discs_meet() {
        let c = |w: f64| 8.0 * w * 0.55 * 2.8;
        let wave = Psf::lens(2.8, 4.35, c(7.99)).truth().sigma / 7.99;
        let geometric = Psf::lens(2.8, 4.35, c(8.01)).truth().sigma / 8.01;
        assert!((wave / geometric - 1.0).abs() < 0.012, "{wave} {geometric}");
    }
}
