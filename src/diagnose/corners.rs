//! The corners judged as corners: the lens's own blur there against what is expected of it.

use super::evidence::Sample;
use super::fit::Problem;
use super::implied::Moments;
use super::parameters::Parameter::{Centre, Curve, Shake, Tilt};
use super::parameters::Theta;
use super::posterior::{Draw, Posterior};
use super::zones::Reading;
use super::{Basis, CornerState, Corners, ZoneName};
use crate::lens::REAL;
use crate::quantity::Estimate;
use crate::stats::Dice;

/// Lens blur expected at the corners of an unknown lens, as a share of what the diagonal over 1500 permits, and its spread: a lens
/// is what it is, whatever the picture is for. Corners softer than the centre are normal at right focus (common practice, no
/// published source). Chosen: no published table of how much corners soften was found, so this is an assumption and called one.
const ASSUMED: (f64, f64) = (0.8, 0.5);

/// A corner as it reads beside each mode of the posterior, as far as something in it is credible there; beside the first it is.
#[derive(Clone, Debug)]
pub(super) struct Corner {
    pub name: ZoneName,
    /// Where its credible tiles lie, beside the first mode.
    pub place: Sample,
    /// One reading a mode.
    pub readings: Vec<Option<Reading>>,
}

/// What a tilted lens or a curved field adds to the disc at a place, px: the lens's own, not the focus's.
fn lens_disc(t: &Theta, place: &Sample) -> f64 {
    t[Tilt] * place.u + t[Curve] * place.r * place.r
}

/// Least probability of a corner being beyond its mirror image for this to be said. Chosen: two standard deviations, one-sided.
const LIKELY: f64 = 0.975;

/// What the corners are judged by: the draws of the posterior.
struct Draws<'a> {
    posterior: &'a Posterior,
    problem: &'a Problem,
}

impl Draws<'_> {
    /// In one draw, the whole width of a corner and the part of it that is the lens's own, px; `noise` is how many of its standard
    /// deviations the reading is off. `None` where the draw's mode finds nothing credible in it.
    fn blur(&self, corner: &Corner, draw: &Draw, noise: f64) -> Option<(f64, f64)> {
        let reading = corner.readings[draw.mode].as_ref()?;
        let width = self.posterior.width(self.problem, draw, reading, noise);
        let disc = self.problem.predict(&draw.theta, &reading.place).disc - lens_disc(&draw.theta, &reading.place);
        Some((width, self.problem.surface.gauss_for(width, disc.abs())))
    }

    /// Whether a corner is softer than the one across from it, right for left, by more than the permitted blur (in
    /// quadrature) through the lens alone: no lens that is in line does that, whatever it is like. What was learned of both corners
    /// is taken out of it, as surely as it is known: a lens known to be one-sided is no news.
    fn beyond_its_mirror(&self, corners: &[Corner], permitted: f64) -> bool {
        let mut normal = Dice::new(13);
        let draws = &self.posterior.draws;
        // Squares of the lens's part and of what was learned of it.
        let mut squares = |c: &Corner| -> Vec<Option<(f64, f64)>> {
            let learned = c.place.learned.unwrap_or_default();
            let mut square = |draw| {
                let (_, lens) = self.blur(c, draw, normal.normal())?;
                Some((lens.powi(2), (learned.0 + learned.1 * normal.normal()).max(0.0).powi(2)))
            };
            draws.iter().map(&mut square).collect()
        };
        let squares: Vec<_> = corners.iter().map(&mut squares).collect();
        let beyond = |a: usize, b: usize| {
            let known = corners[a].place.learned.is_some() && corners[b].place.learned.is_some();
            let (mut over, mut all) = (0.0, 0.0);
            for (draw, pair) in draws.iter().zip(squares[a].iter().zip(&squares[b])) {
                let (Some(a), Some(b)) = pair else { continue };
                let more = a.0 - b.0 - if known { a.1 - b.1 } else { 0.0 };
                all += draw.weight;
                over += if more > permitted * permitted { draw.weight } else { 0.0 };
            }
            all > 0.0 && over > LIKELY * all
        };
        let pairs = (0..corners.len()).flat_map(|a| (0..corners.len()).map(move |b| (a, b)));
        pairs.filter(|&(a, b)| mirrored(&corners[a].place, &corners[b].place)).any(|(a, b)| beyond(a, b))
    }

    /// Blur of a corner beyond what is expected of it, px, in quadrature, and its sd; `None` without a posterior.
    fn excess(&self, corner: &Corner, expected: f64) -> Option<(f64, f64)> {
        // A fit beside a learned lens has in its centre only what goes beyond it.
        let beside = self.problem.evidence.samples.iter().any(|s| s.learned.is_some());
        let (mut excess, mut widths) = (Moments::default(), Moments::default());
        for draw in &self.posterior.draws {
            let Some((width, lens)) = self.blur(corner, draw, 0.0) else { continue };
            // Motion blurs the whole frame, and so does what the centre shows beyond a learned lens: neither is
            // the corner's own.
            let common = (if beside { draw.theta[Centre].powi(2) } else { 0.0 }) + draw.theta[Shake].powi(2);
            excess.add((lens * lens - expected.powi(2) - common).max(0.0).sqrt(), draw.weight);
            widths.add(width, draw.weight);
        }
        let ((mean, sd), (width, _)) = (excess.get()?, widths.get()?);
        let error = corner.readings[0].as_ref().map_or(0.0, |r| r.sd);
        // A width's error acts on its square, which is what the excess is the difference of.
        Some((mean, sd.hypot(error * width * width / mean.max(0.5 * width))))
    }
}

/// Whether two corners lie across from each other, right for left.
fn mirrored(a: &Sample, b: &Sample) -> bool {
    a.u * b.u < 0.0 && a.v * b.v > 0.0
}

/// Whether a corner was learned to be softer than the one across from it, right for left.
fn learned_softer(corners: &[Corner], of: &Corner) -> bool {
    let Some((here, sd)) = of.place.learned else { return false };
    let others = corners.iter().filter(|c| mirrored(&c.place, &of.place)).filter_map(|c| c.place.learned);
    others.into_iter().any(|(there, other)| here - there > REAL * sd.hypot(other))
}

/// One corner beside its own expectation.
#[derive(Clone, Copy)]
struct Beside {
    /// Which of the corners.
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

/// Judges the corners by the lens's part of each, each beside what is expected of that very corner. `permitted`: the blur, px, that the
/// use asked for permits, and `usual` that of the diagonal over 1500.
pub(super) fn judge(
    corners: &[Corner],
    (posterior, problem): (&Posterior, &Problem),
    permitted: f64,
    usual: f64,
) -> Corners {
    let draws = Draws { posterior, problem };
    let assumed = (ASSUMED.0 * usual, ASSUMED.1 * usual);
    let beside = |(index, corner): (usize, &Corner)| {
        let expected = corner.place.learned.unwrap_or(assumed);
        Some(Beside { index, expected, excess: draws.excess(corner, expected.0)? })
    };
    let judged: Vec<Beside> = corners.iter().enumerate().filter_map(beside).collect();
    // The one that is spoken of: the worst of those beyond what is expected of them, or else the softest.
    let spoken = judged.iter().filter(|c| c.beyond()).max_by(|a, b| a.excess.0.total_cmp(&b.excess.0));
    let Some(spoken) = spoken.or_else(|| judged.iter().max_by(|a, b| a.own().total_cmp(&b.own()))) else {
        return Corners {
            state: CornerState::NotMeasured,
            basis: Basis::Assumed,
            corner: None,
            expected_px: (!problem.evidence.samples.is_empty()).then(|| Estimate::new(assumed.0, assumed.1, 0)),
            excess_px: None,
            learned_one_sided: false,
            field_curvature: None,
        };
    };
    let (corner, count) = (&corners[spoken.index], corners.len() as u32);
    let softer = spoken.beyond() || draws.beyond_its_mirror(corners, permitted);
    Corners {
        state: if softer { CornerState::SofterThanExpected } else { CornerState::AsExpected },
        basis: if corner.place.learned.is_some() { Basis::Learned } else { Basis::Assumed },
        corner: Some(corner.name),
        expected_px: Some(Estimate::new(spoken.expected.0, spoken.expected.1, count)),
        excess_px: Some(Estimate::new(spoken.excess.0, spoken.excess.1, count)),
        learned_one_sided: learned_softer(corners, corner),
        field_curvature: None,
    }
}
