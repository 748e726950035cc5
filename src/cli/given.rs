//! What the user gives besides files: what must be sharp, and capture facts.

use clap::ValueEnum;

use super::values;
use crate::intake::Overrides;
use crate::quantity::{Distance, Intent, Place, SharpFor, Units};
use crate::shot::{Capture, Fact, Source};

/// How sharp a picture must be.
#[derive(Debug, clap::Args)]
pub(super) struct Purpose {
    /// The use the picture must be sharp for: diagonal (disc of sensor diagonal/1500), 1:1, or print:60x40cm@50cm.
    #[arg(long, value_name = "USE", default_value = "diagonal", value_parser = values::sharp_for)]
    pub(super) sharp_for: SharpFor,
}

/// How lengths are written in sentences.
#[derive(Debug, clap::Args)]
pub(super) struct InUnits {
    /// Units for sentences.
    #[arg(long, value_enum, default_value_t = UnitsWord::Metric)]
    units: UnitsWord,
}

impl InUnits {
    /// The units that the option means.
    pub(super) fn units(&self) -> Units {
        match self.units {
            UnitsWord::Metric => Units::Metric,
            UnitsWord::Imperial => Units::Imperial,
        }
    }
}

/// f-numbers of frames that don't record theirs.
#[derive(Debug, clap::Args)]
pub(super) struct Apertures {
    /// f-numbers of the frames in order, where the files do not record them: 1.8,2.8,8,16.
    #[arg(long, value_name = "F,F,...", value_delimiter = ',', value_parser = values::f_number)]
    pub(super) apertures: Vec<f64>,
}

/// What must be sharp, and how sharp.
#[derive(Debug, clap::Args)]
#[command(next_help_heading = "What must be sharp")]
pub(super) struct Subjects {
    #[command(flatten)]
    purpose: Purpose,
    /// Where in the picture the nearest subject that must be sharp is: x,y in fractions or pixels.
    #[arg(long, value_name = "X,Y", value_parser = values::place)]
    near_at: Option<Place>,
    /// Where in the picture the farthest subject that must be sharp is.
    #[arg(long, value_name = "X,Y", value_parser = values::place)]
    far_at: Option<Place>,
    /// Distance of the nearest subject.
    #[arg(long, value_name = "LENGTH", value_parser = values::length)]
    near: Option<f64>,
    /// Distance of the farthest subject, or inf.
    #[arg(long, value_name = "LENGTH", value_parser = values::distance)]
    far: Option<f64>,
    /// Height of the camera above the ground.
    #[arg(long, value_name = "LENGTH", value_parser = values::length)]
    camera_height: Option<f64>,
    #[command(flatten)]
    units: InUnits,
}

impl Subjects {
    /// The intent these options mean.
    ///
    /// # Errors
    /// Where the nearest subject is said to lie beyond the farthest.
    pub(super) fn intent(&self) -> anyhow::Result<Intent> {
        if let (Some(near), Some(far)) = (self.near, self.far) {
            anyhow::ensure!(
                near <= far,
                "the near distance ({near} m) lies beyond the far distance ({far} m); give the nearer one to --near"
            );
        }
        Ok(Intent {
            sharp_for: self.purpose.sharp_for,
            near_at: self.near_at,
            far_at: self.far_at,
            near_m: self.near,
            far_m: self.far,
            camera_height_m: self.camera_height,
            units: self.units.units(),
        })
    }
}

/// Facts given instead of, or over, what the files say.
#[derive(Debug, clap::Args)]
#[command(next_help_heading = "Capture facts given by hand")]
pub(super) struct Given {
    /// f-number, such as f/11.
    #[arg(long, value_name = "F", value_parser = values::f_number)]
    aperture: Option<f64>,
    /// Focal length, such as 24mm.
    #[arg(long, value_name = "LENGTH", value_parser = values::focal_mm)]
    focal: Option<f64>,
    /// Pixel pitch, such as 5.9um.
    #[arg(long, value_name = "LENGTH", value_parser = values::pitch_um)]
    pitch: Option<f64>,
    /// Focus distance, such as 2.4m or inf.
    #[arg(long, value_name = "LENGTH", value_parser = values::distance)]
    focus_distance: Option<f64>,
    /// Where the camera focused: x,y in fractions of the picture.
    #[arg(long, value_name = "X,Y", value_parser = values::place)]
    focus_point: Option<Place>,
    /// Exposure time, such as 1/125.
    #[arg(long, value_name = "TIME", value_parser = values::exposure_s)]
    exposure: Option<f64>,
    /// ISO speed.
    #[arg(long, value_name = "ISO", value_parser = values::whole::<u32>(1, u32::MAX.into()))]
    iso: Option<u32>,
    /// Camera body.
    #[arg(long, value_name = "NAME")]
    body: Option<String>,
    /// Lens name.
    #[arg(long, value_name = "NAME")]
    lens_name: Option<String>,
    /// Sensor of a camera whose files don't tell their pixel pitch, such as "Tarn One=23.5x15.6mm"; may be given again.
    #[arg(long, value_name = "BODY=WxH", value_parser = values::sensor_of)]
    sensor_of: Vec<(String, [f64; 2])>,
    /// Quarter turns clockwise that make the pictures upright.
    #[arg(long, value_name = "N", value_parser = values::whole::<u8>(0, 3))]
    turn: Option<u8>,
}

impl Given {
    /// The overrides these options mean.
    pub(super) fn overrides(&self) -> anyhow::Result<Overrides> {
        fn given<T>(value: Option<T>) -> Option<Fact<T>> {
            value.map(|v| Fact::new(v, Source::Given))
        }
        let focus_point = match self.focus_point {
            None => None,
            Some(Place::Fractions(p)) => Some(p),
            Some(Place::Pixels { .. }) => {
                anyhow::bail!("--focus-point takes fractions of the picture, such as 0.5,0.6")
            }
        };
        Ok(Overrides {
            capture: Capture {
                f_number: given(self.aperture),
                focal_length_mm: given(self.focal),
                exposure_s: given(self.exposure),
                iso: given(self.iso.map(f64::from)),
                body: given(self.body.clone()),
                lens: given(self.lens_name.clone()),
                focus_distance_m: given(self.focus_distance.map(Distance::from_metres)),
                focus_point: given(focus_point),
                pixel_pitch_um: given(self.pitch),
                ..Capture::default()
            },
            turn: self.turn,
            sensors: self.sensor_of.clone(),
        })
    }
}

/// Units as typed.
#[derive(Clone, Copy, Debug, ValueEnum)]
enum UnitsWord {
    Metric,
    Imperial,
}
