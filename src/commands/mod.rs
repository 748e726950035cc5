//! One file a subcommand; the only place where reading, science and writing meet.

pub mod audit;
pub mod demo;
pub mod edge;
pub mod facts;
mod outcome;
pub mod raw_worker;
pub mod series;

pub use outcome::Outcome;
