//! `tussock keepers`: options as typed, and what they mean.

use std::path::PathBuf;

use crate::commands::Outcome;
use crate::commands::keepers::{self, Carry, How, Keepers, List, Which};

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// A report's folder, or its audit.json.
    #[arg(value_name = "REPORT", required_unless_present = "undo")]
    report: Option<PathBuf>,
    /// Which frames: sharp, not-sharp, unknown, all, or a cause such as focus-too-far [default: sharp; with --marks, those
    /// marked].
    #[arg(long, value_name = "KINDS", value_delimiter = ',', value_parser = which)]
    of: Vec<Which>,
    /// What the report's page proposes to keep: of frames of one scene only the best, of a focus bracket those that cover the
    /// depth together, of the others those that are sharp. With --of, only where their verdict is asked for as well.
    #[arg(long)]
    best: bool,
    /// The keep list that the report's page saves; it has the last word on the frames it names.
    #[arg(long, value_name = "FILE")]
    marks: Option<PathBuf>,
    /// Put a NUL behind each name instead of a line's end, for names of any kind.
    #[arg(short = '0', long)]
    null: bool,
    /// Print JSON.
    #[arg(long, conflicts_with = "null")]
    json: bool,
    /// Put links to the frames into a folder.
    #[arg(long, value_name = "DIR", group = "carry")]
    links: Option<PathBuf>,
    /// Copy the frames into a folder, with their twins and sidecars.
    #[arg(long, value_name = "DIR", group = "carry")]
    copy: Option<PathBuf>,
    /// Move the frames into a folder, with their twins and sidecars.
    #[arg(long = "move", value_name = "DIR", group = "carry")]
    move_to: Option<PathBuf>,
    /// Take back what the undo list in such a folder says was done.
    #[arg(long, value_name = "FILE", conflicts_with_all = ["report", "of", "best", "marks", "null", "carry"])]
    undo: Option<PathBuf>,
}

fn which(text: &str) -> Result<Which, String> {
    Which::by_word(text).ok_or_else(|| {
        format!("'{text}' is no kind of frame; write sharp, not-sharp, unknown, all, or a cause such as focus-too-far")
    })
}

impl Args {
    /// Runs the command.
    pub(super) fn run(&self) -> anyhow::Result<Outcome> {
        if let Some(list) = &self.undo {
            return keepers::undo(list, self.json);
        }
        let ways = [(How::Link, &self.links), (How::Copy, &self.copy), (How::Move, &self.move_to)];
        keepers::run(&Keepers {
            report: self.report.clone().unwrap_or_default(),
            which: (!self.of.is_empty()).then(|| self.of.clone()),
            best: self.best,
            marks: self.marks.clone(),
            list: match (self.null, self.json) {
                (true, _) => List::Nul,
                (_, true) => List::Json,
                _ => List::Lines,
            },
            carry: ways.into_iter().find_map(|(how, to)| to.clone().map(|folder| Carry { how, folder })),
        })
    }
}
