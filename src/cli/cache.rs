//! `tussock cache`: remembered measurements.

use clap::Subcommand;

use crate::commands::{Outcome, cache};

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    #[command(subcommand)]
    action: Action,
}

#[derive(Clone, Copy, Debug, Subcommand)]
enum Action {
    /// Forget remembered measurements.
    Clear {
        /// Only those that were not asked for in the last so many days.
        #[arg(long, value_name = "DAYS")]
        older: Option<u32>,
        /// Print JSON.
        #[arg(long)]
        json: bool,
    },
    /// Say how much is remembered, and where.
    Show {
        /// Print JSON.
        #[arg(long)]
        json: bool,
    },
}

impl Args {
    /// Runs the command.
    pub(super) fn run(&self) -> anyhow::Result<Outcome> {
        match self.action {
            Action::Clear { older, json } => cache::clear(older, json),
            Action::Show { json } => cache::show(json),
        }
    }
}
