//! f-numbers as lenses are marked with them, and which two of them are one aperture: one place for all that lists or compares stops.

/// Marked f-numbers in thirds of a stop. Published: f-numbers as lenses are marked (ISO 517; from memory).
pub(crate) const THIRDS: [f64; 31] = [
    1.4, 1.6, 1.8, 2.0, 2.2, 2.5, 2.8, 3.2, 3.5, 4.0, 4.5, 5.0, 5.6, 6.3, 7.1, 8.0, 9.0, 10.0, 11.0, 13.0, 14.0, 16.0,
    18.0, 20.0, 22.0, 25.0, 29.0, 32.0, 36.0, 40.0, 45.0,
];

/// Full stops. Published: f-numbers as lenses are marked (ISO 517; from memory).
pub(crate) const FULL: [f64; 12] = [1.0, 1.4, 2.0, 2.8, 4.0, 5.6, 8.0, 11.0, 16.0, 22.0, 32.0, 45.0];

/// Every f-number that a lens or a camera may show. Published: the preferred numbers of ISO 517 in halves and thirds of a
/// stop, rounded as marked (from memory; the widest from common practice).
pub(crate) const MARKED: [f64; 45] = [
    0.95, 1.0, 1.1, 1.2, 1.4, 1.6, 1.7, 1.8, 1.9, 2.0, 2.2, 2.4, 2.5, 2.8, 3.2, 3.3, 3.5, 4.0, 4.5, 4.8, 5.0, 5.6, 6.3,
    6.7, 7.1, 8.0, 9.0, 9.5, 10.0, 11.0, 13.0, 14.0, 16.0, 18.0, 19.0, 20.0, 22.0, 25.0, 27.0, 29.0, 32.0, 36.0, 38.0,
    40.0, 45.0,
];

/// Factor within which f-numbers are one aperture. Derived: a sixth of a stop, half of the least step that lenses are set
/// in; files state what is engraved or what was driven, and the two differ by less.
pub(crate) const ONE_APERTURE: f64 = 1.06;

/// Whether two f-numbers are one aperture.
pub(crate) fn same(a: f64, b: f64) -> bool {
    a.max(b) <= ONE_APERTURE * a.min(b)
}

/// The apertures among f-numbers, rising.
pub(crate) fn distinct(f_numbers: impl Iterator<Item = f64>) -> Vec<f64> {
    let mut all: Vec<f64> = f_numbers.collect();
    all.sort_by(f64::total_cmp);
    all.dedup_by(|a, b| same(*a, *b));
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The preferred numbers are powers of the root of two, rounded to two digits as engraved (ISO 517).
    #[test]
    fn marked_stops_are_powers_of_the_root_of_two() {
        for (k, marked) in FULL.into_iter().enumerate() {
            let exact = f64::exp2(0.5 * k as f64);
            assert!((marked / exact - 1.0).abs() < 0.03, "f/{marked} for {exact}");
        }
        for (k, marked) in THIRDS.into_iter().enumerate() {
            let exact = f64::exp2((k as f64 + 3.0) / 6.0);
            assert!((marked / exact - 1.0).abs() < 0.03, "f/{marked} for {exact}");
        }
        assert!(FULL.iter().chain(&THIRDS).all(|n| MARKED.contains(n)));
    }

    #[test]
    fn neighbours_in_thirds_are_two_apertures_and_roundings_of_one_are_one() {
        assert_eq!(distinct(THIRDS.into_iter()), THIRDS);
        // As engraved and as driven: f/5.6 is the 5th power of the root of two, 5.657.
        assert_eq!(distinct([11.0, 5.6, 5.657, 11.31].into_iter()), [5.6, 11.0]);
    }
}
