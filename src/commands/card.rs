//! A printable field card.

use std::io::IsTerminal as _;
use std::path::PathBuf;

use super::Outcome;
use super::plan::Camera;
use crate::output;
use crate::plan::Question;
use crate::plan::card::card;
use crate::quantity::shown;
use crate::report::{CardView, card_page, card_text};

/// The card command as meant.
#[derive(Clone, Debug)]
pub(crate) struct FieldCard {
    /// Focal lengths, mm.
    pub focal_mm: Vec<f64>,
    /// Near distances, m; `None` for a usual range.
    pub near_m: Option<Vec<f64>>,
    /// Farthest subject, m.
    pub far_m: f64,
    /// The camera and the use.
    pub camera: Camera,
    /// Where the page goes; `None` for standard output.
    pub out: Option<PathBuf>,
    /// Whether a file that is there may be replaced.
    pub overwrite: bool,
    /// Print JSON.
    pub json: bool,
    /// Print a plain table.
    pub text: bool,
}

/// Near distances of a card unless others are given, m.
const NEAR_M: [f64; 10] = [0.3, 0.4, 0.5, 0.7, 1.0, 1.4, 2.0, 3.0, 4.0, 5.0];
/// The same for readers of feet, m.
const NEAR_FEET: [f64; 10] = [1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 6.0, 8.0, 12.0, 16.0];

/// Runs the command.
///
/// # Errors
/// Where no cell of the card has an answer, or the page can't be written.
pub(crate) fn run(asked: &FieldCard) -> anyhow::Result<Outcome> {
    let camera = &asked.camera;
    let near = asked.near_m.clone().unwrap_or_else(|| match camera.units {
        crate::quantity::Units::Metric => NEAR_M.to_vec(),
        crate::quantity::Units::Imperial => NEAR_FEET.iter().map(|ft| ft * 0.3048).collect(),
    });
    let base = Question {
        near_m: near[0],
        far_m: asked.far_m,
        focal_mm: asked.focal_mm[0],
        f_number: None,
        smallest: camera.smallest,
        sensor: camera.sensor(),
        pitch_um: camera.pitch_um(),
        height_m: None,
        down_rad: None,
        sharp_for: camera.sharp_for,
        speed_m_s: None,
    };
    let card = card(&base, &near, &asked.focal_mm)?;
    if let Some(path) = &asked.out {
        output::write(path, card_page(&card, camera.units).as_bytes(), asked.overwrite)?;
        output::note(&format!("Card written to {}", shown(path)));
    }
    // A page of markup is for a file or a pipe; a person at a terminal gets the table.
    if asked.json {
        output::print_json(&output::json(&CardView::new(&card))?);
    } else if asked.text || asked.out.is_none() && std::io::stdout().is_terminal() {
        output::print(&card_text(&card, camera.units));
    } else if asked.out.is_none() {
        output::print(&card_page(&card, camera.units));
    }
    Ok(Outcome::Done)
}
