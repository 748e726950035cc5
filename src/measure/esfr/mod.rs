//! Edge-based spatial frequency response (e-SFR) of a slanted edge, after ISO 12233:2014.

mod line;
mod profile;

pub use line::EdgeError;

use crate::quantity::{Estimate, MTF50_SIGMA, Region};
use crate::shot::Plane;
use profile::Profile;

/// How the line spread is windowed before the Fourier transform.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Window {
    /// Full weight over the line spread itself (3.5 sigma each way), falling to nothing at twice that; the
    /// response is stated relative to the step between the two plateaus.
    ///
    /// The standard's own window narrows a wide line spread (by 3 % where the region is 15 sigma wide) and lets
    /// the noise of the whole region in; this one does neither.
    #[default]
    Shouldered,
    /// The standard's Hamming window over the whole region, the response normalised at frequency zero.
    Hamming,
}

/// How to analyse an edge.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub struct EdgeSettings {
    /// Degree of the polynomial that describes the edge's course, 1 to 3; `None` to take the lowest that the
    /// edge's own scatter supports (a distorted edge is curved, and a straight fit would widen it).
    pub degree: Option<usize>,
    /// Windowing of the line spread.
    pub window: Window,
}

/// What a slanted edge tells.
#[derive(Clone, Debug, PartialEq)]
pub struct EdgeResponse {
    /// Spatial frequency of half contrast across the edge, cycles a pixel.
    pub mtf50: Estimate,
    /// 10 % to 90 % rise distance across the edge, px.
    pub rise: Estimate,
    /// Gaussian-equivalent sigma of the line spread, 0.187391 / MTF50, px, pixel aperture included.
    pub sigma: Estimate,
    /// Modulation against frequency: (cycles a pixel, modulation), from 0 to 1 cycle a pixel.
    pub mtf: Vec<(f64, f64)>,
    /// Edge spread: (px from the edge along its normal, share of the step).
    pub esf: Vec<(f64, f64)>,
    /// Angle between the edge and the nearer pixel axis, degrees, 0 to 45.
    pub angle_deg: f64,
    /// Whether the edge runs nearer to the vertical than to the horizontal.
    pub vertical: bool,
    /// Degree of the polynomial that describes the edge's course.
    pub degree: usize,
    /// Step over the noise of a sample.
    pub snr: f64,
    /// Luminance of the dark and of the bright side (white = 1).
    pub levels: (f64, f64),
    /// How far the edge spread rises above the bright plateau or dips below the dark one, as a share of the step.
    pub overshoot: f64,
}

/// Measures the e-SFR of the one slanted edge in `region` of a linear plane.
///
/// Method of ISO 12233:2014: the edge is located row by row and a line (or a low polynomial) is fitted to it; all
/// samples are projected along the edge into bins of a quarter pixel; the edge spread is differentiated with
/// [-1/2 0 1/2], windowed ([`Window`]) and Fourier transformed; the modulus is normalised and corrected for the
/// derivative filter. Distances are taken along the edge's normal, which is the edge-angle correction
/// SFR(u) -> SFR(u cos t) of Roland (Proc. SPIE 9396, 2015) made at the source. The width of the bins, which the
/// standard leaves in, is divided out as well. On a mosaic only samples that the sensor measured are used.
///
/// Standard deviations come from leaving out one of ten groups of rows in turn (the delete-one-group jackknife).
///
/// What biases it: an edge that is itself not sharp, light that falls off across the region (the plateaus are
/// taken as level), sharpening, a tone curve that was not undone, and a region too narrow to hold the tails of
/// the line spread (diffraction's fall slowly: the MTF then reads high by about the share cut off).
///
/// # Errors
/// [`EdgeError`] where there is no one edge, it is clipped, aligned with the pixels, or the region is too small or
/// too noisy.
pub fn esfr(plane: &Plane, region: Region, settings: &EdgeSettings) -> Result<EdgeResponse, EdgeError> {
    let samples = line::Samples::new(plane, region)?;
    let line = line::fit(&samples, settings.degree)?;
    let profile = Profile::new(&samples, &line)?;
    let whole = profile.curve(None, settings.window);
    let mtf50 = crossing(&whole.mtf, 0.5).ok_or(EdgeError::NoEdge)?;
    let rise = whole.rise.ok_or(EdgeError::NoEdge)?;
    let (mut mtf50s, mut rises) = (Vec::new(), Vec::new());
    for group in 0..profile::GROUPS {
        let part = profile.curve(Some(group), settings.window);
        mtf50s.extend(crossing(&part.mtf, 0.5));
        rises.extend(part.rise);
    }
    let n = samples.rows() as u32;
    let mtf50 = Estimate::new(mtf50, jackknife_sd(&mtf50s), n);
    let sigma = MTF50_SIGMA / mtf50.value;
    Ok(EdgeResponse {
        mtf50,
        rise: Estimate::new(rise, jackknife_sd(&rises), n),
        sigma: Estimate::new(sigma, sigma * mtf50.sd / mtf50.value, n),
        mtf: whole.mtf,
        esf: whole.esf,
        angle_deg: line.slope_middle().atan().to_degrees().abs(),
        vertical: samples.vertical,
        degree: line.degree(),
        snr: profile.snr(),
        levels: profile.levels(),
        overshoot: whole.overshoot,
    })
}

/// First frequency at which a falling curve passes `level`, by linear interpolation.
fn crossing(curve: &[(f64, f64)], level: f64) -> Option<f64> {
    curve.windows(2).find(|w| w[0].1 >= level && w[1].1 < level).map(|w| {
        let share = (w[0].1 - level) / (w[0].1 - w[1].1);
        w[0].0 + share * (w[1].0 - w[0].0)
    })
}

/// Standard deviation from delete-one-group values: sqrt((g - 1) / g * sum (v - mean)^2) (Efron & Stein 1981).
fn jackknife_sd(values: &[f64]) -> f64 {
    let g = values.len() as f64;
    if g < 2.0 {
        return f64::INFINITY;
    }
    let mean = values.iter().sum::<f64>() / g;
    ((g - 1.0) / g * values.iter().map(|v| (v - mean).powi(2)).sum::<f64>()).sqrt()
}
