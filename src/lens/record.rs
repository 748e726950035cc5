//! The stored form of a baseline: readable, versioned TOML; text in, text out.

use serde::{Deserialize, Serialize};
use thiserror::Error;

use super::{Baseline, Curvature, Entry, LearnedFrom};
use crate::quantity::Estimate;

/// Version of the stored form. Chosen: counted up with the form.
pub(crate) const VERSION: u32 = 1;
const FORMAT: &str = "tussock.lens";

/// Why a stored baseline could not be read.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum RecordError {
    /// Not TOML, or not of this shape.
    #[error("this is no stored lens baseline: {0}")]
    Shape(String),
    /// Written by a later version.
    #[error("this lens baseline has version {0}, which this program does not know; learn the lens again")]
    Version(u32),
    /// A grid whose numbers don't fill it, or a number that can't be.
    #[error("the lens baseline is damaged at {0}")]
    Damaged(String),
}

#[derive(Serialize, Deserialize)]
struct Stored {
    format: String,
    version: u32,
    lens: String,
    /// Left out where it is not known; earlier forms have 0 there.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    focal_length_mm: Option<f64>,
    /// Left out where it is not known, as in earlier forms.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    frame_mm: Option<[f64; 2]>,
    learned_from: LearnedFrom,
    /// The day it was learned.
    date: String,
    frames: u32,
    #[serde(default)]
    provisional: bool,
    #[serde(default)]
    stop: Vec<Stop>,
    curvature: Option<Grid>,
}

#[derive(Serialize, Deserialize)]
struct Stop {
    f_number: f64,
    frames: u32,
    #[serde(flatten)]
    grid: Grid,
}

/// Rows from the top of the upright landscape frame, cells from the left; nan is unknown.
#[derive(Serialize, Deserialize)]
struct Grid {
    um: Vec<Vec<f64>>,
    sd_um: Vec<Vec<f64>>,
    count: Vec<Vec<u32>>,
}

/// Writes a baseline. `date` is the day it was learned, ISO 8601.
#[must_use]
pub fn write(baseline: &Baseline, date: &str) -> String {
    let frames = baseline.entries.iter().map(|e| e.frames).sum();
    let stored = Stored {
        format: FORMAT.into(),
        version: VERSION,
        lens: baseline.lens.clone(),
        focal_length_mm: baseline.focal_length_mm,
        frame_mm: baseline.frame_mm.map(|(width, height)| [rounded(width), rounded(height)]),
        learned_from: baseline.learned_from,
        date: date.into(),
        frames,
        provisional: baseline.provisional,
        stop: baseline
            .entries
            .iter()
            .map(|e| Stop { f_number: e.f_number, frames: e.frames, grid: grid(e.columns, &e.sigma_um) })
            .collect(),
        curvature: baseline.curvature.as_ref().map(|c| grid(c.columns, &c.shift_um)),
    };
    let head = "# Lens blur over the upright landscape frame: Gaussian-equivalent sigma, um on the sensor, pixel\n\
                # aperture and diffraction taken out. Rows from the top, cells from the left, nan where unknown.\n\
                # frame_mm: width and height of that frame on the sensor.\n";
    // Numbers, text and lists always have a TOML form.
    head.to_owned() + &toml::to_string(&stored).unwrap_or_default()
}

/// Reads a baseline.
///
/// # Errors
/// [`RecordError`] says what is wrong with the text.
pub fn read(text: &str) -> Result<Baseline, RecordError> {
    let stored: Stored = toml::from_str(text).map_err(|e| RecordError::Shape(e.message().to_owned()))?;
    if stored.format != FORMAT {
        return Err(RecordError::Shape(format!("its format is '{}'", stored.format)));
    }
    if stored.version != VERSION {
        return Err(RecordError::Version(stored.version));
    }
    let mut entries = Vec::with_capacity(stored.stop.len());
    for stop in stored.stop {
        let place = format!("f/{}", stop.f_number);
        if !(stop.f_number > 0.0 && stop.f_number.is_finite()) {
            return Err(RecordError::Damaged(place));
        }
        let (columns, rows, sigma_um) = ungrid(&stop.grid, &place)?;
        if sigma_um.iter().flatten().any(|e| e.value < 0.0) {
            return Err(RecordError::Damaged(place));
        }
        entries.push(Entry { f_number: stop.f_number, frames: stop.frames, columns, rows, sigma_um });
    }
    entries.sort_by(|a, b| a.f_number.total_cmp(&b.f_number));
    let frame_mm = stored.frame_mm.map(|[width, height]| (width, height));
    let sound = |side: f64| side.is_finite() && side > 0.0;
    if frame_mm.is_some_and(|(width, height)| !(sound(width) && sound(height))) {
        return Err(RecordError::Damaged("frame_mm".to_owned()));
    }
    let curvature = match stored.curvature {
        None => None,
        Some(grid) => {
            let (columns, rows, shift_um) = ungrid(&grid, "the curvature")?;
            Some(Curvature { columns, rows, shift_um })
        }
    };
    Ok(Baseline {
        lens: stored.lens,
        focal_length_mm: stored.focal_length_mm.filter(|f| f.is_finite() && *f > 0.0),
        frame_mm,
        provisional: stored.provisional,
        learned_from: stored.learned_from,
        entries,
        curvature,
    })
}

/// The day a stored baseline was learned, ISO 8601; `None` where the text is none.
pub(crate) fn learned_on(text: &str) -> Option<String> {
    toml::from_str::<Stored>(text).ok().map(|stored| stored.date)
}

/// To thousandths.
fn rounded(value: f64) -> f64 {
    (value * 1e3).round() / 1e3
}

fn grid(columns: u32, cells: &[Option<Estimate>]) -> Grid {
    let table = |of: &dyn Fn(&Estimate) -> f64| -> Vec<Vec<f64>> {
        cells
            .chunks(columns.max(1) as usize)
            .map(|row| row.iter().map(|c| c.as_ref().map_or(f64::NAN, |e| rounded(of(e)))).collect())
            .collect()
    };
    let count = cells
        .chunks(columns.max(1) as usize)
        .map(|row| row.iter().map(|c| c.as_ref().map_or(0, |e| e.n)).collect())
        .collect();
    Grid { um: table(&|e| e.value), sd_um: table(&|e| e.sd), count }
}

type Cells = (u32, u32, Vec<Option<Estimate>>);

fn ungrid(grid: &Grid, place: &str) -> Result<Cells, RecordError> {
    let (rows, columns) = (grid.um.len(), grid.um.first().map_or(0, Vec::len));
    let even = grid.um.iter().all(|r| r.len() == columns)
        && grid.sd_um.len() == rows
        && grid.sd_um.iter().all(|r| r.len() == columns)
        && grid.count.len() == rows
        && grid.count.iter().all(|r| r.len() == columns);
    if !even || rows == 0 || columns == 0 || rows > 1000 || columns > 1000 {
        return Err(RecordError::Damaged(place.to_owned()));
    }
    let mut cells = Vec::with_capacity(rows * columns);
    for ((um, sd), n) in grid.um.iter().flatten().zip(grid.sd_um.iter().flatten()).zip(grid.count.iter().flatten()) {
        let known = um.is_finite() && sd.is_finite() && *sd >= 0.0;
        if !known && !um.is_nan() {
            return Err(RecordError::Damaged(place.to_owned()));
        }
        cells.push(known.then(|| Estimate::new(*um, *sd, *n)));
    }
    Ok((columns as u32, rows as u32, cells))
}
