//! What whoever is told to move is cautioned of: once in full where somebody plans, once in short beside a line of advice.

/// On a plan and a card.
pub(in crate::report) const IN_FULL: &str = "Look where you step before you move, above all near edges and water and on wet \
                                             rock, and keep to the rules of the place.";

/// Behind advice on a frame or a shoot.
pub(in crate::report) const IN_SHORT: &str = "Look where you step, and keep to local rules.";
