//! The `demo` command as typed.

use std::path::PathBuf;

use crate::commands::Outcome;
use crate::commands::demo::{self, Demo};

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Folder for the pictures and the report.
    #[arg(long, value_name = "DIR", default_value = "tussock-demo")]
    out: PathBuf,
    /// Replace files of the same names that tussock did not write; photographs never are.
    #[arg(long)]
    overwrite: bool,
    /// Threads to work with [default: all].
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=1024))]
    jobs: Option<u16>,
    /// Open the report when it is written.
    #[arg(long)]
    open: bool,
    /// Print audit.json instead of the table.
    #[arg(long)]
    json: bool,
}

impl Args {
    /// Runs the command.
    pub(super) fn run(&self) -> anyhow::Result<Outcome> {
        demo::run(&Demo {
            out: self.out.clone(),
            overwrite: self.overwrite,
            jobs: self.jobs.map(usize::from),
            open: self.open,
            json: self.json,
        })
    }
}
