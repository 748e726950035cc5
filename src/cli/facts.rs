//! `tussock facts`: options as typed, and what they mean.

use std::path::PathBuf;

use super::given::Given;
use crate::commands::Outcome;
use crate::commands::facts::{self, Request};

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Photographs and folders of photographs.
    #[arg(required = true, value_name = "PATH")]
    paths: Vec<PathBuf>,
    /// Stay out of folders within folders.
    #[arg(long)]
    flat: bool,
    /// Print a JSON list.
    #[arg(long)]
    json: bool,
    #[command(flatten)]
    given: Given,
}

impl Args {
    /// Runs the command.
    pub(super) fn run(&self) -> anyhow::Result<Outcome> {
        facts::run(&Request {
            paths: self.paths.clone(),
            recursive: !self.flat,
            json: self.json,
            overrides: self.given.overrides()?,
        })
    }
}
