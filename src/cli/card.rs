//! `tussock card`: options as typed, and what they mean.

use std::path::PathBuf;

use super::plan::Camera;
use super::reading::OverFile;
use super::values;
use crate::commands::Outcome;
use crate::commands::card::{self, FieldCard};
use crate::commands::settings::Settings;

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Focal lengths, such as 16,24,35,70mm: the last unit holds for all.
    #[arg(long, required = true, value_name = "LENGTHS", value_parser = values::focals_mm)]
    focal: values::List,
    /// Near distances, such as 0.5m,1m,2m [default: a range from 30 cm to 5 m].
    #[arg(long, value_name = "LENGTHS", value_parser = values::lengths)]
    near: Option<values::List>,
    /// Farthest subject that must be sharp, or inf.
    #[arg(long, value_name = "LENGTH", default_value = "inf", value_parser = values::distance)]
    far: f64,
    #[command(flatten)]
    camera: Camera,
    /// Write the printable page here instead of to standard output.
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
    #[command(flatten)]
    over: OverFile,
    /// Print JSON.
    #[arg(long)]
    json: bool,
    /// Print a plain table.
    #[arg(long, conflicts_with = "json")]
    text: bool,
}

impl Args {
    /// Runs the command.
    pub(super) fn run(&self, settings: &Settings) -> anyhow::Result<Outcome> {
        card::run(&FieldCard {
            focal_mm: self.focal.0.clone(),
            near_m: self.near.as_ref().map(|l| l.0.clone()),
            far_m: self.far,
            camera: self.camera.meant(settings),
            out: self.out.clone(),
            overwrite: self.over.overwrite,
            json: self.json,
            text: self.text,
        })
    }
}
