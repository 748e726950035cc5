//! diagnose(&TileMap, &Capture, Option<&Baseline>, &Intent) -> Diagnosis: why a frame is soft.
//!
//! This module never sees a pixel, so that it is tested from hand-written tile maps. One forward model of the
//! frame's blur is fitted to the lower envelope of the tiles; every cause is weighed by drawing from its posterior.

mod corners;
mod diagnosis;
mod evidence;
mod fit;
mod implied;
mod model;
mod objects;
mod parts;
mod picture;
mod posterior;
mod sides;
mod surface;
mod veil;
mod weigh;
mod zones;

pub use crate::quantity::ZoneName;
pub use diagnosis::{
    Basis, Budget, Cause, CornerState, Corners, Diagnosis, FrameModel, Implied, ImpliedDistance, Standing, Undecided,
    Unsettled, Verdict, Zone,
};

use self::evidence::{Evidence, Sample};
use self::implied::Moments;
use self::model::{CENTRE, CORNER, HORIZON, POWER, Priors, RISE, SCALE, SHIFT, TILT, Theta};
use self::posterior::{Draw, Posterior};
use self::surface::Surface;
use self::weigh::{DIFFRACTION_SIGMA, Parts, Story, TRACK_SIGMA};
use self::zones::Reading;
use crate::lens::Baseline;
use crate::measure::TileMap;
use crate::quantity::{DISC_SIGMA, Distance, Estimate, Flag, Intent};
use crate::shot::{Capture, Source};
use crate::stats::Dice;

/// Fewest measured tiles from which anything is said.
const FEWEST: usize = 6;

/// Difference in ln evidence from which one explanation is preferred to another (odds of about fifty to one).
const DECISIVE: f64 = 4.0;

/// How often the zones' own noise is drawn for each draw of the model.
const NOISES: u32 = 4;

/// Finds the causes of a frame's blur.
///
/// The widths in `map` are taken as honest within their stated errors but for content, which only ever adds
/// blur; without f-number or pitch the optics can't be told apart and the answer says so.
#[must_use]
pub fn diagnose(map: &TileMap, capture: &Capture, lens: Option<&Baseline>, intent: &Intent) -> Diagnosis {
    let e = Evidence::new(map, capture, lens);
    let mut diagnosis = nothing(map, capture, intent);
    if e.samples.len() < FEWEST {
        return diagnosis;
    }
    let f_number = capture.f_number.as_ref().map(|f| f.value);
    let recorded = capture.focus_distance_m.as_ref().map(|f| {
        let (low, high) = f.value.bounds();
        (low, high, f.source == Source::Given)
    });
    let surface = Surface::at_scale(e.lambda_n_px);
    let mut priors = Priors::new(&e, intent, f_number, recorded);
    let streak = map.streak.filter(|s| s.length.value > 3.0 * s.length.sd && s.length.value > 0.0);
    if let Some(streak) = &streak {
        priors.expect_shake(streak.length);
    }
    priors.focused_at = capture.focus_point.as_ref().map(|p| e.place(p.value));
    let posterior = posterior::explore(&e, &surface, &priors, streak.is_some());
    if posterior.draws.is_empty() {
        return diagnosis;
    }
    let motion = streak.map(|s| s.length);
    let frame = Frame { map, e: &e, surface: &surface, posterior: &posterior, priors: &priors, motion };
    frame.fill(&mut diagnosis, capture, intent);
    if frame.focus_point_contradicted(diagnosis.permitted_px) {
        diagnosis.flags.push(Flag::FocusPointContradicted);
    }
    if posterior::turned(&posterior, &e, &surface, &priors) {
        diagnosis.flags.push(Flag::OrientationLost);
        weigh::leave_open(&mut diagnosis.verdict);
    }
    diagnosis.model = Some(picture::model(&posterior, &e, &surface, streak.as_ref()));
    diagnosis.standing = picture::standings(map, &posterior, &e, &surface);
    diagnosis
}

/// The answer before anything is known.
fn nothing(map: &TileMap, capture: &Capture, intent: &Intent) -> Diagnosis {
    let zone =
        |name| Zone { name, tiles: Vec::new(), used: 0, blur_px: None, optical_px: None, soft: None, budget: None };
    let mut flags = Vec::new();
    if map.tiles.iter().filter(|t| t.blur.is_some()).count() * 10 < map.tiles.len() {
        flags.push(Flag::FewTiles);
    }
    if map.sharpened() {
        flags.push(Flag::Sharpened);
    }
    Diagnosis {
        verdict: Verdict {
            cause: Cause::CannotTell,
            confidence: 1.0,
            also: Vec::new(),
            weights: vec![(Cause::CannotTell, 1.0)],
            unsettled: Some(Unsettled::NothingMeasured),
        },
        zones: ZoneName::JUDGED.iter().map(|&name| zone(name)).collect(),
        corners: Corners {
            state: CornerState::NotMeasured,
            basis: Basis::Assumed,
            expected_px: None,
            excess_px: None,
            field_curvature: None,
        },
        permitted_px: intent.sharp_for.sigma_px(map.width, map.height),
        model: None,
        standing: vec![Standing::Unmeasured; map.tiles.len()],
        budgets: vec![None; map.tiles.len()],
        implied: Implied { recorded_m: capture.focus_distance_m.as_ref().map(|f| f.value), ..Implied::default() },
        near_at: intent.near_at.and_then(|p| p.in_picture(map.width, map.height)),
        far_at: intent.far_at.and_then(|p| p.in_picture(map.width, map.height)),
        flags,
    }
}

/// All that judging a fitted frame needs.
struct Frame<'a> {
    map: &'a TileMap,
    e: &'a Evidence,
    surface: &'a Surface,
    posterior: &'a Posterior,
    motion: Option<Estimate>,
    priors: &'a Priors,
}

impl Frame<'_> {
    /// Judges zones, causes, corners and distances.
    fn fill(&self, d: &mut Diagnosis, capture: &Capture, intent: &Intent) {
        let best = &self.posterior.modes[0].theta;
        let credible = zones::credible(self.map.tiles.len(), self.e, best, self.surface, &self.posterior.mix);
        let horizon = zones::horizon(best, self.e);
        for zone in &mut d.zones {
            zone.tiles = match zone.name {
                ZoneName::Near => d.near_at.map_or_else(
                    || zones::near_tiles(self.map, self.e, &credible, horizon),
                    |at| zones::marked_tiles(self.map, at),
                ),
                ZoneName::Far => d.far_at.map_or_else(
                    || zones::far_tiles(self.map, self.e, &credible, horizon),
                    |at| zones::marked_tiles(self.map, at),
                ),
                name => zones::corner_tiles(self.map, name),
            };
        }
        let mut readings: Vec<Vec<Option<Reading>>> =
            d.zones.iter().map(|z| self.readings(z, d.far_at.is_some())).collect();
        let unsure =
            zones::foreground_scatters(self.map, self.e, &credible, horizon) || zones::foreground_jumps(self.map);
        if d.near_at.is_none() && unsure {
            readings[0].fill(None);
        }
        let least = 2.5 * d.permitted_px / DISC_SIGMA;
        let buried = (d.near_at.is_none() && readings[0][0].is_none())
            .then(|| zones::buried(self.map, self.e, &credible, best, least))
            .flatten();
        if let Some(told) = buried {
            readings[0].fill(Some(told));
            d.flags.push(Flag::NearBeyondMeasure);
        }
        let hidden = d.far_at.is_none() && veil::hides_far(self.map, self.e);
        if hidden {
            // What is left of the ground there is near, and says nothing of the far scene.
            readings[1].fill(None);
            d.zones[1].tiles.clear();
        }
        self.weigh(d, &readings, capture, intent);
        if hidden && d.verdict.unsettled == Some(Unsettled::FarUnmeasured) {
            d.verdict.unsettled = Some(Unsettled::FarHidden);
        }
        for (zone, reading) in d.zones.iter_mut().zip(&readings) {
            let Some(r) = &reading[0] else { continue };
            zone.used = r.used.round().max(1.0) as u32;
            zone.budget = Some(self.budget(&r.place));
            if zone.optical_px.is_none() {
                let (whole, optical, soft) = self.corner_blur(reading, d.permitted_px);
                zone.soft = Some(soft);
                zone.blur_px = Some(Estimate::new(whole.0, whole.1, zone.used));
                zone.optical_px = Some(Estimate::new(optical.0, optical.1, zone.used));
            }
        }
        if buried.is_some() {
            // No tile of it has a number, so it gets none.
            (d.zones[0].blur_px, d.zones[0].optical_px, d.zones[0].used) = (None, None, 0);
        }
        let measured: Vec<Reading> = readings[3..].iter().filter_map(|r| r[0]).collect();
        d.corners = corners::judge(&measured, self.posterior, self.e, self.surface, d.permitted_px);
        let beyond = |e: Option<Estimate>| e.is_some_and(|e| e.value > d.permitted_px);
        if ZoneName::CORNERS.iter().any(|c| d.zones.iter().any(|z| z.name == *c && beyond(z.optical_px))) {
            let gain = posterior::curvature_gain(self.posterior, self.e, self.surface, self.priors);
            d.corners.field_curvature = gain.map(|gain| match gain {
                g if g > DECISIVE => Undecided::Favoured,
                g if g < -DECISIVE => Undecided::Excluded,
                _ => Undecided::Undecided,
            });
        }
        d.budgets = picture::budgets(self.map, self.posterior, self.e, self.surface, self.motion_sigma());
    }

    /// One reading of a zone beside every mode.
    fn readings(&self, zone: &Zone, marked: bool) -> Vec<Option<Reading>> {
        let usual = zones::usual_departure(zone.name, marked);
        let read = |theta: &Theta| zones::read(&zone.tiles, usual, self.e, theta, self.surface, &self.posterior.mix);
        self.posterior.modes.iter().map(|m| read(&m.theta)).collect()
    }

    fn motion_sigma(&self) -> Estimate {
        self.motion.map_or(Estimate::new(0.0, 0.0, 0), |m| m.scaled(TRACK_SIGMA))
    }

    fn budget(&self, place: &Sample) -> Budget {
        picture::budget(place, self.posterior, self.e, self.surface, self.motion_sigma())
    }

    /// Whole and optical blur of a corner or the centre over the posterior, means and spreads, and the probability that
    /// it is soft.
    fn corner_blur(&self, reading: &[Option<Reading>], permitted: f64) -> ((f64, f64), (f64, f64), f64) {
        let (mut wholes, mut opticals) = (Moments::default(), Moments::default());
        let (mut beyond, mut all) = (0.0, 0.0);
        let mut normal = Dice::new(7);
        for draw in &self.posterior.draws {
            let Some(r) = &reading[draw.mode] else { continue };
            let place = model::predict(&self.posterior.modes[draw.mode].theta, &r.place, self.surface);
            let whole = (place.y + r.departure + r.sd * normal.normal() - draw.theta[SCALE]).exp();
            let now = model::predict(&draw.theta, &r.place, self.surface);
            // A width below the least that the disc and the aperture leave is the measurement's error.
            let optical = self.surface.optical(now.disc, self.surface.gauss_for(whole, now.disc)).min(whole);
            wholes.add(whole, draw.weight);
            opticals.add(optical, draw.weight);
            all += draw.weight;
            beyond += if optical > permitted { draw.weight } else { 0.0 };
        }
        let of = |m: Moments| m.get().unwrap_or((0.0, 0.0));
        (of(wholes), of(opticals), if all > 0.0 { beyond / all } else { 0.5 })
    }

    /// Weighs the causes over the posterior; fills near and far and the implied distances on the way.
    fn weigh(&self, d: &mut Diagnosis, readings: &[Vec<Option<Reading>>], capture: &Capture, intent: &Intent) {
        let permitted = d.permitted_px;
        let exposure = capture.exposure_s.as_ref().map(|t| t.value);
        let marked = [d.near_at.is_some(), d.far_at.is_some()];
        let mut tally = weigh::Tally::default();
        let mut normal = Dice::new(11);
        let (mut focus, mut near_inverse) = (Moments::default(), Moments::default());
        let (mut blur, mut whole) = ([Moments::default(); 2], [Moments::default(); 2]);
        let (mut soft, mut seen) = ([0.0; 2], [0.0; 2]);
        let noisy =
            self.posterior.draws.iter().flat_map(|d| {
                std::iter::repeat_n(Draw { weight: d.weight / f64::from(NOISES), ..*d }, NOISES as usize)
            });
        for draw in noisy {
            let draw = &draw;
            let z = [normal.normal(), normal.normal(), normal.normal()];
            let parts: [Option<Parts>; 2] = std::array::from_fn(|k| {
                let reading = readings[k][draw.mode].as_ref()?;
                Some(self.parts(draw, reading, &self.nominal(k, &reading.place, &draw.theta, marked[k]), z[k]))
            });
            for k in 0..2 {
                if let Some(p) = parts[k] {
                    blur[k].add(p.optical, draw.weight);
                    whole[k].add(p.whole, draw.weight);
                    seen[k] += draw.weight;
                    soft[k] += if p.optical > permitted { draw.weight } else { 0.0 };
                }
            }
            let (askew, upright) = self.askew(&draw.theta, permitted);
            let story = Story {
                near: parts[0],
                far: parts[1],
                diffraction: DIFFRACTION_SIGMA * self.e.lambda_n_px.unwrap_or(0.0),
                motion: self.motion.map_or(0.0, |m| TRACK_SIGMA * (m.value + m.sd * z[2]).max(0.0)),
                askew,
                upright,
                lens_centre: draw.theta[CENTRE].abs(),
            };
            let rule = std::array::from_fn(|_| normal.normal());
            let causes = weigh::causes(&story, permitted, rule);
            if weigh::may_flow(exposure, self.priors.haste(&draw.theta)) {
                tally.add_flowing(causes.as_deref(), draw.weight);
            } else if self.posterior.flat(draw) || self.e.lambda_n_px.is_none() && weigh::alike(&story) {
                tally.add_alike(causes.as_deref(), draw.weight);
            } else {
                tally.add(causes.as_deref(), draw.weight);
            }
            if let (Some(reach), Some(focal), [Some(_), Some(_)]) = (self.e.reach, self.e.focal_m, parts) {
                let inverse_far = intent.far_m.filter(|_| marked[1]).map_or(0.0, |f| 1.0 / f);
                let ends = self.ends(draw, parts, [&readings[0][draw.mode], &readings[1][draw.mode]], marked);
                let (s, n) = implied::inverse_distances(ends[0], ends[1], reach, focal, inverse_far);
                focus.add(s, draw.weight);
                near_inverse.add(n, draw.weight);
            }
        }
        for k in 0..2 {
            if let (Some((value, sd)), Some(r)) = (blur[k].get(), &readings[k][0]) {
                let used = r.used.round() as u32;
                d.zones[k].optical_px = Some(Estimate::new(value, sd, used));
                d.zones[k].blur_px = whole[k].get().map(|(value, sd)| Estimate::new(value, sd, used));
                d.zones[k].soft = Some(soft[k] / seen[k]);
            }
        }
        let sharpened = self.map.sharpened();
        d.verdict = weigh::verdict(&tally, seen[0] > 0.5, seen[1] > 0.5, sharpened, self.e.lambda_n_px.is_some());
        let recorded = capture.focus_distance_m.as_ref().map(|f| f.value);
        let f_number = capture.f_number.as_ref().map(|f| f.value);
        let doubt = [&readings[0][0], &readings[1][0]].map(|r| self.disc_doubt(r) / self.e.reach.unwrap_or(1.0));
        let focus = focus.get().map(|(mean, sd)| (mean, sd.hypot(doubt[1])));
        let near_inverse = near_inverse.get().map(|(mean, sd)| (mean, sd.hypot(doubt[0]).hypot(doubt[1])));
        d.implied = implied::conclude(self.e, intent, recorded, f_number, focus, near_inverse, permitted);
        if d.verdict.cause == Cause::LensAsymmetry && !self.sides_bear_out() {
            weigh::leave_open(&mut d.verdict);
        }
        if contradicted(recorded, focus) && recorded.is_some_and(|r| self.misplaced(r, readings)) {
            d.flags.push(Flag::FocusDistanceContradicted);
            weigh::doubt(&mut d.verdict);
        }
    }

    /// Whether the place the camera says it focused on is beyond the permitted blur by defocus alone.
    fn focus_point_contradicted(&self, permitted: f64) -> bool {
        let Some(place) = self.priors.focused_at else { return false };
        let off = |weight: f64, disc: f64| if DISC_SIGMA * disc.abs() > permitted { weight } else { 0.0 };
        self.posterior.few.iter().map(|(ready, w)| off(*w, ready.disc(&place))).sum::<f64>() > 0.95
    }

    /// Whether the sides bear out the most probable of the modes that have a lens out of line.
    fn sides_bear_out(&self) -> bool {
        let askew = 1 << TILT | 1 << SHIFT;
        let mode = self.posterior.modes.iter().find(|m| m.on & askew != 0);
        mode.is_some_and(|m| sides::bear_out(self.map, self.e, &m.theta, self.surface))
    }

    /// What a tilted or decentred lens adds at the frame's softer side, and what one decentred up or down adds at top
    /// or bottom, sigma px; zero where that is within the permitted blur.
    fn askew(&self, t: &Theta, permitted: f64) -> (f64, f64) {
        let side = 0.85 * self.e.right;
        let tilt = DISC_SIGMA * (t[TILT] * side).abs();
        // A lens decentred to a side shows as left against right; up or down it can't be told from defocus.
        let lens = |u: f64, v: f64| (t[CORNER] * (u - t[SHIFT]).hypot(v - t[RISE]).powf(t[POWER])).powi(2);
        let heights = [t[HORIZON].max(-self.e.bottom), 0.875 * self.e.bottom];
        let off = t[SHIFT] != 0.0 || t[RISE] != 0.0;
        let across = if off {
            heights.iter().map(|&v| (lens(-side, v) - lens(side, v)).abs()).fold(0.0, f64::max).sqrt()
        } else {
            0.0
        };
        let down = if off { (lens(0.0, heights[0]) - lens(0.0, heights[1])).abs().sqrt() } else { 0.0 };
        let over = |added: f64| if added > permitted { added } else { 0.0 };
        (over(tilt.max(across)), over(down))
    }
}

/// Whether the recorded focus distance lies outside what the picture allows, by inverse distance.
fn contradicted(recorded: Option<Distance>, focus: Option<(f64, f64)>) -> bool {
    let (Some(recorded), Some((mean, sd))) = (recorded, focus) else { return false };
    let (low, high) = recorded.bounds();
    let (far, near) = (1.0 / high, 1.0 / low);
    // Three standard deviations, and a fifth of the larger: cameras record distances roughly.
    let slack = (3.0 * sd).max(0.2 * mean.abs().max(near));
    mean > near + slack || mean < far - slack
}
