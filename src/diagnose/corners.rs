//! The corners judged as corners: the lens's own blur there against what is expected of it.

use super::evidence::Sample;
use super::fit::Problem;
use super::implied::Moments;
use super::model::{Place, Ready};
use super::parameters::Parameter::{Centre, Curve, Scale, Shake, Tilt};
use super::parameters::Theta;
use super::posterior::Posterior;
use super::surface::Surface;
use super::zones::Reading;
use super::{Basis, CornerState, Corners};
use crate::quantity::Estimate;
use crate::stats::Dice;

/// Lens blur expected at the corners of an unknown lens, as a share of the permitted blur, and its spread. Corners
/// softer than the centre are normal at right focus (common practice, no published source). Chosen: no published table
/// of how much corners soften was found, so this is an assumption and called one.
const ASSUMED: (f64, f64) = (0.8, 0.5);

/// Lens blur at one corner, px, from its reading and the model's disc there.
pub(super) fn lens_part(reading: &Reading, place: &Place, scale: f64, surface: &Surface) -> f64 {
    surface.gauss_for((place.y + reading.departure - scale).exp(), place.disc.abs())
}

/// What a tilted lens or a curved field adds to the disc at a place, px: the lens's own, not the focus's.
fn lens_disc(t: &Theta, place: &Sample) -> f64 {
    t[Tilt] * place.u + t[Curve] * place.r * place.r
}

/// Least probability of a corner being beyond its mirror image for this to be said. Chosen: two standard deviations, one-sided.
const LIKELY: f64 = 0.975;

/// Whether a corner is softer than the one across from it, right for left, by more than the permitted blur (in
/// quadrature) through the lens alone: no lens that is in line does that, whatever it is like.
fn beyond_its_mirror(readings: &[Reading], posterior: &Posterior, surface: &Surface, permitted: f64) -> bool {
    let mut normal = Dice::new(13);
    let parts: Vec<Vec<f64>> = readings
        .iter()
        .map(|r| {
            let part = |(ready, _): &(Ready, f64)| {
                let mut place = ready.at(&r.place, surface);
                place.disc -= lens_disc(ready.theta(), &r.place);
                let noisy = Reading { departure: r.departure + r.sd * normal.normal(), ..*r };
                lens_part(&noisy, &place, ready.theta()[Scale], surface)
            };
            posterior.few.iter().map(part).collect()
        })
        .collect();
    let weights: Vec<f64> = posterior.few.iter().map(|f| f.1).collect();
    let beyond = |a: usize, b: usize| {
        let over = |k: usize| parts[a][k].powi(2) - parts[b][k].powi(2) > permitted * permitted;
        (0..weights.len()).filter(|&k| over(k)).map(|k| weights[k]).sum::<f64>()
    };
    let mirrored = |a: &Reading, b: &Reading| a.place.u * b.place.u < 0.0 && a.place.v * b.place.v > 0.0;
    let pairs = (0..readings.len()).flat_map(|a| (0..readings.len()).map(move |b| (a, b)));
    pairs.filter(|&(a, b)| mirrored(&readings[a], &readings[b])).any(|(a, b)| beyond(a, b) > LIKELY)
}

/// Judges the corners from the lens part of each that could be measured.
pub(super) fn judge(readings: &[Reading], posterior: &Posterior, problem: &Problem, permitted: f64) -> Corners {
    let (e, surface) = (&problem.evidence, &*problem.surface);
    let learned = readings.iter().filter_map(|r| r.place.learned).collect::<Vec<_>>();
    let basis = if learned.len() == readings.len() && !learned.is_empty() { Basis::Learned } else { Basis::Assumed };
    let (expected, spread) = match basis {
        Basis::Learned => {
            let n = learned.len() as f64;
            (learned.iter().map(|l| l.0).sum::<f64>() / n, learned.iter().map(|l| l.1).sum::<f64>() / n)
        }
        Basis::Assumed => (ASSUMED.0 * permitted, ASSUMED.1 * permitted),
    };
    // A fit beside a learned lens has in its centre only what goes beyond it.
    let beside = e.samples.iter().any(|s| s.learned.is_some());
    let one_sided = beyond_its_mirror(readings, posterior, surface, permitted);
    let mut worst: Option<(f64, f64)> = None;
    for reading in readings {
        let (mut excess, mut width) = (Moments::default(), 0.0f64);
        for (ready, weight) in &posterior.few {
            let (mut place, t) = (ready.at(&reading.place, surface), ready.theta());
            width = (place.y + reading.departure - t[Scale]).exp();
            place.disc -= lens_disc(t, &reading.place);
            let lens = lens_part(reading, &place, t[Scale], surface);
            // Motion blurs the whole frame, and so does what the centre shows beyond a learned lens: neither is
            // the corner's own.
            let common = (if beside { t[Centre].powi(2) } else { 0.0 }) + t[Shake].powi(2);
            let own = reading.place.learned.map_or(expected, |l| l.0).powi(2) + common;
            excess.add((lens * lens - own).max(0.0).sqrt(), *weight);
        }
        if let Some((mean, sd)) = excess.get() {
            // A width's error acts on its square, which is what the excess is the difference of.
            let sd = sd.hypot(reading.sd * width * width / mean.max(0.5 * width));
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
    // Beyond what is expected by more than twice the doubts of expectation and measurement together.
    let own = expected.hypot(mean);
    let slack = 2.0 * spread.hypot(sd * mean / own.max(1e-9));
    let softer = own > expected + slack || one_sided;
    Corners {
        state: if softer { CornerState::SofterThanExpected } else { CornerState::AsExpected },
        basis,
        expected_px: Some(Estimate::new(expected, spread, count)),
        excess_px: Some(Estimate::new(mean, sd, count)),
        field_curvature: None,
    }
}
