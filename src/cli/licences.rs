//! `tussock licences`: options as typed.

use crate::commands::{Outcome, licences};

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Print a list of the libraries as JSON, without their texts.
    #[arg(long)]
    json: bool,
}

impl Args {
    /// Runs the command.
    pub(super) fn run(&self) -> anyhow::Result<Outcome> {
        licences::run(self.json)
    }
}
