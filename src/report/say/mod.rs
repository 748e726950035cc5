//! What several answers are said with: numbers and names for people, colours, the paper of charts, and the engine and themes of
//! pages. Their common style is `dress.css`.

pub(super) mod camera;
pub(super) mod caution;
pub(super) mod name;
pub(super) mod number;

pub(super) mod palette;
pub(super) mod paper;

pub(super) mod engine;
pub(super) mod theme;
