//! Numbers from many numbers: middles, scatter, lines, laws of error, ways downhill, and dice that fall the same way each time.
//!
//! Depends on nothing else in the crate. Values that are not finite are the caller's to keep out.

mod descent;
mod dice;
mod law;
mod vector_math;

pub(crate) use descent::{Pace, descend};
pub(crate) use dice::Dice;
pub(crate) use law::{excess_density, normal_beyond, normal_density};
pub(crate) use vector_math::{exp, ln};

/// Standard deviation of a normal law as a multiple of its median absolute deviation. Derived: 1 / (the normal's upper
/// quartile).
pub(crate) const MAD_SD: f64 = 1.482_602_218_505_602;
/// Standard error of a median as a multiple of that of a mean, under a normal law. Derived: sqrt(pi / 2).
pub(crate) const MEDIAN_SD: f64 = 1.253_314_137_315_5;

/// Middle value, of an even number the mean of the middle two; `None` of none.
pub(crate) fn median(values: &[f64]) -> Option<f64> {
    quantile(values, 0.5)
}

/// Middle value, of an even number the larger of the middle two, so that it is one of the values; `None` of none.
pub(crate) fn upper_median(values: Vec<f64>) -> Option<f64> {
    ranked(values, 0.5)
}

/// The least of the values that a share of them lies below, rounded down; `None` where there is none.
pub(crate) fn ranked(mut values: Vec<f64>, share: f64) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    values.get((values.len() as f64 * share) as usize).copied()
}

/// The value below which a share of the values lies, interpolated between neighbours (Hyndman & Fan 1996, their
/// definition 7); `None` of none.
pub(crate) fn quantile(values: &[f64], share: f64) -> Option<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let last = sorted.len().checked_sub(1)?;
    let at = share.clamp(0.0, 1.0) * last as f64;
    let (below, part) = (at.floor() as usize, at.fract());
    Some(sorted[below] + part * (sorted[(below + 1).min(last)] - sorted[below]))
}

/// Standard deviation by the median absolute deviation from the median, which few strays do not move; `None` of none.
pub(crate) fn scatter(values: &[f64]) -> Option<f64> {
    let middle = median(values)?;
    let away: Vec<f64> = values.iter().map(|v| (v - middle).abs()).collect();
    Some(MAD_SD * median(&away)?)
}

/// Mean of the middle half: as robust as needed against strays, and smoother than the median; `None` of none.
pub(crate) fn middle_mean(values: &[f64]) -> Option<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let cut = sorted.len() / 4;
    let kept = &sorted[cut..sorted.len() - cut];
    (!kept.is_empty()).then(|| kept.iter().sum::<f64>() / kept.len() as f64)
}

/// A straight line fitted to points.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Line {
    /// Value at nought.
    pub at_zero: f64,
    /// Rise by one.
    pub slope: f64,
}

/// Least squares of (x, y, weight); `None` where all weight lies at one place.
pub(crate) fn line(points: impl Iterator<Item = (f64, f64, f64)>) -> Option<Line> {
    let (mut w, mut x, mut y, mut xx, mut xy) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for (a, b, weight) in points {
        w += weight;
        x += weight * a;
        y += weight * b;
        xx += weight * a * a;
        xy += weight * a * b;
    }
    let det = w * xx - x * x;
    (det > 1e-12 * w * xx).then(|| Line { at_zero: (y * xx - x * xy) / det, slope: (w * xy - x * y) / det })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn middles_of_few() {
        assert_eq!(median(&[]), None);
        assert_eq!(median(&[3.0, 1.0, 2.0]), Some(2.0));
        assert_eq!(median(&[4.0, 1.0, 2.0, 3.0]), Some(2.5));
        assert_eq!((upper_median(vec![4.0, 1.0, 2.0, 3.0]), upper_median(Vec::new())), (Some(3.0), None));
        assert_eq!((ranked(vec![4.0, 1.0, 2.0, 3.0], 0.25), ranked(vec![5.0], 0.25)), (Some(2.0), Some(5.0)));
        // Hyndman & Fan's definition 7 of 1 to 5: h = (n - 1) p + 1.
        assert_eq!(quantile(&[1.0, 2.0, 3.0, 4.0, 5.0], 0.25), Some(2.0));
        assert_eq!(quantile(&[1.0, 2.0, 3.0, 4.0], 0.9), Some(3.7));
        assert_eq!(middle_mean(&[9.0, 1.0, 2.0, -7.0]), Some(1.5));
        assert_eq!(scatter(&[1.0, 1.0, 1.0, 50.0]), Some(0.0));
    }

    #[test]
    fn a_line_is_found_again_and_a_lone_place_has_none() {
        let found = line([(0.0, 1.0, 1.0), (2.0, 5.0, 3.0), (1.0, 3.0, 0.5)].into_iter()).unwrap();
        assert!((found.at_zero - 1.0).abs() < 1e-12 && (found.slope - 2.0).abs() < 1e-12);
        assert_eq!(line([(1.0, 1.0, 1.0), (1.0, 2.0, 1.0)].into_iter()), None);
    }
}
