//! The window of a block, and which modes of its spectrum hold noise only.

use std::f64::consts::TAU;

use super::BLOCK;
use crate::shot::Mosaic;

/// Hann's window centred at `centre` px of a block, one block wide.
pub(super) fn hann(centre: f64) -> [f64; BLOCK] {
    std::array::from_fn(|i| {
        let t = (i as f64 + 0.5 - centre) / BLOCK as f64;
        if t.abs() < 0.5 { 0.5 + 0.5 * (TAU * t).cos() } else { 0.0 }
    })
}

/// Frequency of a mode along one axis, cycles a block.
pub(super) fn signed(k: usize) -> f64 {
    if k > BLOCK / 2 { k as f64 - BLOCK as f64 } else { k as f64 }
}

/// Whether a mode holds noise only: the corners of the spectrum, or with half of the samples of a Bayer sensor
/// (whose corner holds the picture's own low frequencies again) the ends of its axes.
pub(super) fn is_high(mosaic: Mosaic, x: usize, y: usize) -> bool {
    let (fx, fy) = (signed(x).abs() / BLOCK as f64, signed(y).abs() / BLOCK as f64);
    match mosaic {
        Mosaic::None => fx.hypot(fy) > 0.52,
        _ => fx.max(fy) > 0.42 && fx.min(fy) < 0.08,
    }
}
