//! `tussock cache`: remembered measurements.

use clap::Subcommand;

use crate::commands::{Outcome, cache};

#[derive(Debug, clap::Args)]
pub struct Args {
    #[command(subcommand)]
    action: Action,
}

#[derive(Clone, Copy, Debug, Subcommand)]
enum Action {
    /// Forget all remembered measurements.
    Clear {
        /// Print JSON.
        #[arg(long)]
        json: bool,
    },
}

impl Args {
    /// Runs the command.
    pub fn run(&self) -> anyhow::Result<Outcome> {
        match self.action {
            Action::Clear { json } => cache::clear(json),
        }
    }
}
