//! What the photographer wants of the picture: how sharp, which subjects, which units.

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

impl SharpFor {
    /// Diameter of the permissible blur disc in pixels of a picture `width` x `height` pixels large.
    ///
    /// For a print the disc subtends one minute of arc at the viewing distance (the usual figure for
    /// normal sight, common practice) and is carried back to pixels by the ratio of the long sides,
    /// so that a print of another shape is cropped, not squeezed.
    #[must_use]
    pub fn disc_px(self, width: u32, height: u32) -> f64 {
        let (w, h) = (f64::from(width), f64::from(height));
        match self {
            Self::Diagonal1500 => w.hypot(h) / 1500.0,
            Self::OneToOne => 2.0,
            Self::Print { long_m, short_m, distance_m } => {
                let arc_minute = std::f64::consts::PI / 180.0 / 60.0;
                let (long_px, short_px) = (w.max(h), w.min(h));
                // The picture fills the print: the smaller enlargement of the two sides would leave a margin.
                let metres_a_pixel = (long_m / long_px).max(short_m / short_px);
                distance_m * arc_minute / metres_a_pixel
            }
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
