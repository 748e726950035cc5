//! tussock: an image-sharpness audit for landscape photographers.
//!
//! Data flows one way: path -> [`Shot`] -> [`TileMap`] -> [`Diagnosis`] -> report. The science modules
//! (`quantity` to `plan`) are pure functions from values to values; files, clock, environment and printing
//! appear only in `intake`, `output`, `commands` and `cli`. See DEVELOPERS.md for the map.
//!
//! One picture, measured and judged:
//!
//! ```no_run
//! use std::path::Path;
//! use tussock::{diagnose, intake, measure, optics, quantity::Intent};
//!
//! # fn main() -> Result<(), Box<dyn std::error::Error>> {
//! let shot = intake::read(Path::new("moor-0012.nef"), &intake::Overrides::default())?;
//! let settings = measure::Settings::default().under(shot.capture.lambda_n_px(optics::WAVELENGTH_UM));
//! let map = measure::measure(&shot.plane, &settings);
//! let found = diagnose::diagnose(&map, &shot.capture, None, &Intent::default());
//! println!("{}: permitted {:.2} px", found.verdict.cause.word(), found.permitted_px);
//! # Ok(())
//! # }
//! ```
//!
//! Widths are Gaussian-equivalent sigmas in pixels of the full picture, each with its standard deviation
//! ([`quantity::Estimate`]); what is not known is `None`. Distances are in metres, pitches in micrometres. Only reading
//! fails ([`intake::IntakeError`] says at which step and what to try); measuring and diagnosing return flagged values.
//! `examples/measure_picture.rs` and `examples/learn_lens.rs` are whole programs.

#![warn(unreachable_pub)]

pub mod quantity;
pub mod shot;
pub(crate) mod stats;

pub mod optics;

pub mod measure;
pub mod simulate;

pub mod judge;
pub mod lens;

pub mod diagnose;
pub mod plan;
pub mod series;

pub mod intake;
#[doc(hidden)]
pub mod output;
pub mod report;
pub mod sidecar;

pub mod cli;
#[doc(hidden)]
pub mod commands;

pub use diagnose::Diagnosis;
pub use measure::TileMap;
pub use shot::Shot;
