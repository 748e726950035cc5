//! What kind of frames a lens is to be learned from, by their facts.

use super::LearnedFrom;
use super::focus::FRAMES;
use crate::optics::stops;
use crate::shot::Capture;

/// Fewest f-numbers of a series of apertures. Chosen: two are taken by chance, and a lens is stopped down by more than one
/// step.
const STOPS: usize = 3;
/// Most frames to an f-number of such a series, and most of them in all. Chosen: a tripod's series repeats a stop for
/// safety, a shoot has many frames of each.
const TO_A_STOP: usize = 3;
const MOST: usize = 24;
/// Most frames to a recorded distance of a series of focus. Chosen: a bracket may repeat a step; a shoot at one f-number
/// has most frames at its two or three favourite distances.
const TO_A_PLACE: usize = 2;
/// Difference of inverse distances that are one place, 1/m. Chosen: less than any camera's record of the distance tells
/// apart.
const ONE_PLACE: f64 = 1e-3;

/// What frames are: a few f-numbers of few frames each are a series of apertures, one f-number at several recorded distances is a
/// series of focus, anything else a shoot.
pub(crate) fn kind<'a>(frames: impl Iterator<Item = &'a Capture>) -> LearnedFrom {
    let captures: Vec<&Capture> = frames.collect();
    let stops = stops::distinct(captures.iter().filter_map(|c| c.f_number.as_ref()).map(|f| f.value)).len();
    let mut places: Vec<f64> =
        captures.iter().filter_map(|c| c.focus_distance_m.as_ref()).map(|f| 1.0 / f.value.middle()).collect();
    places.sort_by(f64::total_cmp);
    places.dedup_by(|a, b| (*a - *b).abs() < ONE_PLACE);
    let (frames, places) = (captures.len(), places.len());
    if stops == 1 && places >= FRAMES && frames <= TO_A_PLACE * places {
        LearnedFrom::FocusSeries
    } else if stops >= STOPS && frames <= TO_A_STOP * stops && frames <= MOST {
        LearnedFrom::ApertureSeries
    } else {
        LearnedFrom::Shoot
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::Distance;
    use crate::shot::{Fact, Source};

    #[test]
    fn a_series_is_told_from_a_shoot_by_what_was_varied() {
        let shot = |n: f64, metres: f64| Capture {
            f_number: Some(Fact::new(n, Source::Exif)),
            focus_distance_m: Some(Fact::new(Distance::Finite(metres), Source::Exif)),
            ..Capture::default()
        };
        let of = |all: Vec<Capture>| kind(all.iter());
        assert_eq!(of([4.0, 5.6, 8.0, 11.0].map(|n| shot(n, 10.0)).to_vec()), LearnedFrom::ApertureSeries);
        assert_eq!(of([1.0, 2.0, 4.0, 8.0].map(|m| shot(8.0, m)).to_vec()), LearnedFrom::FocusSeries);
        assert_eq!(of([8.0, 11.0, 8.0, 11.0].map(|n| shot(n, 10.0)).to_vec()), LearnedFrom::Shoot);
        assert_eq!(of((0..30).map(|k| shot([4.0, 8.0, 11.0][k % 3], 1.0 + k as f64)).collect()), LearnedFrom::Shoot);
    }
}
