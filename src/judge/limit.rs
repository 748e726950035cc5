//! The permitted blur of a frame, and how much room its definition leaves.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::quantity::{DISC_SIGMA, FINEST_DISC_PX, SharpFor};

/// Multiple of the permitted blur up to which a place counts as at the limit. Chosen: the permitted disc is a
/// convention, and those in use run from the diagonal over 1500 to over 1250 (common practice, no published source).
pub const ROOM: f64 = 1.2;

/// Optical width, px, that sampling by a colour sensor leaves of a perfectly sharp scene: it is the pixels', not the
/// photographer's, so that no place is beyond the permitted blur by less. Derived: a low-pass filter that splits light
/// by one pixel, cos(pi f), and green interpolated between the two of four sites that have it, 3/4 + cos(2 pi f) / 4,
/// under a pixel's sinc(f) leave half contrast at 0.242 cycles a pixel: 0.774 px, and 0.709 px without the pixel.
const SAMPLED_PX: f64 = 0.709;

/// The most, px, that a picture's own sharpest parts are taken to show of its sampling. Derived: [`SAMPLED_PX`] with
/// the diffraction of a wavelength times f-number over pitch of one pixel (0.464 px), as small sensors have at their
/// usual f-numbers, in quadrature.
pub(super) const COARSEST_PX: f64 = 0.847;

/// What the pixels of a picture show at best, px: what sampling takes, or what its sharpest parts (`shown`, their optical
/// width) have, within reason. No place is beyond the permitted blur by less: a small sensor's picture is as sharp as
/// that camera draws anything where it is as sharp as its sharpest parts.
#[must_use]
pub fn finest_px(shown: Option<f64>) -> f64 {
    shown.map_or(0.0, |s| ROOM * s).clamp(SAMPLED_PX, COARSEST_PX)
}

/// The optical blur from which a place is beyond the permitted, px: below, it is at the limit.
#[must_use]
pub fn beyond_px(permitted_px: f64, finest_px: f64) -> f64 {
    (ROOM * permitted_px).max(finest_px)
}

/// The permitted optical blur of a picture for a use, Gaussian-equivalent sigma in px: that of the disc asked for or of
/// the finest disc the pixels show, whichever is larger.
#[must_use]
pub fn permitted_px(sharp_for: SharpFor, width: u32, height: u32) -> f64 {
    DISC_SIGMA * sharp_for.disc_shown(f64::from(width), f64::from(height), 1.0)
}

/// What sets the permitted blur.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum SetBy {
    /// The use asked for.
    Use,
    /// The pixels of the picture.
    Pixels,
}

/// What sets the permitted blur of a picture.
pub(crate) fn set_by(permitted_px: f64) -> SetBy {
    if permitted_px > DISC_SIGMA * FINEST_DISC_PX { SetBy::Use } else { SetBy::Pixels }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_sampling_leaves_is_as_derived() {
        use std::f64::consts::PI;
        let mtf = |f: f64| (2.0 * PI * f).sin() / (2.0 * PI * f) * (0.75 + 0.25 * (2.0 * PI * f).cos());
        let half = (1..5000).map(|k| f64::from(k) * 1e-4).find(|&f| mtf(f) < 0.5).unwrap();
        let whole = crate::quantity::MTF50_SIGMA / half;
        let optical = (whole * whole - crate::quantity::PIXEL_SIGMA.powi(2)).sqrt();
        assert!((optical - SAMPLED_PX).abs() < 2e-3, "{optical}");
    }

    #[test]
    fn small_pictures_are_judged_by_their_pixels_and_large_ones_by_the_use() {
        let disc = |w, h| permitted_px(SharpFor::Diagonal1500, w, h) / DISC_SIGMA;
        assert!((disc(1600, 1200) - 2.0).abs() < 1e-12);
        assert!((disc(6000, 4000) - 6000f64.hypot(4000.0) / 1500.0).abs() < 1e-12);
        // A postage stamp seen from afar permits more than its pixels.
        let stamp = SharpFor::Print { long_m: 0.03, short_m: 0.02, distance_m: 3.0 };
        assert!(permitted_px(stamp, 1600, 1200) > DISC_SIGMA * 40.0);
    }
}
