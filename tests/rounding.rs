//! What varies by less than rounding to 8 bits may leave has no width.
//!
//! The sRGB curve is that of IEC 61966-2-1, written here anew.

use tussock::measure::{Settings, TileMap, measure};
use tussock::shot::Plane;

const SIDE: usize = 576;

fn linear(code: f64) -> f64 {
    let v = code / 255.0;
    if v <= 0.04045 { v / 12.92 } else { ((v + 0.055) / 1.055).powf(2.4) }
}

/// Coarse mottle as smoothed noise leaves it, a Gaussian spread of 2 px, whose standard deviation goes from tile to tile from `least`
/// to `most` code values, about `code`; rounded to 8 bits with the dither that exports add.
fn mottled(code: f64, least: f64, most: f64) -> TileMap {
    let mut dice = fastrand::Rng::with_seed(7);
    let white: Vec<f64> = (0..SIDE * SIDE).map(|_| (0..12).map(|_| dice.f64()).sum::<f64>() - 6.0).collect();
    let weights: Vec<f64> = (-6..=6).map(|k: i32| (-f64::from(k * k) / 8.0).exp()).collect();
    let power = weights.iter().map(|w| w * w).sum::<f64>();
    let smooth = |from: &[f64], step: usize, at: usize, n: usize| -> f64 {
        let place = |k: usize| (at + SIDE + k - 6) % SIDE * step + n;
        weights.iter().enumerate().map(|(k, w)| w * from[place(k)]).sum()
    };
    let along: Vec<f64> = (0..SIDE * SIDE).map(|i| smooth(&white, 1, i % SIDE, i / SIDE * SIDE)).collect();
    let mottle = |i: usize| smooth(&along, SIDE, i / SIDE, i % SIDE) / power;
    let tile = |i: usize| (i % SIDE / 96 + i / SIDE / 96 * 5) % 7;
    let codes: Vec<f64> = (0..SIDE * SIDE)
        .map(|i| {
            let strength = least + (most - least) * tile(i) as f64 / 6.0;
            (code + strength * mottle(i) + 0.5 * (dice.f64() - 0.5)).round()
        })
        .collect();
    let data = codes.iter().map(|c| (65_535.0 * linear(c.clamp(0.0, 255.0))).round() as u16).collect();
    let plane = Plane { rendered: true, ..Plane::plain(SIDE, SIDE, data, 65_535) };
    measure(&plane, &Settings { tiles: 6, ..Settings::default() })
}

#[test]
fn what_rounding_may_leave_has_no_width() {
    for code in [12.0, 120.0, 220.0] {
        let map = mottled(code, 0.2, 0.7);
        assert_eq!(map.measured().count(), 0, "about {code}: {:?}", map.measured().map(|m| m.1).collect::<Vec<_>>());
        // The same mottle over several code values is a picture, and told with the 25 % that make a number: 2 px.
        let map = mottled(code, 3.0, 4.0);
        let widths: Vec<f64> = map.measured().map(|m| m.1.value).collect();
        assert!(widths.len() >= 30, "about {code}: {} of 36 tiles", widths.len());
        assert!(widths.iter().all(|w| (w / 2.0 - 1.0).abs() < 0.25), "about {code}: {widths:?}");
    }
}
