//! The two answers from hand-written tile maps: whether a frame is sharp, place by place, and why it is not; and the rules
//! that keep content, processing and false facts from being taken for either.

#[path = "support/tilemaps.rs"]
mod tilemaps;

use tilemaps::{Rng, Scene, lit, right, scaled, v};
use tussock::TileMap;
use tussock::diagnose::{
    Cause, Diagnosis, ImpliedDistance, Standing, Unsettled, ZoneName, diagnose, doubted, finest_px,
};
use tussock::judge::{self, Judgement, Reason};
use tussock::measure::{Streak, TileState};
use tussock::quantity::{Distance, Estimate, Flag, Intent, SharpFor, Units};
use tussock::report::words;
use tussock::series::limits_px;
use tussock::shot::{Capture, Fact, Source};

fn too_far() -> Scene {
    Scene { f_number: 4.0, focus_m: 100.0, ..Scene::default() }
}

fn judge(scene: &Scene, map: &TileMap) -> Diagnosis {
    diagnose(map, &scene.capture(), None, &Intent::default())
}

fn ends(d: &Diagnosis) -> [Judgement; 2] {
    [ZoneName::Near, ZoneName::Far].map(|z| d.answer(z).judgement)
}

#[test]
fn a_frame_with_an_end_beyond_is_never_sharp_throughout_whoever_is_to_blame() {
    for seed in 1..=4 {
        // Soft by the lens all over, focus and depth right.
        let scene = right(Scene { f_number: 11.0, lens: (2.0, 0.4, 2.0), seed, ..Scene::default() });
        let d = judge(&scene, &scene.map());
        assert_eq!(ends(&d), [Judgement::Beyond; 2], "seed {seed}");
        assert_eq!(d.sharp_throughout(), Some(false));
        assert_ne!(d.verdict.cause, Cause::SharpThroughout, "seed {seed}: {:?}", d.verdict);
        let said = words::sentence(&d, &scene.capture(), Units::Metric);
        assert!(said.starts_with("Soft near and far: ") && said.contains("permitted 1.28 px"), "{said}");
    }
}

#[test]
fn no_focus_distance_is_told_by_a_blur_that_is_everywhere_the_same() {
    for seed in 1..=4 {
        // Focus and depth right, soft by the lens all over: a disc that near and far share would be as wide.
        let scene = right(Scene { f_number: 11.0, lens: (2.0, 0.4, 2.0), seed, ..Scene::default() });
        let d = judge(&scene, &scene.map());
        assert!(d.implied.focus_m.is_none(), "seed {seed}: {:?}", d.implied);
        // Ends alike beside a sharp middle tell where the focus lay.
        let deep = right(Scene { f_number: 2.8, seed, ..Scene::default() });
        let told = judge(&deep, &deep.map()).implied.focus_m.map(|f| f.value);
        assert!(told.is_some_and(|m| (m / deep.focus_m - 1.0).abs() < 0.2), "seed {seed}: {told:?}");
    }
}

/// By the thin lens a disc tells the inverse distance of the focus less that of what it is the disc of: in a clearing that ends 10 m
/// away all inverse distances are 1/10 m more than before a far scene, and a record of the focus is held against them so.
#[test]
fn distances_are_told_from_the_far_scene_that_was_stated() {
    // Focus 10 m before a far scene, and the same discs in the clearing: 1 / (1/10 + 1/10) = 5 m.
    let scene = Scene { f_number: 2.8, focus_m: 10.0, ..Scene::default() };
    let map = scene.map();
    let (far, clearing) = (Intent::default(), Intent { far_m: Some(10.0), ..Intent::default() });
    let told = |intent: &Intent| diagnose(&map, &scene.capture(), None, intent).implied;
    let inverse = |d: Option<ImpliedDistance>| 1.0 / d.unwrap().value;
    let (a, b) = (told(&far), told(&clearing));
    assert!((inverse(b.focus_m) - inverse(a.focus_m) - 0.1).abs() < 0.01, "{a:?} {b:?}");
    assert!((inverse(b.near_m) - inverse(a.near_m) - 0.1).abs() < 0.01, "{a:?} {b:?}");
    // Who told the distance is said.
    let said = |source| {
        let focus_distance_m = Some(Fact::new(Distance::from_metres(5.0), source));
        let capture = Capture { focus_distance_m, ..scene.capture() };
        words::sentence(&diagnose(&map, &capture, None, &far), &capture, Units::Metric)
    };
    assert!(said(Source::Given).contains("you gave 5.0 m"), "{}", said(Source::Given));
    assert!(said(Source::MakerNote).contains("the camera recorded 5.0 m"));
    for (metres, intent, against) in [(10.0, far, false), (5.0, clearing, false), (5.0, far, true)] {
        let focus_distance_m = Some(Fact::new(Distance::from_metres(metres), Source::MakerNote));
        let d = diagnose(&map, &Capture { focus_distance_m, ..scene.capture() }, None, &intent);
        assert_eq!(d.flags.contains(&Flag::FocusDistanceContradicted), against, "{metres} m, {intent:?}");
    }
}

#[test]
fn the_first_answer_is_said_first_and_no_two_numbers_read_alike() {
    let scene = right(Scene { f_number: 11.0, ..Scene::default() });
    let mut d = judge(&scene, &scene.map());
    let said = words::sentence(&d, &scene.capture(), Units::Metric);
    assert!(said.starts_with("Sharp from near to far. Near 0.") && said.contains("permitted 1.28 px"), "{said}");
    d.zones[0].optical_px = Some(Estimate::new(d.permitted_px - 0.002, 0.001, 9));
    let said = words::sentence(&d, &scene.capture(), Units::Metric);
    assert!(said.contains("Near 1.276 px") && said.contains("permitted 1.278 px"), "{said}");
}

#[test]
fn small_pictures_are_judged_by_two_pixels() {
    let scene = right(Scene { width: 1600, height: 1064, pitch_um: 6.0, f_number: 11.0, ..Scene::default() });
    let d = judge(&scene, &scene.map());
    assert!((d.permitted_px - 0.265_77 * 2.0).abs() < 1e-3, "{}", d.permitted_px);
    assert!((judge::permitted_px(SharpFor::OneToOne, 1600, 1064) - d.permitted_px).abs() < 1e-9);
}

#[test]
fn widths_that_are_only_bounded_do_not_scatter() {
    // Dead leaves under a phone's smoothing: two of three tiles near the camera say only that they are no wider than this.
    for seed in 1..=4 {
        let scene = right(Scene { f_number: 11.0, seed, ..Scene::default() });
        let mut map = scene.map();
        let (mut dice, low) = (Rng(seed), 0.4 * scene.bottom());
        for tile in map.tiles.iter_mut().filter(|t| v(&scene, t) > low) {
            let wide = dice.unit();
            if let Some(b) = tile.blur.filter(|_| dice.unit() < 0.67) {
                (tile.blur, tile.state, tile.bound) = (None, TileState::AtMost, Some(b.value * (1.2 + 3.0 * wide)));
            }
        }
        let d = judge(&scene, &map);
        assert!(ends(&d).iter().all(|e| e.passes()), "seed {seed}: {:?}", d.near().answer);
    }
}

#[test]
fn a_mast_before_the_sky_has_no_say() {
    // A long lens focused far before a low shore, and something thin and sharp that stands from the lower edge into the sky:
    // most rows of the picture show nothing else.
    for seed in 1..=4 {
        let long =
            Scene { width: 3008, height: 2000, pitch_um: 7.85, focal_mm: 130.0, down: -0.016, ..Scene::default() };
        let scene = Scene { f_number: 6.3, focus_m: 28.0, seed, ..long };
        let mut map = scene.map();
        lit(&scene, &mut map);
        let plain = judge(&scene, &map);
        let columns = map.columns as usize;
        for (i, tile) in map.tiles.iter_mut().enumerate().filter(|(i, _)| i % columns == 5) {
            (tile.blur, tile.state) = (Some(Estimate::new(0.9 + 0.01 * (i % 7) as f64, 0.1, 1)), TileState::Measured);
            (tile.level, tile.contrast) = (0.3, 0.9);
        }
        let d = judge(&scene, &map);
        assert_eq!(d.verdict.cause, plain.verdict.cause, "seed {seed}: {:?}", d.verdict);
        let far = |d: &Diagnosis| d.far().optical_px.map(|b| b.value).unwrap();
        assert!((far(&d) / far(&plain) - 1.0).abs() < 0.05, "seed {seed}: {} and {}", far(&d), far(&plain));
    }
}

/// Gradients of a foreground that is drawn in layers.
fn layered(scene: &Scene, map: &mut TileMap) {
    map.layers = map.tiles.iter().map(|t| Some(if v(scene, t) > 0.1 { 1.8 } else { 0.2 })).collect();
}

#[test]
fn water_in_the_foreground_is_not_judged_however_soft_it_reads() {
    for seed in 1..=4 {
        // As soft as the shore, which is at the limit; and softer.
        for (water, dry) in [(1.0, Judgement::AtLimit), (1.8, Judgement::Unknown)] {
            let scene = right(Scene { f_number: 11.0, seed, ..Scene::default() });
            let (mut map, mut dice) = (scene.map(), Rng(seed));
            let shore = 1.05 * judge(&scene, &map).permitted_px;
            for tile in map.tiles.iter_mut().filter(|t| t.blur.is_some()) {
                let width = if v(&scene, tile) > 0.1 { shore * water } else { shore } * (0.05 * dice.normal()).exp();
                tile.blur = Some(Estimate::new(width, 0.1 * width, 20));
            }
            layered(&scene, &mut map);
            let d = judge(&scene, &map);
            assert_eq!(d.answer(ZoneName::Near).reason, Some(Reason::Water), "seed {seed}, {water}");
            assert_eq!((ends(&d)[0], d.verdict.cause), (Judgement::Unknown, Cause::CannotTell), "{:?}", d.verdict);
            assert!(d.answer(ZoneName::Far).judgement.passes());
            let said = words::sentence(&d, &scene.capture(), Units::Metric);
            assert!(said.starts_with("Sharp far, near unknown: water. Near unknown (water), far "), "{said}");
            // What has the contrast of stones is judged where it passes.
            let mut stones = map.clone();
            stones.tiles.iter_mut().for_each(|t| t.contrast = 0.5);
            let said = ends(&judge(&scene, &stones))[0];
            assert_eq!(said, if water > 1.0 { Judgement::Unknown } else { Judgement::AtLimit }, "seed {seed}, {water}");
            // Ground is as steep both ways; where it steps it is left open for that.
            map.layers.iter_mut().for_each(|l| *l = Some(0.6));
            let d = judge(&scene, &map);
            assert_eq!(ends(&d)[0], dry, "seed {seed}, {water}");
            assert_ne!(d.answer(ZoneName::Near).reason, Some(Reason::Water));
        }
    }
}

#[test]
fn corners_in_water_are_as_unknown_as_the_near_end() {
    // What softens them is the water's own, as it is in the middle; corners of ground are judged, and so is what is sharp.
    for seed in 1..=4 {
        let corners = [ZoneName::BottomLeft, ZoneName::BottomRight];
        let scene = right(Scene { f_number: 11.0, seed, ..Scene::default() });
        let mut map = scene.map();
        map.tiles.iter_mut().filter(|t| v(&scene, t) > 0.1).for_each(|t| scaled(t, 4.0));
        layered(&scene, &mut map);
        let d = judge(&scene, &map);
        assert_eq!(d.answer(ZoneName::Near).reason, Some(Reason::Water), "seed {seed}");
        for corner in corners {
            assert_eq!(d.answer(corner).reason, Some(Reason::Water), "seed {seed}, {corner:?}");
            assert!(d.zones.iter().all(|z| z.name != corner || z.optical_px.is_none()), "seed {seed}, {corner:?}");
        }
        // A left corner of stones, as soft.
        for (tile, layers) in map.tiles.iter().zip(&mut map.layers) {
            if tile.centre().0 < f64::from(map.width) / 4.0 {
                *layers = Some(0.2);
            }
        }
        let d = judge(&scene, &map);
        let said = corners.map(|c| d.answer(c).judgement);
        assert_eq!(said, [Judgement::Beyond, Judgement::Unknown], "seed {seed}");
    }
}

#[test]
fn corners_in_what_a_long_exposure_drew_out_are_as_unknown_as_the_near_end() {
    for seed in 1..=4 {
        // Smooth water over the lower half, as low in contrast as a stream under a long exposure (0.07).
        let scene = right(Scene { f_number: 11.0, seed, ..Scene::default() });
        let (mut map, mut dice) = (scene.map(), Rng(seed));
        for tile in map.tiles.iter_mut().filter(|t| v(&scene, t) > 0.2 && t.blur.is_some()) {
            tile.blur = Some(Estimate::new(4.5 * (0.05 * dice.normal()).exp(), 0.4, 20));
            tile.contrast = 0.07;
        }
        let reasons = |seconds: f64| {
            let exposure = Some(Fact { value: seconds, source: Source::Exif });
            let d = diagnose(&map, &Capture { exposure_s: exposure, ..scene.capture() }, None, &Intent::default());
            assert_eq!(d.answer(ZoneName::Near).reason, Some(Reason::Scatters), "seed {seed}, {seconds} s");
            [ZoneName::BottomLeft, ZoneName::BottomRight].map(|c| (d.answer(c).judgement, d.answer(c).reason))
        };
        assert_eq!(reasons(30.0), [(Judgement::Unknown, Some(Reason::Scatters)); 2], "seed {seed}");
        // In a short one what is soft there may be a bush or a rock, out of focus.
        assert!(reasons(0.01).iter().any(|r| r.0 == Judgement::Beyond), "seed {seed}");
    }
}

#[test]
fn corners_beside_a_step_are_as_unknown_as_the_near_end_it_opens() {
    // Half as soft again from a height down, as a sea drawn out by a long exposure is: too little to scatter.
    for seed in 1..=4 {
        let scene = right(Scene { f_number: 13.0, seed, ..Scene::default() });
        let mut map = scene.map();
        map.tiles.iter_mut().filter(|t| v(&scene, t) > 0.05).for_each(|t| scaled(t, 1.6));
        let exposure = Some(Fact { value: 30.0, source: Source::Exif });
        let d = diagnose(&map, &Capture { exposure_s: exposure, ..scene.capture() }, None, &Intent::default());
        for place in [ZoneName::Near, ZoneName::BottomLeft, ZoneName::BottomRight] {
            let said = (d.answer(place).judgement, d.answer(place).reason);
            assert_eq!(said, (Judgement::Unknown, Some(Reason::Scatters)), "seed {seed}, {place:?}");
        }
    }
}

#[test]
fn furrows_and_boards_that_run_out_of_focus_are_no_water() {
    // Drawn in layers like water, but the blur grows from row to row as a disc over ground does.
    for seed in 1..=4 {
        let scene = Scene { seed, ..too_far() };
        let mut map = scene.map();
        layered(&scene, &mut map);
        let d = judge(&scene, &map);
        assert_eq!(
            (ends(&d)[0], d.verdict.cause),
            (Judgement::Beyond, Cause::FocusTooFar),
            "seed {seed}: {:?}",
            d.verdict
        );
        // One witness says water, so it is likely, not firm.
        assert!(d.verdict.confidence < judge::SURE && judge(&scene, &scene.map()).verdict.confidence >= judge::SURE);
        // A long exposure draws water out, and so softens it gradually, too.
        let exposure = Some(Fact { value: 4.0, source: Source::Exif });
        let d = diagnose(&map, &Capture { exposure_s: exposure, ..scene.capture() }, None, &Intent::default());
        assert_eq!(d.answer(ZoneName::Near).reason, Some(Reason::Water), "seed {seed}");
    }
}

#[test]
fn what_softens_all_of_the_picture_softens_water_too() {
    for seed in 1..=4 {
        let scene = right(Scene { f_number: 11.0, lens: (2.0, 0.2, 2.0), seed, ..Scene::default() });
        let mut map = scene.map();
        layered(&scene, &mut map);
        assert_eq!(ends(&judge(&scene, &map)), [Judgement::Beyond; 2], "seed {seed}");
        map.tiles.iter_mut().filter(|t| v(&scene, t) > 0.1).for_each(|t| scaled(t, 1.6));
        assert_eq!(ends(&judge(&scene, &map)), [Judgement::Unknown, Judgement::Beyond], "seed {seed}");
    }
}

#[test]
fn a_far_scene_out_of_focus_over_water_is_focus_too_near_but_not_firmly() {
    let mut scene = Scene { f_number: 4.0, ..Scene::default() };
    scene.focus_m = 0.9 / scene.ground(scene.bottom());
    let mut map = scene.map();
    layered(&scene, &mut map);
    // What reads sharp is sharp, planks or still ripples: content only adds blur.
    assert_eq!(ends(&judge(&scene, &map)), [Judgement::Within, Judgement::Beyond]);
    // What flows reads soft in the very plane of focus.
    for tile in &mut map.tiles {
        if v(&scene, tile) > 0.1 {
            scaled(tile, 2.0);
        }
    }
    let d = judge(&scene, &map);
    assert_eq!(ends(&d), [Judgement::Unknown, Judgement::Beyond]);
    assert_eq!(d.verdict.cause, Cause::FocusTooNear, "{:?}", d.verdict);
    assert!(d.verdict.confidence < judge::SURE);
}

#[test]
fn a_step_from_sharpened_edges_to_smoothed_texture_is_no_defocus() {
    for seed in 1..=6 {
        let scene = right(Scene { f_number: 13.0, seed, ..Scene::default() });
        let mut map = scene.map();
        map.overshoot = Some(Estimate::new(0.12, 0.01, 200));
        for tile in &mut map.tiles {
            if v(&scene, tile) > 0.05 {
                scaled(tile, 2.4);
            }
        }
        let d = judge(&scene, &map);
        let firm = d.verdict.cause.is_focus() && d.verdict.confidence >= judge::SURE;
        assert!(!firm && ends(&d)[0] != Judgement::Beyond, "seed {seed}: {:?} {:?}", d.verdict, d.near());
        // The same processing over ground that is out of focus leaves the growth, and the verdict.
        let far = Scene { seed, ..too_far() };
        let mut map = far.map();
        map.overshoot = Some(Estimate::new(0.12, 0.01, 200));
        let d = judge(&far, &map);
        assert_eq!(d.verdict.cause, Cause::FocusTooFar, "seed {seed}: {:?}", d.verdict);
    }
}

/// Leaves in front: each of the six lowest rows is half as soft again as the one above it, with wide scatter; all of it so many
/// times as soft.
fn leaves_in_front(scene: &Scene, seed: u64, times: f64) -> TileMap {
    let mut map = scene.map();
    let (rows, columns) = (map.rows, map.columns);
    let mut rng = Rng(seed * 31);
    for (i, tile) in map.tiles.iter_mut().enumerate() {
        let below = (i as u32 / columns + 7).saturating_sub(rows);
        if below > 0 && tile.blur.is_some() {
            let width = times * 0.9 * 1.6f64.powi(below as i32) * (0.25 * rng.normal()).exp();
            tile.blur = Some(Estimate::new(width, 0.1 * width, 20));
            if below > 5 && rng.chance(0.5) {
                (tile.blur, tile.state) = (None, TileState::NoDetail);
            }
        }
    }
    map
}

#[test]
fn a_foreground_blurred_by_tens_of_pixels_is_soft_whatever_plane_it_lies_in() {
    for seed in 1..=6 {
        let scene = right(Scene { f_number: 11.0, seed, ..Scene::default() });
        let d = judge(&scene, &leaves_in_front(&scene, seed, 1.0));
        assert_eq!(ends(&d)[0], Judgement::Beyond, "seed {seed}: {:?} {:?}", d.verdict, d.answer(ZoneName::Near));
        assert_eq!(d.verdict.cause, Cause::FocusTooFar, "seed {seed}: {:?}", d.verdict);
    }
}

#[test]
fn what_is_softer_than_focus_can_make_it_is_not_laid_to_focus() {
    // Thin lens: a disc is at most f^2 / (N d) for a thing at the distance d; here it would have to stand 2 cm before the lens.
    for seed in 1..=6 {
        let scene = right(Scene { f_number: 22.0, seed, ..Scene::default() });
        let (capture, widest) = (scene.capture(), 0.9 * 1.6f64.powi(6));
        let focal = capture.focal_length_mm.as_ref().unwrap().value * 1e-3;
        let pitch = capture.pixel_pitch_um.as_ref().unwrap().value * 1e-6;
        // A disc of uniform light has its half contrast at 0.705 over its diameter (Born and Wolf, from memory).
        let disc = focal * focal / (22.0 * 0.02 * pitch);
        let d = judge(&scene, &leaves_in_front(&scene, seed, 0.187_391 / 0.705 * disc / widest));
        assert_eq!(ends(&d)[0], Judgement::Unknown, "seed {seed}: {:?} {:?}", d.verdict, d.answer(ZoneName::Near));
        assert!(!d.verdict.cause.is_focus(), "seed {seed}: {:?}", d.verdict);
    }
}

/// Snow in even light: nothing is told of it but by a few tiles with some shading, wider than a disc of anything that stands a hand's
/// breadth before the lens (11.6 px here: thin lens, f^2 / (N d), a disc's half contrast at 0.705 over its diameter).
#[test]
fn a_few_tiles_softer_than_focus_can_make_them_are_not_the_near_end() {
    for (seed, every) in [(1, 2), (2, 3), (3, 2), (4, 3)] {
        let scene = right(Scene { f_number: 22.0, missing: 0.0, seed, ..Scene::default() });
        let mut map = scene.map();
        let columns = map.columns as usize;
        let from = map.tiles.len() - 4 * columns;
        for (k, tile) in map.tiles[from..].iter_mut().enumerate() {
            let shaded = k % every == 0;
            tile.state = if shaded { TileState::Measured } else { TileState::NoDetail };
            tile.blur = shaded.then(|| Estimate::new(13.5, 1.5, 4));
            tile.contrast = 0.1;
        }
        let d = judge(&scene, &map);
        assert_eq!(ends(&d)[0], Judgement::Unknown, "seed {seed}: {:?}", d.answer(ZoneName::Near));
        assert!(!d.verdict.cause.is_focus(), "seed {seed}: {:?}", d.verdict);
    }
}

/// What a mosaic's sampling takes is known, whatever the frame is like: a shaken frame passes no sooner than the same one unshaken.
#[test]
fn a_frame_from_a_mosaic_is_not_judged_by_its_own_sharpest_parts() {
    let soft = |mosaic: bool| {
        let scene = right(Scene { f_number: 11.0, width: 1600, height: 1067, missing: 0.0, ..Scene::default() });
        let mut map = TileMap { mosaic, ..scene.map() };
        // 0.80 px of optical blur all over: above the 0.709 px that the sampling leaves, below 1.2 times itself.
        let whole = 0.80_f64.hypot(0.310_58);
        let known = map.tiles.iter_mut().filter(|t| t.blur.is_some());
        known.for_each(|t| t.blur = Some(Estimate::new(whole, 0.03, 20)));
        // Frames of a scene are compared by the very limit.
        let finest = [finest_px(&map, &scene.capture())];
        let [limit] = limits_px(&Intent::default(), (map.width, map.height), &finest)[..] else { panic!("one limit") };
        let ends = ends(&judge(&scene, &map));
        assert_eq!(ends.contains(&Judgement::Beyond), whole > limit, "{limit}");
        ends
    };
    assert_eq!(soft(true), [Judgement::Beyond; 2]);
    assert_eq!(soft(false), [Judgement::AtLimit; 2]);
}

#[test]
fn what_stands_in_the_sky_is_not_the_far_scene() {
    // A sharp flag high above a far scene that is out of focus.
    let mut scene = Scene { f_number: 4.0, down: 0.02, ..Scene::default() };
    scene.focus_m = 0.9 / scene.ground(scene.bottom());
    let mut map = scene.map();
    lit(&scene, &mut map);
    let columns = map.columns as usize;
    for (i, tile) in map.tiles.iter_mut().enumerate() {
        let (x, y) = (i % columns, i / columns);
        if (6..16).contains(&x) && (1..5).contains(&y) {
            (tile.contrast, tile.state) = (0.9, TileState::Measured);
            tile.blur = Some(Estimate::new(0.55, 0.03, 40));
        }
    }
    // And a cloud beside it.
    let cloud = 2 * columns + 20;
    (map.tiles[cloud].state, map.tiles[cloud].blur) = (TileState::Measured, Some(Estimate::new(9.0, 0.9, 4)));
    let d = judge(&scene, &map);
    assert_eq!(d.standing[cloud], Standing::SoftContent);
    assert_ne!(d.standing[2 * columns + 8], Standing::SoftContent, "the flag");
    let far = d.zones.iter().find(|z| z.name == ZoneName::Far).unwrap();
    assert!(far.tiles.iter().all(|&i| i as usize / columns >= 4), "{:?}", far.tiles);
    assert_eq!(far.answer.judgement, Judgement::Beyond, "{:?}", far.optical_px);
    assert_eq!(d.verdict.cause, Cause::FocusTooNear, "{:?}", d.verdict);
}

#[test]
fn a_frame_too_sharp_for_its_f_number_is_not_judged_by_it() {
    let scene = right(Scene { f_number: 8.0, pitch_um: 4.0, ..Scene::default() });
    for claimed in [22.0, 45.0, 90.0] {
        let facts = Capture { f_number: Some(Fact::new(claimed, Source::Exif)), ..scene.capture() };
        let d = diagnose(&scene.map(), &facts, None, &Intent::default());
        assert!(d.flags.contains(&Flag::ApertureContradicted), "f/{claimed}: {:?}", d.flags);
        assert_eq!(d.verdict.cause, Cause::SharpThroughout, "f/{claimed}: {:?}", d.verdict);
    }
    // A frame that is as soft as its f-number says is judged by it.
    let honest = right(Scene { f_number: 32.0, pitch_um: 4.0, width: 4000, height: 3000, ..Scene::default() });
    let d = judge(&honest, &honest.map());
    assert!(!d.flags.contains(&Flag::ApertureContradicted));
    assert_eq!(d.verdict.cause, Cause::Diffraction);
}

#[test]
fn what_the_camera_did_not_write_is_flagged_and_never_firm() {
    let scene = Scene { lens: (2.0, 0.4, 2.0), ..right(Scene { f_number: 11.0, ..Scene::default() }) };
    let mut map = scene.map();
    map.enlarged = true;
    let d = judge(&scene, &map);
    assert!(d.flags.contains(&Flag::Enlarged) && d.verdict.confidence < judge::SURE, "{:?}", d.verdict);
    assert!(matches!(d.verdict.cause, Cause::Processing | Cause::CannotTell), "{:?}", d.verdict);

    let wide = Scene { width: 9000, height: 3000, ..too_far() };
    let d = judge(&wide, &wide.map());
    assert!(d.flags.contains(&Flag::Panorama) && d.verdict.confidence < judge::SURE, "{:?}", d.verdict);

    let fisheye = Capture { lens: Some(Fact::new("8mm F3.5 Fisheye".into(), Source::Exif)), ..too_far().capture() };
    let d = diagnose(&too_far().map(), &fisheye, None, &Intent::default());
    assert!(d.flags.contains(&Flag::Fisheye) && d.verdict.confidence < judge::SURE);
}

#[test]
fn a_long_track_is_motion_whether_or_not_the_widths_hold_it() {
    // Each of the two pictures that lie over each other is sharp; a long track leaves nothing to measure.
    let scene = right(Scene { f_number: 11.0, ..Scene::default() });
    let of = |length: f64| Estimate::new(length, 0.03 * length, 160);
    let track = Streak { length: of(39.8), angle: Estimate::new(0.5, 0.04, 160), doubled: Some(of(22.0)) };
    let doubled = TileMap { streak: Some(track), ..scene.map() };
    let mut bare = scene.clone();
    bare.missing = 1.0;
    let away = TileMap { streak: Some(track), ..bare.map() };
    for map in [doubled, away] {
        let d = judge(&scene, &map);
        assert_eq!((ends(&d), d.verdict.cause), ([Judgement::Beyond; 2], Cause::Motion), "{:?}", d.verdict);
        assert!(d.verdict.confidence >= judge::SURE);
        // A double picture is told by how far apart its two lie, which anyone can measure in it.
        if d.model.is_some() {
            let said = words::sentence(&d, &scene.capture(), Units::Metric);
            assert!(said.contains("every detail is doubled, 22 px apart") && !said.contains("40 px"), "{said}");
            assert!(!words::advice(&d, &scene.capture(), Units::Metric).contains("no longer than"));
        }
    }
}

#[test]
fn what_the_file_says_of_its_making_lowers_the_confidence() {
    let scene = too_far();
    for flag in [Flag::Panorama, Flag::MultiShot, Flag::Enlarged] {
        let mut d = judge(&scene, &scene.map());
        assert!(d.verdict.confidence >= judge::SURE);
        doubted(&mut d, &[Flag::Processed, flag]);
        assert!(d.verdict.confidence < judge::SURE && d.verdict.cause == Cause::FocusTooFar, "{:?}", d.verdict);
    }
}

#[test]
fn a_camera_with_one_aperture_is_never_asked_for_another() {
    let scene = Scene { f_number: 1.8, focal_mm: 5.4, pitch_um: 1.4, width: 4000, height: 3000, ..Scene::default() };
    let facts = scene.capture();
    let mut d = judge(&scene, &scene.map());
    d.implied.best_f_number = Some(8.0);
    let mut open: Vec<Option<Unsettled>> = vec![None];
    open.extend([Unsettled::CausesAlike, Unsettled::NearUnmeasured, Unsettled::FactsMissing].map(Some));
    for cause in Cause::ALL {
        for unsettled in open.iter().filter(|u| u.is_some() == (cause == Cause::CannotTell)) {
            (d.verdict.cause, d.verdict.unsettled, d.verdict.also) = (cause, *unsettled, vec![Cause::TooLittleDepth]);
            let advice = words::advice(&d, &facts, Units::Metric);
            for asked in ["Stop down to", "Stop down too", "Stop down a", "Open up", "f/8"] {
                assert!(!advice.contains(asked), "{cause:?} {unsettled:?}: {advice}");
            }
        }
    }
    // One with a diaphragm is.
    d.verdict.cause = Cause::Diffraction;
    let other = Capture { f_number: Some(Fact::new(16.0, Source::Exif)), ..facts };
    assert!(words::advice(&d, &other, Units::Metric).contains("Open up"));
}

#[test]
fn what_to_do_for_more_depth_is_what_the_lens_can_do() {
    let phone = Scene { f_number: 1.8, focal_mm: 5.4, pitch_um: 1.4, width: 4000, height: 3000, ..Scene::default() };
    let lens = Scene { f_number: 8.0, focal_mm: 100.0, ..Scene::default() };
    let said = |scene: &Scene, cause, best, capture: &Capture| {
        let mut d = judge(scene, &scene.map());
        (d.verdict.cause, d.verdict.unsettled, d.verdict.also) = (cause, None, vec![Cause::TooLittleDepth]);
        (d.implied.best_f_number, d.implied.step_back_m) = (best, Some(1.2));
        words::advice(&d, capture, Units::Metric)
    };
    let depth = Cause::TooLittleDepth;
    // One aperture: the step is said without an f-number, and with its caution.
    let fixed = said(&phone, depth, Some(8.0), &phone.capture());
    assert!(fixed.contains("can't stop down") && fixed.contains("step back about 1.2 m"), "{fixed}");
    assert!(fixed.contains("Look where you step") && !fixed.contains("f-number"), "{fixed}");
    // A focus that holds the nearest thing but not all is not said without that: 5.3 times the permitted blur is left.
    let soft = |times: f64| {
        let mut d = judge(&phone, &phone.map());
        (d.verdict.cause, d.verdict.unsettled, d.verdict.also) = (Cause::FocusTooFar, None, Vec::new());
        (d.implied.right_focus_m, d.implied.step_back_m) = (Some(0.36), Some(0.8));
        d.implied.right_blur_px = Some(times * d.permitted_px);
        words::advice(&d, &phone.capture(), Units::Metric)
    };
    let refocused = soft(5.3);
    assert!(refocused.contains("5.3 times as soft") && refocused.contains("step back about 80 cm"), "{refocused}");
    assert!(refocused.contains("Look where you step") && !soft(1.1).contains("times as soft"), "{refocused}");
    // No best f-number is known: none is spoken of.
    let bare = said(&lens, depth, None, &lens.capture());
    assert!(bare.starts_with("Stop down, or") && !bare.contains("step back"), "{bare}");
    // 100 mm from 2 m to infinity: dv 5.263 mm, by 21.9 sqrt(dv) / (1 + m) f/49: beyond f/22, the last of most lenses.
    for (cause, words) in [(depth, "Stop down to f/22, as far as"), (Cause::FocusTooFar, "Stop down too, to f/22,")] {
        let capped = said(&lens, cause, Some(49.0), &lens.capture());
        assert!(capped.contains(words) && !capped.contains("f/49"), "{capped}");
    }
    let closed = Capture { f_number: Some(Fact::new(32.0, Source::Exif)), ..lens.capture() };
    let closed = said(&lens, depth, Some(49.0), &closed);
    assert!(closed.contains("few lenses close further") && !closed.contains("f/22"), "{closed}");
}

#[test]
fn stopping_down_too_is_said_where_the_right_focus_alone_would_not_do() {
    let scene = Scene { f_number: 4.0, ..too_far() };
    let mut d = judge(&scene, &scene.map());
    (d.verdict.cause, d.verdict.also, d.permitted_px) = (Cause::FocusTooFar, Vec::new(), 0.6);
    d.implied.best_f_number = Some(8.0);
    // Both ends behind the focus, by 1 and by 5 px: 2 px of disc are left at the right focus, 0.53 px.
    for zone in &mut d.zones {
        let px = if zone.name == ZoneName::Near { 0.27 } else { 1.33 };
        zone.budget.iter_mut().for_each(|b| b.defocus = Estimate::new(px, 0.05, 20));
    }
    for (left, too) in [(0.53, false), (0.65, true)] {
        d.implied.right_blur_px = Some(left);
        let advice = words::advice(&d, &scene.capture(), Units::Metric);
        assert_eq!(advice.contains("Stop down too: f/8"), too, "{left}: {advice}");
    }
}

#[test]
fn twice_the_nearest_is_said_only_of_a_depth_without_end() {
    // Equal blur at both ends, 2 n F / (n + F) (thin lens): 3 m for 2 m and 6 m, 4 m for 2 m and infinity.
    for (far_m, right, twice) in [(Some(6.0), 3.0, false), (None, 4.0, true)] {
        let scene = too_far();
        let mut d = judge(&scene, &scene.map());
        d.verdict.cause = Cause::FocusTooFar;
        d.implied.near_m = Some(ImpliedDistance { value: 2.0, low: 1.8, high: 2.2 });
        d.implied.right_focus_m = Some(tussock::optics::depth::equal_blur_focus(2.0, far_m.unwrap_or(f64::INFINITY)));
        let advice = words::advice(&d, &scene.capture(), Units::Metric);
        assert!(advice.contains(&format!("at about {right:.1} m: ")), "{advice}");
        assert_eq!(advice.contains("twice"), twice, "{advice}");
        assert!(advice.contains("near and far") && advice.contains("alike"), "{advice}");
    }
}

#[test]
fn a_sky_at_another_edge_than_the_upper_is_noticed() {
    let scene = right(Scene { f_number: 11.0, ..Scene::default() });
    let mut map = scene.map();
    lit(&scene, &mut map);
    assert!(!judge(&scene, &map).flags.contains(&Flag::OrientationLost));
    let mut over = map.clone();
    over.tiles.reverse();
    for (tile, place) in over.tiles.iter_mut().zip(&map.tiles) {
        (tile.x, tile.y, tile.width, tile.height) = (place.x, place.y, place.width, place.height);
    }
    let d = judge(&scene, &over);
    assert!(d.flags.contains(&Flag::OrientationLost), "{:?}", d.flags);
    assert!(d.verdict.cause == Cause::CannotTell || d.verdict.confidence < judge::SURE);
}

#[test]
fn without_the_facts_the_evenness_is_still_told() {
    let none = Capture::default();
    let sharp = right(Scene { f_number: 11.0, ..Scene::default() });
    let d = diagnose(&sharp.map(), &none, None, &Intent::default());
    assert_eq!(d.verdict.cause, Cause::SharpThroughout, "{:?}", d.verdict);
    let soft = too_far();
    let d = diagnose(&soft.map(), &none, None, &Intent::default());
    assert_eq!(d.sharp_throughout(), Some(false));
    let said = words::sentence(&d, &none, Units::Metric);
    assert!(said.starts_with("Soft near, sharp far: "), "{said}");
}
