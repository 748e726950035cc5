//! Baseline: lens blur by f-number and place in the frame when all else is right.

use serde::{Deserialize, Serialize};

use super::Lie;
use crate::optics::{blur, lambda_n_px};
use crate::quantity::Estimate;

/// What a lens does at its best, learned from frames.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Baseline {
    /// Lens name as the files state it.
    pub lens: String,
    /// Focal length, mm; `None` where the files don't state it.
    pub focal_length_mm: Option<f64>,
    /// Width and height on the sensor, mm, of the landscape frame it was learned on. `None` in files of before this was kept: those
    /// are taken to fill whatever frame they are used on.
    pub frame_mm: Option<(f64, f64)>,
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

/// Largest factor by which an f-number may lie beyond the learned ones for the nearest of them still to stand for it. Chosen:
/// a stop and a half.
const REACH: f64 = 1.7;

/// Largest distance of a place from the middle, over that of the rim of what was learned, at which the rim still stands for it.
/// Chosen: what files say of one sensor's size differs by as much, with or without the border that raw files keep.
const RIM: f64 = 1.03;

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

    /// The same at a place on the sensor, mm from the middle of the landscape frame to the right and down: a lens draws by
    /// millimetres, whatever part of its picture the sensor takes. `frame_mm` is the frame's size, which a baseline without one of its
    /// own is taken to fill. `None` beyond what was learned, too.
    #[must_use]
    pub fn expected_at_um(&self, place_mm: (f64, f64), frame_mm: (f64, f64), f_number: f64) -> Option<Estimate> {
        let (width, height) = self.frame_mm.unwrap_or(frame_mm);
        let (x, y) = (place_mm.0 / width, place_mm.1 / height);
        if x.abs().max(y.abs()) > 0.5 * RIM {
            return None;
        }
        self.expected_um(0.5 + x, 0.5 + y, f_number)
    }

    /// Whether all of a picture lies within what was learned.
    pub(crate) fn covers(&self, lie: &Lie) -> bool {
        let (width, height) = lie.frame_mm();
        self.frame_mm.is_none_or(|own| width <= RIM * own.0 && height <= RIM * own.1)
    }

    /// The same at a place of an upright picture, px from its top-left corner. Where it may lie on the sensor in two ways it is the
    /// mean of both, as uncertain as they differ.
    pub(crate) fn expected_in_um(&self, lie: &Lie, at: (f64, f64), f_number: f64) -> Option<Estimate> {
        let learned = |place| self.expected_at_um(place, lie.frame_mm(), f_number);
        let one = learned(lie.on_sensor(at))?;
        let Some(place) = lie.or_on_sensor(at) else { return Some(one) };
        let other = learned(place)?;
        let mean = mix(&[(0.5, one), (0.5, other)]);
        Some(Estimate { sd: mean.sd.hypot(0.5 * (one.value - other.value)), ..mean })
    }

    /// Whole blur (px, pixel aperture and diffraction included) that the lens leaves in focus in a picture of that size (px) at a
    /// distance from its centre, as a share of its half diagonal: the mean around the picture, its sd that of one place. `None` where
    /// nothing was learned at that distance.
    pub(crate) fn in_focus_px(
        &self,
        distance: f64,
        f_number: f64,
        pitch_um: f64,
        (width, height): (u32, u32),
    ) -> Option<Estimate> {
        const AROUND: u32 = 24;
        let mm = |px: u32| f64::from(px) * pitch_um * 1e-3;
        // A quarter turn leads from place to place around it, so the camera may be taken to be level.
        let frame = (mm(width.max(height)), mm(width.min(height)));
        let radius = 0.5 * distance * frame.0.hypot(frame.1);
        let places = (0..AROUND).filter_map(|k| {
            let (s, c) = (std::f64::consts::TAU * f64::from(k) / f64::from(AROUND)).sin_cos();
            let (x, y) = (radius * c, radius * s);
            let inside = |v: f64, side: f64| v.abs() <= (0.5 + 1e-6) * side;
            (inside(x, frame.0) && inside(y, frame.1)).then(|| self.expected_at_um((x, y), frame, f_number)).flatten()
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
