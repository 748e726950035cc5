//! tussock: an image-sharpness audit for landscape photographers.
//!
//! Data flows one way: path -> [`Shot`] -> [`TileMap`] -> [`Diagnosis`] -> report. The science modules
//! (`quantity` to `plan`) are pure functions from values to values; files, clock, environment and printing
//! appear only in `intake`, `output`, `commands` and `cli`. See DEVELOPERS.md for the map.

pub mod quantity;
pub mod shot;
pub mod stats;

pub mod optics;

pub mod measure;
pub mod simulate;

pub mod judge;
pub mod lens;

pub mod diagnose;
pub mod plan;
pub mod series;

pub mod intake;
pub mod output;
pub mod report;
pub mod sidecar;

pub mod cli;
pub mod commands;

pub use diagnose::Diagnosis;
pub use measure::TileMap;
pub use shot::Shot;
