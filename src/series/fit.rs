//! Splits blur against f-number into what falls on stopping down and what grows, the growth fitted, not assumed.

use nalgebra::{Matrix4, Vector4};

use super::scale::BOUNDS;
use super::{ZoneBlur, ZoneName, middle_mean};
use crate::optics::WAVELENGTH_UM;
use crate::optics::blur::{Parts, sigma_px};
use crate::quantity::Estimate;
use crate::stats::{Pace, descend};

/// The split over all zones of an aperture series.
#[derive(Clone, Debug, PartialEq)]
pub struct Split {
    /// Wavelength over pixel pitch as the frames show it: the growth of the diffraction scale, px a unit of f-number.
    ///
    /// Its sd holds the scatter about the fitted curves and what all zones' widths at the smallest aperture may be off by
    /// in common, which weighs the more the less of that blur is diffraction.
    pub growth: Estimate,
    /// The same from 0.55 um and the recorded pitch; `None` where the pitch is unknown.
    pub expected: Option<f64>,
    /// By zone, in the order given.
    pub zones: Vec<(ZoneName, ZoneSplit)>,
}

/// The split of one zone.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ZoneSplit {
    /// Diameter of the disc of defocus times the f-number, px.
    pub defocus: f64,
    /// Gaussian width of aberrations times the f-number squared, px.
    pub aberration: f64,
    /// Gaussian width that no f-number changes, px.
    pub constant: f64,
    /// Difference of the fitted anchor from the measured one, px^2.
    pub offset: f64,
    /// The f-number at which the fitted curve is lowest, within the range of the series.
    pub best_f_number: f64,
}

impl ZoneSplit {
    /// Fitted blur at an f-number, px, and the parts alone: (whole, falling with N, growing with N).
    #[must_use]
    pub fn at(&self, growth: f64, n: f64) -> (f64, f64, f64) {
        let falling = Parts {
            disc_px: self.defocus / n,
            lens_px: self.constant.hypot(self.aberration / (n * n)),
            ..Parts::default()
        };
        let all = Parts { lambda_n_px: Some(growth * n), pixel: true, ..falling };
        let growing = Parts { lambda_n_px: Some(growth * n), ..Parts::default() };
        (sigma_px(&all), sigma_px(&falling), sigma_px(&growing))
    }
}

/// Share by which the widths of two frames may stand apart wrongly in all zones alike. Set on rendered series: the
/// growth comes out 1 to 5 % low, in the mean 3.0 % (`COUNT=20 LONG=2000 cargo run --release --example series_accuracy
/// -- apertures 16`).
pub(super) const IN_COMMON: f64 = 0.025;

/// Factor from one growth that is tried to the next. Chosen: 4 % apart, refined between.
const STEP: f64 = 1.04;

/// Fits all zones with one growth of diffraction common to them.
///
/// The model of a zone: pixel, diffraction at growth * N, a disc of defocus falling with N, a Gaussian for
/// aberrations falling with N^2 (between coma's N^2 and spherical aberration's N^3 in their effect on the square)
/// and one that stays, through the exact transfer functions of `optics`. The anchor of each zone's absolute scale may move within its own error.
/// `None` below four stops, or where they span less than a factor of 2.5 in f-number.
pub(crate) fn split(zones: &[ZoneBlur], f_numbers: &[Option<f64>], pitch_um: Option<f64>) -> Option<Split> {
    let data: Vec<Vec<Datum>> = zones.iter().map(|z| points(z, f_numbers)).collect();
    let stops: Vec<f64> = data.iter().flatten().map(|p| p.n).collect();
    let (low, high) = stops.iter().fold((f64::INFINITY, 0.0f64), |m, &n| (m.0.min(n), m.1.max(n)));
    if !data.iter().any(|d| d.len() >= 4) || high < 2.5 * low {
        return None;
    }
    let expected = pitch_um.map(|p| WAVELENGTH_UM / p);
    // From a third to three times the expected, or over all pitches that pictures may have.
    let (first, last) = expected.map_or(BOUNDS, |e| (e / 3.0, e * 3.0));
    let count = ((last / first).ln() / STEP.ln()).ceil() as usize;
    let usable: Vec<&Vec<Datum>> = data.iter().filter(|d| d.len() >= 4).collect();
    let curve: Vec<(f64, f64)> = (0..=count)
        .map(|i| {
            let growth = first * STEP.powi(i as i32);
            (growth.ln(), usable.iter().map(|d| settle(d, growth).1).sum::<f64>())
        })
        .collect();
    let best = (0..curve.len()).min_by(|&i, &j| curve[i].1.total_cmp(&curve[j].1))?;
    if best == 0 || best + 1 == curve.len() {
        return None;
    }
    let (growth, sd) = vertex(&curve, best)?;
    // Model and data never agree perfectly: the sd is scaled by the misfit.
    let freedom = usable.iter().map(|d| d.len().saturating_sub(3)).sum::<usize>().max(1) as f64;
    let inflate = (curve[best].1 / freedom).max(1.0).sqrt();
    let growth = growth.exp();
    let common = IN_COMMON * leverage(&usable, growth);
    let zones = zones
        .iter()
        .zip(&data)
        .filter(|(_, d)| d.len() >= 4)
        .map(|(of, d)| {
            let (p, chi) = settle(d, growth);
            // A zone of near and far tiles together follows no single curve: the worse the fit, the less it may
            // say of the scale, and never more than the anchor's own error.
            let misfit = (chi / d.len().saturating_sub(3).max(1) as f64).max(1.0);
            let mut zone = ZoneSplit {
                defocus: p[0].abs(),
                aberration: p[1].abs(),
                constant: p[2].abs(),
                offset: (p[3] / misfit).clamp(-d[0].anchor, d[0].anchor),
                best_f_number: low,
            };
            let steps = 200;
            let at = |i: i32| low * (high / low).powf(f64::from(i) / f64::from(steps));
            let best = (0..=steps).min_by(|&i, &j| zone.at(growth, at(i)).0.total_cmp(&zone.at(growth, at(j)).0));
            zone.best_f_number = best.map_or(low, at);
            (of.name, zone)
        })
        .collect();
    let sd = (sd * inflate).hypot(common);
    Some(Split { growth: Estimate::new(growth, growth * sd, stops.len() as u32), expected, zones })
}

/// By how much more than the width at the smallest aperture the growth is off, as shares: the squared width over the part
/// of it that is diffraction; middle of the zones.
fn leverage(zones: &[&Vec<Datum>], growth: f64) -> f64 {
    let of_zone = |data: &&Vec<Datum>| {
        let last = data.iter().max_by(|a, b| a.n.total_cmp(&b.n))?;
        let diffraction = Parts { lambda_n_px: Some(growth * last.n), ..Parts::default() };
        Some(last.square / sigma_px(&diffraction).powi(2))
    };
    middle_mean(zones.iter().filter_map(of_zone).collect())
}

struct Datum {
    n: f64,
    square: f64,
    sd: f64,
    anchor: f64,
}

fn points(zone: &ZoneBlur, f_numbers: &[Option<f64>]) -> Vec<Datum> {
    let least = zone.points.iter().map(|p| p.blur.value).fold(f64::INFINITY, f64::min);
    let shared = zone.points.iter().map(|p| (p.blur.sd.powi(2) - p.apart_sd.powi(2)).max(0.0).sqrt() * p.blur.value);
    let shared = shared.fold(0.02 * least * least, f64::max);
    zone.points
        .iter()
        .filter_map(|p| {
            let n = f_numbers.get(p.frame).copied().flatten()?;
            let v = p.blur.value;
            Some(Datum { n, square: v * v, sd: 2.0 * v * p.apart_sd.max(0.01 * v), anchor: 2.0 * shared })
        })
        .collect()
}

/// Vertex of the parabola through a minimum and its neighbours two steps away, and the step at which it has risen by one.
fn vertex(curve: &[(f64, f64)], best: usize) -> Option<(f64, f64)> {
    let reach = 2.min(best).min(curve.len() - 1 - best);
    let (l, m, r) = (curve[best - reach], curve[best], curve[best + reach]);
    let h = m.0 - l.0;
    let bend = (l.1 - 2.0 * m.1 + r.1) / (h * h);
    if bend <= 0.0 {
        return None;
    }
    let slope = (r.1 - l.1) / (2.0 * h);
    Some((m.0 - (slope / bend).clamp(-h, h), (2.0 / bend).sqrt()))
}

/// Best [defocus, aberration, constant, offset] at one growth, and chi-square with weak priors.
fn settle(data: &[Datum], growth: f64) -> ([f64; 4], f64) {
    if data.is_empty() {
        return ([0.0; 4], 0.0);
    }
    let widest = data.iter().map(|d| d.n).fold(f64::INFINITY, f64::min);
    let anchor = data[0].anchor.max(1e-4);
    // Scales of the weak priors: no more defocus than 12 px, no more aberration than 3 px wide open, and a rest of
    // about a third of a pixel.
    let priors = [12.0 * widest, 3.0 * widest * widest, 0.35, anchor];
    let residuals = |p: &[f64; 4]| -> Vec<f64> {
        let zone = ZoneSplit { defocus: p[0], aberration: p[1], constant: p[2], offset: p[3], best_f_number: 0.0 };
        let fits = data.iter().map(|d| (zone.at(growth, d.n).0.powi(2) + p[3] - d.square) / d.sd);
        fits.chain((0..4).map(|i| p[i] / priors[i])).collect()
    };
    let steps = [0.02 * widest, 0.02 * widest * widest, 0.02, 0.01];
    let assemble = |p: &[f64; 4]| {
        let here = residuals(p);
        let slope = |i: usize| -> Vec<f64> {
            let mut q = *p;
            q[i] += steps[i];
            residuals(&q).iter().zip(&here).map(|(a, b)| (a - b) / steps[i]).collect()
        };
        let columns: [Vec<f64>; 4] = std::array::from_fn(slope);
        let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
        let normal = Matrix4::from_fn(|i, j| dot(&columns[i], &columns[j]));
        (dot(&here, &here), (normal, Vector4::from_fn(|i, _| -dot(&columns[i], &here))))
    };
    let step = |p: &[f64; 4], (normal, right): &(Matrix4<f64>, Vector4<f64>), damping: f64| {
        let damped = normal + Matrix4::from_diagonal(&(normal.diagonal() * damping).add_scalar(1e-12));
        let step = damped.cholesky()?.solve(right);
        // Of the sign of a width nothing is known.
        Some(std::array::from_fn(|i| if i < 3 { (p[i] + step[i]).abs() } else { p[i] + step[i] }))
    };
    // Defocus or aberration may lead: two starts.
    let starts = [[2.0 * widest, 0.2 * widest * widest, 0.2, 0.0], [0.2 * widest, widest * widest, 0.2, 0.0]];
    let pace = Pace { steps: 25, eased: 0.3, enough: 1e-4 };
    let fits = starts.map(|start| descend(start, pace, assemble, step));
    fits.into_iter().min_by(|a, b| a.1.total_cmp(&b.1)).map_or(([0.0; 4], f64::INFINITY), |(p, chi, _)| (p, chi))
}
