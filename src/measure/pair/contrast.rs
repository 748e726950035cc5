//! How much contrast a frame shows for its light: levels of rendered files are a tone curve's, which nobody recorded.

use nalgebra::{Matrix2, Vector2};

use crate::quantity::Estimate;
use crate::stats;

/// What is known of two frames' contrast before they are compared.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Contrast {
    /// Levels are proportional to light, and so is contrast to the mean level.
    Linear,
    /// One of them at least was rendered: the more their levels differ, the less is known.
    Rendered,
    /// Both were rendered by a curve that was learned.
    Curve(ToneCurve),
}

/// Standard error of the logarithm of contrast over level where levels are proportional to light. Chosen: for glare,
/// and what differs between the windows.
const LINEAR: f64 = 0.01;
/// By how much the logarithm of contrast over level may change where levels differ by a factor of e. Chosen: tone
/// curves go from about 1.5 times the contrast of the light to half of it within two stops and a half.
const CURVE: f64 = 0.6;

impl Contrast {
    /// Logarithm of the contrast over the level that frame b shows, against frame a, at these levels (above black).
    pub(super) fn expected(&self, a: f64, b: f64) -> Estimate {
        match self {
            Self::Linear => Estimate::new(0.0, LINEAR, 1),
            Self::Rendered => Estimate::new(0.0, LINEAR.hypot(CURVE * (b.max(1.0) / a.max(1.0)).ln()), 1),
            Self::Curve(curve) => curve.gain(a, b),
        }
    }
}

/// The logarithm of contrast over level as a parabola over the logarithm of the level, to a constant that no two frames of
/// one curve tell.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ToneCurve {
    /// Logarithm of the level that the parabola is about.
    middle: f64,
    slopes: Vector2<f64>,
    /// Their covariance.
    errors: Matrix2<f64>,
    /// Standard error of a single tile's about it.
    sd: f64,
}

/// Fewest readings that a curve is learned from. Chosen: a dozen tiles of two frames.
const READINGS: usize = 12;
/// How many tiles count as one reading, and the part of the scatter by which a tile may depart from the curve. Chosen:
/// tiles beside each other show one thing, and half of their scatter is that of the reading.
const SHARE: f64 = 4.0;
const DEPART: f64 = 0.5;

impl ToneCurve {
    /// The curve by which the contrast of pairs goes with their levels: (levels of both above black, logarithm of the
    /// contrast over the level of the second against the first). `None` of few.
    ///
    /// Robust least squares (Cauchy's weights).
    #[must_use]
    pub fn learn(readings: &[((f64, f64), Estimate)]) -> Option<Self> {
        if readings.len() < READINGS {
            return None;
        }
        let log = |level: f64| level.max(1.0).ln();
        let middle = stats::median(&readings.iter().map(|r| log(r.0.0)).collect::<Vec<f64>>())?;
        let mut curve = Self { middle, slopes: Vector2::zeros(), errors: Matrix2::zeros(), sd: LINEAR };
        for _ in 0..8 {
            let rest: Vec<f64> = readings.iter().map(|(l, g)| g.value - curve.steps(*l).dot(&curve.slopes)).collect();
            let scale = stats::scatter(&rest)?.max(LINEAR);
            let mut normal = Matrix2::from_diagonal_element(CURVE.powi(-2));
            let mut right = Vector2::zeros();
            for ((levels, gain), rest) in readings.iter().zip(&rest) {
                let x = curve.steps(*levels);
                let sd = scale.hypot(gain.sd);
                let weight = (sd * sd * (1.0 + (rest / (2.0 * sd)).powi(2)) * SHARE).recip();
                normal += weight * x * x.transpose();
                right += weight * gain.value * x;
            }
            let errors = normal.try_inverse()?;
            curve = Self { slopes: errors * right, errors, sd: (DEPART * scale).max(LINEAR), ..curve };
        }
        Some(curve)
    }

    fn steps(&self, (a, b): (f64, f64)) -> Vector2<f64> {
        let (a, b) = (a.max(1.0).ln() - self.middle, b.max(1.0).ln() - self.middle);
        Vector2::new(b - a, b * b - a * a)
    }

    fn gain(&self, a: f64, b: f64) -> Estimate {
        let x = self.steps((a, b));
        let sd = self.sd.hypot((x.transpose() * self.errors * x)[0].max(0.0).sqrt());
        Estimate::new(x.dot(&self.slopes), sd, 1)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_curve_is_learned_from_frames_of_other_exposures() {
        // Contrast over level of the curve v = x / (x + 0.5): 0.5 / (x + 0.5), which is 1 - v.
        let level = |x: f64| x / (x + 0.5);
        let log = |v: f64| (1.0 - v).ln();
        let mut readings = Vec::new();
        for i in 0..60 {
            let x = 0.05 + 0.01 * f64::from(i);
            for brighter in [0.5, 1.0, 2.0] {
                let (a, b) = (level(x), level(brighter * x));
                let odd = if i % 9 == 0 { 0.4 } else { 0.01 * f64::from(i % 3 - 1) };
                readings.push(((5e4 * a, 5e4 * b), Estimate::new(log(b) - log(a) + odd, 0.02, 9)));
            }
        }
        let curve = ToneCurve::learn(&readings).expect("a curve");
        for (a, b) in [(0.15, 0.3), (0.5, 0.3), (0.4, 0.41)] {
            let found = curve.gain(5e4 * a, 5e4 * b);
            assert!((found.value - (log(b) - log(a))).abs() < 0.04f64.min(3.0 * found.sd), "{a} {b}: {found:?}");
            assert!(found.sd < 0.04, "{found:?}");
        }
        assert_eq!(ToneCurve::learn(&readings[..9]), None);
    }

    #[test]
    fn nothing_is_taken_for_known_of_frames_exposed_apart() {
        let known = |a: f64, b: f64| Contrast::Rendered.expected(a, b).sd;
        assert!(known(1e4, 1e4) < 0.011 && known(1e4, 2e4) > 0.3);
        assert_eq!(Contrast::Linear.expected(1e4, 2e4).sd, LINEAR);
    }
}
