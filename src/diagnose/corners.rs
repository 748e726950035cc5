//! The corners judged as corners: the lens's own blur there against what is expected of it.

use super::evidence::Evidence;
use super::implied::Moments;
use super::model::{Place, SCALE};
use super::posterior::Posterior;
use super::surface::Surface;
use super::zones::Reading;
use super::{Basis, CornerState, Corners};
use crate::quantity::Estimate;

/// Lens blur expected at the corners of an unknown lens, as a share of the permitted blur, and its spread.
/// Corners softer than the centre are normal at right focus (common practice, no published source); no
/// published table of how much was found, so this is an assumption and called one.
const ASSUMED: (f64, f64) = (0.8, 0.5);

/// Lens blur at one corner, px, from its reading and the model's disc there.
#[must_use]
pub fn lens_part(reading: &Reading, place: &Place, scale: f64, surface: &Surface) -> f64 {
    surface.gauss_for((place.y + reading.departure - scale).exp(), place.disc)
}

/// Judges the corners from the lens part of each that could be measured.
#[must_use]
pub fn judge(readings: &[Reading], posterior: &Posterior, e: &Evidence, surface: &Surface, permitted: f64) -> Corners {
    let learned = readings.iter().filter_map(|r| r.place.learned).collect::<Vec<_>>();
    let basis = if learned.len() == readings.len() && !learned.is_empty() { Basis::Learned } else { Basis::Assumed };
    let (expected, spread) = match basis {
        Basis::Learned => {
            let n = learned.len() as f64;
            (learned.iter().map(|l| l.0).sum::<f64>() / n, learned.iter().map(|l| l.1).sum::<f64>() / n)
        }
        Basis::Assumed => (ASSUMED.0 * permitted, ASSUMED.1 * permitted),
    };
    let mut worst: Option<(f64, f64)> = None;
    for reading in readings {
        let mut excess = Moments::default();
        for (ready, weight) in &posterior.few {
            let lens = lens_part(reading, &ready.at(&reading.place, surface), ready.theta()[SCALE], surface);
            let own = reading.place.learned.map_or(expected, |l| l.0);
            excess.add((lens * lens - own * own).max(0.0).sqrt(), *weight);
        }
        if let Some((mean, sd)) = excess.get() {
            let sd = sd.hypot(reading.sd * mean);
            if worst.is_none_or(|w| mean > w.0) {
                worst = Some((mean, sd));
            }
        }
    }
    let count = readings.len() as u32;
    let Some((mean, sd)) = worst else {
        return Corners {
            state: CornerState::NotMeasured,
            basis,
            expected_px: (!e.samples.is_empty()).then(|| Estimate::new(expected, spread, 0)),
            excess_px: None,
            field_curvature: None,
        };
    };
    // Beyond what is expected by more than the expectation's own doubt and two of the measurement's.
    let doubt = (2.0 * spread * (2.0 * expected + 2.0 * spread)).sqrt();
    let softer = mean - 2.0 * sd > doubt;
    Corners {
        state: if softer { CornerState::SofterThanExpected } else { CornerState::AsExpected },
        basis,
        expected_px: Some(Estimate::new(expected, spread, count)),
        excess_px: Some(Estimate::new(mean, sd, count)),
        field_curvature: None,
    }
}
