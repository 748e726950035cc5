//! `tussock plan`: options as typed, and what they mean.

use std::path::PathBuf;
use std::sync::LazyLock;

use super::given::{InUnits, Purpose};
use super::{settings, values};
use crate::commands::Outcome;
use crate::commands::plan::{self, Next};
use crate::commands::settings::Settings;
use crate::optics::cover::USUAL_SMALLEST;
use crate::plan::Sensor;

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Nearest subject that must be sharp [default: the ground at the lower edge, from --height and --down].
    #[arg(long, value_name = "LENGTH", value_parser = values::length, allow_hyphen_values = true)]
    near: Option<f64>,
    /// Farthest subject that must be sharp, or inf [default: inf].
    #[arg(long, value_name = "LENGTH", value_parser = values::distance, allow_hyphen_values = true)]
    far: Option<f64>,
    /// Focal length with its unit, such as 24mm.
    #[arg(long, value_name = "LENGTH", value_parser = values::focal_mm, allow_hyphen_values = true)]
    focal: Option<f64>,
    /// A stop you have in mind, such as f/11.
    #[arg(long, value_name = "F", value_parser = values::f_number, allow_hyphen_values = true)]
    aperture: Option<f64>,
    #[command(flatten)]
    camera: Camera,
    /// Height of the camera above the ground.
    #[arg(long, value_name = "LENGTH", value_parser = values::length, allow_hyphen_values = true)]
    height: Option<f64>,
    /// How far below the horizon it points, such as 8deg (negative: above).
    #[arg(long, value_name = "ANGLE", value_parser = values::angle_rad, allow_hyphen_values = true)]
    down: Option<f64>,
    /// Speed of a moving subject across the view at the near distance, such as 0.1m/s.
    #[arg(long, value_name = "SPEED", value_parser = values::speed_m_s, allow_hyphen_values = true)]
    speed: Option<f64>,
    /// Take lens, stop, pixels and the nearest ground from this photograph.
    #[arg(long, value_name = "FRAME")]
    from: Option<PathBuf>,
    /// Write the plan as a page to print here, too.
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
    /// Replace what is there already; pictures never are.
    #[arg(long, requires = "out")]
    overwrite: bool,
    /// Print JSON.
    #[arg(long)]
    json: bool,
}

/// The smallest aperture unless given, as it is typed.
static SMALLEST: LazyLock<String> = LazyLock::new(|| format!("f/{USUAL_SMALLEST}"));

/// The camera and what its pictures are for: shared by plan and card.
#[derive(Debug, clap::Args)]
pub(super) struct Camera {
    /// Sensor size, width x height as you hold it [default: that of a photograph taken from, else of your settings, else
    /// 36x24mm].
    #[arg(long, value_name = "WxH", value_parser = values::sensor, conflicts_with = "crop")]
    sensor: Option<Sensor>,
    /// Crop factor against the 24 x 36 mm frame, such as 1.5.
    #[arg(long, value_name = "FACTOR", value_parser = values::crop)]
    crop: Option<f64>,
    /// Pixel pitch, such as 5.9um [default: 6000 pixels along the longer side].
    #[arg(long, value_name = "LENGTH", value_parser = values::pitch_um, allow_hyphen_values = true)]
    pitch: Option<f64>,
    /// Smallest aperture of the lens.
    #[arg(long, value_name = "F", default_value = SMALLEST.as_str(), value_parser = values::f_number, allow_hyphen_values = true)]
    smallest: f64,
    #[command(flatten)]
    purpose: Purpose,
    #[command(flatten)]
    units: InUnits,
}

impl Camera {
    /// What these options and the settings mean.
    pub(super) fn meant(&self, settings: &Settings) -> plan::Camera {
        let cropped = |factor: f64| Sensor { width_mm: 36.0 / factor, height_mm: 24.0 / factor };
        plan::Camera {
            sensor: self.sensor.or(self.crop.map(cropped)),
            usual_sensor: settings::sensor(settings),
            pitch_um: self.pitch,
            smallest: self.smallest,
            sharp_for: self.purpose.sharp_for,
            units: self.units.units(),
        }
    }
}

impl Args {
    /// Runs the command.
    pub(super) fn run(&self, settings: &Settings) -> anyhow::Result<Outcome> {
        plan::run(&Next {
            near_m: self.near,
            far_m: self.far,
            focal_mm: self.focal,
            f_number: self.aperture,
            camera: self.camera.meant(settings),
            height_m: self.height,
            down_rad: self.down,
            speed_m_s: self.speed,
            from: self.from.clone(),
            known_lenses: settings.lenses.clone().unwrap_or_default(),
            out: self.out.clone(),
            overwrite: self.overwrite,
            json: self.json,
        })
    }
}
