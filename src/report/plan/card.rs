//! The field card: JSON, terminal table and one printable page.

use minijinja::{Value, context};
use schemars::JsonSchema;
use serde::Serialize;

use super::words;
use crate::plan::Card;
use crate::plan::card::Cell;
use crate::quantity::Units;
use crate::report::say::camera::{length, stop};
use crate::report::say::caution;
use crate::report::say::engine;
use crate::report::say::number::{digits, tenths};

/// `tussock card --json`.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct CardView<'a> {
    /// Always `tussock.card`.
    pub format: &'static str,
    /// Version of this format.
    pub version: u32,
    /// The card.
    #[serde(flatten)]
    pub card: &'a Card,
}

impl<'a> CardView<'a> {
    /// The view of a card.
    pub(crate) const fn new(card: &'a Card) -> Self {
        Self { format: "tussock.card", version: 1, card }
    }
}

/// A card as a plain table.
pub(crate) fn card_text(card: &Card, units: Units) -> String {
    // Feet and inches take more room.
    let wide = if units == Units::Imperial { 13 } else { 10 };
    let mut out = format!("{}\n\n{:<wide$}{:<wide$}", heading(card, units), "nearest", "focus at");
    for focal in &card.focal_mm {
        out += &format!("{:<14}", format!("{} mm", digits(*focal, 2)));
    }
    out.truncate(out.trim_end().len());
    out.push('\n');
    for row in &card.rows {
        let mut line = format!("{:<wide$}{:<wide$}", length(row.near_m, units), length(row.focus_distance_m, units));
        for cell in &row.cells {
            line += &format!("{:<14}", cell.as_ref().map_or_else(|| "-".into(), short));
        }
        out.push_str(line.trim_end());
        out.push('\n');
    }
    out += "\nA star: no stop is enough there; the number after it is how many bracketed frames are.\n";
    if card.rows.iter().flat_map(|r| &r.cells).flatten().any(open) {
        out += &format!("{OPEN}.\n");
    }
    out
}

/// What holds of cells whose stop is wider than depth asks for.
const OPEN: &str =
    "A plus: depth asks for no more than that; set the stop at which the lens itself is sharpest, from there on";

/// Whether a cell's stop is only the widest that depth asks for, and the lens itself decides.
fn open(cell: &Cell) -> bool {
    cell.enough && cell.best_stop < words::SHALLOW
}

/// A cell's stop.
fn best(cell: &Cell) -> String {
    if open(cell) { format!("{}+", stop(cell.best_stop)) } else { stop(cell.best_stop) }
}

/// How many bracketed frames a cell asks for.
fn frames(cell: &Cell) -> String {
    if cell.bracket_frames > words::COUNTED { format!(">{}", words::COUNTED) } else { cell.bracket_frames.to_string() }
}

fn short(cell: &Cell) -> String {
    if cell.enough { best(cell) } else { format!("{} *{}", best(cell), frames(cell)) }
}

fn heading(card: &Card, units: Units) -> String {
    let far = if card.asked.far_m.is_infinite() { "infinity".into() } else { length(card.asked.far_m, units) };
    let sensor = card.asked.sensor.value;
    format!(
        "Focus and best stop from the nearest subject to {far}; sensor {} x {} mm; permitted: {} ({:.0} \u{b5}m)",
        tenths(sensor.width_mm),
        tenths(sensor.height_mm),
        words::sharp_for(&card.asked, units),
        card.permitted_disc_um
    )
}

/// A card as one self-contained page that prints on a sheet of A5 or larger.
pub(crate) fn card_page(card: &Card, units: Units) -> String {
    let rows: Vec<Value> = card
        .rows
        .iter()
        .map(|row| {
            let cells: Vec<Value> = row.cells.iter().map(|cell| page_cell(cell.as_ref(), units)).collect();
            context! { near => length(row.near_m, units), focus => length(row.focus_distance_m, units), cells }
        })
        .collect();
    let columns: Vec<String> = card.focal_mm.iter().map(|f| digits(*f, 2)).collect();
    let values = context! {
        style => include_str!("../say/dress.css"),
        heading => heading(card, units),
        columns,
        rows,
        far => if card.asked.far_m.is_infinite() { "\u{221e}".into() } else { length(card.asked.far_m, units) },
        double => card.asked.far_m.is_infinite(),
        caution => caution::IN_FULL,
        open => card.rows.iter().flat_map(|r| &r.cells).flatten().any(open).then_some(OPEN),
    };
    engine::page(include_str!("card.html"), values)
}

fn page_cell(cell: Option<&Cell>, units: Units) -> Value {
    let Some(cell) = cell else { return context! { best => "\u{2013}", note => "", state => "none" } };
    let note = match (cell.enough, cell.widest_stop, cell.step_back_m) {
        (true, Some(widest), _) if widest < cell.best_stop => format!("from {}", stop(widest)),
        (true, ..) => String::new(),
        (false, _, Some(back)) => format!("back {} or {} frames", length(back, units), frames(cell)),
        (false, _, None) => format!("{} frames", frames(cell)),
    };
    context! { best => best(cell), note, state => if cell.enough { "enough" } else { "short" } }
}
