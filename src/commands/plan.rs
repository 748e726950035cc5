//! Questions for the next shot to advice.

use std::path::{Path, PathBuf};

use anyhow::{Context as _, bail};

use super::Outcome;
use super::baselines::Shelf;
use super::judging::judged;
use crate::diagnose::ImpliedDistance;
use crate::intake::{self, Overrides};
use crate::measure::{Settings, measure};
use crate::optics::WAVELENGTH_UM;
use crate::output;
use crate::plan::{Question, Refusal, Sensor, Was, near_ground_m, plan};
use crate::quantity::{Distance, Intent, SharpFor, Units, shown};
use crate::report::{PlanView, plan_page, plan_text};
use crate::shot::{Capture, Fact, Source, fixed_aperture};

/// The plan command as meant.
#[derive(Clone, Debug)]
pub(crate) struct Next {
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
    /// Baselines that the settings name, as an audit goes by them.
    pub known_lenses: Vec<PathBuf>,
    /// Where a page to print goes.
    pub out: Option<PathBuf>,
    /// Whether a file that is there may be replaced.
    pub overwrite: bool,
    /// Print JSON.
    pub json: bool,
}

/// The camera and what its pictures are for.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Camera {
    /// Sensor, where given.
    pub sensor: Option<Sensor>,
    /// The sensor that the user's settings name; a photograph's own goes before it.
    pub usual_sensor: Option<Sensor>,
    /// Pixel pitch, um, where given.
    pub pitch_um: Option<f64>,
    /// The smallest aperture of the lens.
    pub smallest: f64,
    /// The use.
    pub sharp_for: SharpFor,
    /// Units for sentences.
    pub units: Units,
}

impl Camera {
    /// The sensor, the 24 x 36 mm frame unless given or set.
    pub(crate) fn sensor(&self) -> Fact<Sensor> {
        given_or(self.sensor.or(self.usual_sensor), || Fact::new(Sensor::FULL_FRAME, Source::Assumed))
    }

    /// The pixel pitch, that of 6000 pixels along the longer side unless given.
    pub(crate) fn pitch_um(&self) -> Fact<f64> {
        given_or(self.pitch_um, || Fact::new(self.sensor().value.usual_pitch_um(), Source::Assumed))
    }
}

fn given_or<T>(value: Option<T>, or: impl FnOnce() -> Fact<T>) -> Fact<T> {
    value.map_or_else(or, |v| Fact::new(v, Source::Given))
}

/// Runs the command.
///
/// # Errors
/// Where something needed is neither given nor in the photograph, the question has no answer, or the page can't be written.
pub(crate) fn run(next: &Next) -> anyhow::Result<Outcome> {
    let from = next.from.as_deref().map(|path| audited(path, next)).transpose()?;
    let question = question(next, from.as_ref())?;
    let answer = plan(&question)?;
    let units = next.camera.units;
    let was = from.as_ref().map(|f| &f.was);
    if let Some(path) = &next.out {
        output::write(path, plan_page(&answer, was, units).as_bytes(), next.overwrite)?;
        output::note(&format!("Page written to {}", shown(path)));
    }
    if next.json {
        output::print_json(&output::json(&PlanView::new(&answer, was, units))?);
    } else if next.out.is_some() {
        // The page is what was asked for; the words are told beside it.
        output::tell(&plan_text(&answer, was, units));
    } else {
        output::print(&plan_text(&answer, was, units));
    }
    Ok(Outcome::Done)
}

/// What an audited photograph answers of the question.
struct Audited {
    was: Was,
    focal_mm: Option<f64>,
    sensor: Option<Fact<Sensor>>,
    pitch_um: Option<Fact<f64>>,
}

/// Reads, measures and diagnoses the photograph as an audit does; what is asked of the next one says nothing of this.
fn audited(path: &Path, next: &Next) -> anyhow::Result<Audited> {
    let overrides = Overrides {
        capture: Capture {
            focal_length_mm: next.focal_mm.map(|v| Fact::new(v, Source::Given)),
            pixel_pitch_um: next.camera.pitch_um.map(|v| Fact::new(v, Source::Given)),
            ..Capture::default()
        },
        ..Overrides::default()
    };
    let shot = intake::read(path, &overrides).map_err(output::refused)?;
    let map = measure(&shot.plane, &Settings::default().under(shot.capture.lambda_n_px(WAVELENGTH_UM)));
    let intent = Intent { sharp_for: next.camera.sharp_for, ..Intent::default() };
    let capture = &shot.capture;
    let shelf = Shelf::open(&[], &next.known_lenses)?;
    let baseline = shelf.find(capture).map(|place| shelf.baseline(place));
    let found = judged(&map, capture, &shot.flags, baseline, &intent);
    let sensor = capture.pixel_pitch_um.as_ref().map(|p| {
        let side = |px: u32| f64::from(px) * p.value * 1e-3;
        Fact::new(Sensor { width_mm: side(map.width), height_mm: side(map.height) }, Source::Derived)
    });
    Ok(Audited {
        was: Was {
            file: shot.file.clone(),
            f_number: capture.f_number.as_ref().map(|f| f.value),
            focus_m: range(found.implied.focus_m),
            near_m: range(found.implied.near_m.filter(|d| d.value.is_finite())),
        },
        focal_mm: capture.focal_length_mm.as_ref().map(|f| f.value),
        sensor,
        pitch_um: capture.pixel_pitch_um.clone(),
    })
}

/// A distance that the blur implies and what bounds it; focus may well lie at infinity.
fn range(of: Option<ImpliedDistance>) -> Option<[Distance; 3]> {
    of.filter(|d| d.value > 0.0).map(|d| [d.low, d.value, d.high].map(Distance::from_metres))
}

/// The question that the options ask, filled from an audited photograph where they are silent.
fn question(next: &Next, from: Option<&Audited>) -> anyhow::Result<Question> {
    let focal_mm = next
        .focal_mm
        .or(from.and_then(|f| f.focal_mm))
        .context("give the focal length with --focal, such as --focal 24mm")?;
    let sensor = match (next.camera.sensor, from.and_then(|f| f.sensor.clone())) {
        (None, Some(seen)) => seen,
        _ => next.camera.sensor(),
    };
    let pitch_um = match (next.camera.pitch_um, from.and_then(|f| f.pitch_um.clone())) {
        (None, Some(seen)) => seen,
        _ => next.camera.pitch_um(),
    };
    let f_number = next.f_number.or(from.and_then(|f| f.was.f_number));
    if from.is_some() && sensor.source == Source::Assumed && f_number.is_some_and(|n| fixed_aperture(focal_mm, n)) {
        bail!(
            "the photograph does not say how large its sensor is, which is no full frame: give --sensor, --crop or --pitch"
        );
    }
    let near_m = match (next.near_m, next.height_m, next.down_rad) {
        (Some(near), ..) => near,
        (None, Some(height), Some(down)) => {
            near_ground_m(height, down, sensor.value, focal_mm).ok_or(Refusal::NoGround)?
        }
        (None, ..) if from.is_some() => match from.and_then(|f| f.was.near_m) {
            Some([_, near, _]) => near.middle(),
            None => bail!("the photograph does not show how near its nearest ground is; give --near"),
        },
        (None, Some(_), None) => bail!(
            "where the ground begins depends on the camera's direction too: give --down, such as --down 8deg (0deg where \
             it is level), or the nearest subject with --near"
        ),
        (None, None, _) => bail!("give the nearest subject with --near, such as --near 1.2m, or --height and --down"),
    };
    Ok(Question {
        near_m,
        far_m: next.far_m.unwrap_or(f64::INFINITY),
        focal_mm,
        f_number,
        smallest: next.camera.smallest,
        sensor,
        pitch_um,
        height_m: next.height_m,
        down_rad: next.down_rad,
        sharp_for: next.camera.sharp_for,
        speed_m_s: next.speed_m_s,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_focus_at_infinity_is_known_to_be_there() {
        let of = |low, value, high| range(Some(ImpliedDistance { value, low, high }));
        let far = of(30.0, f64::INFINITY, f64::INFINITY);
        assert_eq!(far, Some([Distance::Finite(30.0), Distance::Infinite, Distance::Infinite]));
        assert_eq!(of(2.0, 3.0, 4.0), Some([2.0, 3.0, 4.0].map(Distance::Finite)));
        assert_eq!((of(-1.0, 0.0, 1.0), of(f64::NAN, f64::NAN, f64::NAN), range(None)), (None, None, None));
    }
}
