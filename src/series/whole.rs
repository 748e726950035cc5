//! The best stop for the whole frame, and the stops that can't be told from it.

use super::fit::IN_COMMON;
use super::rivals::unbeaten;
use super::zone::NO_LOSS;
use super::{Point, ZoneBlur};
use crate::judge::SURE;
use crate::stats::normal_beyond;

/// The answer for the whole frame.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Whole {
    /// The best frame.
    pub best: usize,
    /// Frames that can't be told from it, by f-number.
    pub alike: Vec<usize>,
    /// The run of stops about it that lose nothing in any zone, by f-number.
    pub within: Vec<usize>,
    /// The chance that none of the others is better, all of them together; of what is alike nothing is held.
    pub confidence: f64,
}

/// A stop at which every zone that decides has a width; a frame and its points in the order of the zones.
struct Stop {
    frame: usize,
    points: Option<Vec<Point>>,
}

/// The frame whose worst zone is the least blurred, over the frames that have a number in every zone that decides.
///
/// Frames whose worst zone is no wider beyond the error are judged by all zones together, each weighed by its error; those
/// that are no worse by that either are alike.
pub(super) fn whole(zones: &[&ZoneBlur], f_numbers: &[Option<f64>]) -> Option<Whole> {
    let mut order: Vec<(usize, f64)> = f_numbers.iter().enumerate().filter_map(|(k, n)| Some((k, (*n)?))).collect();
    order.sort_by(|a, b| a.1.total_cmp(&b.1));
    let at = |z: &&ZoneBlur, k: usize| z.points.iter().find(|p| p.frame == k).copied();
    let points = |k: usize| zones.iter().map(|z| at(z, k)).collect::<Option<Vec<Point>>>().filter(|w| !w.is_empty());
    let stops: Vec<Stop> = order.iter().map(|&(frame, _)| Stop { frame, points: points(frame) }).collect();
    let known: Vec<(usize, &Vec<Point>)> =
        stops.iter().enumerate().filter_map(|(i, s)| Some((i, s.points.as_ref()?))).collect();
    let least = known.iter().min_by(|a, b| worst(a.1).1.total_cmp(&worst(b.1).1))?;
    let untold = |z: f64| normal_beyond(z) > 1.0 - SURE;
    let may = known.iter().filter(|s| untold(worse_at_worst(s.1, least.1)));
    let &(best, own) = may.min_by(|a, b| together(a.1, least.1).0.total_cmp(&together(b.1, least.1).0))?;
    let worse = |s: &Vec<Point>| {
        let (loss, sd) = together(s, own);
        worse_at_worst(s, own).max(loss / sd)
    };
    let rivals: Vec<(usize, f64)> = known.iter().filter(|s| s.0 != best).map(|s| (s.0, worse(s.1))).collect();
    let alike = rivals.iter().filter(|r| untold(r.1)).map(|r| stops[r.0].frame).collect();
    let confidence = unbeaten(rivals.iter().map(|r| r.1).filter(|z| !untold(*z)));
    // A stop at which some zone has no number breaks the run: nothing is known of it.
    let no_loss = |i: usize| {
        let loses = |(p, b): (&Point, &Point)| p.blur.value > NO_LOSS * b.blur.value;
        stops[i].points.as_ref().is_some_and(|s| !s.iter().zip(own).any(loses))
    };
    let within = run(stops.len(), best, no_loss).map(|i| stops[i].frame).collect();
    Some(Whole { best: stops[best].frame, alike, within, confidence })
}

/// The worst zone's place and width.
fn worst(points: &[Point]) -> (usize, f64) {
    let by = |a: &(usize, f64), b: &(usize, f64)| a.1.total_cmp(&b.1);
    points.iter().map(|p| p.blur.value).enumerate().max_by(by).unwrap_or((0, 0.0))
}

/// Standard deviation of the logarithm of the ratio of two widths of one zone.
fn apart(a: &Point, b: &Point) -> f64 {
    (a.apart_sd / a.blur.value).hypot(b.apart_sd / b.blur.value)
}

/// By how many standard deviations the worst zone of a stop is wider than the same zone at another: one zone's scale is
/// the same at both.
fn worse_at_worst(stop: &[Point], other: &[Point]) -> f64 {
    let (zone, _) = worst(stop);
    let (a, b) = (&stop[zone], &other[zone]);
    (a.blur.value / b.blur.value).ln() / apart(a, b).hypot(IN_COMMON).max(1e-9)
}

/// Mean logarithm of the widths of a stop over those of another, zones weighed by their errors, and its standard deviation.
fn together(stop: &[Point], other: &[Point]) -> (f64, f64) {
    let (mut sum, mut weights) = (0.0, 0.0);
    for (a, b) in stop.iter().zip(other) {
        let weight = apart(a, b).max(1e-3).powi(-2);
        sum += weight * (a.blur.value / b.blur.value).ln();
        weights += weight;
    }
    (sum / weights, weights.sqrt().recip().hypot(IN_COMMON))
}

/// The run of places about one that all hold.
pub(super) fn run(count: usize, about: usize, holds: impl Fn(usize) -> bool) -> std::ops::RangeInclusive<usize> {
    let first = (0..about).rev().take_while(|&i| holds(i)).last().unwrap_or(about);
    let last = (about + 1..count).take_while(|&i| holds(i)).last().unwrap_or(about);
    first..=last
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::{Estimate, ZoneName};

    #[test]
    fn a_worst_zone_within_its_error_leaves_the_choice_to_the_others() {
        let zone = |name, widths: [f64; 4], sd: f64| {
            let point = |(frame, &w)| Point { frame, blur: Estimate::new(w, 0.05, 9), apart_sd: sd * w };
            ZoneBlur { name, points: widths.iter().enumerate().map(point).collect(), tiles: 9, of: 9 }
        };
        let inner = zone(ZoneName::Centre, [0.42, 0.43, 0.45, 0.48], 0.01);
        let f_numbers = [4.0, 5.6, 8.0, 11.0].map(Some);
        let best = |sd: f64, corner: [f64; 4]| {
            let corner = zone(ZoneName::TopLeft, corner, sd);
            whole(&[&inner, &corner], &f_numbers).unwrap()
        };
        let within = best(0.04, [0.54, 0.53, 0.53, 0.525]);
        assert_eq!((within.best, &within.alike[..]), (0, &[1][..]), "{within:?}");
        // What a corner loses beyond its error decides, and how surely is said.
        let beyond = best(0.01, [0.70, 0.60, 0.54, 0.50]);
        assert!(beyond.best == 3 && beyond.alike.is_empty() && beyond.confidence > 0.95, "{beyond:?}");
    }
}
