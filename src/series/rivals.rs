//! How surely the best of several frames is the best of them.

use crate::stats::normal_beyond;

/// The chance that none of some rivals is better, each by how many standard deviations it reads worse than the best.
///
/// That is the product of the chances against each. Published: Slepian 1962, Bell Syst. Tech. J. 41, 463 (from memory): of normal
/// errors that go together, as differences from one and the same frame do by the error of that frame, the chance that all stay on
/// one side is no less than if they were independent. Against the nearest alone it would be promised too high where several are
/// about as near.
pub(super) fn unbeaten(behind: impl Iterator<Item = f64>) -> f64 {
    behind.map(|sds| 1.0 - normal_beyond(sds)).product()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::normal_density;

    /// The chance that the best of `rivals + 1` frames of equal error is the best, all others reading worse by as much: given the
    /// error u of its own width, each of them stays behind with Phi(sqrt(2) z + u), independently of the others.
    fn exact(sds: f64, rivals: i32) -> f64 {
        let step = 1e-3;
        let at = |i: i32| {
            let u = f64::from(i) * step;
            normal_density(u, 1.0) * (1.0 - normal_beyond(2f64.sqrt() * sds + u)).powi(rivals) * step
        };
        (-8000..=8000).map(at).sum()
    }

    #[test]
    fn several_rivals_as_near_leave_less_than_the_nearest_alone() {
        let told = |sds: f64, rivals: usize| unbeaten(std::iter::repeat_n(sds, rivals));
        // 1.645 standard deviations: nineteen in twenty, which one rival leaves.
        assert!((told(1.645, 1) - 0.95).abs() < 1e-3 && (exact(1.645, 1) - 0.95).abs() < 1e-3);
        for sds in [0.85, 1.0, 1.645, 2.5] {
            let alone = told(sds, 1);
            for rivals in 2..=5 {
                let (told, exact) = (told(sds, rivals), exact(sds, rivals as i32));
                assert!(told <= exact + 1e-6, "{told} promised where {exact} holds: {rivals} rivals at {sds}");
                assert!(exact - told < alone - exact, "{told} is farther off than {alone} for {exact}");
            }
        }
        assert!((told(1.0, 0) - 1.0).abs() < 1e-12);
    }
}
