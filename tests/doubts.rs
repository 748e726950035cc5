//! What keeps a verdict from being firm though the widths ask for it, from hand-written tile maps: each time beside a frame
//! that differs in nothing else and is judged firmly.

#[path = "support/tilemaps.rs"]
mod tilemaps;

use tilemaps::{Rng, Scene, lit, right, scaled, v};
use tussock::TileMap;
use tussock::diagnose::{Cause, Diagnosis, ZoneName, diagnose, doubted};
use tussock::judge::{Judgement, SURE};
use tussock::measure::{Tile, TileState};
use tussock::quantity::{Distance, Estimate, Flag, Intent, Units};
use tussock::report::words;
use tussock::shot::{Capture, Fact, Source};

fn judge(scene: &Scene, map: &TileMap) -> Diagnosis {
    diagnose(map, &scene.capture(), None, &Intent::default())
}

#[test]
fn what_is_soft_alike_is_firmly_out_of_focus_only_where_the_camera_recorded_that() {
    for seed in 1..=4 {
        // From a tower: all of the scene is far, and the focus lies five metres away.
        let scene =
            Scene { camera_height_m: 60.0, focal_mm: 70.0, focus_m: 5.0, f_number: 4.0, seed, ..Scene::default() };
        let d = judge(&scene, &scene.map());
        assert!(d.verdict.cause.is_focus() && d.verdict.confidence < SURE, "seed {seed}: {:?}", d.verdict);
        let recorded = Some(Fact::new(Distance::from_metres(5.0), Source::MakerNote));
        let facts = Capture { focus_distance_m: recorded, ..scene.capture() };
        let d = diagnose(&scene.map(), &facts, None, &Intent::default());
        assert_eq!(d.verdict.cause, Cause::FocusTooNear, "seed {seed}: {:?}", d.verdict);
        assert!(d.verdict.confidence >= SURE, "seed {seed}: {:?}", d.verdict);
    }
}

/// A camera that had reason to smooth may have smoothed what would have shown the blur; edges show it still.
#[test]
fn sharp_is_not_firm_where_the_camera_had_reason_to_smooth() {
    let scene = Scene::default();
    let before = judge(&scene, &scene.map());
    assert!(before.verdict.cause == Cause::SharpThroughout && before.verdict.confidence >= SURE);
    let mut d = before;
    doubted(&mut d, &[Flag::Processed, Flag::LittleLight]);
    assert!(d.verdict.cause == Cause::SharpThroughout && d.verdict.confidence < SURE);
    assert!(words::sentence(&d, &scene.capture(), Units::Metric).contains("may have smoothed"));
    let scene = Scene { f_number: 4.0, focus_m: 100.0, ..scene };
    let mut soft = judge(&scene, &scene.map());
    let confidence = soft.verdict.confidence;
    doubted(&mut soft, &[Flag::Processed, Flag::LittleLight]);
    assert!(soft.verdict.confidence >= confidence && confidence >= SURE);
}

#[test]
fn content_that_coarsens_towards_the_camera_is_not_firmly_out_of_focus() {
    for seed in 1..=4 {
        let scene = right(Scene {
            width: 2048,
            height: 1536,
            pitch_um: 3.5,
            f_number: 7.0,
            focal_mm: 8.2,
            seed,
            ..Scene::default()
        });
        let grown = |times: f64| {
            let mut map = scene.map();
            for tile in map.tiles.iter_mut().filter(|t| t.blur.is_some()) {
                let share = (v(&scene, tile) - scene.horizon()).max(0.0) / (scene.bottom() - scene.horizon());
                let width = 0.72 * (1.0 + (times - 1.0) * share) * (1.0 + 0.03 * f64::from(tile.x % 7) / 7.0);
                tile.blur = Some(Estimate::new(width, 0.05 * width, 20));
            }
            judge(&scene, &map).verdict
        };
        let content = grown(1.45);
        assert!(!content.cause.is_focus() || content.confidence < SURE, "seed {seed}: {content:?}");
        let focus = grown(3.0);
        assert!(focus.cause == Cause::FocusTooFar && focus.confidence >= SURE, "seed {seed}: {focus:?}");
    }
}

#[test]
fn a_frame_whose_tiles_lie_off_the_model_patch_by_patch_is_not_judged_firmly() {
    for seed in 1..=4 {
        let scene = Scene { f_number: 4.0, focus_m: 100.0, missing: 0.0, scatter: 0.02, seed, ..Scene::default() };
        let off = |patch: usize| {
            let mut rng = Rng(seed);
            let mut map = scene.map();
            let columns = map.columns as usize;
            let signs: Vec<f64> = (0..map.tiles.len()).map(|_| if rng.chance(0.5) { 1.0 } else { -1.0 }).collect();
            for (i, tile) in map.tiles.iter_mut().enumerate() {
                let place = i / columns / patch * columns + i % columns / patch;
                scaled(tile, (0.12 * signs[place]).exp());
            }
            judge(&scene, &map).verdict
        };
        let (scattered, patchy) = (off(1), off(5));
        assert!(scattered.cause == Cause::FocusTooFar && scattered.confidence >= SURE, "seed {seed}: {scattered:?}");
        assert!(!patchy.cause.is_focus() || patchy.confidence < SURE, "seed {seed}: {patchy:?}");
    }
}

#[test]
fn a_quarter_of_the_picture_that_no_model_explains_leaves_no_firm_verdict() {
    for seed in 1..=4 {
        let scene = Scene { f_number: 4.0, focus_m: 100.0, seed, ..Scene::default() };
        let left = |share: f64| {
            let (mut map, mut rng) = (scene.map(), Rng(seed));
            for tile in map.tiles.iter_mut().filter(|t| v(&scene, t) < 0.15) {
                if rng.chance(share) {
                    scaled(tile, 8.0);
                }
            }
            judge(&scene, &map).verdict
        };
        let (little, much) = (left(0.15), left(0.5));
        assert!(little.cause == Cause::FocusTooFar && little.confidence >= SURE, "seed {seed}: {little:?}");
        assert!(!much.cause.is_focus() || much.confidence < SURE, "seed {seed}: {much:?}");
    }
}

#[test]
fn a_lens_out_of_line_is_told_firmly_only_under_a_sky() {
    let scene = right(Scene { f_number: 11.0, tilt_px: 11.0, ..Scene::default() });
    let mut map = scene.map();
    let d = judge(&scene, &map);
    assert!(d.verdict.cause == Cause::LensAsymmetry && d.verdict.confidence < SURE, "{:?}", d.verdict);
    lit(&scene, &mut map);
    let d = judge(&scene, &map);
    assert!(d.verdict.cause == Cause::LensAsymmetry && d.verdict.confidence >= SURE, "{:?}", d.verdict);
}

/// Sharpening by the camera, or a false f-number, leaves a picture narrower than its diffraction by less than contradicts it.
#[test]
fn diffraction_that_the_widths_do_not_show_is_no_cause() {
    let scene = right(Scene { f_number: 32.0, pitch_um: 4.0, ..Scene::default() });
    let honest = judge(&scene, &scene.map());
    assert!(honest.verdict.cause == Cause::Diffraction && honest.verdict.confidence >= SURE, "{:?}", honest.verdict);
    let mut map = scene.map();
    map.tiles.iter_mut().for_each(|t| scaled(t, 0.75));
    let d = judge(&scene, &map);
    assert!(d.verdict.cause != Cause::Diffraction, "{:?}", d.verdict);
    // The ends are as wide as their tiles, not as the recorded f-number would leave them.
    for (zone, before) in d.ends().iter().zip(&honest.zones) {
        let (now, then) = (zone.blur_px.expect("told").value, before.blur_px.expect("told").value);
        assert!((now / then / 0.75 - 1.0).abs() < 0.08, "{now} after {then}");
    }
}

#[test]
fn a_false_f_number_leaves_no_firm_verdict() {
    let scene = right(Scene { f_number: 8.0, pitch_um: 4.0, ..Scene::default() });
    let honest = judge(&scene, &scene.map());
    assert!(honest.verdict.cause == Cause::SharpThroughout && honest.verdict.confidence >= SURE);
    let facts = Capture { f_number: Some(Fact::new(45.0, Source::Exif)), ..scene.capture() };
    let d = diagnose(&scene.map(), &facts, None, &Intent::default());
    assert!(d.flags.contains(&Flag::ApertureContradicted) && d.verdict.cause == Cause::SharpThroughout);
    assert!(d.verdict.confidence < SURE, "{:?}", d.verdict);
}

/// Near and far are asked in the middle; what is soft along a whole side may be a lens out of line, a picture on its side, or a thing.
#[test]
fn a_frame_with_a_soft_side_is_not_firmly_sharp_throughout() {
    for (seed, left) in [(1, true), (2, false), (3, true)] {
        let scene = right(Scene { f_number: 11.0, down: 0.45, seed, ..Scene::default() });
        let plain = judge(&scene, &scene.map()).verdict;
        assert!(plain.cause == Cause::SharpThroughout && plain.confidence >= SURE, "seed {seed}: {plain:?}");
        let mut map = scene.map();
        let from_edge = |t: &Tile| t.centre().0 / f64::from(scene.width);
        let side = |t: &Tile| if left { from_edge(t) < 0.3 } else { from_edge(t) > 0.7 };
        map.tiles.iter_mut().filter(|t| side(t)).for_each(|t| scaled(t, 3.0));
        let d = judge(&scene, &map);
        assert!(
            d.verdict.cause == Cause::SharpThroughout && d.verdict.confidence < SURE,
            "seed {seed}: {:?}",
            d.verdict
        );
        let said = words::corners(&d);
        assert!(said.contains("side is worse") && !said.contains("something near"), "seed {seed}: {said}");
    }
}

/// Something near beside the camera, out of focus, in one corner: five times as wide as the corner beside it, and told to be so.
#[test]
fn a_frame_with_one_soft_corner_is_not_firmly_sharp_throughout() {
    for seed in 1..=4 {
        let scene = right(Scene { f_number: 11.0, down: 0.45, seed, ..Scene::default() });
        let corner = |times: f64| {
            let mut map = scene.map();
            let place = |t: &Tile| (t.centre().0 / f64::from(scene.width), t.centre().1 / f64::from(scene.height));
            let inside = |t: &Tile| place(t).0 < 0.3 && place(t).1 > 0.7;
            map.tiles.iter_mut().filter(|t| inside(t)).for_each(|t| scaled(t, times));
            judge(&scene, &map)
        };
        let (plain, soft) = (corner(1.0), corner(5.0));
        assert!(plain.verdict.cause == Cause::SharpThroughout && plain.verdict.confidence >= SURE, "seed {seed}");
        assert_eq!(soft.answer(ZoneName::BottomLeft).judgement, Judgement::Beyond, "seed {seed}");
        let v = &soft.verdict;
        assert!(v.cause == Cause::SharpThroughout && v.confidence < SURE, "seed {seed}: {v:?}");
        let said = words::corners(&soft);
        assert!(said.contains("bottom left corner is worse") && said.contains("something near"), "seed {seed}: {said}");
        let sentence = words::sentence(&soft, &scene.capture(), Units::Metric);
        assert!(sentence.starts_with("Probably "), "seed {seed}: {sentence}");
    }
}

/// Tiles that agree with each other and not with the model, taken for soft content: a room behind a desk in focus.
#[test]
fn what_is_sharp_before_a_third_that_is_soft_is_not_firmly_sharp_throughout() {
    for seed in 1..=4 {
        let scene = right(Scene { f_number: 11.0, down: 0.45, missing: 0.0, seed, ..Scene::default() });
        let soft = |share: f64| {
            let mut map = scene.map();
            let above = |t: &Tile| t.centre().1 < share * f64::from(scene.height);
            for tile in map.tiles.iter_mut().filter(|t| above(t)) {
                // Two and a half times the permitted blur.
                tile.blur = Some(Estimate::new(3.2, 0.2, 20));
            }
            judge(&scene, &map).verdict
        };
        let (little, much) = (soft(0.05), soft(0.4));
        assert!(little.cause == Cause::SharpThroughout && little.confidence >= SURE, "seed {seed}: {little:?}");
        assert!(much.cause != Cause::SharpThroughout || much.confidence < SURE, "seed {seed}: {much:?}");
    }
}

/// A bird before reeds: what is sharp passes for the scene, what is out of focus for soft content.
#[test]
fn a_sharp_thing_before_what_is_soft_by_far_is_not_firmly_sharp_throughout() {
    for seed in 1..=4 {
        let scene = right(Scene { f_number: 11.0, missing: 0.0, seed, ..Scene::default() });
        let behind = |from: f64| {
            let mut map = scene.map();
            let across = |t: &Tile| t.centre().0 / f64::from(scene.width);
            for tile in map.tiles.iter_mut().filter(|t| v(&scene, t) > scene.horizon() && across(t) < from) {
                (tile.state, tile.blur, tile.bound, tile.contrast) = (TileState::AtLeast, None, Some(4.5), 0.1);
            }
            judge(&scene, &map).verdict
        };
        let (little, much) = (behind(0.15), behind(0.4));
        assert!(little.cause == Cause::SharpThroughout && little.confidence >= SURE, "seed {seed}: {little:?}");
        assert!(much.cause == Cause::SharpThroughout && much.confidence < SURE, "seed {seed}: {much:?}");
    }
}

/// Several exposures laid together with one missing: thin lens, ground in front of the focus and behind it grows softer away from it, so
/// that of one exposure nothing between two ends that pass is softer than both.
#[test]
fn sharp_throughout_is_not_firm_where_rows_between_the_ends_are_soft() {
    for seed in 1..=4 {
        let scene = right(Scene { f_number: 11.0, down: 0.45, missing: 0.0, seed, ..Scene::default() });
        let between = |rows: std::ops::Range<u32>| {
            let mut map = scene.map();
            let columns = map.columns;
            let there = (0..).zip(&mut map.tiles).filter(|(i, _)| rows.contains(&(i / columns)));
            there.for_each(|(_, t)| t.blur = Some(Estimate::new(1.25 * scene.permitted(), 0.05, 20)));
            judge(&scene, &map).verdict
        };
        let (one, two) = (between(8..9), between(8..10));
        assert!(one.cause == Cause::SharpThroughout && one.confidence >= SURE, "seed {seed}: {one:?}");
        assert!(two.cause != Cause::SharpThroughout || two.confidence < SURE, "seed {seed}: {two:?}");
    }
}

/// ISO 12232: signal to noise of 10 and less is not acceptable. What is left of such noise in a file that a camera smoothed and sharpened,
/// or grain, looks like sharp detail; a sensor's own samples have it white.
#[test]
fn sharp_is_not_firm_under_heavy_noise_in_a_rendered_file() {
    let scene = right(Scene { f_number: 11.0, down: 0.45, missing: 0.0, ..Scene::default() });
    let said = |noise: f64, mosaic: bool| {
        let mut map = TileMap { mosaic, ..scene.map() };
        map.tiles.iter_mut().for_each(|t| (t.noise, t.level) = (noise, 0.18));
        judge(&scene, &map).verdict
    };
    let [clean, noisy, raw] = [said(0.003, false), said(0.03, false), said(0.03, true)];
    assert!([&clean, &noisy, &raw].iter().all(|v| v.cause == Cause::SharpThroughout), "{noisy:?}");
    assert!(clean.confidence >= SURE && noisy.confidence < SURE && raw.confidence >= SURE, "{noisy:?} {raw:?}");
}

/// A twentieth of what has a width may be soft of itself in a sharp picture; an eighth of it is something out of focus.
#[test]
fn an_eighth_that_is_soft_beside_what_is_sharp_leaves_sharp_throughout_not_firm() {
    for seed in 1..=4 {
        let scene = right(Scene { f_number: 11.0, down: 0.45, missing: 0.0, seed, ..Scene::default() });
        let soft = |across: f64| {
            let mut map = scene.map();
            let (w, h) = (f64::from(scene.width), f64::from(scene.height));
            let there = |t: &Tile| t.centre().0 < across * w && (0.3..0.8).contains(&(t.centre().1 / h));
            for tile in map.tiles.iter_mut().filter(|t| there(t)) {
                tile.blur = Some(Estimate::new(3.2, 0.2, 20));
            }
            judge(&scene, &map).verdict
        };
        let (little, much) = (soft(0.08), soft(0.26));
        assert!(little.cause == Cause::SharpThroughout && little.confidence >= SURE, "seed {seed}: {little:?}");
        assert!(much.cause != Cause::SharpThroughout || much.confidence < SURE, "seed {seed}: {much:?}");
    }
}

/// Thin lens: the disc of ground grows to that of the horizon without a step, wherever focus lies. What stands there and is softer than the
/// ground right before it moved, or lies beyond a crest; wind moves it in a long exposure (common practice, no published source).
#[test]
fn trees_softer_than_the_ground_before_them_may_have_swayed_in_a_long_exposure() {
    for seed in 1..=4 {
        let scene = right(Scene { f_number: 11.0, down: 0.2, missing: 0.0, seed, ..Scene::default() });
        let near = Scene { focus_m: 1.0 / scene.ground(scene.bottom()), f_number: 5.6, ..scene.clone() };
        let said = |scene: &Scene, sways: bool, seconds: f64| {
            let mut map = scene.map();
            let (columns, step) = (map.columns, f64::from(map.height) / f64::from(map.rows) / scene.half());
            let tops = scene.horizon() - if sways { 4.0 * step } else { 0.0 };
            for tile in &mut map.tiles {
                (tile.level, tile.contrast) = (0.15, 0.35);
                if v(scene, tile) < tops {
                    (tile.level, tile.contrast) = (0.7, 0.02);
                    (tile.state, tile.blur) = (TileState::NoDetail, None);
                } else if v(scene, tile) < scene.horizon() {
                    (tile.state, tile.blur) = (TileState::Measured, Some(Estimate::new(4.0, 0.3, columns)));
                }
            }
            let exposure = Some(Fact { value: seconds, source: Source::Exif });
            diagnose(&map, &Capture { exposure_s: exposure, ..scene.capture() }, None, &Intent::default()).verdict
        };
        let (short, long) = (said(&scene, true, 0.008), said(&scene, true, 0.5));
        assert!(short.cause == Cause::FocusTooNear, "seed {seed}: {short:?}");
        let weight = long.weights.iter().find(|w| w.0 == Cause::Motion).map_or(0.0, |w| w.1);
        assert!(long.cause == Cause::CannotTell && weight > 0.3, "seed {seed}: {long:?}");
        // Ground that grows soft towards the horizon is out of focus, however long the exposure.
        let missed = said(&near, false, 0.5);
        assert!(missed.cause == Cause::FocusTooNear && missed.confidence >= SURE, "seed {seed}: {missed:?}");
    }
}

/// An end that passes, but by the room that the permitted blur's definition leaves, may be taken for sharp or for soft: with the other one
/// beyond that decides between a focus too far and too little depth.
#[test]
fn too_little_depth_is_not_firm_where_one_end_passes() {
    for seed in 1..=4 {
        let said = |focus_m: f64| {
            let scene = Scene { f_number: 2.8, focus_m, missing: 0.0, seed, ..Scene::default() };
            judge(&scene, &scene.map())
        };
        let (passes, beyond) = (said(6.2), said(4.6));
        let far = |d: &Diagnosis| d.answer(ZoneName::Far).judgement;
        assert_eq!((far(&passes), far(&beyond)), (Judgement::AtLimit, Judgement::Beyond), "seed {seed}");
        assert!(passes.verdict.confidence < SURE, "seed {seed}: {:?}", passes.verdict);
        let firm = beyond.verdict.cause == Cause::TooLittleDepth && beyond.verdict.confidence >= SURE;
        assert!(firm, "seed {seed}: {:?}", beyond.verdict);
    }
}
