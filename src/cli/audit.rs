//! `tussock audit`: options as typed, and what they mean.

use std::path::PathBuf;

use super::audit_options::Making;
use crate::commands::Outcome;
use crate::commands::audit;
use crate::commands::settings::Settings;

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Photographs and folders of photographs.
    #[arg(required = true, value_name = "PATH")]
    paths: Vec<PathBuf>,
    /// Print audit.json instead of the table.
    #[arg(long)]
    json: bool,
    #[command(flatten)]
    making: Making,
}

impl Args {
    /// Runs the command.
    pub(super) fn run(&self, settings: &Settings) -> anyhow::Result<Outcome> {
        audit::run(&self.making.meant(self.paths.clone(), self.json, settings)?)
    }
}
