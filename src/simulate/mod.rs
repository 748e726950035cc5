//! Scenes of known blur. Uses neither `optics` nor `measure`, so that one wrong formula can't confirm itself.
