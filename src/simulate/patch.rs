//! Patches: one texture under one point spread, with the true blur width.

use super::canvas::View;
use super::convolve::{Convolver, quick_size};
use super::psf::{Psf, Truth};
use super::sensor::{Noise, expose};
use super::texture::{Texture, paint};
use crate::shot::Plane;

/// Everything about a patch that may be chosen.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PatchSpec {
    /// What it shows.
    pub texture: Texture,
    /// What blurs it.
    pub psf: Psf,
    /// Width, px.
    pub width: usize,
    /// Height, px.
    pub height: usize,
    /// Seed of the scene: the same scene under another blur or view has the same seed.
    pub seed: u64,
    /// Seed of the noise.
    pub noise_seed: u64,
    /// Ratio of signal to noise at the mean level; infinite for none.
    pub snr: f64,
    /// Contrast of the scene about its middle level 0.5, 1 as painted.
    pub contrast: f64,
    /// Exposure: factor on all light; above about 1.05 highlights clip.
    pub exposure: f64,
    /// Shift, turn and enlargement of the scene.
    pub view: View,
}

impl Default for PatchSpec {
    fn default() -> Self {
        Self {
            texture: Texture::Leaves,
            psf: Psf::gaussian(1.0),
            width: 128,
            height: 128,
            seed: 1,
            noise_seed: 1,
            snr: 50.0,
            contrast: 1.0,
            exposure: 1.0,
            view: View::default(),
        }
    }
}

/// A square patch of `size` px: its plane and its true widths (pixel aperture included).
#[must_use]
pub fn patch(texture: Texture, psf: &Psf, size: usize, seed: u64, snr: f64) -> (Plane, Truth) {
    render_patch(&PatchSpec {
        texture,
        psf: *psf,
        width: size,
        height: size,
        seed,
        noise_seed: seed,
        snr,
        ..PatchSpec::default()
    })
}

/// A patch to specification: its plane and its true widths (pixel aperture included).
#[must_use]
pub fn render_patch(spec: &PatchSpec) -> (Plane, Truth) {
    let luminance = patch_luminance(spec);
    let mean = luminance.iter().map(|&v| f64::from(v)).sum::<f64>() / luminance.len().max(1) as f64;
    let noise = if spec.snr.is_finite() { Noise::at_snr(spec.snr, mean.max(1e-3)) } else { Noise::NONE };
    (expose(&luminance, spec.width, spec.height, noise, spec.noise_seed), spec.psf.truth())
}

/// The same without sensor: linear luminance, row-major, white = 1.
#[must_use]
pub fn patch_luminance(spec: &PatchSpec) -> Vec<f32> {
    // Four fine samples a pixel hold all that a lens of f/4 and slower passes on to a 4 um pixel.
    const FINE: usize = 4;
    let margin = spec.psf.reach().ceil() as usize;
    let (full_w, full_h) = (quick_size(spec.width + 2 * margin), quick_size(spec.height + 2 * margin));
    let mut canvas = paint(spec.texture, (full_w, full_h), FINE, &spec.view, spec.seed);
    let convolver = Convolver::new(full_w, full_h, FINE);
    let spectrum = convolver.forward(&mut canvas.data, spec.psf.pixel);
    let optics = Psf { pixel: false, ..spec.psf };
    let pixels = convolver.pixels(&spectrum, &convolver.transfer(&optics.transfer()));
    let (left, top) = ((full_w - spec.width) / 2, (full_h - spec.height) / 2);
    let (contrast, exposure) = (spec.contrast as f32, spec.exposure as f32);
    (0..spec.height)
        .flat_map(|y| pixels[(y + top) * full_w + left..][..spec.width].iter())
        .map(|v| (0.5 + (v - 0.5) * contrast) * exposure)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The spread as rendered, transformed directly: contrast at (f, 0).
    fn contrast_of_point(psf: &Psf, f: f64) -> f64 {
        let size = 96;
        let spec = PatchSpec {
            texture: Texture::Point,
            psf: *psf,
            width: size,
            height: size,
            snr: f64::INFINITY,
            ..PatchSpec::default()
        };
        let light = patch_luminance(&spec);
        let (mut re, mut im, mut all) = (0.0, 0.0, 0.0);
        for (i, &v) in light.iter().enumerate() {
            let (x, v) = ((i % size) as f64, f64::from(v));
            re += v * (std::f64::consts::TAU * f * x).cos();
            im += v * (std::f64::consts::TAU * f * x).sin();
            all += v;
        }
        f64::hypot(re, im) / all
    }

    #[test]
    fn the_rendered_spread_has_the_stated_transfer() {
        for psf in [Psf::gaussian(1.5), Psf::disc(7.0), Psf::lens(11.0, 4.35, 12.0), Psf::gaussian(1.2).moved(4.0, 0.0)]
        {
            let transfer = psf.transfer();
            for f in [0.03, 0.08, 0.15] {
                let (got, stated) = (contrast_of_point(&psf, f), transfer.at(f, 0.0).abs());
                assert!((got - stated).abs() < 4e-3, "{psf:?} at {f}: {got} for {stated}");
            }
        }
    }

    #[test]
    fn light_is_neither_made_nor_lost() {
        let mean = |psf| {
            let light = patch_luminance(&PatchSpec { texture: Texture::Sky, psf, ..PatchSpec::default() });
            light.iter().sum::<f32>() / light.len() as f32
        };
        let (sharp, soft) = (mean(Psf::default()), mean(Psf::disc(9.0)));
        assert!((sharp / soft - 1.0).abs() < 1e-3, "{sharp} {soft}");
    }

    #[test]
    fn a_shifted_view_shows_the_same_scene() {
        let still = PatchSpec { snr: f64::INFINITY, ..PatchSpec::default() };
        let moved = PatchSpec { view: View { shift: (3.0, -2.0), ..View::default() }, ..still };
        let (a, b) = (patch_luminance(&still), patch_luminance(&moved));
        let w = still.width;
        let worst = (10..100)
            .flat_map(|y| (10..100).map(move |x| (x, y)))
            .map(|(x, y)| (a[y * w + x] - b[(y - 2) * w + x + 3]).abs())
            .fold(0.0, f32::max);
        assert!(worst < 2e-3, "{worst}");
    }
}
