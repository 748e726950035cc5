//! Capture facts, each with where it came from.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::quantity::{Distance, Point};

/// Where a fact came from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub enum Source {
    /// A standard Exif or TIFF tag.
    Exif,
    /// The maker's own block.
    #[serde(rename = "maker note")]
    MakerNote,
    /// XMP, in the file or beside it.
    #[serde(rename = "XMP")]
    Xmp,
    /// Computed from other facts.
    #[serde(rename = "derived")]
    Derived,
    /// Given by the user on the command line.
    #[serde(rename = "given")]
    Given,
    /// Assumed for want of anything better.
    #[serde(rename = "assumed")]
    Assumed,
}

impl Source {
    /// The word used on screen and in files.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Exif => "Exif",
            Self::MakerNote => "maker note",
            Self::Xmp => "XMP",
            Self::Derived => "derived",
            Self::Given => "given",
            Self::Assumed => "assumed",
        }
    }
}

/// A value and where it came from.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Fact<T> {
    /// The value.
    pub value: T,
    /// Its source.
    pub source: Source,
}

impl<T> Fact<T> {
    /// A fact from its parts.
    pub const fn new(value: T, source: Source) -> Self {
        Self { value, source }
    }
}

/// Everything a file says about how the picture was taken; absent facts are `None`, never zero.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Capture {
    /// f-number.
    pub f_number: Option<Fact<f64>>,
    /// Focal length, mm.
    pub focal_length_mm: Option<Fact<f64>>,
    /// Focal length that would give the same field on a 24 x 36 mm frame, mm.
    pub focal_length_35mm: Option<Fact<f64>>,
    /// Exposure time, s.
    pub exposure_s: Option<Fact<f64>>,
    /// ISO speed.
    pub iso: Option<Fact<f64>>,
    /// Camera body, maker and model.
    pub body: Option<Fact<String>>,
    /// Lens name.
    pub lens: Option<Fact<String>>,
    /// Date and time of the exposure as the camera's clock had it, ISO 8601 without zone.
    pub date: Option<Fact<String>>,
    /// Focus distance in metres, as the camera or the user states it.
    pub focus_distance_m: Option<Fact<Distance>>,
    /// Where the camera focused, in fractions of the upright picture.
    pub focus_point: Option<Fact<Point>>,
    /// How the camera focused, in the file's own terms.
    pub focus_mode: Option<Fact<String>>,
    /// Distance between neighbouring pixels of this picture on the sensor, um.
    pub pixel_pitch_um: Option<Fact<f64>>,
    /// How the picture is stored, as the Exif tag has it (1 to 8), with the turn that the user gave: which way the camera was held.
    pub orientation: Option<Fact<u16>>,
}

/// Focal length, mm, and f-number below which a lens has one aperture only, as those of phones have. Chosen: no camera
/// with a diaphragm has so short a lens that opens so far (common practice, no published source).
const ONE_APERTURE: (f64, f64) = (8.0, 2.5);

/// Whether a lens has one aperture only.
#[must_use]
pub fn fixed_aperture(focal_mm: f64, f_number: f64) -> bool {
    focal_mm < ONE_APERTURE.0 && f_number < ONE_APERTURE.1
}

impl Capture {
    /// Scale of diffraction, a wavelength (um) times the f-number over the pixel pitch, px; `None` where either is unknown.
    #[must_use]
    pub fn lambda_n_px(&self, wavelength_um: f64) -> Option<f64> {
        let (n, pitch) = (self.f_number.as_ref()?.value, self.pixel_pitch_um.as_ref()?.value);
        Some(wavelength_um * n / pitch)
    }
}
