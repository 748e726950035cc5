//! Frames of one scene: registered, compared, grouped and answered, against what the simulator rendered.

#[path = "../support/patches.rs"]
mod patches;

mod made;

mod apertures;
mod brackets;
mod command;
mod duplicates;
mod grouping;
mod pairs;
mod report;
mod subjects;
