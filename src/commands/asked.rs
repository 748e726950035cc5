//! What an audit is asked for.

use std::path::PathBuf;

use super::sidecars::Sidecars;
use super::work::Budget;
use crate::intake::{Overrides, Prefer};
use crate::measure;
use crate::quantity::Intent;
use crate::report::Theme;

/// The audit command as meant.
#[derive(Clone, Debug)]
pub(crate) struct Audit {
    /// Files and folders.
    pub paths: Vec<PathBuf>,
    /// Walk into folders within folders.
    pub recursive: bool,
    /// Which twin stands for a frame.
    pub prefer: Prefer,
    /// Where the report goes; `None` for the default place.
    pub out: Option<PathBuf>,
    /// Whether files of a report's names that are somebody else's may be replaced; photographs never are.
    pub overwrite: bool,
    /// How much of the machine to use.
    pub budget: Budget,
    /// Whether to use and keep remembered measurements.
    pub remember: bool,
    /// Whether to write the page and its pictures, or the machine-readable files alone.
    pub page: bool,
    /// Colours of the page.
    pub theme: Theme,
    /// Print `audit.json` instead of the table.
    pub json: bool,
    /// Whether to write each frame at full size beside the page, for looking at any place of raw files.
    pub renditions: bool,
    /// Whether to open the page when it is written.
    pub open: bool,
    /// How to measure.
    pub settings: measure::Settings,
    /// What the user wants of the pictures.
    pub intent: Intent,
    /// Facts the user gave.
    pub overrides: Overrides,
    /// Files of learned lens baselines the user gave.
    pub lenses: Vec<PathBuf>,
    /// Whether nothing learned of a lens is used, neither stored nor from the shoot.
    pub no_lens: bool,
    /// Whether and how to write XMP sidecars beside the photographs.
    pub sidecars: Option<Sidecars>,
}
