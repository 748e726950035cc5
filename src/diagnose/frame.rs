//! One fitted frame: judges zones, causes, corners and distances, and fills the diagnosis.

use super::corners::{self, Corner};
use super::evidence::{Evidence, Sample};
use super::fit::Problem;
use super::implied::Moments;
use super::model::Ready;
use super::parameters::Free;
use super::parameters::Parameter::{Shift, Tilt};
use super::posterior::{self, Posterior};
use super::zones::Reading;
use super::{Budget, Diagnosis, Undecided, Unsettled, Zone, ZoneName, picture, sides, weigh};
use crate::judge::{self, Answer, Judgement, Reason};
use crate::measure::TileMap;
use crate::quantity::{DISC_SIGMA, Estimate, Intent, SharpFor, TRACK_SIGMA};
use crate::shot::Capture;
use crate::stats::Dice;

/// Difference in ln evidence from which one explanation is preferred to another. Chosen: odds of about fifty to one.
const DECISIVE: f64 = 4.0;

/// Place of the first of them. Derived: the order of [`ZoneName::JUDGED`], of which the corners are the last.
const FIRST_CORNER: usize = ZoneName::JUDGED.len() - ZoneName::CORNERS.len();

/// All that judging a fitted frame needs.
pub(super) struct Frame<'a> {
    pub map: &'a TileMap,
    pub problem: &'a Problem,
    /// The problem's tiles.
    pub e: &'a Evidence,
    /// The same tiles beside what was learned of the lens from the frame's own shoot.
    pub shoot: Option<&'a Evidence>,
    pub posterior: &'a Posterior,
    /// Length of a measured streak.
    pub motion: Option<Estimate>,
    /// Whether the widths are as wide as diffraction at the f-number leaves them.
    pub shows_diffraction: bool,
}

impl Frame<'_> {
    /// Judges zones, causes, corners and distances.
    pub(super) fn fill(&self, d: &mut Diagnosis, capture: &Capture, intent: &Intent) {
        let limits = [d.permitted_px, judge::beyond_px(d.permitted_px, d.finest_px)];
        let ends = self.ends(d, weigh::draws_out(capture.exposure_s.as_ref().map(|t| t.value)));
        self.weigh(d, &ends, capture, intent);
        if ends.hidden && d.verdict.unsettled == Some(Unsettled::FarUnmeasured) {
            d.verdict.unsettled = Some(Unsettled::FarHidden);
        }
        for (zone, reading) in d.zones.iter_mut().zip(&ends.readings) {
            let Some(r) = &reading[0] else {
                if zone.answer.judgement == Judgement::Unknown && zone.answer.reason.is_none() {
                    zone.answer = Answer::unknown(Reason::NoDetail);
                }
                continue;
            };
            zone.used = r.used.round().max(1.0) as u32;
            zone.budget = Some(self.budget(&r.place));
            if zone.optical_px.is_none() {
                self.corner_blur(zone, reading, limits);
            }
        }
        if ends.buried {
            // No tile of it has a number, so it gets none.
            let near = d.near_mut();
            (near.blur_px, near.optical_px, near.used) = (None, None, 0);
        }
        let corner = |(name, readings): (ZoneName, &Vec<Option<Reading>>)| {
            // A thing that stands there out of focus is no corner of the lens.
            let tiles = &d.zone(name)?.tiles;
            let taken = tiles.iter().filter(|t| d.near().tiles.binary_search(t).is_ok()).count();
            if ends.before && 2 * taken > tiles.len() {
                return None;
            }
            let mut place = readings[0].as_ref()?.place;
            if let Some(shoot) = self.shoot {
                place.learned = shoot.learned_at(place.u, place.v);
            }
            Some(Corner { name, place, readings: readings.clone() })
        };
        let corners = ZoneName::CORNERS.into_iter().zip(&ends.readings[FIRST_CORNER..]).filter_map(corner);
        let corners: Vec<Corner> = corners.collect();
        let usual = judge::permitted_px(SharpFor::Diagonal1500, self.map.width, self.map.height);
        d.corners = corners::judge(&corners, (self.posterior, self.problem), d.permitted_px, usual);
        let beyond = |e: Option<Estimate>| e.is_some_and(|e| e.value > d.permitted_px);
        if ZoneName::CORNERS.iter().any(|c| d.zones.iter().any(|z| z.name == *c && beyond(z.optical_px))) {
            let gain = posterior::curvature_gain(self.posterior, self.problem);
            d.corners.field_curvature = gain.map(|gain| match gain {
                g if g > DECISIVE => Undecided::Favoured,
                g if g < -DECISIVE => Undecided::Excluded,
                _ => Undecided::Undecided,
            });
        }
        d.budgets = picture::budgets(self.map, self.posterior, self.problem, self.motion_sigma());
    }

    fn motion_sigma(&self) -> Estimate {
        self.motion.map_or(Estimate::new(0.0, 0.0, 0), |m| m.scaled(TRACK_SIGMA))
    }

    fn budget(&self, place: &Sample) -> Budget {
        picture::budget(place, self.posterior, self.problem, self.motion_sigma())
    }

    /// Fills a corner or the centre with its whole and optical blur over the posterior.
    fn corner_blur(&self, zone: &mut Zone, reading: &[Option<Reading>], [permitted, beyond]: [f64; 2]) {
        let (mut wholes, mut opticals) = (Moments::default(), Moments::default());
        let (mut soft, mut clearly, mut all) = (0.0, 0.0, 0.0);
        let (surface, mut normal) = (&self.problem.surface, Dice::new(7));
        for draw in &self.posterior.draws {
            let Some(r) = &reading[draw.mode] else { continue };
            let whole = self.posterior.width(self.problem, draw, r, normal.normal());
            let now = self.problem.predict(&draw.theta, &r.place);
            // A width below the least that the disc and the aperture leave is the measurement's error.
            let disc = now.disc.abs();
            let optical = surface.optical(disc, surface.gauss_for(whole, disc)).min(whole);
            wholes.add(whole, draw.weight);
            opticals.add(optical, draw.weight);
            all += draw.weight;
            soft += if optical > permitted { draw.weight } else { 0.0 };
            clearly += if optical > beyond { draw.weight } else { 0.0 };
        }
        let of = |m: Moments| m.get().map(|(value, sd)| Estimate::new(value, sd, zone.used));
        (zone.blur_px, zone.optical_px) = (of(wholes), of(opticals));
        if all > 0.0 {
            zone.soft = Some(soft / all);
            zone.answer = Answer::of(soft / all, clearly / all);
        }
    }

    /// Whether the place the camera says it focused on is beyond the permitted blur by defocus alone.
    pub(super) fn focus_point_contradicted(&self, permitted: f64) -> bool {
        let Some(place) = self.problem.priors.focused_at else { return false };
        let off = |weight: f64, disc: f64| if DISC_SIGMA * disc.abs() > permitted { weight } else { 0.0 };
        self.posterior.few.iter().map(|(ready, w): &(Ready, f64)| off(*w, ready.disc(&place))).sum::<f64>() > 0.95
    }

    /// Whether the sides bear out the most probable of the modes that have a lens out of line.
    pub(super) fn sides_bear_out(&self) -> bool {
        let askew = Free::of(&[Tilt, Shift]);
        let mode = self.posterior.modes.iter().find(|m| !m.free.among(askew).is_empty());
        mode.is_some_and(|m| sides::bear_out(self.map, &m.theta, self.problem))
    }
}
