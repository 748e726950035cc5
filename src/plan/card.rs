//! Card: near distance against focal length, giving focus distance and best stop, for the pocket.

use schemars::JsonSchema;
use serde::Serialize;

use super::{Question, Refusal, plan};

/// A field card as data.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Card {
    /// What holds for every cell; its near distance and focal length are those of the first.
    pub asked: Question,
    /// Permitted blur disc on the sensor, um.
    pub permitted_disc_um: f64,
    /// Focal lengths of the columns, mm.
    pub focal_mm: Vec<f64>,
    /// One row a near distance.
    pub rows: Vec<Row>,
}

/// One near distance.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Row {
    /// Nearest subject, m.
    pub near_m: f64,
    /// Where to focus, m: the same for every lens.
    pub focus_distance_m: f64,
    /// One cell a focal length.
    pub cells: Vec<Option<Cell>>,
}

/// The answer for one lens and near distance.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Cell {
    /// The third-stop that does best.
    pub best_stop: f64,
    /// The widest third-stop that keeps both ends permitted; null where none does.
    pub widest_stop: Option<f64>,
    /// Whether the best stop is enough.
    pub enough: bool,
    /// How far to step back until it is, m; null where 100 m would not do.
    pub step_back_m: Option<f64>,
    /// Frames a focus bracket would take.
    pub bracket_frames: u64,
}

/// Fills a card: `base` with each near distance (m) and focal length (mm) in turn. A cell is empty where the near
/// distance lies within the focal length or beyond the far distance.
///
/// # Errors
/// [`Refusal`] where no cell could be filled.
pub fn card(base: &Question, near_m: &[f64], focal_mm: &[f64]) -> Result<Card, Refusal> {
    let mut refused = None;
    let mut rows = Vec::with_capacity(near_m.len());
    for &near in near_m {
        let cells = focal_mm.iter().map(|&focal| {
            let question = Question { near_m: near, focal_mm: focal, ..base.clone() };
            match plan(&question) {
                Ok(plan) => Some(Cell {
                    best_stop: plan.best_stop,
                    widest_stop: plan.stops.iter().find(|s| s.acceptable).map(|s| s.f_number),
                    enough: plan.enough,
                    step_back_m: plan.step_back.needed_m,
                    bracket_frames: plan.bracket.count,
                }),
                Err(refusal) => {
                    refused = Some(refusal);
                    None
                }
            }
        });
        let cells: Vec<_> = cells.collect();
        let focus_distance_m = crate::optics::depth::equal_blur_focus(near, base.far_m);
        rows.push(Row { near_m: near, focus_distance_m, cells });
    }
    match refused {
        Some(refusal) if rows.iter().all(|row| row.cells.iter().all(Option::is_none)) => Err(refusal),
        _ => Ok(Card {
            asked: base.clone(),
            permitted_disc_um: base.permitted_disc_um(),
            focal_mm: focal_mm.to_vec(),
            rows,
        }),
    }
}
