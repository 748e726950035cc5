//! What a reader of pixels gives: luminance, and what should be known of it.

use crate::quantity::Flag;
use crate::shot::{Plane, Tint};

/// A plane and what its reader should know about it.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Read {
    pub plane: Plane,
    pub flags: Vec<Flag>,
    /// Share of the picture that is there, where it is not all.
    pub coded: Option<f64>,
    /// Coarse colours, where they came with the luminance.
    pub tint: Option<Tint>,
}
