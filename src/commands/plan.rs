//! Questions for the next shot to advice.

use std::path::PathBuf;

use anyhow::{Context as _, bail};

use super::Outcome;
use crate::output;
use crate::plan::{Question, Refusal, Sensor, near_ground_m, plan};
use crate::quantity::{SharpFor, Units};
use crate::report::{PlanView, plan_text};
use crate::shot::{Fact, Source};

/// The plan command as meant.
#[derive(Clone, Debug)]
pub struct Next {
    /// Nearest subject, m.
    pub near_m: Option<f64>,
    /// Farthest subject, m; `None` for infinity.
    pub far_m: Option<f64>,
    /// Focal length, mm.
    pub focal_mm: Option<f64>,
    /// A stop in mind.
    pub f_number: Option<f64>,
    /// The camera and the use.
    pub camera: Camera,
    /// Height of the camera, m.
    pub height_m: Option<f64>,
    /// Direction below the horizon, radians.
    pub down_rad: Option<f64>,
    /// Speed of a moving subject, m/s.
    pub speed_m_s: Option<f64>,
    /// A photograph to take the rest from.
    pub from: Option<PathBuf>,
    /// Print JSON.
    pub json: bool,
}

/// The camera and what its pictures are for.
#[derive(Clone, Copy, Debug)]
pub struct Camera {
    /// Sensor, where given.
    pub sensor: Option<Sensor>,
    /// Pixel pitch, um, where given.
    pub pitch_um: Option<f64>,
    /// The use.
    pub sharp_for: SharpFor,
    /// Units for sentences.
    pub units: Units,
}

impl Camera {
    /// The sensor, the 24 x 36 mm frame unless given.
    #[must_use]
    pub fn sensor(&self) -> Fact<Sensor> {
        given_or(self.sensor, || Fact::new(Sensor::FULL_FRAME, Source::Assumed))
    }

    /// The pixel pitch, that of 6000 pixels along the longer side unless given.
    #[must_use]
    pub fn pitch_um(&self) -> Fact<f64> {
        given_or(self.pitch_um, || Fact::new(self.sensor().value.usual_pitch_um(), Source::Assumed))
    }
}

fn given_or<T>(value: Option<T>, or: impl FnOnce() -> Fact<T>) -> Fact<T> {
    value.map_or_else(or, |v| Fact::new(v, Source::Given))
}

/// Runs the command.
///
/// # Errors
/// Where something needed is neither given nor in the photograph, or the question has no answer.
pub fn run(next: &Next) -> anyhow::Result<Outcome> {
    let question = question(next)?;
    let answer = plan(&question)?;
    let from = next.from.as_ref().map(|p| p.display().to_string());
    let units = next.camera.units;
    output::print(&if next.json {
        PlanView::new(&answer, from.as_deref(), units).json()?
    } else {
        plan_text(&answer, from.as_deref(), units)
    });
    Ok(Outcome::Done)
}

/// The question that the options ask.
fn question(next: &Next) -> anyhow::Result<Question> {
    let focal_mm = next.focal_mm.context("give the focal length with --focal, such as --focal 24mm")?;
    let sensor = next.camera.sensor();
    let near_m = match (next.near_m, next.height_m, next.down_rad) {
        (Some(near), ..) => near,
        (None, Some(height), down) => {
            near_ground_m(height, down.unwrap_or(0.0), sensor.value, focal_mm).ok_or(Refusal::NoGround)?
        }
        (None, None, _) => bail!("give the nearest subject with --near, such as --near 1.2m, or --height and --down"),
    };
    Ok(Question {
        near_m,
        far_m: next.far_m.unwrap_or(f64::INFINITY),
        focal_mm,
        f_number: next.f_number,
        sensor,
        pitch_um: next.camera.pitch_um(),
        height_m: next.height_m,
        down_rad: next.down_rad,
        sharp_for: next.camera.sharp_for,
        speed_m_s: next.speed_m_s,
    })
}
