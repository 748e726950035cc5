//! Shape of the blur, shared by the edges of a frame: how far from a Gaussian, and what that does to its width.
//!
//! A Gaussian is fitted to every edge. Where the spread is a disc, an ideal pupil slightly out of focus, or anything
//! else, the Gaussian's sigma differs from the one that stands for the MTF50 by up to a tenth. The residuals of many
//! edges together tell the fourth cumulant of the spread, from which both differences follow to first order.

use super::edge::Edge;
use super::pupil::Pupil;

/// Bins of ln sigma, and what they span.
const BINS: usize = 32;
const LOW: f64 = -1.8;
const STEP: f64 = 0.125;
/// Spread of the neighbourhood in ln sigma over which a shape is shared: defocus and sharp parts of one frame differ.
const NEAR: f64 = 0.25;
/// Scatter of one edge's excess kurtosis from content, and how far a strange one counts.
const SCATTER: f64 = 1.0;
const LIMIT: f64 = 4.0;
/// Weight of the presumption that the spread is a Gaussian, in edges.
const PRESUMED: f64 = 6.0;
/// Share of what the residuals show that is the blur's; the rest is content (shaded and rounded edges make their own).
const TRUST: f64 = 0.6;
/// Relative change of the sigma that stands for MTF50 for an excess kurtosis of one, at equal variance.
///
/// exp(-s^2/2) (1 + k s^4 / 24) = 1/2 has s^2 = 2 ln 2 + k (2 ln 2)^2 / 12 to first order.
const HALF_CONTRAST: f64 = -std::f64::consts::LN_2 / 12.0;

/// Excess kurtosis of a frame's line spread, beyond what its pupil explains, against its width.
#[derive(Clone, Debug)]
pub(super) struct Shape {
    bins: [(f64, f64); BINS],
    pupil: Pupil,
}

impl Shape {
    /// Gathers what edges say that stand free of each other.
    pub(super) fn of<'a>(edges: impl Iterator<Item = &'a Edge>, pupil: Pupil) -> Self {
        let mut bins = [(0.0, 0.0); BINS];
        for e in edges {
            let (kurtosis, sd) = (e.kurtosis.0 - pupil.expected(e.sigma).1, e.kurtosis.1);
            let at = ((e.sigma.ln() - LOW) / STEP).clamp(0.0, BINS as f64 - 1.0) as usize;
            let weight = SCATTER * SCATTER / (sd * sd + SCATTER * SCATTER);
            if weight.is_finite() {
                bins[at].0 += weight * kurtosis.clamp(-LIMIT, LIMIT);
                bins[at].1 += weight;
            }
        }
        Self { bins, pupil }
    }

    /// Excess kurtosis at a width, px, beyond the pupil's.
    fn kurtosis(&self, sigma: f64) -> f64 {
        let (mut sum, mut weight) = (0.0, PRESUMED);
        for (i, bin) in self.bins.iter().enumerate() {
            let z = (LOW + (i as f64 + 0.5) * STEP - sigma.ln()) / NEAR;
            let near = (-0.5 * z * z).exp();
            sum += near * bin.0;
            weight += near * bin.1;
        }
        TRUST * sum / weight
    }

    /// The edges with the sigma that stands for their MTF50.
    pub(super) fn applied(&self, edges: &[Edge]) -> Vec<Edge> {
        edges
            .iter()
            .map(|e| {
                let change = (e.pull / e.sigma).clamp(0.0, 0.2) + HALF_CONTRAST;
                let factor = self.pupil.expected(e.sigma).0 * (1.0 + change * self.kurtosis(e.sigma)).clamp(0.8, 1.2);
                Edge { sigma: e.sigma * factor, sd: e.sd * factor, ..*e }
            })
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn edge(sigma: f64, kurtosis: f64) -> Edge {
        Edge { sigma, sd: 0.03 * sigma, angle: 0.0, kurtosis: (kurtosis, 0.3), pull: 0.11 * sigma, overshoot: None }
    }

    #[test]
    fn no_edges_change_nothing() {
        let edges = [edge(0.4, 3.0), edge(3.0, -3.0)];
        let same = Shape::of([].iter(), Pupil::new(None)).applied(&edges);
        assert!(same.iter().zip(&edges).all(|(a, b)| (a.sigma - b.sigma).abs() < 1e-12));
    }

    #[test]
    fn discs_narrow_and_long_tails_widen_each_in_their_own_range_of_widths() {
        let edges: Vec<Edge> = (0..60).map(|i| if i % 2 == 0 { edge(0.5, 1.0) } else { edge(2.5, -1.5) }).collect();
        let shaped = Shape::of(edges.iter(), Pupil::new(None)).applied(&edges);
        assert!(shaped[0].sigma > 1.01 * edges[0].sigma, "{}", shaped[0].sigma);
        assert!(shaped[1].sigma < 0.98 * edges[1].sigma, "{}", shaped[1].sigma);
    }
}
