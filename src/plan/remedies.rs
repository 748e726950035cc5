//! What to change when no stop is enough: step back, raise or point the camera, tilt the lens, bracket the focus.

use schemars::JsonSchema;
use serde::Serialize;

use super::{Question, Sensor};
use crate::optics::cover::{self, Depth, Opening};
use crate::optics::stops::THIRDS;
use crate::optics::{ground, thin_lens};
use crate::quantity::Distance;

/// What stepping back buys.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct StepBack {
    /// How far back until the best stop is enough, m: zero where it is already, null where 100 m would not do.
    pub needed_m: Option<f64>,
    /// The same for the stop the user gave; null without one.
    pub needed_at_asked_stop_m: Option<f64>,
    /// Size of the near subject in the picture after that step, over its size before.
    pub near_size: Option<f64>,
    /// The first steps, each at its own best stop.
    pub table: Vec<StepRow>,
}

/// One step back.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
pub struct StepRow {
    /// Step, m.
    pub back_m: f64,
    /// Where to focus then, m.
    pub focus_distance_m: f64,
    /// The best f-number then; null where there is no depth.
    pub best_f_number: Option<f64>,
    /// The third-stop of the lens that does best then.
    pub best_stop: f64,
    /// Optical blur at the ends at that stop, Gaussian-equivalent sigma, um.
    pub worst_optical_um: f64,
    /// Size of the near subject over its size before the step.
    pub near_size: f64,
    /// Size of the far subject over its size before the step.
    pub far_size: f64,
    /// Whether that is within the permitted blur.
    pub acceptable: bool,
}

/// Steps back that the table lists, m. Chosen: a hand, a bent knee, a step up.
const STEPS_M: [f64; 3] = [0.15, 0.30, 0.60];

pub(super) fn step_back(question: &Question, depth: &Depth) -> StepBack {
    let permitted = question.permitted_sigma_um();
    let size = |back_m: f64| (depth.near_mm - depth.focal_mm) / (depth.near_mm + back_m * 1e3 - depth.focal_mm);
    let needed_m = depth.step_back_mm(permitted, question.opening()).map(|mm| mm * 1e-3);
    StepBack {
        needed_m,
        needed_at_asked_stop_m: question
            .f_number
            .and_then(|n| depth.step_back_mm(permitted, Opening::Set(n)))
            .map(|mm| mm * 1e-3),
        near_size: needed_m.map(size),
        table: STEPS_M
            .iter()
            .map(|&back_m| {
                let moved = depth.stepped_back(back_m * 1e3);
                let best_stop = moved.stop_of(question.opening());
                let worst = moved.ends_um(best_stop);
                let far = depth.far_mm;
                StepRow {
                    back_m,
                    focus_distance_m: moved.focus_mm * 1e-3,
                    best_f_number: (moved.spread_mm() > 0.0).then(|| moved.best_f_number()),
                    best_stop,
                    worst_optical_um: worst,
                    near_size: size(back_m),
                    far_size: if far.is_finite() {
                        (far - depth.focal_mm) / (far + back_m * 1e3 - depth.focal_mm)
                    } else {
                        1.0
                    },
                    acceptable: worst <= permitted,
                }
            })
            .collect(),
    }
}

/// Raising the camera so that the ground at the lower edge of the picture lies farther away.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Raise {
    /// Distance the nearest ground must have for the best stop to be enough, m.
    pub needed_near_m: f64,
    /// Height that does it with the camera pointing as before, m: the nearest strip of ground drops out of view.
    pub height_same_direction_m: f64,
    /// Height that does it with the same ground at the lower edge, m, the camera pointing lower.
    pub height_same_ground_m: f64,
    /// How far below the horizon it points then, degrees.
    pub down_deg: f64,
    /// Where the horizon lies then: share of the picture's height from its top; negative: out of view above.
    pub horizon: f64,
}

/// Pointing the camera higher so that the nearest ground drops out of view.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
pub struct TiltUp {
    /// How far below the horizon to point, degrees (negative: above).
    pub down_deg: f64,
    /// Where the horizon lies then: share of the picture's height from its top.
    pub horizon: f64,
    /// Where it lay before.
    pub horizon_before: f64,
}

/// The camera over flat ground: height, direction, and the angle from axis to lower edge.
struct Stance {
    height_m: f64,
    down_rad: f64,
    half_mm: f64,
    image_mm: f64,
}

impl Stance {
    /// `None` where the height is unknown, or where near ground can't lie at the lower edge of the picture.
    fn of(question: &Question, depth: &Depth) -> Option<Self> {
        let height_m = question.height_m?;
        let half_mm = 0.5 * question.sensor.value.height_mm;
        let image_mm = thin_lens::image_mm(depth.focal_mm, depth.focus_mm);
        // Without a direction, the near subject is taken to be the ground at the lower edge.
        let down_rad = question.down_rad.or_else(|| down_for(question.near_m, height_m, half_mm, image_mm))?;
        Some(Self { height_m, down_rad, half_mm, image_mm })
    }

    /// A needed distance, where the ground at the lower edge lies nearer than that; where it does not, the near
    /// subject stands up from the ground and moving the camera's view of the ground won't help.
    fn beyond(&self, needed_m: f64) -> Option<f64> {
        let ground = ground::depth(self.height_m, self.down_rad, self.image_mm, self.half_mm);
        (ground < needed_m).then_some(needed_m)
    }

    fn edge(&self) -> f64 {
        (self.half_mm / self.image_mm).atan()
    }

    /// Where the horizon lies at a direction: share of the picture's height from its top.
    fn horizon(&self, down_rad: f64) -> f64 {
        0.5 - 0.5 * self.image_mm * down_rad.tan() / self.half_mm
    }
}

/// Direction below the horizon, radians, at which ground at depth `near_m` lies at the lower edge.
fn down_for(near_m: f64, height_m: f64, half_mm: f64, image_mm: f64) -> Option<f64> {
    // near (sin d + t cos d) = h, i.e. near sin(d + e) / cos e = h with tan e = t.
    let edge = (half_mm / image_mm).atan();
    let sine = height_m * edge.cos() / near_m;
    (sine <= 1.0).then(|| sine.asin() - edge)
}

/// Depth of the ground at the lower edge of the picture, m; `None` where that edge is above the horizon.
#[must_use]
pub fn near_ground_m(height_m: f64, down_rad: f64, sensor: Sensor, focal_mm: f64) -> Option<f64> {
    let near = ground::depth(height_m, down_rad, focal_mm, 0.5 * sensor.height_mm);
    near.is_finite().then_some(near)
}

/// Nearest distance, m, at which the best stop keeps both ends permitted, the far end staying where it is;
/// `None` where it is permitted already or even the far end alone is not.
fn needed_near_m(question: &Question, depth: &Depth) -> Option<f64> {
    let permitted = question.permitted_sigma_um();
    let opening = question.opening();
    let fits = |near: f64| Depth::new(depth.focal_mm, near, depth.far_mm).least_um(opening) <= permitted;
    if fits(depth.near_mm) || !fits(depth.far_mm) {
        return None;
    }
    // Search in inverse distance, so that an infinite far end is an ordinary one.
    let (mut short, mut enough) = (1.0 / depth.near_mm, 1.0 / depth.far_mm);
    for _ in 0..60 {
        let middle = 0.5 * (short + enough);
        *if fits(1.0 / middle) { &mut enough } else { &mut short } = middle;
    }
    (enough > 0.0).then(|| 1e-3 / enough)
}

pub(super) fn raise(question: &Question, depth: &Depth) -> Option<Raise> {
    let stance = Stance::of(question, depth)?;
    let needed = stance.beyond(needed_near_m(question, depth)?)?;
    let edge = stance.edge();
    // The ground at the lower edge lies at a horizontal distance g = h / tan(d + e) and a depth
    // sqrt(h^2 + g^2) cos e; keep g and ask for the depth needed.
    let ground_m = stance.height_m / (stance.down_rad + edge).tan();
    let slant = needed / edge.cos();
    let height = (slant * slant - ground_m * ground_m).sqrt();
    let down = (height / ground_m).atan() - edge;
    let same = ground::height_for(needed, stance.down_rad, stance.image_mm, stance.half_mm);
    (height.is_finite() && ground_m > 0.0).then(|| Raise {
        needed_near_m: needed,
        height_same_direction_m: same,
        height_same_ground_m: height,
        down_deg: down.to_degrees(),
        horizon: stance.horizon(down),
    })
}

pub(super) fn tilt_up(question: &Question, depth: &Depth) -> Option<TiltUp> {
    let stance = Stance::of(question, depth)?;
    let needed = stance.beyond(needed_near_m(question, depth)?)?;
    let down = down_for(needed, stance.height_m, stance.half_mm, stance.image_mm)?;
    Some(TiltUp {
        down_deg: down.to_degrees(),
        horizon: stance.horizon(down),
        horizon_before: stance.horizon(stance.down_rad),
    })
}

/// A lens tilted so that its plane of focus lies along the ground.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
pub struct TiltedLens {
    /// Distance from the lens down to the hinge line, along the sensor's plane, m.
    pub hinge_m: f64,
    /// Tilt, degrees.
    pub tilt_deg: f64,
    /// f-number the wedge is given for.
    pub f_number: f64,
    /// How far things may stand above the ground at the near distance and stay permitted, m.
    pub wedge_near_m: f64,
    /// The same at ten times the near distance.
    pub wedge_at_ten_times_m: f64,
}

pub(super) fn tilted_lens(question: &Question, depth: &Depth) -> Option<TiltedLens> {
    // Lenses with one aperture are built in and don't tilt.
    let stance = Stance::of(question, depth).filter(|_| question.one_aperture().is_none())?;
    // The hinge line lies on the ground below the lens, in the plane through the lens parallel to the sensor.
    let hinge_m = stance.height_m / stance.down_rad.cos();
    let tilt = ground::tilt_for_hinge(depth.focal_mm, hinge_m * 1e3)?;
    let f_number = bracket_stop(question, depth.focus_mm);
    let disc_mm = room_um(question, f_number, depth.focus_mm)? * 1e-3;
    // The limits of the wedge pass through the same hinge line; at a depth z they lie J z / H either side of
    // the plane of focus, H = f^2 / (N c) (Merklinger, Focusing the View Camera, 1996; small tilts).
    let wedge = |z_m: f64| hinge_m * z_m * 1e3 / (depth.focal_mm * depth.focal_mm / (f_number * disc_mm));
    Some(TiltedLens {
        hinge_m,
        tilt_deg: tilt.to_degrees(),
        f_number,
        wedge_near_m: wedge(question.near_m),
        wedge_at_ten_times_m: wedge(10.0 * question.near_m),
    })
}

/// Diameter of the defocus disc, um, that stays permitted beside diffraction at a stop and a focus.
fn room_um(question: &Question, f_number: f64, focus_mm: f64) -> Option<f64> {
    let working = thin_lens::working_f_number(question.focal_mm, f_number, focus_mm);
    cover::disc_um_for(working, question.permitted_sigma_um())
}

/// The stop for frames that need little depth, focused no nearer than `nearest_mm`: the only one there is, or the one asked for where
/// it leaves room for defocus, else the third-stop of the lens up to f/11 (beyond which none needs closing for its own sake) with
/// the deepest permitted focus.
fn bracket_stop(question: &Question, nearest_mm: f64) -> f64 {
    // Depth in the image is 2 N c.
    let room = |n: f64| n * room_um(question, n, nearest_mm).unwrap_or(0.0);
    let working = |n: f64| thin_lens::working_f_number(question.focal_mm, n, nearest_mm);
    match question.f_number {
        Some(only) if question.one_aperture().is_some() => only,
        Some(wanted) if working(wanted) <= 0.8 * cover::diffraction_limit(question.permitted_sigma_um()) => wanted,
        _ => THIRDS
            .into_iter()
            .filter(|&n| n <= question.smallest.min(11.0))
            .max_by(|&a, &b| room(a).total_cmp(&room(b)))
            .unwrap_or(THIRDS[0]),
    }
}

/// Frames focused at different distances, to be joined elsewhere.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Bracket {
    /// f-number the frames are given for.
    pub f_number: f64,
    /// How many frames it takes; more than are listed where it takes more than 50.
    pub count: u64,
    /// The frames, nearest first.
    pub frames: Vec<BracketFrame>,
    /// How much narrower the field of the nearest frame is than that of the farthest, if the lens focuses by
    /// moving as a whole (0.01 = 1 %).
    pub field_change: f64,
}

/// One frame of a bracket.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
pub struct BracketFrame {
    /// Where to focus, m.
    pub focus_distance_m: f64,
    /// Nearest distance it keeps within the permitted blur, m.
    pub from_m: f64,
    /// Farthest.
    pub to_m: Distance,
}

/// Most frames of a bracket that are listed. Chosen: more than anybody takes.
const LISTED: u64 = 50;

pub(super) fn bracket(question: &Question, depth: &Depth) -> Bracket {
    let f_number = bracket_stop(question, depth.near_mm);
    // One frame reaches c / (f^2 / N) either way in inverse distance, times 1 - f/s; both are least at the near end,
    // where the working f-number is the largest. A tenth is kept for overlap.
    let room_mm = |focus_mm: f64| room_um(question, f_number, focus_mm).unwrap_or(0.0) * 1e-3;
    let disc_mm = 0.9 * room_mm(depth.near_mm);
    let power = depth.focal_mm * depth.focal_mm / f_number;
    let reach = disc_mm / power * (1.0 - depth.focal_mm / depth.near_mm);
    let (near, far) = (1.0 / depth.near_mm, 1.0 / depth.far_mm);
    let count = ((near - far) / (2.0 * reach).max(f64::MIN_POSITIVE)).ceil().clamp(1.0, 1e12) as u64;
    let step = (near - far) / count as f64;
    let frames = (0..count.min(LISTED))
        .map(|i| {
            let focus = 1.0 / (near - (i as f64 + 0.5) * step);
            let limits = permitted_limits(depth.focal_mm, f_number, focus, room_mm(focus));
            BracketFrame {
                focus_distance_m: focus * 1e-3,
                from_m: limits[0] * 1e-3,
                to_m: Distance::from_metres(limits[1] * 1e-3),
            }
        })
        .collect::<Vec<_>>();
    let ends = [near - 0.5 * step, far + 0.5 * step].map(|x| thin_lens::image_mm(depth.focal_mm, 1.0 / x));
    Bracket { f_number, count, frames, field_change: ends[0] / ends[1] - 1.0 }
}

/// Distances, mm, at which the disc reaches `disc_mm` either side of a focus.
fn permitted_limits(focal_mm: f64, f_number: f64, focus_mm: f64, disc_mm: f64) -> [f64; 2] {
    [-disc_mm, disc_mm].map(|disc| thin_lens::subject_mm(focal_mm, f_number, focus_mm, disc))
}
