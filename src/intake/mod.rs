//! Path to Shot: all reading is here. Originals are only ever opened for reading.

mod altered;
mod avif;
mod baseline;
mod blocks;
mod bodies;
mod coefficients;
mod containers;
mod crop;
mod decode;
mod entropy;
mod error;
pub mod exif;
mod file;
mod folder;
pub(crate) mod guard;
mod headers;
#[cfg(feature = "heic")]
mod heic;
mod huge_pages;
mod ifd;
mod jpeg;
mod levels;
mod limits;
mod luminance;
pub mod makernote;
mod markers;
mod memory;
mod messages;
pub mod pitch;
mod preview;
#[doc(hidden)]
pub mod probe;
pub mod raw;
mod redirected;
mod rendered;
mod scan;
mod shots;
mod sniff;
mod tone;
mod turn;
mod worker;
mod xl;
pub mod xmp;

pub use error::{IntakeError, IntakeErrorKind};
pub(crate) use file::{is_picture, open_file, read_text};
pub use folder::{Found, find};
pub(crate) use folder::{MARK_HEAD, REPORT_MARK, files, listed};
pub(crate) use memory::memory_needed;
pub use shots::{Candidate, Prefer, stem};
pub(crate) use shots::{bare, is_raw, looks_like_photograph, twins};
pub use worker::{Workers, serve, use_workers};
pub(crate) use xmp::sidecar_names;
pub use xmp::told_beside;

use std::path::Path;

use ::image::RgbImage;

use crate::optics::light;
use crate::quantity::Flag;
use crate::shot::{Capture, Fact, Plane, Shot, Source};
use decode::{Input, open};
use sniff::Kind;
use turn::Turn;

/// Version of the reading: raise it whenever a change may alter pixels or facts, so that what is remembered of a file
/// is made anew. Chosen: counted up with the reading.
pub const VERSION: u32 = 4;

/// What the user gives instead of, or over, what the file says. Applied last; its source is `given`.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Overrides {
    /// Facts that replace the file's own.
    pub capture: Capture,
    /// Quarter turns clockwise to apply on top of the recorded orientation.
    pub turn: Option<u8>,
    /// Sensors of cameras by name, width and height in mm, for files that don't tell their pixel pitch.
    pub sensors: Vec<(String, [f64; 2])>,
}

/// Facts of a file, readable even where its pixels are not.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Facts {
    /// Capture facts.
    pub capture: Capture,
    /// Orientation as in the Exif tag, 1 to 8, where recorded.
    pub orientation: Option<u16>,
    /// Width and height of the upright full picture, px, where the file states them.
    pub size: Option<(u32, u32)>,
    /// Flags found while reading.
    pub flags: Vec<Flag>,
    /// Decimals of the second of the exposure, as the file writes them.
    pub second_decimals: Option<String>,
    /// Serial number of the body, as the file writes it.
    pub body_serial: Option<String>,
}

impl Facts {
    /// Those of the picture turned by so many quarter turns clockwise; the recorded orientation stays as it is.
    fn turned(mut self, quarter_turns: u8) -> Self {
        let turn = Turn::default().then_clockwise(quarter_turns);
        self.size = self.size.map(|(width, height)| {
            let (width, height) = turn.size(width as usize, height as usize);
            (width as u32, height as u32)
        });
        if let Some(point) = &mut self.capture.focus_point {
            point.value = turn.point(point.value);
        }
        if !quarter_turns.is_multiple_of(4) {
            let all = Turn::from_exif(self.orientation.unwrap_or(1)).then_clockwise(quarter_turns);
            self.capture.orientation = Some(Fact::new(all.exif(), Source::Given));
        }
        self
    }
}

/// Reads a photograph: pixels to linear luminance, facts, overrides.
///
/// # Errors
/// [`IntakeError`] names the step that failed and what to try.
pub fn read(path: &Path, overrides: &Overrides) -> Result<Shot, IntakeError> {
    worker::affordable(path)?;
    let input = Input::open(path)?;
    let quarter_turns = overrides.turn.unwrap_or(0);
    // Facts that can't be had are no reason not to look at the pixels.
    let mut facts = exif::facts(path).unwrap_or_default().turned(quarter_turns);
    let mut flags = std::mem::take(&mut facts.flags);
    let read = if input.apart() {
        worker::plane(input, path, facts.orientation, quarter_turns)?
    } else {
        input.plane(facts.orientation, quarter_turns, path)?
    };
    flags.extend(read.flags);
    let (plane, coded, tint) = (read.plane, read.coded, read.tint);
    let capture = settle(facts, &plane, overrides, &mut flags);
    flags.sort_unstable();
    flags.dedup();
    Ok(Shot { file: path.to_string_lossy().into_owned(), plane, capture, flags, coded, tint })
}

/// Reads the capture facts alone.
///
/// # Errors
/// [`IntakeError`] where the file can't be opened or is no picture at all; missing facts are no error.
pub fn facts(path: &Path, overrides: &Overrides) -> Result<Facts, IntakeError> {
    guard::file(path, guard::FACTS, || {
        let (_, kind) = open(path)?;
        if matches!(kind, Kind::Empty | Kind::Unknown) {
            return Err(refusal(kind, path));
        }
        let mut facts = exif::facts(path)?.turned(overrides.turn.unwrap_or(0));
        if let Some(size) = facts.size {
            give_sensor(&mut facts.capture, &overrides.sensors, size, &mut facts.flags);
        }
        give(&mut facts.capture, &overrides.capture);
        Ok(facts)
    })
}

/// The upright picture in 8-bit sRGB for looking at: full size for rendered files, at least half size for raw.
///
/// # Errors
/// As [`read`].
pub fn colour(path: &Path, overrides: &Overrides) -> Result<RgbImage, IntakeError> {
    worker::affordable(path)?;
    let input = Input::open(path)?;
    let quarter_turns = overrides.turn.unwrap_or(0);
    let orientation = exif::facts(path).unwrap_or_default().orientation;
    if input.apart() {
        worker::colour(input, path, orientation, quarter_turns)
    } else {
        input.colour(orientation, quarter_turns, path)
    }
}

/// Why a file of a kind that is not decoded is refused, and what to try.
fn refusal(kind: Kind, path: &Path) -> IntakeError {
    match kind {
        Kind::Empty => IntakeError::damaged(path, "the file is empty"),
        Kind::Heic => IntakeError::new(
            path,
            IntakeErrorKind::Unsupported,
            "it is a HEIC picture, whose pixels are not read here",
            "Export it as JPEG or TIFF at full size, or set the camera to JPEG or raw.",
        ),
        Kind::Video => unread(path, "a video"),
        Kind::Picture(name) | Kind::Document(name) => unread(path, name),
        _ if looks_like_photograph(path) => {
            IntakeError::damaged(path, "its content is not that of any kind of photograph known here")
        }
        _ => IntakeError::new(
            path,
            IntakeErrorKind::Unsupported,
            "it is not a photograph of any kind known here",
            "Name JPEG, JPEG XL, TIFF, PNG, WebP or camera raw files.",
        ),
    }
}

/// Why a file of a known kind, which this name says, is refused.
fn unread(path: &Path, name: &str) -> IntakeError {
    let advice = "Export it as TIFF, PNG or JPEG at full size and audit that.";
    IntakeError::new(path, IntakeErrorKind::Unsupported, format!("it is {name}, which is not read here"), advice)
}

/// The facts that count, once the picture is known and the user has had their say.
fn settle(facts: Facts, plane: &Plane, overrides: &Overrides, flags: &mut Vec<Flag>) -> Capture {
    let mut capture = facts.capture;
    // A preview has larger pixels than the picture it stands for, as far as the sensor is concerned. What a
    // rendered file's own records say of resizing is in its facts already.
    if let Some((width, height)) = facts.size.filter(|_| flags.contains(&Flag::Preview)) {
        let (recorded, actual) = (f64::from(width.max(height)), plane.width.max(plane.height) as f64);
        if actual > 0.0 && recorded > 1.01 * actual {
            flags.push(Flag::Resized);
            if let Some(pitch) = capture.pixel_pitch_um.as_mut() {
                *pitch = Fact::new(pitch.value * recorded / actual, Source::Derived);
            }
        }
    }
    if flags.contains(&Flag::Binned)
        && let Some(pitch) = capture.pixel_pitch_um.as_mut()
    {
        *pitch = Fact::new(2.0 * pitch.value, Source::Derived);
    }
    give_sensor(&mut capture, &overrides.sensors, (plane.width as u32, plane.height as u32), flags);
    give(&mut capture, &overrides.capture);
    let given = &overrides.capture;
    flags.retain(|flag| match flag {
        Flag::ApertureUnknown => given.f_number.is_none(),
        Flag::PitchUnknown | Flag::PitchAssumed => given.pixel_pitch_um.is_none(),
        Flag::FocusDistanceIgnored | Flag::FocusDistanceImpossible => given.focus_distance_m.is_none(),
        Flag::NoCaptureFacts => {
            given.f_number.is_none() && given.focal_length_mm.is_none() && given.exposure_s.is_none()
        }
        _ => true,
    });
    if flags.contains(&Flag::Processed) && gathered_little(&capture) {
        flags.push(Flag::LittleLight);
    }
    capture
}

/// Whether a camera had reason to smooth: its pixels saw more noise than an excellent picture has.
fn gathered_little(capture: &Capture) -> bool {
    match (&capture.iso, &capture.pixel_pitch_um) {
        (Some(iso), Some(pitch)) => light::signal_to_noise(iso.value, pitch.value) < light::EXCELLENT,
        _ => false,
    }
}

/// Takes the pixel pitch from a sensor that the user named, where the file tells none or one that was but assumed. `size`: the
/// upright picture's, px; it is taken for the whole sensor's.
fn give_sensor(capture: &mut Capture, sensors: &[(String, [f64; 2])], size: (u32, u32), flags: &mut Vec<Flag>) {
    let assumed = flags.contains(&Flag::PitchAssumed);
    let Some(body) = capture.body.as_ref().filter(|_| capture.pixel_pitch_um.is_none() || assumed) else { return };
    let body = body.value.to_lowercase();
    let named = |name: &str| !name.trim().is_empty() && body.contains(&name.trim().to_lowercase());
    if let Some((_, [width, height])) = sensors.iter().find(|(name, _)| named(name)) {
        let pitch_um = width.hypot(*height) * 1e3 / f64::from(size.0).hypot(f64::from(size.1));
        capture.pixel_pitch_um = Some(Fact::new(pitch_um, Source::Given));
        flags.retain(|f| !matches!(f, Flag::PitchAssumed | Flag::PitchUnknown));
    }
}

/// Puts what the user gave in the place of what the file says; the only place where that happens.
fn give(capture: &mut Capture, given: &Capture) {
    fn over<T: Clone>(fact: &mut Option<Fact<T>>, given: &Option<Fact<T>>) {
        if let Some(given) = given {
            *fact = Some(Fact::new(given.value.clone(), Source::Given));
        }
    }
    over(&mut capture.f_number, &given.f_number);
    over(&mut capture.focal_length_mm, &given.focal_length_mm);
    over(&mut capture.focal_length_35mm, &given.focal_length_35mm);
    over(&mut capture.exposure_s, &given.exposure_s);
    over(&mut capture.iso, &given.iso);
    over(&mut capture.body, &given.body);
    over(&mut capture.lens, &given.lens);
    over(&mut capture.date, &given.date);
    over(&mut capture.focus_distance_m, &given.focus_distance_m);
    over(&mut capture.focus_point, &given.focus_point);
    over(&mut capture.focus_mode, &given.focus_mode);
    over(&mut capture.pixel_pitch_um, &given.pixel_pitch_um);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cameras_have_reason_to_smooth_where_pixels_gather_little_light() {
        let plane = Plane::plain(4, 4, vec![0; 16], 65535);
        let little = |pitch: Option<f64>, iso: f64, flag: Flag| {
            let fact = |value| Fact::new(value, Source::Exif);
            let capture = Capture { pixel_pitch_um: pitch.map(fact), iso: Some(fact(iso)), ..Capture::default() };
            let mut flags = vec![flag];
            settle(Facts { capture, ..Facts::default() }, &plane, &Overrides::default(), &mut flags);
            flags.contains(&Flag::LittleLight)
        };
        // A compact's pixels, and those of a sensor of 24 x 36 mm.
        assert!(little(Some(2.2), 100.0, Flag::Processed) && !little(Some(6.0), 100.0, Flag::Processed));
        assert!(little(Some(6.0), 1600.0, Flag::Processed));
        // Nothing has smoothed a raw file, and what is not known is no reason.
        assert!(!little(Some(2.2), 100.0, Flag::MonochromeSensor) && !little(None, 100.0, Flag::Processed));
    }

    #[test]
    fn a_preview_has_larger_pixels_and_what_the_user_gives_comes_last() {
        let plane = Plane { rendered: true, ..Plane::plain(70, 45, vec![0; 70 * 45], 65535) };
        let facts = Facts {
            capture: Capture { pixel_pitch_um: Some(Fact::new(10.0, Source::Exif)), ..Capture::default() },
            size: Some((140, 90)),
            ..Facts::default()
        };
        let sensors = vec![("one".to_owned(), [3.0, 4.0])];
        let of = |pitch: Option<f64>, flag| {
            let capture = Capture {
                body: Some(Fact::new("Tarn One".into(), Source::Exif)),
                pixel_pitch_um: pitch.map(|p| Fact::new(p, Source::Derived)),
                ..Capture::default()
            };
            let mut flags = vec![flag];
            let overrides = Overrides { sensors: sensors.clone(), ..Overrides::default() };
            let facts = Facts { capture, ..Facts::default() };
            (settle(facts, &plane, &overrides, &mut flags).pixel_pitch_um.map(|p| p.value), flags)
        };
        let pitch = 5e3 / 70_f64.hypot(45.0);
        assert_eq!(of(None, Flag::PitchUnknown), (Some(pitch), vec![]));
        assert_eq!(of(Some(3.0), Flag::PitchAssumed), (Some(pitch), vec![]));
        assert_eq!(of(Some(3.0), Flag::Processed), (Some(3.0), vec![Flag::Processed]));
        let mut flags = vec![Flag::Preview, Flag::ApertureUnknown];
        let capture = settle(facts.clone(), &plane, &Overrides::default(), &mut flags);
        assert_eq!(capture.pixel_pitch_um, Some(Fact::new(20.0, Source::Derived)));
        assert_eq!(flags, [Flag::Preview, Flag::ApertureUnknown, Flag::Resized]);
        // So has a mosaic that was taken four sites at a time.
        let capture = settle(facts.clone(), &plane, &Overrides::default(), &mut vec![Flag::Binned]);
        assert_eq!(capture.pixel_pitch_um, Some(Fact::new(20.0, Source::Derived)));
        let given = Capture {
            // Whatever source is claimed for it, what the user gives is given.
            f_number: Some(Fact::new(11.0, Source::Exif)),
            pixel_pitch_um: Some(Fact::new(4.5, Source::Given)),
            ..Capture::default()
        };
        let capture = settle(facts, &plane, &Overrides { capture: given, ..Overrides::default() }, &mut flags);
        assert_eq!(capture.pixel_pitch_um, Some(Fact::new(4.5, Source::Given)));
        assert_eq!(capture.f_number, Some(Fact::new(11.0, Source::Given)));
        assert!(!flags.contains(&Flag::ApertureUnknown));
    }
}
