//! The report's formats, from hand-written frames: published schema, CSV, terminal table, page, hostile names.

mod corners;
mod formats;
mod keepers;
mod kept;
mod large;
mod lenses;
mod page;
mod replay;
mod shoot;
