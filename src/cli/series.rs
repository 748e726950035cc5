//! `tussock series`: options as typed, and what they mean.

use std::path::PathBuf;

use super::given::{Given, PreferWord, Subjects};
use super::values;
use crate::commands::Outcome;
use crate::commands::series::{self, Series};
use crate::commands::work::Budget;
use crate::measure::Settings;

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Photographs of one scene, or folders of them.
    #[arg(required = true, value_name = "PATH")]
    paths: Vec<PathBuf>,
    /// Folder for index.html and series.json.
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Replace files of the same names that tussock did not write; photographs never are.
    #[arg(long)]
    overwrite: bool,
    /// f-numbers of the frames in order, where the files do not record them: 1.8,2.8,8,16.
    #[arg(long, value_name = "F,F,...", value_delimiter = ',', value_parser = values::f_number)]
    apertures: Vec<f64>,
    /// Stay out of folders within folders.
    #[arg(long)]
    flat: bool,
    /// Which of a raw file and its rendered twin stands for the frame.
    #[arg(long, value_enum, default_value_t = PreferWord::Raw)]
    prefer: PreferWord,
    /// Threads to work with [default: all].
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=1024))]
    jobs: Option<u16>,
    /// Memory that frames being read may take together, such as 2GiB [default: half of what is free].
    #[arg(long, value_name = "SIZE", value_parser = values::bytes)]
    memory: Option<u64>,
    /// Tiles across the longer side of the picture.
    #[arg(long, value_name = "N", default_value_t = 24, value_parser = clap::value_parser!(u32).range(4..=96))]
    tiles: u32,
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
            paths: self.paths.clone(),
            recursive: !self.flat,
            prefer: self.prefer.into(),
            out: self.out.clone(),
            overwrite: self.overwrite,
            budget: Budget::new(self.jobs.map(usize::from), self.memory),
            settings: Settings { tiles: self.tiles, ..Settings::default() },
            intent: self.subjects.intent()?,
            apertures: self.apertures.clone(),
            overrides: self.given.overrides()?,
            json: self.json,
        })
    }
}
