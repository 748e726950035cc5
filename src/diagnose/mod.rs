//! diagnose(&TileMap, &Capture, Option<&Baseline>, &Intent) -> Diagnosis: why a frame is soft.
//!
//! This module never sees a pixel, so that it is tested from hand-written tile maps. One forward model of the
//! frame's blur is fitted to the lower envelope of the tiles; every cause is weighed by drawing from its posterior.

mod before;
mod corners;
mod diagnosis;
mod doubts;
mod drawn_out;
mod eight;
mod ends;
mod evidence;
mod far_out;
mod fit;
mod foreground;
mod frame;
mod implied;
mod learned;
mod mirrored;
mod model;
mod objects;
mod origin;
mod parameters;
mod parts;
mod picture;
mod posterior;
mod priors;
mod shoot;
mod sides;
mod sky;
mod soft_corners;
mod stop;
mod surface;
mod veil;
mod verdict;
mod weigh;
mod weighing;
mod zones;

pub use self::mirrored::Lean;
pub use self::origin::doubted;
pub use self::parameters::{Belief, Parameter, Row, TABLE as PARAMETERS};
pub use self::shoot::{NeverSharper, Pair, Reading, Sharpest, Together, together};
pub use crate::quantity::ZoneName;
pub use diagnosis::{
    Basis, Budget, Cause, CornerState, Corners, Diagnosis, FrameModel, Implied, ImpliedDistance, Standing, Undecided,
    Unsettled, Verdict, Zone,
};

use self::evidence::Evidence;
use self::fit::Problem;
use self::frame::Frame;
use self::posterior::Posterior;
use self::surface::Surface;
use crate::judge::{self, Answer, Judgement, Reason};
use crate::lens::{Baseline, Lie};
use crate::measure::{HELD, Streak, TileMap};
use crate::quantity::{Flag, Intent, TRACK_SIGMA};
use crate::shot::Capture;

/// Fewest measured tiles from which anything is said. Chosen: fewer can't tell ground, lens and content apart.
const FEWEST: usize = 6;

/// Finds the causes of a frame's blur.
///
/// The widths in `map` are taken as honest within their stated errors but for content, which only ever adds
/// blur; without f-number or pitch the optics can't be told apart and the answer says so.
#[must_use]
pub fn diagnose(map: &TileMap, capture: &Capture, lens: Option<&Baseline>, intent: &Intent) -> Diagnosis {
    // What was learned from the very shoot the frame lies in says what the corners are judged by, but does not enter the
    // frame's own numbers, which must not change with its neighbours. Nor does what was learned of a part of the frame alone: the
    // rest of it would pass for a lens without blur.
    let whole = |l: &&Baseline| !l.provisional && Lie::of(map, capture).is_none_or(|lie| l.covers(&lie));
    let shoot = lens.filter(|l| !whole(l)).map(|l| Evidence::new(map, capture, Some(l)));
    let e = Evidence::new(map, capture, lens.filter(whole));
    let mut diagnosis = nothing(map, capture, intent);
    let streak = map.streak.filter(|s| s.length.value > 3.0 * s.length.sd && s.length.value > 0.0);
    if e.samples.len() < FEWEST {
        if streak.is_some_and(|s| TRACK_SIGMA * (s.length.value - 2.0 * s.length.sd) > diagnosis.permitted_px) {
            blurred_away(&mut diagnosis);
        }
        return diagnosis;
    }
    diagnosis.finest_px = finest(map, &e);
    let surface = Surface::at_scale(e.lambda_n_px);
    let widths = || e.samples.iter().map(|s| (s.y, s.sd));
    if e.recorded_lambda_n_px.is_some_and(|recorded| stop::contradicted(recorded, widths(), map.sharpened())) {
        // A frame is not judged by an f-number that it is too sharp for.
        let mut d = diagnose(map, &Capture { f_number: None, ..capture.clone() }, None, intent);
        d.flags.push(Flag::ApertureContradicted);
        verdict::cap(&mut d.verdict, origin::ALTERED);
        return d;
    }
    // The edges of a picture that lies twice over itself are sharp, each of them: the widths don't hold such a track.
    let held = streak.filter(|s| e.sharpest().is_some_and(|w| w > HELD * TRACK_SIGMA * s.length.value));
    let mut problem = Problem::new(e, surface, capture, intent, held.map(|s| s.length));
    let posterior = posterior::explore(&mut problem, held.is_some());
    if posterior.draws.is_empty() {
        return diagnosis;
    }
    if learned::sharper_than_learned(&problem, &posterior) {
        let mut d = diagnose(map, capture, None, intent);
        d.flags.push(Flag::LensContradicted);
        return d;
    }
    let asked = Asked { map, capture, intent };
    judge_fitted(&mut diagnosis, asked, &problem, &posterior, shoot.as_ref(), streak.as_ref());
    diagnosis
}

/// What the pixels of a frame show at best, px: no place in it is beyond the permitted blur by less. What [`diagnose`] goes by, for
/// those who judge the frame's places otherwise.
#[must_use]
pub fn finest_px(map: &TileMap, capture: &Capture) -> f64 {
    let e = Evidence::new(map, capture, None);
    if e.samples.len() < FEWEST { judge::finest_px(None) } else { finest(map, &e) }
}

/// What a mosaic's sampling takes is known; a camera that rendered the file may have taken more.
fn finest(map: &TileMap, e: &Evidence) -> f64 {
    judge::finest_px(e.sharpest().filter(|_| !map.mosaic))
}

/// What is known of a frame, and what is wanted of it.
#[derive(Clone, Copy)]
struct Asked<'a> {
    map: &'a TileMap,
    capture: &'a Capture,
    intent: &'a Intent,
}

/// Fills the diagnosis of a frame that was fitted.
fn judge_fitted(
    d: &mut Diagnosis,
    asked: Asked<'_>,
    problem: &Problem,
    posterior: &Posterior,
    shoot: Option<&Evidence>,
    streak: Option<&Streak>,
) {
    let Asked { map, capture, intent } = asked;
    let e = &problem.evidence;
    let shows_diffraction =
        e.recorded_lambda_n_px.is_some_and(|recorded| stop::shows_diffraction(recorded, e.own_widths()));
    let motion = streak.map(|s| s.length);
    let frame = Frame { map, problem, e, shoot, posterior, motion, shows_diffraction };
    frame.fill(d, capture, intent);
    if frame.focus_point_contradicted(d.permitted_px) {
        d.flags.push(Flag::FocusPointContradicted);
    }
    doubts::weigh(d, map, problem, posterior, capture);
    if d.verdict.cause != Cause::Motion && drawn_out::drawn_out(map, e, d.permitted_px) {
        blurred_away(d);
        verdict::cap(&mut d.verdict, verdict::HALF_SEEN);
    }
    origin::weigh(d, map, capture);
    if origin::turned(map) {
        d.flags.push(Flag::OrientationLost);
        verdict::cap(&mut d.verdict, origin::ALTERED);
    }
    // Sky at the upper edge says that a picture is upright, whatever its sides are like.
    if e.skyline.is_none() && !origin::sky_above(map) && posterior::turned(posterior, problem) {
        d.flags.push(Flag::OrientationLost);
        d.flags.dedup();
        verdict::leave_open(&mut d.verdict, Unsettled::Turned);
        for zone in d.ends_mut() {
            zone.answer = Answer::unknown(Reason::Turned);
        }
    }
    d.model = Some(picture::model(posterior, problem, streak));
    d.standing = picture::standings(map, posterior, problem);
}

/// The answer for a frame of which a track left nothing to measure.
fn blurred_away(d: &mut Diagnosis) {
    d.verdict = verdict::verdict_of_motion();
    for zone in d.ends_mut() {
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
    flags.extend(origin::spoilt(map));
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
            corner: None,
            expected_px: None,
            excess_px: None,
            learned_one_sided: false,
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
