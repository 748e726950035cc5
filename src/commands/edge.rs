//! A slanted edge in a photograph to its e-SFR.

use std::path::PathBuf;

use anyhow::Context as _;

use super::Outcome;
use crate::intake::{self, Overrides};
use crate::measure::esfr::{EdgeSettings, esfr};
use crate::output;
use crate::quantity::{Region, shown};
use crate::report::EdgeView;

/// The edge command as meant.
#[derive(Clone, Debug)]
pub(crate) struct Edge {
    /// The photograph of the edge.
    pub file: PathBuf,
    /// Where the edge is.
    pub region: Region,
    /// How to analyse it.
    pub settings: EdgeSettings,
    /// Print JSON instead of text.
    pub json: bool,
    /// Write a chart here.
    pub plot: Option<PathBuf>,
    /// Whether a file that is there may be replaced.
    pub overwrite: bool,
    /// Facts the user gave.
    pub overrides: Overrides,
}

/// Runs the command.
///
/// # Errors
/// Where the file can't be read, the region holds no usable edge, or the chart can't be written.
pub(crate) fn run(edge: &Edge) -> anyhow::Result<Outcome> {
    let shot = intake::read(&edge.file, &edge.overrides).map_err(output::refused)?;
    let response = esfr(&shot.plane, edge.region, &edge.settings).with_context(|| shown(&edge.file))?;
    let pitch = shot.capture.pixel_pitch_um.as_ref().map(|f| f.value);
    let view = EdgeView::new(&shot.file, edge.region, &response, pitch);
    if let Some(path) = &edge.plot {
        output::write(path, view.chart()?.as_bytes(), edge.overwrite)?;
    }
    if edge.json {
        output::print_json(&output::json(&view)?);
    } else {
        output::print(&view.text());
    }
    Ok(Outcome::Done)
}
