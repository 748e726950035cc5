//! diagnose(&TileMap, &Capture, Option<&Baseline>, &Intent) -> Diagnosis: why a frame is soft.
//!
//! This module never sees a pixel, so that it is tested from hand-written tile maps. One forward model of the
//! frame's blur is fitted to the lower envelope of the tiles; every cause is weighed by drawing from its posterior.

mod corners;
mod diagnosis;
mod ends;
mod evidence;
mod fit;
mod foreground;
mod implied;
mod model;
mod objects;
mod origin;
mod parts;
mod picture;
mod posterior;
mod sides;
mod stop;
mod surface;
mod veil;
mod verdict;
mod weigh;
mod weighing;
mod zones;

pub use self::origin::doubted;
pub use crate::quantity::ZoneName;
pub use diagnosis::{
    Basis, Budget, Cause, CornerState, Corners, Diagnosis, FrameModel, Implied, ImpliedDistance, Standing, Undecided,
    Unsettled, Verdict, Zone,
};

use self::evidence::{Evidence, Sample};
use self::implied::Moments;
use self::model::{Priors, SCALE, SHIFT, TILT};
use self::posterior::Posterior;
use self::surface::Surface;
use self::weigh::TRACK_SIGMA;
use self::zones::Reading;
use crate::judge::{self, Answer, Judgement, Reason};
use crate::lens::Baseline;
use crate::measure::TileMap;
use crate::quantity::{DISC_SIGMA, Estimate, Flag, Intent};
use crate::shot::{Capture, Source};
use crate::stats::Dice;

/// Fewest measured tiles from which anything is said.
const FEWEST: usize = 6;

/// Difference in ln evidence from which one explanation is preferred to another (odds of about fifty to one).
const DECISIVE: f64 = 4.0;

/// Finds the causes of a frame's blur.
///
/// The widths in `map` are taken as honest within their stated errors but for content, which only ever adds
/// blur; without f-number or pitch the optics can't be told apart and the answer says so.
#[must_use]
pub fn diagnose(map: &TileMap, capture: &Capture, lens: Option<&Baseline>, intent: &Intent) -> Diagnosis {
    // What was learned from the very shoot the frame lies in says what the corners are judged by, but does not enter the
    // frame's own numbers, which must not change with its neighbours.
    let shoot = lens.filter(|l| l.provisional).map(|l| Evidence::new(map, capture, Some(l)));
    let e = Evidence::new(map, capture, lens.filter(|l| !l.provisional));
    let mut diagnosis = nothing(map, capture, intent);
    let streak = map.streak.filter(|s| s.length.value > 3.0 * s.length.sd && s.length.value > 0.0);
    if e.samples.len() < FEWEST {
        if streak.is_some_and(|s| TRACK_SIGMA * (s.length.value - 2.0 * s.length.sd) > diagnosis.permitted_px) {
            blurred_away(&mut diagnosis);
        }
        return diagnosis;
    }
    let f_number = capture.f_number.as_ref().map(|f| f.value);
    let recorded = capture.focus_distance_m.as_ref().map(|f| {
        let (low, high) = f.value.bounds();
        (low, high, f.source == Source::Given)
    });
    diagnosis.finest_px = judge::finest_px(e.sharpest());
    let surface = Surface::at_scale(e.lambda_n_px);
    if stop::contradicted(&e, &surface, map.sharpened()) {
        // A frame is not judged by an f-number that it is too sharp for.
        let mut d = diagnose(map, &Capture { f_number: None, ..capture.clone() }, None, intent);
        d.flags.push(Flag::ApertureContradicted);
        return d;
    }
    let mut priors = Priors::new(&e, intent, f_number, recorded);
    // The edges of a picture that lies twice over itself are sharp, each of them: the widths don't hold such a track.
    let held = streak.filter(|s| e.sharpest().is_some_and(|w| w > HELD * TRACK_SIGMA * s.length.value));
    if let Some(streak) = &held {
        priors.expect_shake(streak.length);
    }
    priors.focused_at = capture.focus_point.as_ref().map(|p| e.place(p.value));
    let posterior = posterior::explore(&e, &surface, &priors, held.is_some());
    if posterior.draws.is_empty() {
        return diagnosis;
    }
    let motion = streak.map(|s| s.length);
    let shows_diffraction = stop::shows_diffraction(&e, &surface);
    let frame = Frame {
        map,
        e: &e,
        shoot: shoot.as_ref(),
        surface: &surface,
        posterior: &posterior,
        priors: &priors,
        motion,
        shows_diffraction,
    };
    frame.fill(&mut diagnosis, capture, intent);
    if frame.focus_point_contradicted(diagnosis.permitted_px) {
        diagnosis.flags.push(Flag::FocusPointContradicted);
    }
    origin::weigh(&mut diagnosis, map, capture);
    if origin::turned(map) {
        diagnosis.flags.push(Flag::OrientationLost);
        verdict::cap(&mut diagnosis.verdict, origin::ALTERED);
    }
    // Sky at the upper edge says that a picture is upright, whatever its sides are like.
    if e.skyline.is_none() && posterior::turned(&posterior, &e, &surface, &priors) {
        diagnosis.flags.push(Flag::OrientationLost);
        diagnosis.flags.dedup();
        verdict::leave_open(&mut diagnosis.verdict);
        for zone in &mut diagnosis.zones[..2] {
            zone.answer = Answer::unknown(Reason::Turned);
        }
    }
    diagnosis.model = Some(picture::model(&posterior, &e, &surface, streak.as_ref()));
    diagnosis.standing = picture::standings(map, &posterior, &e, &surface);
    diagnosis
}

/// Share of what a track adds along its direction that the sharpest quarter of the tiles must reach for their widths to hold
/// it. Chosen: a third; averaged over directions it is some seven tenths.
const HELD: f64 = 0.33;

/// The answer for a frame of which a track left nothing to measure.
fn blurred_away(d: &mut Diagnosis) {
    d.verdict = verdict::verdict_of_motion();
    for zone in &mut d.zones[..2] {
        zone.answer = Answer { judgement: Judgement::Beyond, reason: None };
    }
}

/// The answer before anything is known.
fn nothing(map: &TileMap, capture: &Capture, intent: &Intent) -> Diagnosis {
    let zone = |name| Zone {
        name,
        tiles: Vec::new(),
        used: 0,
        blur_px: None,
        optical_px: None,
        soft: None,
        answer: Answer::unknown(Reason::NoDetail),
        budget: None,
    };
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
        permitted_px: judge::permitted_px(intent.sharp_for, map.width, map.height),
        finest_px: judge::finest_px(None),
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
    /// The same tiles beside what was learned of the lens from the frame's own shoot.
    shoot: Option<&'a Evidence>,
    surface: &'a Surface,
    posterior: &'a Posterior,
    motion: Option<Estimate>,
    priors: &'a Priors,
    /// Whether the widths are as wide as diffraction at the f-number leaves them.
    shows_diffraction: bool,
}

impl Frame<'_> {
    /// Judges zones, causes, corners and distances.
    fn fill(&self, d: &mut Diagnosis, capture: &Capture, intent: &Intent) {
        let limits = [d.permitted_px, judge::beyond_px(d.permitted_px, d.finest_px)];
        let ends = self.ends(d);
        self.weigh(d, &ends, capture, intent);
        if ends.hidden && d.verdict.unsettled == Some(Unsettled::FarUnmeasured) {
            d.verdict.unsettled = Some(Unsettled::FarHidden);
        }
        for (zone, reading) in d.zones.iter_mut().zip(&ends.readings) {
            let Some(r) = &reading[0] else {
                if zone.answer.reason.is_none() {
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
            (d.zones[0].blur_px, d.zones[0].optical_px, d.zones[0].used) = (None, None, 0);
        }
        let mut measured: Vec<Reading> = ends.readings[3..].iter().filter_map(|r| r[0]).collect();
        if let Some(shoot) = self.shoot {
            measured.iter_mut().for_each(|r| r.place.learned = shoot.learned_at(&r.place));
        }
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

    fn motion_sigma(&self) -> Estimate {
        self.motion.map_or(Estimate::new(0.0, 0.0, 0), |m| m.scaled(TRACK_SIGMA))
    }

    fn budget(&self, place: &Sample) -> Budget {
        picture::budget(place, self.posterior, self.e, self.surface, self.motion_sigma())
    }

    /// Fills a corner or the centre with its whole and optical blur over the posterior.
    fn corner_blur(&self, zone: &mut Zone, reading: &[Option<Reading>], [permitted, beyond]: [f64; 2]) {
        let (mut wholes, mut opticals) = (Moments::default(), Moments::default());
        let (mut soft, mut clearly, mut all) = (0.0, 0.0, 0.0);
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
}
