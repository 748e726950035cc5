//! One file a subcommand; the only place where reading, science and writing meet.

mod album;
mod asked;
pub mod audit;
pub mod baselines;
pub mod cache;
pub mod card;
pub mod demo;
pub mod edge;
pub mod facts;
mod frame;
pub mod frames;
pub mod groups;
pub mod held;
mod judging;
pub mod keepers;
pub mod lens;
pub mod licences;
mod outcome;
mod pack;
pub mod place;
pub mod plan;
mod prints;
mod progress;
pub mod raw_worker;
mod remember;
pub mod schema;
pub mod series;
pub mod settings;
pub mod shelf;
pub mod sidecars;
mod stop;
pub mod watch;
pub mod work;
mod write;

pub use outcome::Outcome;
