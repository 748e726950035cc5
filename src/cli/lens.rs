//! `tussock lens`: options as typed, and what they mean.

use std::path::PathBuf;

use clap::{Subcommand, ValueEnum};

use super::given::{Apertures, Given};
use super::reading::{OverFile, Reading};
use super::values;
use crate::commands::Outcome;
use crate::commands::lens::{self, Learn};
use crate::commands::shelf;
use crate::lens::LearnedFrom;

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    #[command(subcommand)]
    task: Task,
}

#[derive(Debug, Subcommand)]
enum Task {
    /// Learn a lens's own softness from an aperture series, a focus series or a whole shoot.
    Learn(Box<LearnArgs>),
    /// List the baselines stored in your configuration folder.
    List {
        /// Print JSON.
        #[arg(long)]
        json: bool,
    },
    /// Remove the stored baselines of a lens; each that goes is named.
    Forget {
        /// The lens's name, as `tussock lens list` has it.
        #[arg(value_name = "NAME")]
        name: String,
        /// Only those of about this focal length, such as 24mm.
        #[arg(long, value_name = "LENGTH", value_parser = values::focal_mm)]
        focal: Option<f64>,
        /// Print JSON.
        #[arg(long)]
        json: bool,
    },
    /// Show a learned baseline over the whole field.
    Show {
        /// The stored baseline.
        #[arg(value_name = "FILE")]
        file: PathBuf,
        /// Write a page with the field drawn here.
        #[arg(long, value_name = "HTML")]
        out: Option<PathBuf>,
        #[command(flatten)]
        over: OverFile,
        /// Print JSON.
        #[arg(long)]
        json: bool,
    },
}

#[derive(Debug, clap::Args)]
struct LearnArgs {
    /// Photographs and folders of photographs.
    #[arg(required = true, value_name = "PATH")]
    paths: Vec<PathBuf>,
    /// Where to store the baseline [default: by the lens's name in your configuration folder].
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
    #[command(flatten)]
    over: OverFile,
    /// What the frames are [default: judged by their facts].
    #[arg(long, value_enum, value_name = "KIND")]
    from: Option<FromWord>,
    /// Learn from the frames even where they are no test series: mixed scenes, shaken or enlarged frames.
    #[arg(long)]
    anyway: bool,
    #[command(flatten)]
    given_stops: Apertures,
    #[command(flatten)]
    reading: Reading,
    /// Print JSON.
    #[arg(long)]
    json: bool,
    #[command(flatten)]
    given: Given,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum FromWord {
    /// One flat or far subject at several apertures, focused on it.
    Apertures,
    /// One flat or far subject at several focus distances.
    Focus,
    /// Many frames, focused here and there.
    Shoot,
}

impl From<FromWord> for LearnedFrom {
    fn from(word: FromWord) -> Self {
        match word {
            FromWord::Apertures => Self::ApertureSeries,
            FromWord::Focus => Self::FocusSeries,
            FromWord::Shoot => Self::Shoot,
        }
    }
}

impl Args {
    /// Runs the command.
    pub(super) fn run(&self) -> anyhow::Result<Outcome> {
        match &self.task {
            Task::Show { file, out, over, json } => lens::show(file, out.as_deref(), over.overwrite, *json),
            Task::List { json } => shelf::list(*json),
            Task::Forget { name, focal, json } => shelf::forget(name, *focal, *json),
            Task::Learn(args) => lens::learn(&Learn {
                wanted: args.reading.wanted(args.paths.clone(), args.given.overrides()?),
                out: args.out.clone(),
                overwrite: args.over.overwrite,
                from: args.from.map(LearnedFrom::from),
                anyway: args.anyway,
                apertures: args.given_stops.apertures.clone(),
                json: args.json,
            }),
        }
    }
}
