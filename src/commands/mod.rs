//! One file a subcommand; the only place where reading, science and writing meet.

mod asked;
pub(crate) mod audit;
pub mod baselines;
pub(crate) mod cache;
pub(crate) mod card;
pub(crate) mod demo;
pub(crate) mod edge;
pub(crate) mod facts;
mod frame;
pub mod frame_store;
pub(crate) mod frames;
pub mod groups;
mod judging;
pub(crate) mod keepers;
pub(crate) mod lens;
pub(crate) mod licences;
mod original;
mod outcome;
mod pack;
mod picture_cache;
mod pictures;
pub(crate) mod place;
pub(crate) mod plan;
mod progress;
pub(crate) mod raw_worker;
mod remember;
pub(crate) mod schema;
pub(crate) mod series;
pub(crate) mod settings;
pub(crate) mod shelf;
pub(crate) mod sidecars;
mod stop;
pub(crate) mod watch;
pub(crate) mod work;
mod write;

pub(crate) use outcome::Outcome;
