//! Question: what the photographer asks of the next shot, and why some questions have no answer.

use schemars::JsonSchema;
use serde::Serialize;
use thiserror::Error;

use crate::optics::cover::{Depth, Opening};
use crate::optics::stops::THIRDS;
use crate::quantity::{DISC_SIGMA, Distance, SharpFor};
use crate::shot::{Fact, Source, fixed_aperture};

/// The situation of the next shot. Distances are from the entrance pupil, along the lens's axis.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Question {
    /// Nearest subject that must be sharp, m.
    pub near_m: f64,
    /// Farthest subject that must be sharp, m.
    #[serde(serialize_with = "metres")]
    #[schemars(with = "crate::quantity::Distance")]
    pub far_m: f64,
    /// Focal length, mm.
    pub focal_mm: f64,
    /// A stop the photographer has in mind; of a lens as short and as wide as phones have them the only one it has.
    pub f_number: Option<f64>,
    /// The smallest aperture that the lens has.
    pub smallest: f64,
    /// The sensor.
    pub sensor: Fact<Sensor>,
    /// Pixel pitch, um.
    pub pitch_um: Fact<f64>,
    /// Height of the camera above the ground, m.
    pub height_m: Option<f64>,
    /// How far below the horizon it points, radians.
    pub down_rad: Option<f64>,
    /// The use the picture must be sharp for.
    #[serde(serialize_with = "use_word")]
    #[schemars(with = "String")]
    pub sharp_for: SharpFor,
    /// Speed of a moving subject across the view at the near distance, m/s.
    pub speed_m_s: Option<f64>,
}

/// Where the photographer was: what an audited photograph shows.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Was {
    /// The photograph.
    pub file: String,
    /// Its f-number.
    pub f_number: Option<f64>,
    /// Focus distance that its blur implies, m: nearest plausible, best, farthest plausible.
    pub focus_m: Option<[Distance; 3]>,
    /// Distance of its nearest ground, in the same way.
    pub near_m: Option<[Distance; 3]>,
}

/// Sides of the sensor as the picture is taken (an upright picture has the longer one as its height).
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Sensor {
    /// Width, mm.
    pub width_mm: f64,
    /// Height, mm.
    pub height_mm: f64,
}

impl Sensor {
    /// The 24 x 36 mm frame, wide.
    pub const FULL_FRAME: Self = Self { width_mm: 36.0, height_mm: 24.0 };

    /// Pixel pitch, um, assumed where none is known: 6000 pixels along the longer side.
    pub(crate) fn usual_pitch_um(self) -> f64 {
        self.width_mm.max(self.height_mm) * 1e3 / 6000.0
    }
}

/// How a print relates to the sensor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct PrintScale {
    /// Print size over sensor size.
    pub enlargement: f64,
    /// Viewing distance, m.
    pub distance_m: f64,
}

/// Why a question has no answer; each a sentence.
#[derive(Clone, Debug, PartialEq, Error)]
pub enum Refusal {
    /// Near lies beyond far.
    #[error("the near distance ({near_m} m) lies beyond the far distance ({far_m} m); give the nearer one to --near")]
    NearBeyondFar {
        /// Near, m.
        near_m: f64,
        /// Far, m.
        far_m: f64,
    },
    /// Near lies within the focal length.
    #[error(
        "a subject at {near_m} m lies within the focal length ({focal_mm} mm), where no lens can focus; \
         give a larger --near or a shorter --focal"
    )]
    WithinFocalLength {
        /// Near, m.
        near_m: f64,
        /// Focal length, mm.
        focal_mm: f64,
    },
    /// Near is infinite.
    #[error("the near distance must be finite")]
    NearInfinite,
    /// A value that is not a positive number.
    #[error("{0} must be a positive number")]
    NotPositive(&'static str),
    /// A lens that closes no further than lenses open.
    #[error(
        "a lens that closes no further than f/{smallest} is none; give --smallest its narrowest stop, such as f/16"
    )]
    Smallest {
        /// f-number.
        smallest: f64,
    },
    /// The lower edge of the picture never meets the ground.
    #[error("pointed like this, the lower edge of the picture never meets the ground; give --near or a larger --down")]
    NoGround,
}

impl Question {
    /// Whether a camera could be in this situation.
    pub(super) fn check(&self) -> Result<(), Refusal> {
        let positive = |value: f64, name| if value > 0.0 { Ok(()) } else { Err(Refusal::NotPositive(name)) };
        let finite =
            |value: f64, name| if value.is_finite() { positive(value, name) } else { Err(Refusal::NotPositive(name)) };
        if self.near_m.is_infinite() {
            return Err(Refusal::NearInfinite);
        }
        finite(self.near_m, "the near distance")?;
        positive(self.far_m, "the far distance")?;
        finite(self.focal_mm, "the focal length")?;
        finite(self.pitch_um.value, "the pixel pitch")?;
        finite(self.sensor.value.width_mm, "the sensor's width")?;
        finite(self.sensor.value.height_mm, "the sensor's height")?;
        self.f_number.map_or(Ok(()), |n| finite(n, "the f-number"))?;
        finite(self.smallest, "the smallest aperture")?;
        if self.smallest < THIRDS[0] {
            return Err(Refusal::Smallest { smallest: self.smallest });
        }
        self.height_m.map_or(Ok(()), |h| finite(h, "the camera's height"))?;
        self.speed_m_s.map_or(Ok(()), |v| finite(v, "the subject's speed"))?;
        if self.near_m > self.far_m {
            return Err(Refusal::NearBeyondFar { near_m: self.near_m, far_m: self.far_m });
        }
        if self.near_m * 1e3 <= self.focal_mm {
            return Err(Refusal::WithinFocalLength { near_m: self.near_m, focal_mm: self.focal_mm });
        }
        Ok(())
    }

    /// The f-number of a lens that has no other, as those of phones have none: it was used, and can't be chosen.
    #[must_use]
    pub fn one_aperture(&self) -> Option<f64> {
        self.f_number.filter(|&n| fixed_aperture(self.focal_mm, n))
    }

    /// The f-numbers that can be set.
    pub(super) fn opening(&self) -> Opening {
        self.one_aperture().map_or(Opening::UpTo(self.smallest), Opening::Set)
    }

    /// The depth to be covered.
    pub(super) fn depth(&self) -> Depth {
        Depth::new(self.focal_mm, self.near_m * 1e3, self.far_m * 1e3)
    }

    /// Diameter of the permitted blur disc on the sensor, um: that of the use, but no finer than pixels of a known
    /// pitch show.
    #[must_use]
    pub fn permitted_disc_um(&self) -> f64 {
        let ([width, height], pixel) = (self.sides_m(), self.pitch_um.value * 1e-6);
        let known = self.pitch_um.source != Source::Assumed;
        let disc = if known { SharpFor::disc_shown } else { SharpFor::disc };
        disc(self.sharp_for, width, height, pixel) * 1e6
    }

    /// Whether the pixels permit no finer disc than this, though the use would ask for one.
    pub(crate) fn set_by_pixels(&self) -> bool {
        let [width, height] = self.sides_m();
        self.permitted_disc_um() * 1e-6 > (1.0 + 1e-9) * self.sharp_for.disc(width, height, self.pitch_um.value * 1e-6)
    }

    /// Sides of the sensor, m.
    fn sides_m(&self) -> [f64; 2] {
        let Sensor { width_mm, height_mm } = self.sensor.value;
        [width_mm * 1e-3, height_mm * 1e-3]
    }

    /// The same as a Gaussian-equivalent sigma, um.
    #[must_use]
    pub fn permitted_sigma_um(&self) -> f64 {
        DISC_SIGMA * self.permitted_disc_um()
    }

    /// How the print that was asked for relates to the sensor.
    pub(crate) fn print_scale(&self) -> Option<PrintScale> {
        let [width, height] = self.sides_m();
        match self.sharp_for {
            SharpFor::Print { distance_m, .. } => {
                Some(PrintScale { enlargement: self.sharp_for.enlargement(width, height)?, distance_m })
            }
            _ => None,
        }
    }
}

fn metres<S: serde::Serializer>(value: &f64, serializer: S) -> Result<S::Ok, S::Error> {
    crate::quantity::Distance::from_metres(*value).serialize(serializer)
}

fn use_word<S: serde::Serializer>(value: &SharpFor, serializer: S) -> Result<S::Ok, S::Error> {
    serializer.collect_str(value)
}
