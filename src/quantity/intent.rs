//! What the photographer wants of the picture: how sharp, which subjects, which units.

use std::fmt;

use serde::{Deserialize, Serialize};

use super::Place;

/// The use a picture must be sharp for; it sets the permissible blur disc.
#[derive(Clone, Copy, Debug, PartialEq, Default, Serialize, Deserialize)]
pub enum SharpFor {
    /// A disc of sensor diagonal / 1500 (common practice).
    #[default]
    Diagonal1500,
    /// Inspection at 1:1: a disc two pixels across.
    OneToOne,
    /// A print of this size seen from this distance: a disc that subtends one minute of arc there.
    Print {
        /// Long side of the print, metres.
        long_m: f64,
        /// Short side of the print, metres.
        short_m: f64,
        /// Viewing distance, metres.
        distance_m: f64,
    },
}

/// The finest disc a picture can show, px: with a disc narrower than two pixels neighbouring points are no further
/// apart than the samples are, so whatever the use a picture is not judged more finely. Derived: two samples a period,
/// the sampling theorem.
pub const FINEST_DISC_PX: f64 = 2.0;

/// The diagonal over the permitted disc where nothing is said of the use. Chosen: common practice, no published source.
const DIAGONAL_OVER_DISC: f64 = 1500.0;

/// One minute of arc, radians: what normal sight resolves. Published: the gap of the standard optotype of ISO 8596 at
/// visual acuity 1 (from memory).
const ARC_MINUTE: f64 = std::f64::consts::PI / 180.0 / 60.0;

impl fmt::Display for SharpFor {
    /// As it is typed after `--sharp-for`, lengths to a tenth of a millimetre.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Self::Diagonal1500 => f.write_str("diagonal"),
            Self::OneToOne => f.write_str("1:1"),
            Self::Print { long_m, short_m, distance_m } => {
                let cm = |m: f64| (m * 1e4).round() / 100.0;
                write!(f, "print:{}x{}cm@{}cm", cm(long_m), cm(short_m), cm(distance_m))
            }
        }
    }
}

impl SharpFor {
    /// Diameter of the permissible blur disc of a picture with these sides and pixels as large as `pixel`, in the unit
    /// that the three are in; whether the pixels show so fine a disc is not asked here.
    ///
    /// For a print the disc subtends one minute of arc at the viewing distance and is carried back by the enlargement.
    #[must_use]
    pub fn disc(self, width: f64, height: f64, pixel: f64) -> f64 {
        match (self, self.enlargement(width, height)) {
            (Self::OneToOne, _) => FINEST_DISC_PX * pixel,
            (Self::Print { distance_m, .. }, Some(enlargement)) => distance_m * ARC_MINUTE / enlargement,
            _ => width.hypot(height) / DIAGONAL_OVER_DISC,
        }
    }

    /// The same, but no finer than the pixels show.
    #[must_use]
    pub fn disc_shown(self, width: f64, height: f64, pixel: f64) -> f64 {
        self.disc(width, height, pixel).max(FINEST_DISC_PX * pixel)
    }

    /// Metres on the print to a unit of the picture's sides; `None` where no print is asked for.
    ///
    /// The picture fills the print, so that one of another shape is cropped: the smaller enlargement of the two sides
    /// would leave a margin.
    #[must_use]
    pub fn enlargement(self, width: f64, height: f64) -> Option<f64> {
        match self {
            Self::Print { long_m, short_m, .. } => Some((long_m / width.max(height)).max(short_m / width.min(height))),
            _ => None,
        }
    }
}

/// Units that people read; machine-readable output is always metric.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Units {
    /// Metres and millimetres.
    #[default]
    Metric,
    /// Feet and inches.
    Imperial,
}

/// All that the user asked of one audit, apart from the photographs themselves.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct Intent {
    /// How sharp is sharp enough.
    pub sharp_for: SharpFor,
    /// The nearest subject that must be sharp, marked in the picture.
    pub near_at: Option<Place>,
    /// The farthest subject that must be sharp, marked in the picture.
    pub far_at: Option<Place>,
    /// Distance of the nearest subject, metres.
    pub near_m: Option<f64>,
    /// Distance of the farthest subject, metres (may be infinite).
    pub far_m: Option<f64>,
    /// Height of the camera above the ground, metres.
    pub camera_height_m: Option<f64>,
    /// Units for sentences.
    pub units: Units,
}

impl Intent {
    /// One over the distance of the far scene, 1/m: zero, as at infinity, where nothing was said of it.
    #[must_use]
    pub fn inverse_far(&self) -> f64 {
        self.far_m.map_or(0.0, |m| 1.0 / m)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_use_is_said_as_it_is_typed() {
        let print = SharpFor::Print { long_m: 0.6, short_m: 0.4, distance_m: 0.5 };
        let said = [SharpFor::Diagonal1500, SharpFor::OneToOne, print].map(|s| s.to_string());
        assert_eq!(said, ["diagonal", "1:1", "print:60x40cm@50cm"]);
    }
}
