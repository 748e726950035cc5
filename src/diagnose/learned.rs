//! Whether the widths bear out what was learned of the lens: no picture is sharper than its lens.

use super::evidence::Sample;
use super::fit::{Fit, Problem};
use super::parameters::Parameter::Scale;
use super::posterior::Posterior;
use super::stop::FEWEST;

/// Standard deviations of the error common to a frame's widths by which they must be narrower than the fit has them for
/// what was learned of the lens to be wrong. Chosen: one frame in seven hundred by chance.
const SHARPER: f64 = 3.0;

/// Whether the picture is sharper than what was learned of its lens allows: the fit, in which a lens only ever adds blur to what
/// is learned of it, agrees with the widths only if they are all misread by more than measuring misreads them. What was
/// learned then holds more than the lens, a missed focus or the depth of its scene.
///
/// A lens out of line since may be sharper at one side, so tiles narrower than was learned are asked of both.
pub(super) fn sharper_than_learned(problem: &Problem, posterior: &Posterior) -> bool {
    let (e, belief) = (&problem.evidence, problem.priors.of(Scale));
    let misread = |best: &Fit| best.theta[Scale] < belief.mean - SHARPER * belief.below;
    if !e.learned() || !posterior.modes.first().is_some_and(misread) {
        return false;
    }
    let narrower = |s: &&Sample| {
        let allowed = s.learned.map(|(lens, sd)| problem.surface.whole(0.0, (lens - 2.0 * sd).max(0.0)).ln);
        !s.bounded && allowed.is_some_and(|allowed| s.y + 2.0 * s.sd < allowed)
    };
    let (left, right): (Vec<&Sample>, Vec<&Sample>) = e.samples.iter().filter(narrower).partition(|s| s.u < 0.0);
    left.len().min(right.len()) >= FEWEST
}
