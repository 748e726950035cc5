//! `tussock series`: options as typed, and what they mean.

use std::path::PathBuf;

use super::given::{Apertures, Given, Subjects};
use super::reading::{OverFolder, Reading};
use crate::commands::Outcome;
use crate::commands::series::{self, Series};

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Photographs of one scene, or folders of them.
    #[arg(required = true, value_name = "PATH")]
    paths: Vec<PathBuf>,
    /// Folder for index.html and series.json.
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    #[command(flatten)]
    over: OverFolder,
    #[command(flatten)]
    given_stops: Apertures,
    #[command(flatten)]
    reading: Reading,
    /// Print JSON.
    #[arg(long)]
    json: bool,
    #[command(flatten)]
    subjects: Subjects,
    #[command(flatten)]
    given: Given,
}

impl Args {
    /// Runs the command.
    pub(super) fn run(&self) -> anyhow::Result<Outcome> {
        series::run(&Series {
            wanted: self.reading.wanted(self.paths.clone(), self.given.overrides()?),
            out: self.out.clone(),
            overwrite: self.over.overwrite,
            intent: self.subjects.intent()?,
            apertures: self.given_stops.apertures.clone(),
            json: self.json,
        })
    }
}
