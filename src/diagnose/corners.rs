//! The corners judged as corners: the lens's own blur there against what is expected of it.

use super::evidence::{Evidence, Sample};
use super::fit::Problem;
use super::implied::Moments;
use super::model::{Place, Ready};
use super::parameters::Parameter::{Centre, Curve, Scale, Shake, Tilt};
use super::parameters::Theta;
use super::posterior::Posterior;
use super::surface::Surface;
use super::zones::Reading;
use super::{Basis, CornerState, Corners, ZoneName};
use crate::lens::REAL;
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
/// quadrature) through the lens alone: no lens that is in line does that, whatever it is like. What was learned of both corners is
/// taken out of it: a lens known to be one-sided is no news.
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
        let known = match (readings[a].place.learned, readings[b].place.learned) {
            (Some(a), Some(b)) => a.0.powi(2) - b.0.powi(2),
            _ => 0.0,
        };
        let over = |k: usize| parts[a][k].powi(2) - parts[b][k].powi(2) - known > permitted * permitted;
        (0..weights.len()).filter(|&k| over(k)).map(|k| weights[k]).sum::<f64>()
    };
    let mirrored = |a: &Reading, b: &Reading| a.place.u * b.place.u < 0.0 && a.place.v * b.place.v > 0.0;
    let pairs = (0..readings.len()).flat_map(|a| (0..readings.len()).map(move |b| (a, b)));
    pairs.filter(|&(a, b)| mirrored(&readings[a], &readings[b])).any(|(a, b)| beyond(a, b) > LIKELY)
}

/// Whether the corner at `readings[i]` was learned to be softer than the one across from it, right for left.
fn learned_softer(readings: &[Reading], i: usize) -> bool {
    let across = |a: &Sample, b: &Sample| a.u * b.u < 0.0 && a.v * b.v > 0.0;
    let Some((here, sd)) = readings[i].place.learned else { return false };
    let others = readings.iter().filter(|r| across(&r.place, &readings[i].place)).filter_map(|r| r.place.learned);
    others.into_iter().any(|(there, other)| here - there > REAL * sd.hypot(other))
}

/// One corner beside its own expectation.
#[derive(Clone, Copy)]
struct Beside {
    /// Which of the readings.
    index: usize,
    /// Lens blur expected there, px, and its sd.
    expected: (f64, f64),
    /// Blur beyond it in quadrature, px, and its sd.
    excess: (f64, f64),
}

impl Beside {
    /// Lens blur there, px, if it is no sharper than expected.
    fn own(&self) -> f64 {
        self.expected.0.hypot(self.excess.0)
    }

    /// Whether it is beyond what is expected by more than twice the doubts of expectation and measurement together.
    fn beyond(&self) -> bool {
        let (own, (mean, sd)) = (self.own(), self.excess);
        own > self.expected.0 + 2.0 * self.expected.1.hypot(sd * mean / own.max(1e-9))
    }
}

/// Judges the corners from the lens part of each that could be measured, each beside what is expected of that very corner; `names` are
/// those of the readings.
pub(super) fn judge(
    (names, readings): (&[ZoneName], &[Reading]),
    posterior: &Posterior,
    problem: &Problem,
    permitted: f64,
) -> Corners {
    let (e, surface) = (&problem.evidence, &*problem.surface);
    let assumed = (ASSUMED.0 * permitted, ASSUMED.1 * permitted);
    let corner = |(index, reading): (usize, &Reading)| {
        let expected = reading.place.learned.unwrap_or(assumed);
        Some(Beside { index, expected, excess: excess(reading, expected.0, (posterior, e, surface))? })
    };
    let corners: Vec<Beside> = readings.iter().enumerate().filter_map(corner).collect();
    // The one that is spoken of: the worst of those beyond what is expected of them, or else the softest.
    let spoken = corners.iter().filter(|c| c.beyond()).max_by(|a, b| a.excess.0.total_cmp(&b.excess.0));
    let Some(spoken) = spoken.or_else(|| corners.iter().max_by(|a, b| a.own().total_cmp(&b.own()))) else {
        return Corners {
            state: CornerState::NotMeasured,
            basis: Basis::Assumed,
            corner: None,
            expected_px: (!e.samples.is_empty()).then(|| Estimate::new(assumed.0, assumed.1, 0)),
            excess_px: None,
            learned_one_sided: false,
            field_curvature: None,
        };
    };
    let count = readings.len() as u32;
    let softer = spoken.beyond() || beyond_its_mirror(readings, posterior, surface, permitted);
    Corners {
        state: if softer { CornerState::SofterThanExpected } else { CornerState::AsExpected },
        basis: if readings[spoken.index].place.learned.is_some() { Basis::Learned } else { Basis::Assumed },
        corner: names.get(spoken.index).copied(),
        expected_px: Some(Estimate::new(spoken.expected.0, spoken.expected.1, count)),
        excess_px: Some(Estimate::new(spoken.excess.0, spoken.excess.1, count)),
        learned_one_sided: learned_softer(readings, spoken.index),
        field_curvature: None,
    }
}

/// Blur of a corner beyond what is expected of it, px, in quadrature, and its sd; `None` without a posterior.
fn excess(
    reading: &Reading,
    expected: f64,
    (posterior, e, surface): (&Posterior, &Evidence, &Surface),
) -> Option<(f64, f64)> {
    // A fit beside a learned lens has in its centre only what goes beyond it.
    let beside = e.samples.iter().any(|s| s.learned.is_some());
    let (mut excess, mut width) = (Moments::default(), 0.0f64);
    for (ready, weight) in &posterior.few {
        let (mut place, t) = (ready.at(&reading.place, surface), ready.theta());
        width = (place.y + reading.departure - t[Scale]).exp();
        place.disc -= lens_disc(t, &reading.place);
        let lens = lens_part(reading, &place, t[Scale], surface);
        // Motion blurs the whole frame, and so does what the centre shows beyond a learned lens: neither is
        // the corner's own.
        let common = (if beside { t[Centre].powi(2) } else { 0.0 }) + t[Shake].powi(2);
        excess.add((lens * lens - expected.powi(2) - common).max(0.0).sqrt(), *weight);
    }
    let (mean, sd) = excess.get()?;
    // A width's error acts on its square, which is what the excess is the difference of.
    Some((mean, sd.hypot(reading.sd * width * width / mean.max(0.5 * width))))
}
