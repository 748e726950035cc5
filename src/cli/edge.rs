//! `tussock edge`: options as typed, and what they mean.

use std::path::PathBuf;

use clap::ValueEnum;

use super::given::Given;
use super::reading::OverFile;
use super::values;
use crate::commands::Outcome;
use crate::commands::edge::{self, Edge};
use crate::measure::esfr::{EdgeSettings, Window};
use crate::quantity::Region;

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// A photograph of a slanted edge.
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// Where the edge is: left, top, width and height in pixels of the upright picture.
    #[arg(long, value_name = "X,Y,W,H", value_parser = values::region)]
    region: Region,
    /// Print JSON.
    #[arg(long)]
    json: bool,
    /// Write the MTF curve to this SVG file.
    #[arg(long, value_name = "SVG")]
    plot: Option<PathBuf>,
    #[command(flatten)]
    over: OverFile,
    /// Degree of the polynomial that describes the edge's course [default: the lowest that fits].
    #[arg(long, value_name = "N", value_parser = values::whole::<u8>(1, 3))]
    degree: Option<u8>,
    /// Window over the line spread: shouldered (unbiased in narrow regions) or hamming (as ISO 12233 has it).
    #[arg(long, value_enum, default_value_t = WindowWord::Shouldered)]
    window: WindowWord,
    #[command(flatten)]
    given: Given,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum WindowWord {
    Shouldered,
    Hamming,
}

impl Args {
    /// Runs the command.
    pub(super) fn run(&self) -> anyhow::Result<Outcome> {
        edge::run(&Edge {
            file: self.file.clone(),
            region: self.region,
            settings: EdgeSettings {
                degree: self.degree.map(usize::from),
                window: match self.window {
                    WindowWord::Shouldered => Window::Shouldered,
                    WindowWord::Hamming => Window::Hamming,
                },
            },
            json: self.json,
            plot: self.plot.clone(),
            overwrite: self.over.overwrite,
            overrides: self.given.overrides()?,
        })
    }
}
