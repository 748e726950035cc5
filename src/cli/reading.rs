//! How frames are found, read and measured, and what their answers may replace: options that several commands share.

use std::path::PathBuf;

use clap::ValueEnum;

use super::values;
use crate::commands::frames::Wanted;
use crate::commands::work::Budget;
use crate::intake::{Overrides, Prefer};
use crate::measure::Settings;

/// Which files, how much of the machine, and how finely.
#[derive(Debug, clap::Args)]
pub(super) struct Reading {
    /// Stay out of folders within folders.
    #[arg(long)]
    flat: bool,
    /// Which of a raw file and its rendered twin stands for the frame.
    #[arg(long, value_enum, default_value_t = PreferWord::Raw)]
    prefer: PreferWord,
    #[command(flatten)]
    threads: Threads,
    /// Memory that frames being read may take together, such as 2GiB [default: half of what is free].
    #[arg(long, value_name = "SIZE", value_parser = values::bytes)]
    memory: Option<u64>,
    /// Tiles across the longer side of the picture.
    #[arg(long, value_name = "N", default_value_t = 24, value_parser = values::whole::<u32>(4, 96))]
    tiles: u32,
}

impl Reading {
    /// The frames of these paths, read with these facts.
    pub(super) fn wanted(&self, paths: Vec<PathBuf>, overrides: Overrides) -> Wanted {
        Wanted {
            paths,
            recursive: !self.flat,
            prefer: self.prefer.into(),
            budget: Budget::new(self.threads.count(), self.memory),
            settings: Settings { tiles: self.tiles, ..Settings::default() },
            overrides,
        }
    }
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum PreferWord {
    Raw,
    Rendered,
}

impl From<PreferWord> for Prefer {
    fn from(word: PreferWord) -> Self {
        match word {
            PreferWord::Raw => Self::Raw,
            PreferWord::Rendered => Self::Rendered,
        }
    }
}

/// How many threads.
#[derive(Debug, clap::Args)]
pub(super) struct Threads {
    /// Threads to work with [default: all].
    #[arg(long, value_name = "N", value_parser = values::whole::<u16>(1, 1024))]
    jobs: Option<u16>,
}

impl Threads {
    /// Their number; `None` for all.
    pub(super) fn count(&self) -> Option<usize> {
        self.jobs.map(usize::from)
    }
}

/// Whether a report's folder may lose what others put there.
#[derive(Debug, clap::Args)]
pub(super) struct OverFolder {
    /// Replace files of the same names that tussock did not write; photographs never are.
    #[arg(long)]
    pub(super) overwrite: bool,
}

/// Whether a file may be lost.
#[derive(Debug, clap::Args)]
pub(super) struct OverFile {
    /// Replace what is there already; pictures never are.
    #[arg(long)]
    pub(super) overwrite: bool,
}
