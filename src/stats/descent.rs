//! Goes downhill from a start: least squares and their like, by steps that are damped where they lead astray.

/// What the damping begins with, and the factor by which a step that did not help raises it. Chosen: customary.
const START: f64 = 1e-2;
const RAISED: f64 = 6.0;
/// Least and largest damping. Derived: below, Gauss and Newton's step is left as it is; above, a step moves nothing.
const LEAST: f64 = 1e-7;
const MOST: f64 = 1e6;

/// How a descent is paced.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Pace {
    /// Steps at the most.
    pub steps: usize,
    /// What a step that helped leaves of the damping.
    pub eased: f64,
    /// A step that gains less is the last.
    pub enough: f64,
}

/// The lowest place that is reached, with its energy and its equations, by Levenberg and Marquardt's method (Marquardt,
/// J. SIAM 11, 431, 1963).
///
/// `assemble` gives the energy at a place and the equations of the step from there; `step` solves them with the diagonal
/// raised by the damping as a share of itself, and gives the place it leads to, or `None` where they can't be solved.
pub(crate) fn descend<P, E>(
    start: P,
    pace: Pace,
    assemble: impl Fn(&P) -> (f64, E),
    step: impl Fn(&P, &E, f64) -> Option<P>,
) -> (P, f64, E) {
    let (mut place, mut damping) = (start, START);
    let (mut energy, mut equations) = assemble(&place);
    for _ in 0..pace.steps {
        let next = step(&place, &equations, damping).map(|next| (assemble(&next), next));
        match next.filter(|((there, _), _)| *there < energy) {
            Some(((there, then), next)) => {
                let gain = energy - there;
                (place, energy, equations) = (next, there, then);
                damping = (damping * pace.eased).max(LEAST);
                if gain < pace.enough {
                    break;
                }
            }
            None => {
                damping *= RAISED;
                if damping > MOST {
                    break;
                }
            }
        }
    }
    (place, energy, equations)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_valley_of_rosenbrock_is_followed_to_its_end() {
        // Rosenbrock, Computer J. 3, 175 (1960): from (-1.2, 1) to (1, 1); the residuals are 10 (y - x^2) and 1 - x.
        let assemble = |p: &[f64; 2]| {
            let (a, b) = (10.0 * (p[1] - p[0] * p[0]), 1.0 - p[0]);
            let slopes = [[-20.0 * p[0], 10.0], [-1.0, 0.0]];
            (a * a + b * b, (slopes, [a, b]))
        };
        let step = |p: &[f64; 2], (slopes, rest): &([[f64; 2]; 2], [f64; 2]), damping: f64| {
            let sum = |i: usize, j: usize| slopes.iter().map(|s| s[i] * s[j]).sum::<f64>();
            let right = |i: usize| -slopes.iter().zip(rest).map(|(s, r)| s[i] * r).sum::<f64>();
            let (a, b, d) = (sum(0, 0) * (1.0 + damping), sum(0, 1), sum(1, 1) * (1.0 + damping));
            let whole = a * d - b * b;
            Some([p[0] + (d * right(0) - b * right(1)) / whole, p[1] + (a * right(1) - b * right(0)) / whole])
        };
        let pace = Pace { steps: 100, eased: 0.2, enough: 1e-20 };
        let (end, energy, _) = descend([-1.2, 1.0], pace, assemble, step);
        assert!((end[0] - 1.0).abs() < 1e-8 && (end[1] - 1.0).abs() < 1e-8 && energy < 1e-16, "{end:?} {energy}");
        // Where no step can be told, the start is all there is.
        assert_eq!(descend(3.0, pace, |p: &f64| (p * p, ()), |_, (), _| None).0, 3.0);
    }
}
