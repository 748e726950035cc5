//! Many edges to one width: scenes only ever add blur, so the sharpest credible edges speak for a tile.

use super::edge::Edge;
use crate::quantity::Estimate;

/// Relative floor of the stated error: what no number of edges can beat (shape of the blur, curvature, texture).
const SYSTEMATIC: f64 = 0.06;

/// Share of edges that are as sharp as the lens leaves them, and of those that tell nothing.
const CLEAN: f64 = 0.5;
const STRAY: f64 = 0.02;
/// Scatter of one edge beyond its own stated error, as a share of its width: crossings, curvature, shading.
const SCATTER: f64 = 0.06;
/// Power of the width sought, the rest being that of the width read, to which an edge's error goes.
const SOUGHT: f64 = 0.75;

/// Fewest edges that make a number.
pub(super) const FEWEST: usize = 4;

/// Width of the tile from its edges.
///
/// Each edge reads sigma_i = sigma_0 + excess_i + error_i: the error Gaussian with known spread, the excess zero for
/// half of them and exponentially distributed for the others. The mean excess is the most likely one on a coarse
/// grid; sigma_0 and its error are mean and spread of the likelihood over a fine grid.
pub(super) fn pool(edges: &[Edge]) -> Option<Estimate> {
    if edges.len() < FEWEST {
        return None;
    }
    // An edge's error goes with the width sought more than with the one read, or narrow readings would count for more;
    // and half of what sets it apart from the middle one is chance itself.
    let mut widths: Vec<(f64, f64)> = edges.iter().map(|e| (e.sigma, (e.sd / e.sigma).hypot(SCATTER))).collect();
    let mut errors: Vec<f64> = widths.iter().map(|w| w.1).collect();
    errors.sort_by(f64::total_cmp);
    let usual = errors[errors.len() / 2];
    widths.iter_mut().for_each(|w| w.1 = (w.1 * usual).sqrt() * w.0.powf(1.0 - SOUGHT));
    widths.sort_by(|a, b| a.0.total_cmp(&b.0));
    let low = widths[0].0 * 0.8;
    let high = widths[widths.len() / 2].0 * 1.1;
    let scale = (high - low).max(0.02);
    let mut profile = [f64::MIN; 41];
    let mut clean = Vec::with_capacity(widths.len());
    for (i, best) in profile.iter_mut().enumerate() {
        let base = low + (high - low) * i as f64 / 40.0;
        let sought = base.powf(SOUGHT);
        clean.clear();
        clean.extend(widths.iter().map(|&(x, error)| density((x - base) / (error * sought))));
        for share in [0.05, 0.1, 0.2, 0.35, 0.6, 1.0, 1.8] {
            let mean = share * scale;
            let log_of = |edges: &[(f64, f64)], clean: &[f64]| {
                let each =
                    edges.iter().zip(clean).map(|(&(x, error), c)| likelihood(x - base, error * sought, mean, *c));
                each.product::<f64>().ln()
            };
            // One logarithm for a few edges: their densities lie within 1e-4 to 1e4 or so.
            let sum = widths.chunks(16).zip(clean.chunks(16)).map(|(w, c)| log_of(w, c)).sum();
            *best = f64::max(*best, sum);
        }
    }
    // Mean and spread of the profile as a posterior with a flat prior: no maximum to polish, and an honest
    // width where the likelihood is lopsided.
    let top = profile.iter().copied().fold(f64::MIN, f64::max);
    let (mut w, mut m, mut v) = (0.0, 0.0, 0.0);
    for (i, l) in profile.iter().enumerate() {
        let base = low + (high - low) * i as f64 / 40.0;
        let k = (l - top).exp();
        w += k;
        m += k * base;
        v += k * base * base;
    }
    let mean = m / w;
    let sd = (v / w - mean * mean).max(0.0).sqrt();
    Some(Estimate::new(mean, sd.hypot(SYSTEMATIC * mean), edges.len() as u32))
}

/// Density of the standard normal distribution.
fn density(z: f64) -> f64 {
    (-0.5 * z * z).exp() / (2.0 * std::f64::consts::PI).sqrt()
}

/// Density of `x`: a Gaussian error `s`, an exponential excess of mean `mean` for some, and a few strays. `normal` is
/// the standard normal density at x / s.
fn likelihood(x: f64, s: f64, mean: f64, normal: f64) -> f64 {
    // Exponentially modified Gaussian: exp(s^2/2m^2 - x/m) Phi(z) / m with z = x/s - s/m. The exponential times the
    // normal density at z is the normal density at x/s.
    let z = x / s - s / mean;
    let tail = normal * mills(z.abs());
    let modified = if z >= 0.0 { (s * s / (2.0 * mean * mean) - x / mean).exp() - tail } else { tail };
    CLEAN * normal / s + (1.0 - CLEAN - STRAY) * modified.max(0.0) / mean + STRAY / (1.0 + s + mean)
}

/// What the normal distribution leaves beyond z >= 0, over its density there (Mills' ratio).
fn mills(z: f64) -> f64 {
    if z < 5.0 {
        // Abramowitz & Stegun 26.2.17, absolute error 7.5e-8 of the distribution.
        let t = 1.0 / (1.0 + 0.231_641_9 * z);
        t * (0.319_381_530 + t * (-0.356_563_782 + t * (1.781_477_937 + t * (-1.821_255_978 + t * 1.330_274_429))))
    } else {
        // Asymptotic: Abramowitz & Stegun 26.2.12.
        let square = z * z;
        (1.0 - (1.0 - 3.0 / square) / square) / z
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn edges(widths: &[f64]) -> Vec<Edge> {
        widths
            .iter()
            .map(|&sigma| Edge {
                sigma,
                sd: 0.03 * sigma,
                angle: 0.0,
                kurtosis: (0.0, 1.0),
                pull: 0.0,
                overshoot: None,
            })
            .collect()
    }

    #[test]
    fn edges_that_agree_give_their_common_width() {
        let e = pool(&edges(&[0.99, 1.0, 1.0, 1.01, 1.0, 1.02, 0.98, 1.0])).expect("a width");
        assert!((e.value - 1.0).abs() < 0.02, "{e:?}");
        assert!(e.sd >= SYSTEMATIC * e.value);
    }

    #[test]
    fn soft_content_does_not_widen_a_tile() {
        let e = pool(&edges(&[1.0, 1.02, 0.97, 1.01, 1.5, 2.2, 3.0, 0.99])).expect("a width");
        assert!((e.value - 1.0).abs() < 0.05, "{e:?}");
    }

    #[test]
    fn three_edges_are_too_few() {
        assert!(pool(&edges(&[1.0, 1.0, 1.0])).is_none());
    }
}
