//! What a lens does at its best, as JSON, text and a printable page.

mod page;
mod view;
mod words;

pub(crate) use page::lens_page;
pub(crate) use view::learned_lens;
pub use view::{AsymmetryView, LearnedLensView, LearnedStopView};
pub(super) use words::learned_from;
pub(crate) use words::{lens_heading, lens_text};
