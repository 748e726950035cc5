//! A learned lens as JSON.

use schemars::JsonSchema;
use serde::Serialize;

use crate::lens::{Asymmetry, Baseline, LearnedFrom, Sides};
use crate::report::say::number::machine;

/// `tussock.learned-lens`, version 1: what `tussock lens learn --json` and `tussock lens show --json` print.
#[derive(Debug, Serialize, JsonSchema)]
pub struct LearnedLensView {
    /// Always `tussock.learned-lens`.
    pub format: &'static str,
    /// Version of this format.
    pub version: u32,
    /// Lens name as the files state it.
    pub lens: String,
    /// Focal length, mm; null where the files don't state it.
    pub focal_length_mm: Option<f64>,
    /// Width and height on the sensor, mm, of the landscape frame it was learned on; null in files of before that was kept, which are
    /// taken to fill any frame.
    pub frame_mm: Option<[f64; 2]>,
    /// What kind of frames it was learned from.
    pub learned_from: LearnedFrom,
    /// What was learned, by f-number.
    pub stops: Vec<LearnedStopView>,
    /// How unlike the two sides of the field are, by f-number.
    pub asymmetries: Vec<AsymmetryView>,
}

/// The field at one f-number.
#[derive(Debug, Serialize, JsonSchema)]
pub struct LearnedStopView {
    /// f-number.
    pub f_number: f64,
    /// How many frames it rests on.
    pub frames: u32,
    /// Columns of the field's grid.
    pub columns: u32,
    /// Rows of the field's grid.
    pub rows: u32,
    /// The lens's own blur, row by row from the top left of the upright landscape frame: Gaussian-equivalent sigma, um, pixel
    /// aperture and diffraction taken out; null where too few frames tell.
    pub blur_um: Vec<Option<f64>>,
    /// Its standard deviation.
    pub blur_um_sd: Vec<Option<f64>>,
}

/// Two sides compared.
#[derive(Debug, Serialize, JsonSchema)]
pub struct AsymmetryView {
    /// f-number.
    pub f_number: f64,
    /// Which sides; a positive difference means the first is softer.
    pub sides: Sides,
    /// Difference of their blur, um.
    pub difference_um: Option<f64>,
    /// Its standard deviation.
    pub difference_um_sd: Option<f64>,
}

/// The view of a baseline.
pub(crate) fn learned_lens(baseline: &Baseline, asymmetries: &[Asymmetry]) -> LearnedLensView {
    LearnedLensView {
        format: "tussock.learned-lens",
        version: 1,
        lens: baseline.lens.clone(),
        focal_length_mm: baseline.focal_length_mm.and_then(machine),
        frame_mm: baseline.frame_mm.and_then(|(width, height)| Some([machine(width)?, machine(height)?])),
        learned_from: baseline.learned_from,
        stops: baseline
            .entries
            .iter()
            .map(|e| LearnedStopView {
                f_number: e.f_number,
                frames: e.frames,
                columns: e.columns,
                rows: e.rows,
                blur_um: e.sigma_um.iter().map(|s| s.and_then(|s| machine(s.value))).collect(),
                blur_um_sd: e.sigma_um.iter().map(|s| s.and_then(|s| machine(s.sd))).collect(),
            })
            .collect(),
        asymmetries: asymmetries
            .iter()
            .map(|a| AsymmetryView {
                f_number: a.f_number,
                sides: a.sides,
                difference_um: machine(a.difference_um.value),
                difference_um_sd: machine(a.difference_um.sd),
            })
            .collect(),
    }
}
