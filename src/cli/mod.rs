//! run() -> ExitCode: the command line as typed becomes the command line as meant, then runs.

mod audit;
mod cache;
mod card;
mod demo;
mod dropped;
mod edge;
mod facts;
mod lens;
mod plan;
mod series;
#[doc(hidden)]
pub mod values;

use std::process::ExitCode;

use clap::{Parser, Subcommand};

use crate::commands::work::Budget;
use crate::commands::{Outcome, raw_worker};
use crate::output::{self, guard};

/// Tells for every frame of a landscape shoot whether it is sharp from near to far, and if not, why.
#[derive(Debug, Parser)]
#[command(name = "tussock", version, about, max_term_width = 100)]
struct Line {
    /// Say what decoders and the system say of a failure in their own words, too.
    #[arg(long, global = true)]
    verbose: bool,
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
    /// Decode files for another process of this program, as asked on standard input.
    #[command(name = raw_worker::NAME, hide = true)]
    RawWorker {
        /// Longest time for a file, ms.
        time: u64,
    },
}

/// Runs the program on the process's own arguments.
#[must_use]
pub fn run() -> ExitCode {
    let line = match Line::try_parse_from(dropped::as_meant(std::env::args_os().collect())) {
        Ok(line) => line,
        Err(error) => return wrong(&error),
    };
    if line.verbose {
        output::speak_fully();
    }
    if !matches!(line.command, Command::RawWorker { .. }) {
        raw_worker::set_up(Budget::new(None, None));
    }
    guard::quiet();
    match guard::guarded(|| meant(line.command)) {
        Ok(Ok(outcome)) => outcome.into(),
        Ok(Err(error)) => {
            output::say(&format!("tussock: {}", output::in_words(&error)));
            Outcome::Nothing.into()
        }
        Err(words) => {
            output::say(&format!("tussock: this failed by a fault of the program; please report it ({words})"));
            Outcome::Nothing.into()
        }
    }
}

fn meant(command: Command) -> anyhow::Result<Outcome> {
    match command {
        Command::Audit(args) => args.run(),
        Command::Demo(args) => args.run(),
        Command::Cache(args) => args.run(),
        Command::Edge(args) => args.run(),
        Command::Plan(args) => args.run(),
        Command::Card(args) => args.run(),
        Command::Lens(args) => args.run(),
        Command::Facts(args) => args.run(),
        Command::Series(args) => args.run(),
        Command::RawWorker { time } => raw_worker::run(time),
    }
}

/// What to say where the line as typed makes no sense, or asks for help.
fn wrong(error: &clap::Error) -> ExitCode {
    if error.use_stderr() {
        // What was typed is quoted in it, whatever it is.
        output::say(error.render().to_string().trim_end());
        return Outcome::Nothing.into();
    }
    // Nothing can be done about a closed standard output.
    let _ = error.print();
    Outcome::Done.into()
}
