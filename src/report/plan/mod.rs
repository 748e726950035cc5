//! Plans and field cards as JSON, text and a printable page.

mod card;
mod page;
mod text;
mod view;
mod words;

pub use card::CardView;
pub(crate) use card::{card_page, card_text};
pub(crate) use page::plan_page;
pub(crate) use text::plan_text;
pub use view::PlanView;
