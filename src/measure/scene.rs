//! What a spectrum's rings say of blur: the scene's own spectrum as a prior, and the posterior of the width.
//!
//! ln P(f) of a blurred scene is a sum: the scene's ln S(f) and the blur's ln T^2(f), which for a Gaussian of width
//! sigma is -(2 pi sigma f)^2. Natural scenes fall smoothly on a double logarithmic scale while a blur bends the
//! curve down ever more, which is what tells them apart; how well is a matter of how freely S may bend. S is taken
//! as a Gaussian process: slope, curvature and a cubic term in ln f with the spreads below, and a roughness.

use nalgebra::{SMatrix, SVector};

use super::pupil::Pupil;
use super::spectrum::BINS;
use crate::quantity::Estimate;

/// Amplitude slope of natural scenes, mean (Tolhurst, Tadmor & Chao, Ophthal. Physiol. Opt. 12, 229, 1992: -1.2 over
/// photographs). The spreads are those of 330 tiles of 26 photographs, shrunk threefold to eightfold so that their
/// own blur was out of the way: slope 0.38, curvature of ln S in ln f 0.43, rest 0.15 to 0.2 a ring.
pub(super) const NATURAL: Prior = Prior { slope: (-1.15, 0.45), bend: (0.0, 0.45) };
/// The same where detail crowds (grass, gravel, brick at about one detail a pixel): flat up to the size of the
/// detail, steeper beyond.
pub(super) const CROWDED: Prior = Prior { slope: (-0.7, 0.6), bend: (-0.15, 0.45) };

/// What is thought of a scene's spectrum beforehand: means and spreads.
#[derive(Clone, Copy, Debug)]
pub(super) struct Prior {
    /// Amplitude slope at the pivot.
    slope: (f64, f64),
    /// Curvature of ln S in ln f.
    bend: (f64, f64),
}
impl Prior {
    /// Mean of ln P, less its level, at a ln frequency from the pivot.
    fn mean(&self, log: f64) -> f64 {
        2.0 * self.slope.0 * log + self.bend.0 * log * log
    }

    /// Covariance of ln P at two ln frequencies from the pivot, its level left free.
    fn covariance(&self, a: f64, b: f64) -> f64 {
        let ab = a * b;
        100.0 + 4.0 * self.slope.1.powi(2) * ab + self.bend.1.powi(2) * ab.powi(2) + CUBIC_SPREAD.powi(2) * ab.powi(3)
    }
}

const CUBIC_SPREAD: f64 = 0.15;
const ROUGHNESS: f64 = 0.12;
/// Frequency (cycles/px) about which slope and curvature turn.
const PIVOT: f64 = 0.15;
/// A blur's shape lies between a Gaussian (0) and an evenly lit disc (1): mean and spread of where.
///
/// With u = (2 pi sigma f)^2 and sigma by equal MTF50, a disc has ln T^2 = -0.885 u - 0.065 u^2 (series of
/// 2 J1(x) / x), a Gaussian -u.
const SHAPE: (f64, f64) = (0.4, 0.6);
/// Attenuation -ln T^2 beyond which the blur's shape, not its width, rules the spectrum.
const DEEPEST: f64 = 3.5;
/// Chi-square a degree of freedom from which a scene has a pattern of its own (courses of brick), which no blur made.
const PATTERNED: f64 = 1.4;
/// Relative error beyond the posterior's own: the scene is no Gaussian process.
const SYSTEMATIC: f64 = 0.09;
/// Largest stated relative error of a width that is worth giving.
const WIDEST: f64 = 0.21;

/// What a tile's spectrum says.
#[derive(Clone, Copy, Debug)]
pub(super) struct Opinion {
    /// Gaussian-equivalent sigma, px.
    pub blur: Estimate,
    /// Amplitude slope of the scene itself about the pivot (natural scenes: about -1.2; as much detail at every
    /// scale of frequency: 0).
    pub slope: f64,
}

/// One ring of a spectrum.
#[derive(Clone, Copy, Debug)]
pub(super) struct Point {
    /// Frequency, cycles/px.
    pub f: f64,
    /// ln of the signal's power.
    pub log_power: f64,
    /// Variance of that from chance and noise.
    pub variance: f64,
}

type Matrix = SMatrix<f64, BINS, BINS>;
type Vector = SVector<f64, BINS>;

/// ln T^2 of a disc less that of a Gaussian at the attenuation u.
fn bulge(u: f64) -> f64 {
    0.115 * u - 0.065 * u * u
}

/// Posterior of the width from a spectrum's rings.
///
/// The model is linear in sigma^2, so that its posterior is a Gaussian in closed form; twice over, since the shape's
/// error depends on the width.
pub(super) fn judge(points: &[Point], patches: u32, prior: &Prior, pupil: &Pupil) -> Option<Opinion> {
    // What the pupil does is known and taken out; the rest of the blur is what is sought.
    let points: Vec<Point> = points
        .iter()
        .filter(|p| pupil.log_power(p.f) > -DEEPEST)
        .map(|p| Point { log_power: p.log_power - pupil.log_power(p.f), ..*p })
        .collect();
    let mut square = 1.0_f64;
    let mut found = None;
    for _ in 0..4 {
        let used: Vec<Point> = points.iter().filter(|p| alive(p.f, square)).take(BINS).copied().collect();
        let fitted = fit(&used, square, prior)?;
        if !(fitted.square > 0.0) {
            return None;
        }
        square = fitted.square;
        found = Some(fitted);
    }
    let Fit { square, sd, slope } = found?;
    let value = pupil.with(square.sqrt());
    // The whole width grows by the rest's square as the rest's does, to first order.
    let relative = (sd / (2.0 * value * value)).hypot(SYSTEMATIC);
    (relative < WIDEST).then(|| Opinion { blur: Estimate::new(value, relative * value, patches), slope })
}

/// Whether a blur of squared width `square` (px^2) leaves more at a frequency (cycles/px) than its shape rules.
fn alive(f: f64, square: f64) -> bool {
    (2.0 * std::f64::consts::PI * f).powi(2) * square < DEEPEST
}

/// A fitted spectrum.
#[derive(Clone, Copy, Debug)]
struct Fit {
    /// Squared width, px^2, and its standard deviation.
    square: f64,
    sd: f64,
    /// Amplitude slope of the scene about the pivot.
    slope: f64,
}

/// Squared width from rings, about a squared width for the blur's shape; `None` for fewer than five rings.
fn fit(used: &[Point], square: f64, prior: &Prior) -> Option<Fit> {
    if used.len() < 5 {
        return None;
    }
    let g = |p: &Point| (2.0 * std::f64::consts::PI * p.f).powi(2);
    let mut covariance = Matrix::identity();
    let (mut rest, mut blur, mut tilt) = (Vector::zeros(), Vector::zeros(), Vector::zeros());
    let logs: Vec<f64> = used.iter().map(|p| (p.f / PIVOT).ln()).collect();
    for (i, p) in used.iter().enumerate() {
        for (j, q) in used.iter().enumerate() {
            let shape = SHAPE.1 * SHAPE.1 * bulge(g(p) * square) * bulge(g(q) * square);
            covariance[(i, j)] =
                prior.covariance(logs[i], logs[j]) + shape + if i == j { ROUGHNESS.powi(2) + p.variance } else { 0.0 };
        }
        rest[i] = p.log_power - prior.mean(logs[i]) - SHAPE.0 * bulge(g(p) * square) - used[0].log_power;
        blur[i] = -g(p);
        tilt[i] = 2.0 * prior.slope.1.powi(2) * logs[i];
    }
    let inverse = covariance.cholesky()?;
    let (r, b) = (inverse.solve(&rest), inverse.solve(&blur));
    let information = blur.dot(&b);
    let mean = blur.dot(&r) / information;
    let left = inverse.solve(&(rest - blur * mean));
    // Degrees of freedom: the level and the width are fitted freely.
    let misfit = (rest - blur * mean).dot(&left) / (used.len() as f64 - 2.0);
    if misfit > PATTERNED {
        return None;
    }
    let slope = prior.slope.0 + tilt.dot(&left);
    Some(Fit { square: mean, sd: (misfit.max(1.0) / information).sqrt(), slope })
}

/// Rings of a reduced tile with all that a scene without blur may scatter by.
#[derive(Clone, Debug)]
pub(super) struct Rings {
    /// Inverse of the covariance of the rings, levels left free.
    inverse: Matrix,
    /// ln of the power over what the scene is expected to have.
    excess: Vector,
    /// How many times the tile was reduced.
    pub shrink: usize,
    /// Patches they rest on.
    pub patches: u32,
}

impl Rings {
    /// From points whose frequencies are in cycles a reduced pixel: natural scenes look alike at every scale.
    pub(super) fn of(points: &[Point; BINS], shrink: usize, patches: u32) -> Option<Self> {
        let logs: [f64; BINS] = std::array::from_fn(|i| (points[i].f / PIVOT).ln());
        let scatter = |i: usize, j: usize| {
            let own = if i == j { ROUGHNESS.powi(2) + points[i].variance } else { 0.0 };
            NATURAL.covariance(logs[i], logs[j]) + own
        };
        let inverse = Matrix::from_fn(scatter).cholesky()?.inverse();
        let excess = Vector::from_fn(|i, _| points[i].log_power - points[0].log_power - NATURAL.mean(logs[i]));
        Some(Self { inverse, excess, shrink, patches })
    }

    /// Chi-square of the rings under a blur whose ln T^2 is given.
    pub(super) fn misfit(&self, blur: &[f64; BINS]) -> f64 {
        let rest = self.excess - Vector::from_column_slice(blur);
        rest.dot(&(self.inverse * rest))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::spectrum::{RINGS, SIDE};

    /// Rings of a scene of amplitude slope `slope` under a Gaussian blur.
    fn rings(slope: f64, sigma: f64) -> Vec<Point> {
        let f = |k: usize| f64::from(RINGS[k] + RINGS[k + 1]) / 2.0 / SIDE as f64;
        (0..BINS)
            .map(|k| Point {
                f: f(k),
                log_power: 3.0 + 2.0 * slope * f(k).ln() - (2.0 * std::f64::consts::PI * sigma * f(k)).powi(2),
                variance: 0.002,
            })
            .collect()
    }

    #[test]
    fn a_power_law_under_a_gaussian_gives_both_back() {
        for (slope, sigma) in [(-1.2, 0.9), (-1.2, 1.5), (-0.9, 1.2), (-1.4, 2.0)] {
            let found = judge(&rings(slope, sigma), 9, &NATURAL, &Pupil::new(None)).expect("an opinion");
            assert!((found.blur.value - sigma).abs() < 1.5 * found.blur.sd, "{slope} {sigma}: {found:?}");
            assert!((found.slope - slope).abs() < 0.3, "{slope} {sigma}: {found:?}");
        }
    }

    #[test]
    fn too_few_rings_or_too_little_blur_give_no_opinion() {
        assert!(judge(&rings(-1.2, 1.0)[..4], 9, &NATURAL, &Pupil::new(None)).is_none());
        assert!(judge(&rings(-1.2, 0.2), 9, &NATURAL, &Pupil::new(None)).is_none());
    }
}
