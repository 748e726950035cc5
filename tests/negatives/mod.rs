//! Raw files of every layout, written from samples that are known: DNG after its specification, and the makers' own formats.
#![allow(dead_code, missing_docs)] // Shared by tests and examples, each of which uses a part of it.

mod bits;
pub mod catalogue;
pub mod directory;
pub mod lossless;
pub mod makers;
pub mod negative;
