//! Frames of an aperture that nothing recorded tells, ordered by their blur: from deepest to shallowest.

use super::Blurs;
use crate::stats;

/// Fewest frames and tiles that make an order. Derived: two frames make an order; a dozen tiles have the quantiles
/// [`LEAST`] and [`MOST`], a fifth and three quarters.
const FRAMES: usize = 2;
const TILES: usize = 12;
/// The tiles that change least and most, as quantiles, and how many times more the latter must change. Chosen: shake
/// and haze blur all alike, a disc of defocus only what is out of focus.
const LEAST: f64 = 0.2;
const MOST: f64 = 0.75;
const UNEQUAL: f64 = 4.0;
/// Least ratio of the largest to the least width of the tiles that change most. Derived: a stop changes a disc by 1.4.
const CHANGED: f64 = 1.25;
/// Share of the tiles that change most that must have the same frame at either end of the order. Chosen: four of five.
const AGREE: f64 = 0.8;

/// The frames from the greatest depth of field to the least, of frames of one focus; `None` where the blur doesn't say
/// that the aperture was varied.
///
/// What is out of focus is blurred by a disc in proportion to the lens's opening, so its squared widths grow in one order
/// in every tile while what is in focus stays. Frames without widths in half of the tiles that change most are left out.
#[must_use]
pub fn deepest_first(blurs: &Blurs) -> Option<Vec<usize>> {
    let square = |k: usize, t: usize| blurs.sigma[k][t].map(|e| e.value.powi(2));
    let of_tile = |t: usize| {
        let known: Vec<f64> = (0..blurs.sigma.len()).filter_map(|k| square(k, t)).collect();
        let (low, high) = known.iter().fold((f64::INFINITY, 0.0f64), |m, &s| (m.0.min(s), m.1.max(s)));
        (known.len() >= 2 && 2 * known.len() > blurs.sigma.len()).then_some((t, high - low))
    };
    let ranges: Vec<(usize, f64)> = (0..blurs.anchor_sd.len()).filter_map(of_tile).collect();
    let values: Vec<f64> = ranges.iter().map(|r| r.1).collect();
    let (low, high) = (stats::quantile(&values, LEAST)?, stats::quantile(&values, MOST)?);
    if values.len() < TILES || high < UNEQUAL * low {
        return None;
    }
    let open: Vec<usize> = ranges.iter().filter(|r| r.1 >= high).map(|r| r.0).collect();
    let level = |k: usize| {
        let known: Vec<f64> = open.iter().filter_map(|&t| square(k, t)).collect();
        (2 * known.len() >= open.len()).then(|| stats::median(&known)).flatten().map(|m| (k, m))
    };
    let mut order: Vec<(usize, f64)> = (0..blurs.sigma.len()).filter_map(level).collect();
    order.sort_by(|a, b| a.1.total_cmp(&b.1));
    let (first, last) = (order.first()?, order.last()?);
    let follows = |t: &&usize| square(first.0, **t).zip(square(last.0, **t)).is_some_and(|(a, b)| b > a);
    let agree = open.iter().filter(follows).count() as f64 >= AGREE * open.len() as f64;
    let varied = order.len() >= FRAMES && last.1 > CHANGED.powi(2) * first.1;
    (agree && varied).then(|| order.into_iter().map(|o| o.0).collect())
}
