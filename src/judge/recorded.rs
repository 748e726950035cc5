//! Whether a focus distance that the camera recorded can be believed beside what the picture shows.

use crate::quantity::Distance;

/// Standard deviations, and share of the larger of the two, by which a recorded focus distance must lie off what the
/// picture shows. Chosen: cameras record distances roughly (common practice, no published source).
const CONTRADICTED: (f64, f64) = (3.0, 0.2);

/// Whether a recorded distance lies outside what the picture allows, mean and spread of an inverse distance, 1/m.
pub(crate) fn contradicts(recorded: Distance, picture: (f64, f64)) -> bool {
    let (mean, sd) = picture;
    let (low, high) = recorded.bounds();
    let (far, near) = (1.0 / high, 1.0 / low);
    let slack = (CONTRADICTED.0 * sd).max(CONTRADICTED.1 * mean.abs().max(near));
    mean > near + slack || mean < far - slack
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_recorded_distance_is_contradicted_by_what_lies_beyond_its_rounding_and_the_pictures_error() {
        // The picture says 5 m to a tenth of it: 4.3 m may be that, 2 m and infinity are not.
        let picture = (0.2, 0.02);
        assert!(!contradicts(Distance::Finite(4.3), picture));
        assert!(contradicts(Distance::Finite(2.0), picture) && contradicts(Distance::Infinite, picture));
        assert!(!contradicts(Distance::Interval { low: 2.0, high: f64::INFINITY }, picture));
    }
}
