//! What capture facts can be: a number outside is a damaged or an idle entry, not a fact. One place for what files state and what is typed.

use std::ops::RangeInclusive;

/// f-numbers. Chosen: from faster than any lens that was made to the pinholes of toy cameras.
pub(crate) const F_NUMBER: RangeInclusive<f64> = 0.5..=256.0;

/// Focal lengths, mm. Chosen: from the lens of a phone to the longest mirror lens.
pub(crate) const FOCAL_MM: RangeInclusive<f64> = 0.5..=20_000.0;

/// The same for the field they would have on 24 x 36 mm, mm. Chosen: as focal lengths, which on a sensor smaller than 24 x
/// 36 mm are longer as it counts.
pub(crate) const FOCAL_35MM: RangeInclusive<f64> = 1.0..=20_000.0;

/// Exposure times, s. Chosen: from a flash of light to more than a week.
pub(crate) const EXPOSURE_S: RangeInclusive<f64> = 1e-7..=1e6;

/// ISO speeds. Chosen: far beyond what any sensor states.
pub(crate) const ISO: RangeInclusive<f64> = 1.0..=1e8;
