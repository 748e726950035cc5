//! Baseline: lens blur by f-number and place in the frame when all else is right.

use serde::{Deserialize, Serialize};

use crate::quantity::Estimate;

/// What a lens does at its best, learned from frames.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Baseline {
    /// Lens name as the files state it.
    pub lens: String,
    /// Focal length, mm.
    pub focal_length_mm: f64,
    /// Whether it was learned from the very shoot it is used on.
    pub provisional: bool,
    /// What was learned, by f-number.
    pub entries: Vec<Entry>,
}

/// Lens blur over the field at one f-number.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Entry {
    /// f-number.
    pub f_number: f64,
    /// How many frames it rests on.
    pub frames: u32,
    /// Columns of the field grid.
    pub columns: u32,
    /// Rows of the field grid.
    pub rows: u32,
    /// Row-major over the upright landscape frame: lens blur (pixel aperture and diffraction taken out),
    /// Gaussian-equivalent sigma in um on the sensor; `None` where too few frames tell.
    pub sigma_um: Vec<Option<Estimate>>,
}

impl Baseline {
    /// Expected lens blur, um, at a place (fractions of the landscape frame from its top-left corner) and f-number.
    #[must_use]
    pub fn expected_um(&self, _x: f64, _y: f64, _f_number: f64) -> Option<Estimate> {
        None
    }
}
