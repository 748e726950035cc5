//! From the log ratios of two spectra to the difference of squared widths: weighted least squares.

use nalgebra::SVector;

use super::SECTORS;
use super::rows::Row;
use crate::quantity::{Estimate, MTF50_SIGMA};

pub(super) struct Fit {
    pub(super) squared: f64,
    pub(super) sd: f64,
    pub(super) gain: Estimate,
    pub(super) rings: u32,
}

/// How far the bend of the Gaussian term may lie from what its drift foretells, as a share of the term. Chosen: a
/// quarter; a shape that bends more is none of the spreads that optics makes.
const BEND: f64 = 0.25;
/// What the fit leaves of a shape, as a share of the wider frame's loss times the third power of the frequency's
/// logarithm. Derived: a parabola leaves a sixth of 1/f and two thirds of the half of a disc's term that rises as f^2,
/// and what is left beyond the third power of the logarithm is as much again.
const LEFT: f64 = 0.7;
/// How far the squared width along a direction may lie from its mean over all, as a share of that mean. Chosen: off the
/// axis, lenses blur along and across the radius by widths that differ by a fifth or two.
const DIRECTED: f64 = 0.2;

/// Unknowns of the fit. Derived: the gain, the squared width, its drift and its bend, and two for how it goes with the direction.
const UNKNOWNS: usize = 6;

/// Weighted least squares of y = gain - 2 pi^2 f^2 (d0 + d1 u + d2 u^2 + a cos 2t + b sin 2t), u = ln(f / middle), t the
/// direction, with priors on all but d0.
///
/// Diffraction's term falls with frequency about as 1/f, which bends it by half of its drift, upwards; a disc's rises
/// about as 1 + a f^2, which bends it by all of its drift, upwards too. Without the bend both would be drawn to
/// a straight line, and the differences of the test below come out 9 and 15 % small.
///
/// A disc of one frame against diffraction of the other may differ by nothing at the middle and by much elsewhere, so the
/// drift may be any share of the whole width, which at half contrast is known. What such a shape leaves falls with the square of the
/// frequency as all of it does, so that low frequencies, where blur takes little, tell the gain.
///
/// Squared widths of any spread go with the direction as the cosine of twice the angle, but for what differs with the frequency; d0 is
/// their mean over all directions, whichever of them the scene has its power in.
pub(super) fn solve(rows: &[Row], middle: f64, gain: Estimate) -> Option<Fit> {
    let basis = |r: &Row| {
        let f = r.frequency;
        let (g, u) = (-2.0 * std::f64::consts::PI.powi(2) * f * f, (f / middle).ln());
        SVector::<f64, UNKNOWNS>::from([1.0, g, g * u, g * u * u, g * r.direction.0, g * r.direction.1])
    };
    let weight = |r: &Row| {
        let (f, u) = (r.frequency / middle, (r.frequency / middle).ln());
        let left = LEFT * std::f64::consts::LN_2 * f * f * u.abs().powi(3);
        (r.variance + SECTORS as f64 * left * left).recip()
    };
    let whole = (MTF50_SIGMA / middle).powi(2);
    // None on d0.
    let mut expected = SVector::<f64, UNKNOWNS>::from([gain.value, 0.0, 0.0, 0.0, 0.0, 0.0]);
    let held = |share: f64| (share * whole).powi(-2);
    let prior =
        SVector::<f64, UNKNOWNS>::from([gain.sd.powi(-2), 0.0, held(1.0), held(BEND), held(DIRECTED), held(DIRECTED)]);
    let mut normal = nalgebra::SMatrix::<f64, UNKNOWNS, UNKNOWNS>::from_diagonal(&prior);
    let mut right = SVector::<f64, UNKNOWNS>::zeros();
    for r in rows {
        let (x, w) = (basis(r), weight(r));
        normal += w * x * x.transpose();
        right += w * x * r.ratio;
    }
    let inverse = normal.cholesky()?.inverse();
    let mut solved = expected;
    for _ in 0..4 {
        let drift = solved[2] * solved[1].signum();
        let bend = if drift < 0.0 { -0.5 * drift } else { drift };
        expected[3] = bend * solved[1].signum();
        solved = inverse * (right + prior.component_mul(&expected));
    }
    let chi: f64 = rows.iter().map(|r| weight(r) * (r.ratio - basis(r).dot(&solved)).powi(2)).sum();
    let inflate = (chi / f64::max(rows.len() as f64 - 2.0, 1.0)).max(1.0);
    let sd = |i: usize| (inverse[(i, i)] * inflate).sqrt();
    let rings = rows.len().div_ceil(SECTORS) as u32;
    Some(Fit { squared: solved[1], sd: sd(1), gain: Estimate::new(solved[0], sd(0), rings), rings })
}
