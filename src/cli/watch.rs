//! `tussock watch`: options as typed, and what they mean.

use std::path::PathBuf;

use super::audit_options::Making;
use crate::commands::Outcome;
use crate::commands::settings::Settings;
use crate::commands::watch::{self, Watch};

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// The folder that frames come into, from a tethered camera or a card.
    #[arg(value_name = "FOLDER")]
    folder: PathBuf,
    /// Judge the frames that are in it already, too.
    #[arg(long)]
    all: bool,
    /// Ring the terminal's bell for each frame that isn't sharp from near to far.
    #[arg(long)]
    bell: bool,
    /// Print a line of JSON for each frame.
    #[arg(long)]
    json: bool,
    /// Look into the folder again and again, where the system doesn't tell of new files (network drives).
    #[arg(long)]
    poll: bool,
    #[command(flatten)]
    making: Making,
}

impl Args {
    /// Runs the command.
    pub(super) fn run(&self, settings: &Settings) -> anyhow::Result<Outcome> {
        watch::run(&Watch {
            folder: self.folder.clone(),
            audit: self.making.meant(Vec::new(), false, settings)?,
            all: self.all,
            bell: self.bell,
            json: self.json,
            poll: self.poll,
        })
    }
}
