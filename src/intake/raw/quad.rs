//! Quad: mosaics of two by two sites of each colour, taken four sites at a time, as a sensor of twice the pitch would have
//! recorded them.

use rayon::prelude::*;

use super::sensor::{Pattern, Refused, Sensor};
use crate::quantity::Flag;

/// The sums of each four sites of one colour, or their means where sums need more than 16 bits; `skipped` columns and rows of
/// the picture are the rest of four that begin before it. `pattern` is that of the fours.
pub(super) fn binned(sensor: &Sensor, skipped: (usize, usize), pattern: Pattern) -> Result<Sensor, Refused> {
    let width = sensor.width.saturating_sub(skipped.0) / 2;
    let height = sensor.height.saturating_sub(skipped.1) / 2;
    let share = if 4.0 * sensor.white < 65_536.0 { 1 } else { 4 };
    let row = |y: usize| sensor.row(skipped.1 + y).get(skipped.0..).unwrap_or_default();
    let rows = (0..height).into_par_iter().flat_map_iter(|y| {
        let pairs = std::iter::zip(row(2 * y).chunks_exact(2), row(2 * y + 1).chunks_exact(2));
        pairs.map(move |(above, below)| {
            let sum: u32 = above.iter().chain(below).map(|v| u32::from(*v)).sum();
            ((sum + share / 2) / share).min(65_535) as u16
        })
    });
    let scale = 4.0 / share as f32;
    let mut flags = sensor.flags.clone();
    flags.push(Flag::Binned);
    let binned = Sensor {
        samples: rows.collect(),
        stride: width,
        left: 0,
        top: 0,
        width,
        height,
        pattern: Some(pattern),
        black: sensor.black.map(|level| level * scale),
        white: sensor.white * scale,
        flags,
        ..*sensor
    };
    binned.checked(height)
}
