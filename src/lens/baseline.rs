//! Baseline: lens blur by f-number and place in the frame when all else is right.

use serde::{Deserialize, Serialize};

use crate::optics::{blur, lambda_n_px};
use crate::quantity::Estimate;

/// What a lens does at its best, learned from frames.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Baseline {
    /// Lens name as the files state it.
    pub lens: String,
    /// Focal length, mm; `None` where the files don't state it.
    pub focal_length_mm: Option<f64>,
    /// Whether it was learned from the very shoot it is used on.
    pub provisional: bool,
    /// What kind of frames it was learned from.
    pub learned_from: LearnedFrom,
    /// What was learned, by f-number, rising.
    pub entries: Vec<Entry>,
    /// Where each part of the field focuses; `None` unless a focus series told.
    pub curvature: Option<Curvature>,
}

/// The kind of frames a baseline rests on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, schemars::JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum LearnedFrom {
    /// One flat or far subject at several f-numbers.
    ApertureSeries,
    /// One flat or far subject at several focus distances.
    FocusSeries,
    /// Many frames of a shoot, the sharpest parts of each.
    Shoot,
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

/// How far behind the sensor each part of the field comes to focus when the centre is in focus.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Curvature {
    /// Columns of the field grid.
    pub columns: u32,
    /// Rows of the field grid.
    pub rows: u32,
    /// Row-major: shift of best focus along the axis against the centre, um, positive towards the lens's far
    /// side (a subject there must be nearer to be sharp).
    pub shift_um: Vec<Option<Estimate>>,
}

/// Chosen: a stop and a half. Largest factor beyond the learned f-numbers for which the nearest of them still stands.
const REACH: f64 = 1.7;

impl Baseline {
    /// Expected lens blur, um, at a place (fractions of the landscape frame from its top-left corner) and f-number.
    ///
    /// Straight between cells, and straight in log N between f-numbers. Up to a stop and a half beyond the learned
    /// f-numbers the nearest one stands, its sd widened by the stretch; `None` farther out or where nothing near
    /// was measured.
    #[must_use]
    pub fn expected_um(&self, x: f64, y: f64, f_number: f64) -> Option<Estimate> {
        if !(f_number > 0.0 && x.is_finite() && y.is_finite()) {
            return None;
        }
        let known: Vec<(f64, Estimate)> = self.entries.iter().filter_map(|e| Some((e.f_number, e.at(x, y)?))).collect();
        let above = known.partition_point(|(n, _)| *n < f_number);
        let beyond = |(n, e): (f64, Estimate)| {
            let factor = (n / f_number).max(f_number / n);
            // Lens blur goes at most as 1 / N over such a stretch, so it may be off by all of the factor.
            (factor <= REACH).then(|| Estimate::new(e.value, e.sd.hypot(e.value * (factor - 1.0) * 0.5), e.n))
        };
        match (above.checked_sub(1).map(|i| known[i]), known.get(above).copied()) {
            (Some((low, a)), Some((high, b))) => {
                let share = if high > low { (f_number / low).ln() / (high / low).ln() } else { 0.0 };
                Some(mix(&[(1.0 - share, a), (share, b)]))
            }
            (Some(end), None) | (None, Some(end)) => beyond(end),
            (None, None) => None,
        }
    }

    /// Whole blur (px, pixel aperture and diffraction included) that the lens leaves in focus at a distance from the
    /// centre, as a share of the half diagonal: the mean around a 3:2 frame, its sd that of one place. `None` where
    /// nothing was learned at that distance.
    pub(crate) fn in_focus_px(&self, distance: f64, f_number: f64, pitch_um: f64) -> Option<Estimate> {
        const AROUND: u32 = 24;
        // Half sides of a 3:2 frame over its half diagonal.
        const HALF: (f64, f64) = (0.832_05, 0.554_70);
        let places = (0..AROUND).filter_map(|k| {
            let (s, c) = (std::f64::consts::TAU * f64::from(k) / f64::from(AROUND)).sin_cos();
            let (x, y) = (0.5 + 0.5 * distance * c / HALF.0, 0.5 + 0.5 * distance * s / HALF.1);
            let inside = |v: f64| (-1e-6..=1.0 + 1e-6).contains(&v);
            if inside(x) && inside(y) { self.expected_um(x, y, f_number) } else { None }
        });
        let learned: Vec<(f64, Estimate)> = places.map(|e| (1.0, e)).collect();
        if learned.is_empty() || !(pitch_um > 0.0) {
            return None;
        }
        let lens = mix(&learned);
        let whole = |um: f64| {
            blur::sigma_px(&blur::Parts {
                lambda_n_px: Some(lambda_n_px(f_number, pitch_um)),
                lens_px: um.max(0.0) / pitch_um,
                pixel: true,
                ..blur::Parts::default()
            })
        };
        let sd = 0.5 * (whole(lens.value + lens.sd) - whole(lens.value - lens.sd));
        Some(Estimate::new(whole(lens.value), sd, lens.n))
    }
}

impl Entry {
    /// Lens blur, um, at a place (fractions of the landscape frame).
    #[must_use]
    pub fn at(&self, x: f64, y: f64) -> Option<Estimate> {
        let blur = bilinear(self.columns, self.rows, &self.sigma_um, x, y)?;
        Some(Estimate { value: blur.value.max(0.0), ..blur })
    }
}

/// A weighted mean of estimates whose errors go together, as those of neighbouring cells do.
pub(super) fn mix(parts: &[(f64, Estimate)]) -> Estimate {
    let sum = |of: &dyn Fn(f64) -> f64| parts.iter().map(|(w, _)| of(*w)).sum::<f64>();
    let (total, reach) = (sum(&|w| w), sum(&f64::abs));
    let mean = |of: fn(&Estimate) -> f64| parts.iter().map(|(w, e)| w * of(e)).sum::<f64>() / total;
    let sd = parts.iter().map(|(w, e)| w.abs() * e.sd).sum::<f64>() / reach;
    let n = parts.iter().filter(|(w, _)| *w > 0.0).map(|(_, e)| e.n).max().unwrap_or(0);
    // Beyond the outermost centres weights of both signs add up to one, and the error grows with them.
    Estimate::new(mean(|e| e.value), sd * reach / total, n)
}

/// Straight interpolation between the centres of cells, and straight on to the rim of the picture; cells
/// without a number are left out of the mean.
fn bilinear(columns: u32, rows: u32, cells: &[Option<Estimate>], x: f64, y: f64) -> Option<Estimate> {
    if columns == 0 || rows == 0 || cells.len() != columns as usize * rows as usize {
        return None;
    }
    let along = |fraction: f64, count: u32| {
        let place = fraction.clamp(0.0, 1.0) * f64::from(count) - 0.5;
        let first = (place.max(0.0) as usize).min((count as usize).saturating_sub(2));
        (first, (first + 1).min(count as usize - 1), if count > 1 { place - first as f64 } else { 0.0 })
    };
    let ((left, right, u), (top, bottom, v)) = (along(x, columns), along(y, rows));
    let at = |row: usize, column: usize| cells[row * columns as usize + column];
    let corners = |u: f64, v: f64| {
        [
            ((1.0 - u) * (1.0 - v), at(top, left)),
            (u * (1.0 - v), at(top, right)),
            ((1.0 - u) * v, at(bottom, left)),
            (u * v, at(bottom, right)),
        ]
    };
    let known = |corners: [(f64, Option<Estimate>); 4]| -> Vec<(f64, Estimate)> {
        corners.into_iter().filter_map(|(w, e)| Some((w, e?))).filter(|(w, _)| w.abs() > 1e-9).collect()
    };
    let mut used = known(corners(u, v));
    if used.len() < 4 || used.iter().any(|(w, _)| *w < 0.0) && used.iter().any(|(_, e)| e.sd > e.value.abs()) {
        // Nothing is carried on to the rim from an incomplete or doubtful square.
        used = known(corners(u.clamp(0.0, 1.0), v.clamp(0.0, 1.0)));
    }
    // A place nearer to unknown cells than to known ones is unknown.
    (used.iter().map(|(w, _)| w).sum::<f64>() >= 0.5).then(|| mix(&used))
}
