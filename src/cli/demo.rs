//! The `demo` command as typed.

use std::path::PathBuf;

use super::reading::{OverFolder, Threads};
use crate::commands::Outcome;
use crate::commands::demo::{self, Demo};

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Folder for the pictures and the report.
    #[arg(long, value_name = "DIR", default_value = "tussock-demo")]
    out: PathBuf,
    #[command(flatten)]
    over: OverFolder,
    #[command(flatten)]
    threads: Threads,
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
            overwrite: self.over.overwrite,
            jobs: self.threads.count(),
            open: self.open,
            json: self.json,
        })
    }
}
