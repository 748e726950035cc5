//! What a draw of the posterior says of a zone: its width; of near and far the parts of the blur there, signed discs, and their doubt.

use super::Frame;
use super::diagnosis::{FAR, NEAR};
use super::evidence::Sample;
use super::fit::Problem;
use super::model::Ready;
use super::parameters::Parameter::{Curve, Far, Horizon, Scale, Shake, Tilt};
use super::parameters::Theta;
use super::posterior::{Draw, Posterior};
use super::priors::far_discs;
use super::weigh::Parts;
use super::zones::{self, Reading};
use crate::quantity::Distance;

/// Relative error that widths of one texture share, whatever the number of tiles. Set on the rendered scenes used for
/// building: the spread of a frame's median tile about the truth.
const WIDTH_DOUBT: f64 = 0.08;

impl Posterior {
    /// ln of the width (px) that a zone was read to have beside a mode, the mode's common factor still in it.
    pub(super) fn ln_width(&self, problem: &Problem, mode: usize, reading: &Reading) -> f64 {
        problem.predict(&self.modes[mode].theta, &reading.place).y + reading.departure
    }

    /// Whole width of a zone in a draw, px: what was read beside the draw's mode, `noise` of its standard deviations off, without
    /// the factor that the draw lays to all widths.
    pub(super) fn width(&self, problem: &Problem, draw: &Draw, reading: &Reading, noise: f64) -> f64 {
        (self.ln_width(problem, draw.mode, reading) + reading.sd * noise - draw.theta[Scale]).exp()
    }
}

impl Frame<'_> {
    /// What a draw says of the near or the far zone. A zone that lies about on the model has the model's parts, all of
    /// them stretched to the width that was measured: a few per cent of texture must not turn into a disc where
    /// the lens or motion are most of the blur. One far off it holds an object at another distance, whose width
    /// is laid to the disc. What a tilted field adds at the zone's place off the middle is the lens's.
    ///
    /// The parts are those at `at`, where the zone would lie if all of its tiles could be measured.
    pub(super) fn parts(&self, draw: &Draw, reading: &Reading, at: &Sample, noise: f64) -> Parts {
        let width = self.posterior.width(self.problem, draw, reading, noise);
        let there = self.problem.predict(&draw.theta, &reading.place);
        let shake = draw.theta[Shake].abs();
        if reading.departure.abs() > zones::OFF_MODEL || reading.side != 0.0 {
            // What is sharper than the model has the lens there shows that the lens is no softer than that.
            let gauss = there.gauss.min(self.problem.surface.gauss_for(width, 0.0));
            let size = self.problem.surface.disc_for(width, gauss);
            let side = if reading.side == 0.0 { there.disc } else { reading.side };
            let disc = size.copysign(side) - draw.theta[Tilt] * reading.place.u;
            return Parts {
                disc,
                lens: there.lens.min(gauss),
                optical: self.problem.surface.optical(size, gauss).min(width),
                without_lens: self.problem.surface.optical(disc.abs(), shake),
                whole: width,
            };
        }
        let bare = there.disc.abs();
        let modelled = self.problem.surface.optical(bare, there.gauss);
        let whole = self.problem.surface.whole(bare, there.gauss).ln.exp();
        let stretch = ((modelled * modelled + width * width - whole * whole).max(1e-4).sqrt() / modelled).min(2.0);
        let now = self.problem.predict(&draw.theta, at);
        let disc = now.disc - draw.theta[Tilt] * at.u;
        let optical = stretch * self.problem.surface.optical(disc.abs(), now.gauss);
        Parts {
            disc: stretch * disc,
            lens: stretch * now.lens,
            optical,
            // The pixel's part of the square stays what it is in the model.
            whole: (optical * optical + (whole * whole - modelled * modelled).max(0.0)).sqrt(),
            without_lens: stretch * self.problem.surface.optical(disc.abs(), shake),
        }
    }

    /// Where the near or far zone would lie if all of it could be measured: the lowest eighth, the horizon.
    /// A marked zone lies where it is marked.
    pub(super) fn nominal(&self, zone: usize, place: &Sample, theta: &Theta, marked: bool) -> Sample {
        let v = match zone {
            _ if marked => return *place,
            NEAR => place.v.max(zones::NEAREST * self.e.bottom),
            // No farther than half a band: the horizon is known from the blur only.
            _ => place.v.min(theta[Horizon] - 0.03).max(place.v - 0.05),
        };
        Sample::place(place.u, v, place.learned)
    }

    /// Signed discs of the nearest ground (or the marked near subject) and of the far scene in one draw, px.
    pub(super) fn ends_of(
        &self,
        draw: &Draw,
        parts: [Option<Parts>; 2],
        readings: [&Option<Reading>; 2],
        marked: [bool; 2],
    ) -> [f64; 2] {
        let ready = Ready::new(&draw.theta);
        let straight = |place: &Sample| {
            let t = &draw.theta;
            ready.disc(place) - t[Tilt] * place.u - t[Curve] * place.r * place.r
        };
        let off = |k: usize| readings[k].as_ref().filter(|r| marked[k] || r.departure.abs() > zones::OFF_MODEL);
        let near = match (off(NEAR), parts[NEAR]) {
            (Some(_), Some(p)) => p.disc,
            _ => straight(&Sample::place(0.0, self.e.bottom, None)),
        };
        let far = if marked[FAR] { parts[FAR].map_or(draw.theta[Far], |p| p.disc) } else { draw.theta[Far] };
        [near, far]
    }

    /// Spread that a zone's width leaves its disc, px: what a twelfth more or less of the width would make of it.
    pub(super) fn disc_doubt(&self, reading: &Option<Reading>) -> f64 {
        let Some(r) = reading else { return 0.0 };
        let place = self.problem.predict(&self.posterior.modes[0].theta, &r.place);
        let disc = |factor: f64| self.problem.surface.disc_for(place.y.exp() * factor, place.gauss);
        0.5 * (disc(1.0 + WIDTH_DOUBT) - disc(1.0 - WIDTH_DOUBT))
    }

    /// Whether the recorded focus distance would make near or far clearly sharper or softer than they are, in all
    /// but a fiftieth of the posterior.
    pub(super) fn misplaced(&self, recorded: Distance, inverse_far: f64, readings: &[Vec<Option<Reading>>]) -> bool {
        let Some(reach) = self.e.reach else { return false };
        let [low, high] = far_discs(recorded, reach, inverse_far);
        let (mut fits, mut whole) = (0.0, 0.0);
        for draw in &self.posterior.draws {
            // The recorded distances that the record's rounding allows, the one nearest to the draw taken.
            let far = draw.theta[Far].clamp(low, high);
            let mut moved = draw.theta;
            moved[Far] = far;
            let worst = readings[NEAR..=FAR]
                .iter()
                .filter_map(|r| r[draw.mode].as_ref())
                .map(|r| {
                    let here = self.posterior.ln_width(self.problem, draw.mode, r);
                    (self.problem.predict(&moved, &r.place).y - here).abs() / r.sd.hypot(WIDTH_DOUBT)
                })
                .fold(0.0, f64::max);
            whole += draw.weight;
            fits += if worst < 3.0 { draw.weight } else { 0.0 };
        }
        fits < 0.02 * whole
    }
}
