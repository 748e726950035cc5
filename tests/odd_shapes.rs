//! Odd shapes: measuring, diagnosing and reporting end with sound values, whatever the shape and the content.

use proptest::prelude::*;
use tussock::TileMap;
use tussock::diagnose::{Diagnosis, diagnose};
use tussock::measure::{Settings, Tile, TileState, measure};
use tussock::quantity::{Distance, Estimate, Flag, Intent, Place, Point};
use tussock::report::{self, Frame, Pixels, Run};
use tussock::shot::{Capture, Fact, Mosaic, Plane, Source};

fn capture() -> Capture {
    let fact = |v: f64| Some(Fact::new(v, Source::Given));
    Capture {
        f_number: fact(8.0),
        focal_length_mm: fact(24.0),
        pixel_pitch_um: fact(4.0),
        focus_distance_m: Some(Fact::new(Distance::Finite(2.0), Source::Given)),
        ..Capture::default()
    }
}

/// All that an audit makes of a tile map; panics are the tests' failures.
fn told(map: &TileMap, plane: Option<&Plane>, marked: bool) -> Diagnosis {
    let mark = |y: f64| marked.then_some(Place::Fractions(Point { x: 0.5, y }));
    let intent = Intent { near_at: mark(0.95), far_at: mark(0.3), ..Intent::default() };
    let bare = diagnose(map, &Capture::default(), None, &intent);
    assert!(bare.zones.iter().flat_map(|z| &z.tiles).all(|&t| (t as usize) < map.tiles.len()));
    let diagnosis = diagnose(map, &capture(), None, &intent);
    let frame = Frame {
        file: "odd.jpg".into(),
        capture: capture(),
        flags: vec![Flag::Processed],
        map: map.clone(),
        diagnosis: diagnosis.clone(),
        group: None,
    };
    let links = plane.map(|plane| report::pictures(&frame, &Pixels { plane, colour: None, tint: None }, true).inline());
    let view = report::view(&Run { frames: vec![frame], intent, ..Run::default() });
    let json: serde_json::Value = serde_json::from_slice(&report::json(&view)).expect("JSON");
    assert_eq!(json["frames"].as_array().map(Vec::len), Some(1));
    assert!(!report::csv(&view).is_empty() && !report::text(&view, 100).is_empty());
    assert!(report::html(&view, &[links.unwrap_or_default()]).contains("odd.jpg"));
    assert!(report::inline(view.frames.len()), "one frame's page is one file");
    diagnosis
}

fn plane(width: usize, height: usize, level: impl Fn(usize, usize) -> u16) -> Plane {
    Plane {
        width,
        height,
        data: (0..width * height).map(|i| level(i % width, i / width)).collect(),
        black: 0,
        white: u16::MAX,
        saturation: 65_000,
        mosaic: Mosaic::None,
        jpeg: None,
        rendered: true,
    }
}

fn content(kind: u8, seed: u64, x: usize, y: usize) -> u16 {
    let mixed = |n: u64| (n.wrapping_add(seed).wrapping_mul(0x9E37_79B9_7F4A_7C15) >> 40) as u16;
    match kind {
        0 => 0,
        1 => 20_000,
        2 => u16::MAX,
        3 => mixed((y * 70_000 + x) as u64),
        4 => 10_000 + 30_000 * u16::from((x / 7).is_multiple_of(2)),
        5 => 10_000 + 30_000 * u16::from((y / 7).is_multiple_of(2)),
        _ => 10_000 + 30_000 * u16::from(((x + y) / 11).is_multiple_of(2)) + mixed((y * 70_000 + x) as u64) / 64,
    }
}

#[test]
fn strips_and_specks_are_measured_and_diagnosed() {
    let sizes = [(1, 1), (1, 2), (2, 1), (1, 900), (900, 1), (3, 700), (6000, 50), (50, 3000), (17, 17), (1200, 200)];
    for (width, height) in sizes {
        for kind in 0..7 {
            let plane = plane(width, height, |x, y| content(kind, 5, x, y));
            for tiles in [4, 8, 96] {
                let map = measure(&plane, &Settings { tiles, ..Settings::default() });
                assert_eq!(map.tiles.len(), (map.columns * map.rows) as usize, "{width} x {height}");
                told(&map, Some(&plane), tiles == 8);
            }
        }
    }
}

fn tile(width: f64, state: bool) -> impl Fn(u32, u32, u32, u32) -> Tile {
    move |x, y, w, h| Tile {
        x,
        y,
        width: w,
        height: h,
        state: if state { TileState::Measured } else { TileState::NoDetail },
        contrast: 0.2,
        noise: 0.01,
        level: 0.3,
        blur: state.then(|| Estimate::new(width, 0.05 * width, 12)),
        spread: None,
        alone: None,
        bound: None,
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, ..ProptestConfig::default() })]

    /// From one tile to a row or a column of many, with widths from a pixel's to absurd ones, some missing.
    #[test]
    fn maps_of_any_shape_are_diagnosed(
        columns in prop_oneof![Just(1_u32), 1..40_u32],
        rows in prop_oneof![Just(1_u32), 1..30_u32],
        side in 16..400_u32,
        widths in prop::collection::vec((0.3..60.0_f64, prop::bool::weighted(0.8)), 1..64),
        marked in any::<bool>(),
    ) {
        let mut tiles = Vec::new();
        for row in 0..rows {
            for column in 0..columns {
                let (width, state) = widths[tiles.len() % widths.len()];
                tiles.push(tile(width, state)(column * side, row * side, side, side));
            }
        }
        let (width, height) = (columns * side, rows * side);
        let (overshoot, streak, common, clipped_share) = (None, None, None, 0.0);
        let (layers, enlarged, mosaic) = (Vec::new(), false, false);
        let map = TileMap {
            width, height, columns, rows, tiles, overshoot, streak, common, clipped_share, layers, enlarged, mosaic,
        };
        told(&map, None, marked);
    }

    #[test]
    fn planes_of_any_shape_are_measured(
        (width, height) in prop_oneof![(1..1200_usize, 1..60_usize), (1..60_usize, 1..1200_usize), (1..260_usize, 1..260_usize)],
        kind in 0..7_u8,
        seed in any::<u64>(),
        tiles in 4..97_u32,
    ) {
        let plane = plane(width, height, |x, y| content(kind, seed, x, y));
        let map = measure(&plane, &Settings { tiles, ..Settings::default() });
        prop_assert_eq!(map.tiles.len(), (map.columns * map.rows) as usize);
        told(&map, Some(&plane), false);
    }
}
