//! Total blur from its parts by the exact transfer functions, as one Gaussian-equivalent sigma, and its inverse.
//!
//! Every function works in whatever unit the parts are in; pixels where `pixel` is set. A call takes well
//! under a microsecond and is smooth in all arguments: diffraction with defocus comes from a polynomial in
//! (s, a^2) fitted once to the integral, where s is the frequency over the diffraction cut-off and a the
//! frequency times the diameter of the geometric disc.

use std::f64::consts::PI;
use std::sync::OnceLock;

use super::{diffraction, hopkins, kernel};
use crate::quantity::MTF50_SIGMA;

/// What blurs a place in the picture, each part as if alone; all in pixels (or all in um with `pixel` unset).
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Parts {
    /// Wavelength times f-number (over the pixel pitch); `None` leaves defocus its geometric disc only.
    pub lambda_n_px: Option<f64>,
    /// Diameter of the geometric disc of defocus; its sign plays no part.
    pub disc_px: f64,
    /// Gaussian sigma of the lens's own blur.
    pub lens_px: f64,
    /// Length of a straight motion track.
    pub motion_px: f64,
    /// Whether a square pixel of side 1 is among the parts.
    pub pixel: bool,
}

/// The total blur and how it changes with each part.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Slopes {
    /// Gaussian-equivalent sigma of the whole.
    pub sigma: f64,
    /// Its derivative by `lambda_n_px` (zero where that is `None`).
    pub by_lambda_n: f64,
    /// Its derivative by `disc_px`, with the sign of `disc_px`.
    pub by_disc: f64,
    /// Its derivative by `lens_px`.
    pub by_lens: f64,
    /// Its derivative by `motion_px`.
    pub by_motion: f64,
}

/// Gaussian-equivalent sigma (0.187391 over MTF50) of all parts together, motion averaged over directions.
#[must_use]
pub fn sigma_px(parts: &Parts) -> f64 {
    half_contrast(parts).map_or(0.0, |f| MTF50_SIGMA / f)
}

/// Gaussian-equivalent sigma (px) that diffraction and the pixel leave by themselves: no picture through this pupil is narrower.
#[must_use]
pub fn least_px(lambda_n_px: f64) -> f64 {
    sigma_px(&Parts { lambda_n_px: Some(lambda_n_px), pixel: true, ..Parts::default() })
}

/// As [`sigma_px`] with its derivatives, for fitting.
#[must_use]
pub fn slopes_px(parts: &Parts) -> Slopes {
    let Some(f) = half_contrast(parts) else { return Slopes::default() };
    let here = loss(parts, f);
    // loss(f, p) stays at ln 2, so df/dp = -loss_p / loss_f, and sigma = MTF50_SIGMA / f.
    let factor = MTF50_SIGMA / (f * f * here.by_f);
    Slopes {
        sigma: MTF50_SIGMA / f,
        by_lambda_n: if parts.lambda_n_px.is_some() { factor * here.by_lambda_n } else { 0.0 },
        by_disc: factor * here.by_disc,
        by_lens: factor * here.by_lens,
        by_motion: factor * here.by_motion,
    }
}

/// Diameter of the defocus disc that makes the whole as wide as `sigma`, the other parts as given (their
/// `disc_px` is not looked at), motion averaged over directions. `None` where they alone are wider.
#[must_use]
pub fn disc_px_for(sigma: f64, parts: &Parts) -> Option<f64> {
    let f = MTF50_SIGMA / sigma;
    let rest = loss(&Parts { lambda_n_px: None, disc_px: 0.0, ..*parts }, f).value;
    let s = parts.lambda_n_px.unwrap_or(0.0) * f;
    let left = std::f64::consts::LN_2 - rest;
    if !(f.is_finite() && s < S_MAX && Table::get().loss(s, 0.0).value <= left) {
        return None;
    }
    // Monotone in a^2 over the whole table: Newton with a bracket.
    let (mut low, mut high) = (0.0, Q_MAX);
    let mut q = 0.25;
    for _ in 0..60 {
        let here = Table::get().loss(s, q);
        let error = here.value - left;
        *if error > 0.0 { &mut high } else { &mut low } = q;
        let step = q - error / here.by_q;
        let next = if step > low && step < high { step } else { 0.5 * (low + high) };
        if (next - q).abs() < 1e-14 {
            break;
        }
        q = next;
    }
    Some(q.max(0.0).sqrt() / f)
}

/// Gaussian lens blur that makes the whole as wide as `sigma`, the other parts as given (their `lens_px` is
/// not looked at), motion averaged over directions. `None` where they alone are wider.
#[must_use]
pub fn lens_px_for(sigma: f64, parts: &Parts) -> Option<f64> {
    let f = MTF50_SIGMA / sigma;
    if !(f.is_finite() && f <= frequency_limit(&Parts { lens_px: 0.0, ..*parts })) {
        return None;
    }
    let left = std::f64::consts::LN_2 - loss(&Parts { lens_px: 0.0, ..*parts }, f).value;
    (left >= 0.0).then(|| (left / 2.0).sqrt() / (PI * f))
}

/// MTF of all parts together at frequency `f`, by direct quadrature at any frequency, motion averaged.
#[must_use]
pub fn mtf(parts: &Parts, f: f64) -> f64 {
    let optics = hopkins::otf_by_disc(parts.disc_px * f, parts.lambda_n_px.unwrap_or(0.0) * f);
    let pixel = if parts.pixel { kernel::sinc(1.0, f) } else { 1.0 };
    (optics * pixel * kernel::gaussian(parts.lens_px, f) * kernel::track_all_directions(parts.motion_px, f)).abs()
}

/// Squared width that all parts together act with at frequency `f`: that of the Gaussian that leaves as much contrast there,
/// which counts as a millionth at the least.
pub(crate) fn square_at(parts: &Parts, f: f64) -> f64 {
    -mtf(parts, f).max(1e-6).ln() / (2.0 * PI.powi(2) * f.powi(2))
}

/// A frequency that half contrast can't exceed: the smallest of the parts' own, with room for the
/// two per cent by which a diffracted disc can beat the plain one.
fn frequency_limit(parts: &Parts) -> f64 {
    let mut limit = f64::INFINITY;
    let mut part = |mtf50: f64, width: f64| {
        if width > 0.0 {
            limit = limit.min(mtf50 / width);
        }
    };
    part(diffraction::MTF50, parts.lambda_n_px.unwrap_or(0.0));
    part(1.02 * kernel::DISC_MTF50, parts.disc_px.abs());
    part(MTF50_SIGMA, parts.lens_px.abs());
    part(kernel::TRACK_MTF50, parts.motion_px.abs());
    part(kernel::BOX_MTF50, if parts.pixel { 1.0 } else { 0.0 });
    1.001 * limit
}

/// Frequency of half contrast of the whole; `None` if nothing blurs.
fn half_contrast(parts: &Parts) -> Option<f64> {
    let limit = frequency_limit(parts);
    if !(limit.is_finite() && limit > 0.0) {
        return None;
    }
    // The loss (minus log MTF) rises from zero, steeper as it goes; Newton from above closes in from above.
    let (mut low, mut high, mut f) = (0.0, limit, 0.9 * limit);
    for _ in 0..40 {
        let here = loss(parts, f);
        let error = here.value - std::f64::consts::LN_2;
        *if error > 0.0 { &mut high } else { &mut low } = f;
        let step = f - error / here.by_f;
        let next = if step > low && step < high { step } else { 0.5 * (low + high) };
        let moved = (next - f).abs();
        f = next;
        // Newton squares the error, so the next step would be below rounding.
        if moved < 1e-7 * limit {
            break;
        }
    }
    Some(f)
}

/// Minus the logarithm of the whole MTF at one frequency, and its derivatives.
#[derive(Clone, Copy, Default)]
struct Loss {
    value: f64,
    by_f: f64,
    by_lambda_n: f64,
    by_disc: f64,
    by_lens: f64,
    by_motion: f64,
}

fn loss(parts: &Parts, f: f64) -> Loss {
    let mut sum = Loss::default();
    let lambda_n = parts.lambda_n_px.unwrap_or(0.0);
    if lambda_n != 0.0 || parts.disc_px != 0.0 {
        let a = parts.disc_px * f;
        let optics = Table::get().loss(lambda_n * f, a * a);
        sum.value += optics.value;
        sum.by_f += optics.by_s * lambda_n + optics.by_q * 2.0 * a * parts.disc_px;
        sum.by_lambda_n += optics.by_s * f;
        sum.by_disc += optics.by_q * 2.0 * a * f;
    }
    if parts.lens_px != 0.0 {
        let x = 2.0 * PI * PI * parts.lens_px * f;
        sum.value += x * parts.lens_px * f;
        sum.by_f += 2.0 * x * parts.lens_px;
        sum.by_lens += 2.0 * x * f;
    }
    if parts.motion_px != 0.0 {
        let (value, slope) = track_loss(parts.motion_px * f);
        sum.value += value;
        sum.by_f += slope * parts.motion_px;
        sum.by_motion += slope * f;
    }
    if parts.pixel {
        let (value, slope) = sinc_loss(f);
        sum.value += value;
        sum.by_f += slope;
    }
    sum
}

/// Minus log of sin(pi x) / (pi x), and its derivative.
fn sinc_loss(x: f64) -> (f64, f64) {
    let z = PI * x;
    if z.abs() < 0.05 {
        let zz = z * z;
        return (zz * (1.0 / 6.0 + zz / 180.0), PI * z * (1.0 / 3.0 + zz / 45.0));
    }
    let (sin, cos) = z.sin_cos();
    (-(sin / z).ln(), PI * (1.0 / z - cos / sin))
}

/// Minus log of the transfer function of a track averaged over directions, and its derivative.
fn track_loss(x: f64) -> (f64, f64) {
    let quarter = 0.25 * PI * PI * x * x;
    let (mut term, mut sum, mut slope) = (1.0, 1.0, 0.0);
    for k in 1..14 {
        let k = f64::from(k);
        term *= -quarter / (k * k);
        sum += term / (2.0 * k + 1.0);
        slope += 2.0 * k * term / (2.0 * k + 1.0);
    }
    (-sum.ln(), if x == 0.0 { 0.0 } else { -slope / (x * sum) })
}

/// Largest s = lambda N f that half contrast can need. Derived: 0.404, with room for Newton's steps.
const S_MAX: f64 = 0.42;
/// Largest squared a = c f that half contrast can need. Derived: 0.72^2, with room.
const Q_MAX: f64 = 0.56;
/// Terms of the polynomial in s and in a^2. Chosen: the tests hold the table to the integral with these.
const S_TERMS: usize = 9;
const Q_TERMS: usize = 8;

/// Minus log of the diffraction-and-defocus OTF as a polynomial through Chebyshev points of (s, a^2).
struct Table {
    /// Coefficients by power of the scaled s (outer) and scaled a^2 (inner).
    powers: [[f64; Q_TERMS]; S_TERMS],
}

/// A value of the table and its derivatives.
struct Optics {
    value: f64,
    by_s: f64,
    by_q: f64,
}

impl Table {
    fn get() -> &'static Self {
        static TABLE: OnceLock<Table> = OnceLock::new();
        TABLE.get_or_init(Self::build)
    }

    fn build() -> Self {
        let node = |i: usize, n: usize| (PI * (i as f64 + 0.5) / n as f64).cos();
        let chebyshev = |k: usize, i: usize, n: usize| (PI * k as f64 * (i as f64 + 0.5) / n as f64).cos();
        let mut values = [[0.0; Q_TERMS]; S_TERMS];
        for (i, row) in values.iter_mut().enumerate() {
            for (j, value) in row.iter_mut().enumerate() {
                let s = 0.5 * S_MAX * (1.0 + node(i, S_TERMS));
                let q = 0.5 * Q_MAX * (1.0 + node(j, Q_TERMS));
                *value = -hopkins::otf_by_disc(q.sqrt(), s).ln();
            }
        }
        let (in_s, in_q) = (chebyshev_powers::<S_TERMS>(), chebyshev_powers::<Q_TERMS>());
        let mut powers = [[0.0; Q_TERMS]; S_TERMS];
        for (k, of_s) in in_s.iter().enumerate() {
            for (l, of_q) in in_q.iter().enumerate() {
                let mut sum = 0.0;
                for (i, row) in values.iter().enumerate() {
                    for (j, value) in row.iter().enumerate() {
                        sum += value * chebyshev(k, i, S_TERMS) * chebyshev(l, j, Q_TERMS);
                    }
                }
                let halves = if k == 0 { 1.0 } else { 2.0 } * if l == 0 { 1.0 } else { 2.0 };
                let coefficient = sum * halves / (S_TERMS * Q_TERMS) as f64;
                for (a, row) in powers.iter_mut().enumerate() {
                    for (b, power) in row.iter_mut().enumerate() {
                        *power += coefficient * of_s[a] * of_q[b];
                    }
                }
            }
        }
        Self { powers }
    }

    #[inline]
    fn loss(&self, s: f64, q: f64) -> Optics {
        let (x, y) = (2.0 * s / S_MAX - 1.0, 2.0 * q / Q_MAX - 1.0);
        let (mut value, mut by_x, mut by_y) = (0.0, 0.0, 0.0);
        for row in self.powers.iter().rev() {
            let (mut inner, mut inner_by_y) = (0.0, 0.0);
            for &c in row.iter().rev() {
                inner_by_y = inner_by_y * y + inner;
                inner = inner * y + c;
            }
            by_x = by_x * x + value;
            value = value * x + inner;
            by_y = by_y * x + inner_by_y;
        }
        Optics { value, by_s: by_x * 2.0 / S_MAX, by_q: by_y * 2.0 / Q_MAX }
    }
}

/// Coefficients by power of the Chebyshev polynomials T0 to T(N-1).
fn chebyshev_powers<const N: usize>() -> [[f64; N]; N] {
    let mut t = [[0.0; N]; N];
    t[0][0] = 1.0;
    t[1][1] = 1.0;
    for k in 2..N {
        for a in 0..N {
            t[k][a] = if a > 0 { 2.0 * t[k - 1][a - 1] } else { 0.0 } - t[k - 2][a];
        }
    }
    t
}
