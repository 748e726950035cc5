//! Folder to report, one task a photograph.

use std::path::PathBuf;

use super::Outcome;
use crate::intake::{Overrides, Prefer};
use crate::measure;
use crate::quantity::Intent;

/// The audit command as meant.
#[derive(Clone, Debug)]
pub struct Audit {
    /// Files and folders.
    pub paths: Vec<PathBuf>,
    /// Walk into folders within folders.
    pub recursive: bool,
    /// Which twin stands for a frame.
    pub prefer: Prefer,
    /// Where the report goes; `None` for the default place.
    pub out: Option<PathBuf>,
    /// Threads; `None` for all.
    pub jobs: Option<usize>,
    /// How to measure.
    pub settings: measure::Settings,
    /// What the user wants of the pictures.
    pub intent: Intent,
    /// Facts the user gave.
    pub overrides: Overrides,
}

/// Runs the audit.
///
/// # Errors
/// Where the report can't be written.
pub fn run(_audit: &Audit) -> anyhow::Result<Outcome> {
    Ok(Outcome::Nothing)
}
