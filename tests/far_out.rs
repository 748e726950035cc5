//! What is out of focus by far, or drawn out by far, though no plane of ground explains it, from hand-written tile maps. The
//! last ones judge real photographs, and run where those lie (`cargo test --test far_out -- --ignored`).

#[path = "support/tilemaps.rs"]
mod tilemaps;

use std::path::Path;

use tilemaps::{Rng, Scene, lit, right, v};
use tussock::TileMap;
use tussock::diagnose::{Cause, Diagnosis, ZoneName, diagnose};
use tussock::intake::{self, Overrides};
use tussock::judge::{Judgement, Reason, SURE};
use tussock::measure::{Settings, TileState, measure};
use tussock::optics::WAVELENGTH_UM;
use tussock::quantity::{Estimate, Intent};
use tussock::shot::{Capture, Fact, Source};

fn judge(scene: &Scene, map: &TileMap) -> Diagnosis {
    diagnose(map, &scene.capture(), None, &Intent::default())
}

fn ends(d: &Diagnosis) -> [Judgement; 2] {
    [ZoneName::Near, ZoneName::Far].map(|z| d.answer(z).judgement)
}

/// A close subject under a sky: a fine thing in the middle, a background and a foreground that are out of focus by tens of
/// pixels, tile by tile as different as leaves at many distances are. `contrast`: of what is soft; `soft`: share of it that is.
fn close_subject(seed: u64, contrast: f64, soft: f64) -> (Scene, TileMap) {
    let scene = right(Scene { f_number: 4.0, seed, ..Scene::default() });
    let (mut map, mut rng) = (scene.map(), Rng(seed));
    lit(&scene, &mut map);
    for tile in map.tiles.iter_mut().filter(|t| v(&scene, t) > scene.horizon()) {
        let (x, y) = tile.centre();
        let (x, y) = (x / f64::from(scene.width), y / f64::from(scene.height));
        let fine = (x - 0.5).abs() < 0.15 && (y - 0.5).abs() < 0.3 || !rng.chance(soft);
        let width = if fine { rng.between(0.6, 0.9) } else { rng.log_between(6.0, 30.0) };
        (tile.state, tile.bound, tile.contrast) = (TileState::Measured, None, if fine { 0.6 } else { contrast });
        tile.blur = Some(Estimate::new(width, 0.1 * width, 10));
    }
    (scene, map)
}

/// A thing in the lower left corner of a frame, a quarter of its width and a third of its height, under one blur (px) that its tiles
/// read to within a few per cent, or more than that.
fn with_a_thing(map: &TileMap, blur: f64, scatter: f64) -> TileMap {
    let mut map = map.clone();
    let (w, h) = (f64::from(map.width), f64::from(map.height));
    let mut random = Rng(5);
    for tile in &mut map.tiles {
        let (x, y) = tile.centre();
        if x < w / 4.0 && y > 2.0 / 3.0 * h {
            let width = blur * (scatter * random.normal()).exp();
            tile.blur = Some(Estimate::new(width, 0.05 * width, 20));
            tile.contrast = 0.5;
        }
    }
    map
}

/// By the thin lens blur hangs on distance alone: what is softer than the ground beside it by one blur is nearer, and out of focus.
#[test]
fn a_thing_out_of_focus_before_sharp_ground_is_the_near_end() {
    let scene = right(Scene { f_number: 11.0, ..Scene::default() });
    let sharp = scene.map();
    let said = |map: &TileMap, capture: &Capture| diagnose(map, capture, None, &Intent::default());
    let near = |map: &TileMap| said(map, &scene.capture()).answer(ZoneName::Near).judgement;
    assert!(near(&sharp).passes() && near(&with_a_thing(&sharp, 1.0, 0.03)).passes());
    let before = with_a_thing(&sharp, 4.0, 0.03);
    let d = said(&before, &scene.capture());
    assert_eq!(
        (d.answer(ZoneName::Near).judgement, d.verdict.cause),
        (Judgement::Beyond, Cause::FocusTooFar),
        "{:?}",
        d.verdict
    );
    assert!(d.verdict.confidence < 0.8 && d.answer(ZoneName::Far).judgement.passes(), "{:?}", d.verdict);
    assert!(d.near().optical_px.is_some_and(|e| (e.value - 4.0).abs() < 0.4), "{:?}", d.near());
    // The lens is not blamed for the corner that it fills.
    assert!(d.corners.corner != Some(ZoneName::BottomLeft), "{:?}", d.corners);
    // The tiles that it takes are the thing's.
    let thing = |i: &u32| before.tiles[*i as usize].centre().0 < f64::from(before.width) / 4.0;
    assert!(d.near().tiles.iter().all(thing), "{:?}", d.near().tiles);
    // What is soft of itself differs from tile to tile.
    assert!(near(&with_a_thing(&sharp, 4.0, 0.2)).passes());
    // In a long exposure the wind may have moved it.
    let slow = Capture { exposure_s: Some(Fact::new(2.0, Source::Exif)), ..scene.capture() };
    let d = said(&before, &slow);
    assert_eq!(
        (d.answer(ZoneName::Near).judgement, d.verdict.cause),
        (Judgement::Beyond, Cause::CannotTell),
        "{:?}",
        d.verdict
    );
}

#[test]
fn what_is_out_of_focus_by_far_before_and_behind_a_close_subject_is_beyond() {
    for seed in 1..=6 {
        let (scene, map) = close_subject(seed, 0.5, 0.95);
        let d = judge(&scene, &map);
        assert_eq!(ends(&d), [Judgement::Beyond; 2], "seed {seed}: {:?}", d.verdict);
        assert!(
            d.verdict.cause == Cause::TooLittleDepth && d.verdict.confidence < SURE,
            "seed {seed}: {:?}",
            d.verdict
        );
    }
}

/// What softens all of a picture leaves nothing finer than itself; and what is fine says so however faint it is.
#[test]
fn ends_beside_something_finer_are_not_soft_by_enlargement() {
    for seed in 1..=6 {
        let (scene, mut map) = close_subject(seed, 0.5, 0.95);
        map.enlarged = true;
        for tile in map.tiles.iter_mut().filter(|t| t.blur.is_some_and(|b| b.value < 1.0)) {
            tile.contrast = 0.1;
        }
        let d = judge(&scene, &map);
        assert_eq!(d.verdict.cause, Cause::TooLittleDepth, "seed {seed}: {:?}", d.verdict);
        // Soft all over, near, far and between: that is the enlargement's.
        for blur in map.tiles.iter_mut().filter_map(|t| t.blur.as_mut()) {
            *blur = Estimate::new(2.0, 0.2, 10);
        }
        // Whether or not the f-number is known, which an enlarged file mostly lacks.
        for d in [judge(&scene, &map), diagnose(&map, &Capture::default(), None, &Intent::default())] {
            assert_eq!(d.verdict.cause, Cause::Processing, "seed {seed}: {:?}", d.verdict);
            assert!(d.verdict.confidence < SURE && d.verdict.unsettled.is_none(), "seed {seed}: {:?}", d.verdict);
        }
    }
}

#[test]
fn what_is_soft_without_contrast_is_cloud_or_smooth_water_and_says_nothing() {
    for seed in 1..=6 {
        let (scene, map) = close_subject(seed, 0.08, 0.95);
        let d = judge(&scene, &map);
        assert_eq!(d.answer(ZoneName::Near).judgement, Judgement::Unknown, "seed {seed}: {:?}", d.verdict);
        assert_ne!(d.verdict.cause, Cause::TooLittleDepth, "seed {seed}: {:?}", d.verdict);
    }
}

/// Ground in focus that ends at a ledge or a shore, what lies below it soft alike by 3 px, as far as `scatter` and the stated error
/// `sd` allow (both relative).
fn below_a_ledge(seed: u64, scatter: f64, sd: f64) -> (Scene, TileMap) {
    let scene = right(Scene { f_number: 11.0, seed, ..Scene::default() });
    let (mut map, mut rng) = (scene.map(), Rng(seed));
    for tile in map.tiles.iter_mut().filter(|t| v(&scene, t) > 0.2) {
        if let Some(blur) = tile.blur.as_mut() {
            let width = 3.0 * (scatter * rng.normal()).exp();
            *blur = Estimate::new(width, sd * width, blur.n);
            tile.contrast = 0.3;
        }
    }
    (scene, map)
}

/// The blur steps and is level below, which no plane of ground explains. A spread of light is the same whatever it lies over; the
/// widths of smooth water are its own (0.09 to 0.26 from tile to tile, known to 16 to 22 %, in pictures drawn from random waves).
#[test]
fn a_ledge_under_one_blur_is_out_of_focus_and_smooth_water_is_not() {
    for (seed, layers) in (1..=6).flat_map(|seed| [(seed, 0.3), (seed, 1.8)]) {
        let layered = |(scene, mut map): (Scene, TileMap)| {
            map.layers = map.tiles.iter().map(|t| Some(if v(&scene, t) > 0.2 { layers } else { 0.2 })).collect();
            judge(&scene, &map)
        };
        let ledge = layered(below_a_ledge(seed, 0.02, 0.04));
        assert_eq!(ends(&ledge)[0], Judgement::Beyond, "seed {seed}, {layers}: {:?}", ledge.verdict);
        assert_eq!(ledge.verdict.cause, Cause::FocusTooFar, "seed {seed}, {layers}: {:?}", ledge.verdict);
        for (scatter, sd) in [(0.15, 0.18), (0.02, 0.18), (0.15, 0.04)] {
            let water = layered(below_a_ledge(seed, scatter, sd));
            assert_eq!(
                ends(&water)[0],
                Judgement::Unknown,
                "seed {seed}, {layers}: {scatter} {sd}: {:?}",
                water.verdict
            );
        }
    }
}

#[test]
fn a_third_of_soft_tiles_is_no_zone_out_of_focus() {
    for seed in 1..=6 {
        let (scene, map) = close_subject(seed, 0.5, 0.33);
        assert!(!ends(&judge(&scene, &map)).contains(&Judgement::Beyond), "seed {seed}");
    }
}

/// A lens softens whatever lies before it: no fit may lay to it what a crisp thing there does not show.
#[test]
fn what_is_out_of_focus_beside_something_crisp_is_not_laid_to_the_lens() {
    for seed in 1..=6 {
        // A trunk in focus, a background that is softer away from it, and on its other side sky over a dark wall without detail.
        let scene = Scene { seed, ..Scene::default() };
        let (mut map, mut rng) = (scene.map(), Rng(seed));
        for tile in &mut map.tiles {
            let (x, y) = tile.centre();
            let (x, y) = (x / f64::from(scene.width), y / f64::from(scene.height));
            let soft = 13.5 - 170.0 * (x - 0.2).max(0.0).powi(2);
            let width = if x < 0.38 { soft } else { 0.55 } * rng.log_between(0.9, 1.1);
            (tile.state, tile.bound, tile.level, tile.contrast) = (TileState::Measured, None, 0.2, 0.5);
            tile.blur = Some(Estimate::new(width, 0.1 * width, 10));
            if x > 0.47 {
                (tile.state, tile.blur, tile.contrast) = (TileState::NoDetail, None, 0.02);
                tile.level = if y < 0.5 { 0.8 } else { 0.2 };
            }
        }
        let d = diagnose(&map, &Capture::default(), None, &Intent::default());
        assert_eq!(ends(&d), [Judgement::Beyond; 2], "seed {seed}: {:?}", d.verdict);
        assert!(d.verdict.cause.is_focus() && d.verdict.confidence < SURE, "seed {seed}: {:?}", d.verdict);
        assert!(
            d.model.as_ref().is_some_and(|m| m.lens_centre_px.value < 1.0 && m.lens_corner_px.value < 3.0),
            "seed {seed}: {:?}",
            d.model
        );
    }
}

/// A fine thing that stands among leaves, from the ground in focus up to near the upper edge; no sky. Of what is beside it in the
/// upper half: the width, px, how many times as bright as the rest it is, and its contrast.
fn among_leaves(seed: u64, behind: f64, brighter: f64, contrast: f64) -> Diagnosis {
    let (scene, map) = leaves(seed, behind, brighter, contrast);
    judge(&scene, &map)
}

fn leaves(seed: u64, behind: f64, brighter: f64, contrast: f64) -> (Scene, TileMap) {
    let scene = right(Scene { f_number: 5.6, seed, ..Scene::default() });
    let (mut map, mut rng) = (scene.map(), Rng(seed));
    for tile in &mut map.tiles {
        let (x, y) = tile.centre();
        let (x, y) = (x / f64::from(scene.width), y / f64::from(scene.height));
        let stands = (x - 0.7).abs() < 0.2 && y > 0.1;
        let above = y < 0.55 && !stands;
        let width = match y {
            _ if above => behind * rng.log_between(0.5, 2.0),
            _ if y < 0.72 => 0.45,
            _ => 0.45 + 12.0 * (y - 0.72),
        };
        let width = width * rng.log_between(0.85, 1.2);
        (tile.state, tile.bound, tile.level, tile.contrast) = (TileState::Measured, None, 0.2, 0.5);
        if above {
            (tile.level, tile.contrast) = (0.2 * brighter, contrast);
        }
        tile.blur = Some(Estimate::new(width, 0.1 * width, 10));
    }
    (scene, map)
}

/// The same below an uneven upper edge without a number, so that nothing hangs together with it as a sky does.
fn leaves_below_an_edge(seed: u64, brighter: f64, contrast: f64) -> Diagnosis {
    let (scene, mut map) = leaves(seed, 8.0, brighter, contrast);
    for tile in map.tiles.iter_mut().filter(|t| t.y == 0) {
        (tile.state, tile.blur, tile.contrast) = (TileState::NoDetail, None, 0.35);
    }
    judge(&scene, &map)
}

#[test]
fn what_is_out_of_focus_behind_what_stands_in_focus_is_the_far_scene_where_there_is_no_sky() {
    for seed in 1..=6 {
        let d = among_leaves(seed, 8.0, 1.5, 0.5);
        assert_eq!(ends(&d), [Judgement::Beyond; 2], "seed {seed}: {:?}", d.verdict);
        assert!(
            d.verdict.cause == Cause::TooLittleDepth && d.verdict.confidence < SURE,
            "seed {seed}: {:?}",
            d.verdict
        );
        // In focus, as faint as mist, or as bright as a sky beside the ground that it lights.
        for (behind, brighter, contrast) in [(0.45, 1.5, 0.5), (8.0, 1.0, 0.1), (8.0, 4.0, 0.35)] {
            let far = among_leaves(seed, behind, brighter, contrast).answer(ZoneName::Far).judgement;
            // What may be sky is no far scene out of focus; whether what lies below it is the far scene may be left open.
            let told = if brighter > 2.0 { far != Judgement::Beyond } else { far.passes() };
            assert!(told, "seed {seed}: {behind} px, {brighter} times as bright, contrast {contrast}: {far:?}");
        }
    }
}

#[test]
fn a_smooth_backdrop_is_the_far_scene_where_it_is_darker_than_what_lies_below_it_and_no_sky_is_seen() {
    for seed in 1..=6 {
        let d = leaves_below_an_edge(seed, 0.8, 0.1);
        assert_eq!(ends(&d)[1], Judgement::Beyond, "seed {seed}: {:?}", d.verdict);
        // It lies on no plane of the model, whose distances are not told.
        let told = d.implied.focus_m.is_some() || d.implied.near_m.is_some();
        assert!(!told, "seed {seed}: {:?}", d.implied);
        assert!(d.verdict.confidence < SURE, "seed {seed}: {:?}", d.verdict);
        // Brighter, it may be cloud; as smooth as a clear sky, anything.
        for (brighter, contrast) in [(1.2, 0.1), (0.8, 0.03)] {
            let far = leaves_below_an_edge(seed, brighter, contrast).answer(ZoneName::Far).judgement;
            assert_ne!(far, Judgement::Beyond, "seed {seed}: {brighter} times as bright, contrast {contrast}");
        }
    }
}

/// A rock in focus that reaches out of the ground into the sky, beside it a far scene that shows nothing finer than 8 px, of a
/// contrast. `shore`: the row below the skyline is as fine as the rock from side to side.
fn rock_before(seed: u64, contrast: f64, shore: bool) -> (Scene, TileMap) {
    let scene = right(Scene { f_number: 5.6, seed, ..Scene::default() });
    let (mut map, mut rng) = (scene.map(), Rng(seed));
    lit(&scene, &mut map);
    let skyline = map.tiles.iter().find(|t| v(&scene, t) > scene.horizon() - 0.03).expect("ground").y;
    for tile in
        map.tiles.iter_mut().filter(|t| t.y >= skyline || (t.centre().0 / f64::from(scene.width) - 0.4).abs() < 0.15)
    {
        let (x, y) = tile.centre();
        let (x, y) = (x / f64::from(scene.width), y / f64::from(scene.height));
        let fine = (x - 0.4).abs() < 0.15 && y > 0.25 || y > 0.8 || shore && tile.y == skyline;
        if fine {
            (tile.state, tile.bound, tile.level, tile.contrast) = (TileState::Measured, None, 0.2, 0.6);
            let width = rng.between(0.45, 0.6);
            tile.blur = Some(Estimate::new(width, 0.1 * width, 10));
        } else if tile.y >= skyline {
            (tile.state, tile.blur, tile.bound, tile.contrast) = (TileState::AtLeast, None, Some(8.0), contrast);
        }
    }
    (scene, map)
}

#[test]
fn what_shows_nothing_fine_from_the_sky_down_beside_one_fine_thing_is_the_far_scene_out_of_focus() {
    for seed in 1..=6 {
        let (scene, map) = rock_before(seed, 0.1, false);
        let d = judge(&scene, &map);
        assert_eq!(ends(&d)[1], Judgement::Beyond, "seed {seed}: {:?}", d.verdict);
        assert!(d.verdict.cause == Cause::FocusTooNear && d.verdict.confidence < SURE, "seed {seed}: {:?}", d.verdict);
        // A far shore above smooth water; mist as faint as a sky.
        for (contrast, shore) in [(0.1, true), (0.03, false)] {
            let (scene, map) = rock_before(seed, contrast, shore);
            assert_ne!(ends(&judge(&scene, &map))[1], Judgement::Beyond, "seed {seed}: {contrast}, shore {shore}");
        }
        // Layers are what a long exposure leaves of any sea.
        let (scene, mut map) = rock_before(seed, 0.1, false);
        map.layers = vec![Some(2.0); map.tiles.len()];
        let of = |seconds: f64| Capture { exposure_s: Some(Fact::new(seconds, Source::Exif)), ..scene.capture() };
        let far = |seconds| ends(&diagnose(&map, &of(seconds), None, &Intent::default()))[1];
        assert_eq!(far(0.01), Judgement::Beyond, "seed {seed}");
        assert_ne!(far(10.0), Judgement::Beyond, "seed {seed}");
    }
}

/// A frame whose tiles read far beyond the permitted, with gradients `layers` times (log2) as steep one way as the other.
fn moved(seed: u64, layers: f32, fine: f64) -> Diagnosis {
    let scene = right(Scene { seed, ..Scene::default() });
    let (mut map, mut rng) = (scene.map(), Rng(seed));
    lit(&scene, &mut map);
    for tile in map.tiles.iter_mut().filter(|t| v(&scene, t) > scene.horizon()) {
        let width = if rng.chance(fine) { 0.7 } else { rng.log_between(3.0, 9.0) };
        (tile.state, tile.bound, tile.contrast) = (TileState::Measured, None, 0.4);
        tile.blur = Some(Estimate::new(width, 0.1 * width, 10));
    }
    map.layers = map.tiles.iter().map(|_| Some(layers + 2.0 * (rng.unit() as f32 - 0.5))).collect();
    judge(&scene, &map)
}

#[test]
fn a_frame_in_which_nothing_lies_across_one_direction_moved() {
    for (seed, layers) in [(1, 4.5), (2, -4.5), (3, 6.0)] {
        let d = moved(seed, layers, 0.02);
        assert_eq!((d.verdict.cause, ends(&d)), (Cause::Motion, [Judgement::Beyond; 2]), "{layers}: {:?}", d.verdict);
        assert!(d.verdict.confidence < SURE);
        // Strata, planks and ripples lie as flat where tiles are fine, and softness has no direction.
        assert_ne!(moved(seed, layers, 0.3).verdict.cause, Cause::Motion, "{layers}");
        assert_ne!(moved(seed, 0.4 * layers, 0.02).verdict.cause, Cause::Motion, "{layers}");
    }
}

/// A photograph beside the repository, judged.
fn real(name: &str) -> Diagnosis {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../shared").join(name);
    let shot = intake::read(&path, &Overrides::default()).expect("the photograph");
    let map = measure(&shot.plane, &Settings::default().under(shot.capture.lambda_n_px(WAVELENGTH_UM)));
    diagnose(&map, &shot.capture, None, &Intent::default())
}

#[test]
#[ignore = "needs the photographs of ../shared"]
fn a_stream_drawn_out_before_sharp_leaves_is_no_foreground_out_of_focus() {
    let d = real("photos/stream-slow-shutter.jpg");
    assert!(matches!(d.answer(ZoneName::Near).reason, Some(Reason::Scatters | Reason::Water)), "{:?}", d.near().answer);
    assert!(d.answer(ZoneName::Far).judgement.passes());
    assert_ne!(d.verdict.cause, Cause::Motion);
}

#[test]
#[ignore = "needs the photographs of ../shared"]
fn a_frame_that_moved_is_sharp_nowhere() {
    let d = real("photos/flat-subject-on-pebbles.jpg");
    assert_eq!((d.verdict.cause, ends(&d)), (Cause::Motion, [Judgement::Beyond; 2]), "{:?}", d.verdict);
}

#[test]
#[ignore = "needs the photographs of ../shared"]
fn leaves_behind_an_animal_in_focus_are_the_far_scene() {
    let d = real("photos/resized-export-b.jpg");
    assert_eq!((d.verdict.cause, ends(&d)), (Cause::TooLittleDepth, [Judgement::Beyond; 2]), "{:?}", d.verdict);
}
