//! run() -> ExitCode: the command line as typed becomes the command line as meant, then runs.

mod audit;
mod cache;
mod card;
mod demo;
mod edge;
mod facts;
mod lens;
mod plan;
mod series;
mod values;

use std::process::ExitCode;

use clap::{Parser, Subcommand};

use crate::commands::{Outcome, raw_worker};
use crate::output;

/// Tells for every frame of a landscape shoot whether it is sharp from near to far, and if not, why.
#[derive(Debug, Parser)]
#[command(name = "tussock", version, about, max_term_width = 100)]
struct Line {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Audit photographs and write a report.
    Audit(audit::Args),
    /// Render a small invented shoot and audit it: no photographs needed.
    Demo(demo::Args),
    /// Remembered measurements.
    Cache(cache::Args),
    /// Measure the response of a slanted edge (ISO 12233 e-SFR).
    Edge(edge::Args),
    /// Plan the next shot: where to focus, which stop, and what to do if none is enough.
    Plan(plan::Args),
    /// Make a field card: near distance against focal length.
    Card(card::Args),
    /// Learn a lens's own softness, or show what was learned.
    Lens(lens::Args),
    /// Print the capture facts of photographs, each with where it came from.
    Facts(facts::Args),
    /// Compare frames of one scene: apertures, focus brackets, near-duplicates.
    Series(series::Args),
    /// Decode raw files for another process of this program, as asked on standard input.
    #[command(name = raw_worker::NAME, hide = true)]
    RawWorker {
        /// Most memory to map, bytes.
        memory: u64,
        /// Longest time for a file, ms.
        time: u64,
    },
}

/// Runs the program on the process's own arguments.
#[must_use]
pub fn run() -> ExitCode {
    let line = Line::parse();
    if !matches!(line.command, Command::RawWorker { .. }) {
        raw_worker::set_up();
    }
    let result = match line.command {
        Command::Audit(args) => args.run(),
        Command::Demo(args) => args.run(),
        Command::Cache(args) => args.run(),
        Command::Edge(args) => args.run(),
        Command::Plan(args) => args.run(),
        Command::Card(args) => args.run(),
        Command::Lens(args) => args.run(),
        Command::Facts(args) => args.run(),
        Command::Series(args) => args.run(),
        Command::RawWorker { memory, time } => raw_worker::run(memory, time),
    };
    match result {
        Ok(outcome) => outcome.into(),
        Err(error) => {
            output::say(&format!("tussock: {error:#}"));
            Outcome::Nothing.into()
        }
    }
}
