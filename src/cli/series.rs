//! `tussock series`: options as typed, and what they mean.

use std::path::PathBuf;

use super::given::{Given, Subjects};
use super::reading::{OverFolder, Reading};
use super::values;
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
    /// f-numbers of the frames in order, where the files do not record them: 1.8,2.8,8,16.
    #[arg(long, value_name = "F,F,...", value_delimiter = ',', value_parser = values::f_number)]
    apertures: Vec<f64>,
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
            apertures: self.apertures.clone(),
            json: self.json,
        })
    }
}
