//! What the loops over a patch and the looking at it share: its size, how far profiles reach, rings of its spectrum.

/// Derived: the network is trained on patches of this size. Side of a patch, px.
pub(super) const SIDE: usize = 96;
/// Chosen: beyond the reach of edges that are told there. How far from a steep place its profile is followed, samples
/// of the scale.
pub(super) const REACH: usize = 6;
/// Derived: to both sides. Samples of a profile.
pub(super) const PROFILE: usize = 2 * REACH + 1;

/// The frequencies of the half plane that belong to a ring.
#[derive(Default)]
pub(super) struct Ring {
    /// Where they are in the spectrum.
    pub at: Vec<u32>,
    /// Their weights (one, or two where the mirror image is left out of a real transform), and these times the cosine and sine
    /// of twice the direction.
    pub weights: Vec<[f32; 3]>,
    /// All weights together.
    pub total: f32,
}
