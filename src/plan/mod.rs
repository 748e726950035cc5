//! plan(&Question) -> Plan: focus distance, aperture, stand-back, camera height and tilt for the next shot.
//!
//! Sees no image. The numbers come from the thin lens and the exact diffraction-and-defocus integral; the lens's
//! own aberrations are not among them.

pub mod card;
mod question;
mod remedies;

pub use card::Card;
pub use question::{Question, Refusal, Sensor, Was};
pub use remedies::{Bracket, BracketFrame, Raise, StepBack, StepRow, TiltUp, TiltedLens, near_ground_m};

use schemars::JsonSchema;
use serde::Serialize;

use crate::optics::cover::{self, Depth};
use crate::optics::{depth, motion, thin_lens};
use crate::quantity::{DISC_SIGMA, Distance, MTF50_SIGMA};

/// Everything there is to say about the next shot, as data; the words are made by `report`.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Plan {
    /// What was asked, with defaults filled in.
    pub asked: Question,
    /// Permitted blur disc on the sensor, um.
    pub permitted_disc_um: f64,
    /// The same as a Gaussian-equivalent sigma, um: what the optical blur is compared with.
    pub permitted_sigma_um: f64,
    /// Where to focus so that near and far are blurred alike, metres from the entrance pupil.
    pub focus_distance_m: f64,
    /// Focus distances, m, between which near and far both stay permitted at the best stop; null where none do.
    pub focus_range_m: Option<[Distance; 2]>,
    /// Size of the image over size of the subject at the plane of focus.
    pub magnification: f64,
    /// How far apart behind the lens near and far come to focus, mm.
    pub focus_spread_mm: f64,
    /// f-number, as marked, with the highest MTF50 at both ends, by the exact integral, whether the lens has it or not; null where there
    /// is no depth at all.
    pub best_f_number: Option<f64>,
    /// The third-stop of the lens that does best; of a lens with one aperture that one.
    pub best_stop: f64,
    /// Whether the lens has one aperture only, so that no other stop is among the answers.
    pub one_aperture: bool,
    /// f-numbers between which the blur at the ends is within 5 % of the best.
    pub within_5_percent: Option<[f64; 2]>,
    /// The classical root-square rule's answer, as marked.
    pub root_square_f_number: Option<f64>,
    /// How much wider than the best its blur is (0.01 = 1 %).
    pub root_square_excess: Option<f64>,
    /// What the hyperfocal table would have said.
    pub hyperfocal: Option<Hyperfocal>,
    /// Blur at every third-stop.
    pub stops: Vec<Stop>,
    /// Whether the best stop keeps near and far within the permitted blur.
    pub enough: bool,
    /// What stepping back buys.
    pub step_back: StepBack,
    /// What raising the camera would need; null where its height is not known.
    pub raise: Option<Raise>,
    /// What pointing the camera higher would need; null where its height is not known or nothing is needed.
    pub tilt_up: Option<TiltUp>,
    /// What a tilting lens would need; null where the camera's height is not known.
    pub tilted_lens: Option<TiltedLens>,
    /// Bracketed frames that cover the depth.
    pub bracket: Bracket,
    /// Longest exposures, a rule of thumb.
    pub motion: Vec<Exposure>,
}

/// The blur at one stop.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Stop {
    /// f-number as marked.
    pub f_number: f64,
    /// Diameter of the geometric blur disc at the near end, um.
    pub near_disc_um: f64,
    /// The same at the far end.
    pub far_disc_um: f64,
    /// Blur at the near end, Gaussian-equivalent sigma with the pixel's own aperture in it, px.
    pub near_blur_px: f64,
    /// The same at the plane of focus.
    pub focus_blur_px: f64,
    /// The same at the far end.
    pub far_blur_px: f64,
    /// Blur at the near end in um on the sensor, pixel aperture included.
    pub near_blur_um: f64,
    /// The same at the plane of focus.
    pub focus_blur_um: f64,
    /// The same at the far end.
    pub far_blur_um: f64,
    /// The softer end without the pixel aperture, um: what is compared with the permitted sigma.
    pub worst_optical_um: f64,
    /// That blur as a disc on the print that was asked for, mm; null without a print.
    pub print_disc_mm: Option<f64>,
    /// The same as an angle at the viewing distance, minutes of arc (1 is the limit of normal sight).
    pub print_arc_minutes: Option<f64>,
    /// Hyperfocal distance for the permitted disc at this stop, m: geometry alone.
    pub hyperfocal_m: f64,
    /// Whether both ends stay within the permitted blur.
    pub acceptable: bool,
}

/// The hyperfocal table's answer: focus at the hyperfocal distance whose near limit is the near subject.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Hyperfocal {
    /// f-number at which the geometric discs at near and far reach the permitted size.
    pub f_number: f64,
    /// Its focus distance, m.
    pub focus_m: f64,
    /// Optical blur it leaves at the ends, Gaussian-equivalent sigma, um.
    pub worst_optical_um: f64,
    /// That over the blur at the best f-number.
    pub over_best: Option<f64>,
}

/// The longest exposure for one kind of movement.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Exposure {
    /// Which movement.
    pub kind: Movement,
    /// Its speed across the view, m/s, at the near distance (null for shake).
    pub speed_m_s: Option<f64>,
    /// Longest exposure, s.
    pub longest_s: f64,
}

/// What moves.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Movement {
    /// Grass hardly stirring.
    StillGrass,
    /// Grass in a breeze.
    Breeze,
    /// Grass in wind.
    Wind,
    /// The speed the user gave.
    Given,
    /// A camera held by hand.
    HandHeld,
}

/// Speeds of swaying grass across the view, m/s. Chosen: common practice, no published source.
const GRASS: [(Movement, f64); 3] = [(Movement::StillGrass, 0.02), (Movement::Breeze, 0.1), (Movement::Wind, 0.4)];

/// Turning rate of a hand-held camera, radians a second. Derived: what the rule "one over the focal length" (common
/// practice, no published source) permits for its usual disc of 0.030 mm: f w / f = 0.030 mm.
const HAND_RATE: f64 = 0.030;

/// Answers a question.
///
/// # Errors
/// [`Refusal`] where no camera could be in the situation asked about.
pub fn plan(question: &Question) -> Result<Plan, Refusal> {
    question.check()?;
    let depth = question.depth();
    let (permitted_disc_um, permitted_um) = (question.permitted_disc_um(), question.permitted_sigma_um());
    let spread = depth.spread_mm();
    let some = |value: f64| (spread > 0.0).then_some(value);
    let there = |n: &f64| match question.one_aperture() {
        Some(only) => *n == only,
        None => *n <= question.smallest || Some(*n) == question.f_number,
    };
    let stops: Vec<Stop> =
        cover::stops_with(question.f_number).filter(there).map(|n| stop(question, &depth, n)).collect();
    let best_stop = depth.stop_of(question.opening());
    let best = some(depth.best_f_number());
    let best_um = depth.ends_um(best.unwrap_or(best_stop));
    let root_square = some(depth.root_square_f_number());
    let c_mm = permitted_disc_um * 1e-3;
    // The geometric discs shrink as 1 / N, so they reach the permitted one at disc(1) / c.
    let geometric = some(depth.end_disc_mm(1.0) / c_mm);
    Ok(Plan {
        asked: question.clone(),
        permitted_disc_um,
        permitted_sigma_um: permitted_um,
        focus_distance_m: depth.focus_mm * 1e-3,
        focus_range_m: depth
            .focus_range_mm(best_stop, permitted_um)
            .map(|range| range.map(|mm| Distance::from_metres(mm * 1e-3))),
        magnification: thin_lens::magnification(depth.focal_mm, depth.focus_mm),
        focus_spread_mm: spread,
        best_f_number: best,
        best_stop,
        one_aperture: question.one_aperture().is_some(),
        within_5_percent: best.map(|n| depth.range_within(n, 1.05)),
        root_square_f_number: root_square,
        root_square_excess: root_square.map(|n| depth.ends_um(n) / best_um - 1.0),
        hyperfocal: geometric.map(|f_number| Hyperfocal {
            f_number,
            focus_m: depth.focus_mm * 1e-3,
            worst_optical_um: depth.ends_um(f_number),
            over_best: Some(depth.ends_um(f_number) / best_um),
        }),
        enough: stops.iter().any(|s| s.acceptable),
        stops,
        step_back: remedies::step_back(question, &depth),
        raise: remedies::raise(question, &depth),
        tilt_up: remedies::tilt_up(question, &depth),
        tilted_lens: remedies::tilted_lens(question, &depth),
        bracket: remedies::bracket(question, &depth),
        motion: exposures(question),
    })
}

/// The blur at one stop.
fn stop(question: &Question, depth: &Depth, f_number: f64) -> Stop {
    let pitch = question.pitch_um.value;
    let discs = depth.discs_um(f_number);
    let px = |disc: f64| cover::blur_px(depth.working(f_number), disc, pitch);
    let worst = depth.ends_um(f_number);
    let print = question.print_scale().map(|scale| worst / DISC_SIGMA * 1e-3 * scale.enlargement);
    Stop {
        f_number,
        near_disc_um: discs[0],
        far_disc_um: discs[1],
        near_blur_px: px(discs[0]),
        focus_blur_px: px(0.0),
        far_blur_px: px(discs[1]),
        near_blur_um: px(discs[0]) * pitch,
        focus_blur_um: px(0.0) * pitch,
        far_blur_um: px(discs[1]) * pitch,
        worst_optical_um: worst,
        print_disc_mm: print,
        print_arc_minutes: question
            .print_scale()
            .zip(print)
            .map(|(scale, mm)| (mm * 1e-3 / scale.distance_m).to_degrees() * 60.0),
        hyperfocal_m: depth::hyperfocal_mm(depth.focal_mm, f_number, question.permitted_disc_um() * 1e-3) * 1e-3,
        acceptable: worst <= question.permitted_sigma_um(),
    }
}

/// Longest exposures at which a straight track alone would be as wide as the permitted blur.
fn exposures(question: &Question) -> Vec<Exposure> {
    // A straight track of length L has a Gaussian-equivalent sigma of 0.3106 L along itself.
    let track_um = question.permitted_sigma_um() * crate::optics::kernel::BOX_MTF50 / MTF50_SIGMA;
    let (focal, near) = (question.focal_mm, question.near_m);
    let moving = |(kind, speed): (Movement, f64)| Exposure {
        kind,
        speed_m_s: Some(speed),
        longest_s: motion::longest_for_subject_s(focal, near, speed, track_um),
    };
    let mut all: Vec<Exposure> = match question.speed_m_s {
        Some(speed) => vec![moving((Movement::Given, speed))],
        None => GRASS.map(moving).to_vec(),
    };
    all.push(Exposure {
        kind: Movement::HandHeld,
        speed_m_s: None,
        longest_s: motion::longest_for_turn_s(focal, HAND_RATE, track_um),
    });
    all
}
