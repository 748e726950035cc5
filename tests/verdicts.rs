//! Verdicts from hand-written tile maps: every rule of the diagnosis, with no pixel involved.

#[path = "support/tilemaps.rs"]
mod tilemaps;

use tilemaps::Scene;
use tussock::diagnose::{Basis, Cause, CornerState, Unsettled, ZoneName, diagnose};
use tussock::lens::{Baseline, Entry, LearnedFrom};
use tussock::measure::{TileMap, TileState};
use tussock::quantity::{Estimate, Flag, Intent, SharpFor, Units};
use tussock::report::words;

fn cause(scene: &Scene) -> Cause {
    diagnose(&scene.map(), &scene.capture(), None, &Intent::default()).verdict.cause
}

/// Nearest ground at the bottom edge of the default scene, m.
fn near(scene: &Scene) -> f64 {
    1.0 / scene.ground(scene.bottom())
}

#[test]
fn focus_at_twice_the_near_distance_is_sharp_throughout() {
    let mut scene = Scene { f_number: 11.0, ..Scene::default() };
    scene.focus_m = 2.0 * near(&scene);
    assert_eq!(cause(&scene), Cause::SharpThroughout);
}

#[test]
fn focus_on_the_far_scene_leaves_near_soft() {
    let scene = Scene { f_number: 4.0, focus_m: 100.0, ..Scene::default() };
    assert_eq!(scene.cause(), Cause::FocusTooFar);
    assert_eq!(cause(&scene), Cause::FocusTooFar);
}

#[test]
fn focus_on_the_nearest_ground_leaves_far_soft() {
    let mut scene = Scene { f_number: 5.6, ..Scene::default() };
    scene.focus_m = 0.9 * near(&scene);
    assert_eq!(cause(&scene), Cause::FocusTooNear);
}

#[test]
fn an_open_aperture_from_low_down_has_too_little_depth() {
    let mut scene = Scene { f_number: 2.8, camera_height_m: 0.6, ..Scene::default() };
    scene.focus_m = 2.0 * near(&scene);
    assert_eq!(cause(&scene), Cause::TooLittleDepth);
}

#[test]
fn strong_corners_at_right_focus_are_no_focus_error() {
    let mut scene = Scene { f_number: 11.0, lens: (0.2, 3.5, 2.5), ..Scene::default() };
    scene.focus_m = 2.0 * near(&scene);
    assert_eq!(cause(&scene), Cause::SharpThroughout);
}

#[test]
fn an_empty_map_is_an_answer_not_a_panic() {
    let scene = Scene { missing: 1.0, ..Scene::default() };
    let d = diagnose(&scene.map(), &scene.capture(), None, &Intent::default());
    assert_eq!(d.verdict.unsettled, Some(Unsettled::NothingMeasured));
}

/// What kept much of a frame from being measured is said, whatever comes of the rest.
#[test]
fn a_frame_that_is_clipped_says_so() {
    let scene = Scene { f_number: 11.0, ..Scene::default() };
    // None, a sky around the sun, a third, and all.
    for (share, told) in [(0.0, false), (0.1, false), (0.33, true), (1.0, true)] {
        let mut map = scene.map();
        let count = (map.tiles.len() as f64 * share) as usize;
        for tile in &mut map.tiles[..count] {
            (tile.blur, tile.spread, tile.state) = (None, None, TileState::Clipped);
        }
        map.clipped_share = share;
        let d = diagnose(&map, &scene.capture(), None, &Intent::default());
        assert_eq!(d.flags.contains(&Flag::ClippedHighlights), told, "{share}: {:?}", d.flags);
    }
}

/// ISO 12232: signal to noise of 40 in an 18 % grey looks excellent, of 10 acceptable. Light's noise goes with the root of the level.
#[test]
fn a_frame_is_called_noisy_by_its_mid_tones() {
    let scene = Scene { f_number: 11.0, ..Scene::default() };
    let noisy = |ratio: f64, level: f64, state: TileState| {
        let mut map = scene.map();
        for (i, tile) in map.tiles.iter_mut().enumerate() {
            tile.level = level * if i % 2 == 0 { 0.8 } else { 1.25 };
            tile.noise = (0.18 * tile.level).sqrt() / ratio;
            if state != TileState::Measured {
                (tile.blur, tile.spread, tile.state) = (None, None, state);
            }
        }
        let d = diagnose(&map, &scene.capture(), None, &Intent::default());
        d.flags.contains(&Flag::HeavyNoise)
    };
    for level in [0.09, 0.18, 0.4] {
        for (ratio, told) in [(40.0, false), (12.0, false), (8.0, true), (3.0, true)] {
            assert_eq!(noisy(ratio, level, TileState::Measured), told, "{ratio} {level}");
            // A smooth sky has no detail above any noise, however faint that is.
            assert_eq!(noisy(ratio, level, TileState::Noisy), told, "{ratio} {level}");
        }
    }
    // Of the dark and the bright nothing is said.
    assert!(!noisy(3.0, 0.02, TileState::Noisy) && !noisy(3.0, 0.95, TileState::Noisy));
}

#[test]
fn a_foreground_of_water_alone_is_not_judged_but_the_far_scene_is() {
    let scene = Scene { f_number: 11.0, pool: 1.0, pool_depth: 0.75, ..Scene::default() };
    let d = diagnose(&scene.map(), &scene.capture(), None, &Intent::default());
    assert_eq!(d.verdict.cause, Cause::CannotTell);
    assert_eq!(d.verdict.unsettled, Some(Unsettled::NearUnmeasured));
    let far = d.zones.iter().find(|z| z.name == ZoneName::Far).unwrap();
    assert!(far.optical_px.is_some());
}

#[test]
fn distances_are_told_where_discs_differ_and_withheld_where_all_are_alike() {
    let mut deep = Scene { f_number: 4.0, camera_height_m: 0.6, ..Scene::default() };
    deep.focus_m = 2.0 * near(&deep);
    let told = diagnose(&deep.map(), &deep.capture(), None, &Intent::default()).implied;
    assert!(told.focus_m.is_some() && told.near_m.is_some(), "{told:?}");
    // High up and stopped down: the discs of the nearest and the farthest differ by less than a pixel.
    let mut shallow = Scene { f_number: 22.0, focal_mm: 14.0, camera_height_m: 2.0, ..Scene::default() };
    shallow.focus_m = 2.0 * near(&shallow);
    assert!(shallow.near().disc_px - shallow.far().disc_px < 1.0);
    let vague = diagnose(&shallow.map(), &shallow.capture(), None, &Intent::default()).implied;
    assert!(vague.focus_m.is_none() && vague.near_m.is_none() && vague.right_focus_m.is_none(), "{vague:?}");
}

/// The default scene from low down and wide open, without numbers where the truth's disc is beyond `most` px.
fn without_the_blurred(scene: &Scene, most: f64) -> TileMap {
    let mut map = scene.map();
    let (w, h) = (f64::from(scene.width), f64::from(scene.height));
    for tile in &mut map.tiles {
        let (x, y) = tile.centre();
        let truth = scene.at((x - w / 2.0) / scene.half(), (y - h / 2.0) / scene.half());
        if truth.disc_px > most {
            (tile.blur, tile.spread, tile.state) = (None, None, TileState::NoDetail);
        }
    }
    map
}

#[test]
fn a_foreground_too_blurred_to_measure_is_out_of_focus_but_has_no_number() {
    let scene = Scene { f_number: 2.8, camera_height_m: 0.5, focus_m: 30.0, ..Scene::default() };
    let map = without_the_blurred(&scene, 20.0);
    assert!(map.tiles.last().is_some_and(|t| t.blur.is_none()), "the foreground is measured");
    let d = diagnose(&map, &scene.capture(), None, &Intent::default());
    assert_eq!(d.verdict.cause, scene.cause(), "{:?} {:?} {:?}", d.verdict, d.flags, d.model);
    assert!(d.flags.contains(&Flag::NearBeyondMeasure));
    let near = d.zones.iter().find(|z| z.name == ZoneName::Near).unwrap();
    assert!(near.optical_px.is_none() && near.blur_px.is_none());
    let said = words::sentence(&d, &scene.capture(), Units::Metric);
    assert!(said.contains("too blurred to measure"), "{said}");
}

#[test]
fn a_foreground_without_detail_below_ground_in_focus_is_left_open() {
    let mut scene = Scene { f_number: 11.0, ..Scene::default() };
    scene.focus_m = 2.0 * near(&scene);
    // Everything in the lowest quarter, whose discs are small.
    let mut map = scene.map();
    let from = map.tiles.len() * 3 / 4;
    for tile in &mut map.tiles[from..] {
        (tile.blur, tile.spread, tile.state) = (None, None, TileState::NoDetail);
    }
    let d = diagnose(&map, &scene.capture(), None, &Intent::default());
    assert!(!d.flags.contains(&Flag::NearBeyondMeasure));
}

#[test]
fn a_streak_beyond_the_permitted_blur_is_motion() {
    let mut scene = Scene { f_number: 11.0, motion: Some((9.0, 0.4)), ..Scene::default() };
    scene.focus_m = 2.0 * near(&scene);
    let d = diagnose(&scene.map(), &scene.capture(), None, &Intent::default());
    assert_eq!(d.verdict.cause, Cause::Motion);
    // Drawn out alike at both ends: nothing of the focus is told.
    assert!(d.verdict.also.iter().all(|c| !c.is_focus()), "{:?}", d.verdict);
}

#[test]
fn an_f_number_that_softens_everything_is_diffraction() {
    let mut scene = Scene { f_number: 32.0, pitch_um: 4.0, width: 4000, height: 3000, ..Scene::default() };
    scene.focus_m = 2.0 * near(&scene);
    assert!(scene.diffraction() > 1.3 * scene.permitted());
    assert_eq!(cause(&scene), Cause::Diffraction);
}

#[test]
fn a_side_to_side_gradient_is_the_lens() {
    let mut scene = Scene { f_number: 11.0, tilt_px: 11.0, ..Scene::default() };
    scene.focus_m = 2.0 * near(&scene);
    assert_eq!(cause(&scene), Cause::LensAsymmetry);
}

#[test]
fn a_tilt_over_near_and_far_is_told_by_opposite_corners() {
    // Near and far are defocused opposite ways, so a tilt adds to one upper corner and to the other lower one.
    let mut scene = Scene { f_number: 5.6, tilt_px: 11.0, ..Scene::default() };
    // The horizon just within the picture, so that the upper corners show the far scene.
    scene.down = 0.9 * (scene.bottom() * scene.half() * scene.pitch_um * 1e-3 / scene.focal_mm).atan();
    scene.focus_m = 2.0 * near(&scene);
    let d = diagnose(&scene.map(), &scene.capture(), None, &Intent::default());
    assert_eq!(d.verdict.cause, Cause::LensAsymmetry);
    let said = words::sentence(&d, &scene.capture(), Units::Metric).to_lowercase();
    assert!(said.contains("opposite corners are soft") && said.contains("at the top "), "{said}");
    assert!(words::corners(&d).contains("corner is worse than its mirror image"), "{}", words::corners(&d));
}

#[test]
fn a_picture_turned_on_its_side_is_not_called_a_tilted_lens() {
    // Common practice, no published source: a lost orientation tag is likelier than so strong a tilt.
    let scene = Scene { f_number: 2.8, focus_m: 60.0, ..Scene::default() };
    let upright = scene.map();
    let mut turned = upright.clone();
    (turned.width, turned.height) = (upright.height, upright.width);
    (turned.columns, turned.rows) = (upright.rows, upright.columns);
    turned.tiles.clear();
    for row in 0..turned.rows {
        for column in 0..turned.columns {
            // A quarter turn clockwise: the left column of the upright picture becomes the top row.
            let from = &upright.tiles[((upright.rows - 1 - column) * upright.columns + row) as usize];
            let mut tile = from.clone();
            (tile.x, tile.y) = (upright.height - from.y - from.height, from.x);
            (tile.width, tile.height) = (from.height, from.width);
            turned.tiles.push(tile);
        }
    }
    let d = diagnose(&turned, &scene.capture(), None, &Intent::default());
    assert_ne!(d.verdict.cause, Cause::LensAsymmetry);
    assert!(d.flags.contains(&Flag::OrientationLost), "{:?} {:?}", d.verdict, d.model);
    // It is the turn that is in doubt: no two causes are weighed, and no other frame would settle it.
    assert_eq!((d.verdict.cause, d.verdict.unsettled), (Cause::CannotTell, Some(Unsettled::Turned)));
    let said = words::sentence(&d, &scene.capture(), Units::Metric);
    assert!(said.contains("may lie on its side") && !said.contains("explain"), "{said}");
    let advice = words::advice(&d, &scene.capture(), Units::Metric);
    assert!(advice == "Give --turn, or restore the orientation.", "{advice}");
    // Some sky at the upper edge and none at the sides says that it is upright.
    let columns = turned.columns;
    for (i, tile) in (0..).zip(&mut turned.tiles) {
        tile.contrast = 0.35;
        if i < 2 * columns && (columns / 3..2 * columns / 3).contains(&(i % columns)) {
            (tile.blur, tile.state) = (None, TileState::NoDetail);
            (tile.level, tile.contrast) = (0.8, 0.02);
        }
    }
    let d = diagnose(&turned, &scene.capture(), None, &Intent::default());
    assert!(!d.flags.contains(&Flag::OrientationLost), "{:?} {:?}", d.verdict, d.model);
}

#[test]
fn twice_the_near_distance_is_right_in_any_unit() {
    // Common practice, no published source: focus at twice the nearest distance blurs both ends alike.
    for scale in [0.5, 1.0, 3.0] {
        let mut scene = Scene { f_number: 11.0, camera_height_m: 1.5 * scale, ..Scene::default() };
        let n = near(&scene);
        scene.focus_m = 2.0 * n;
        let (close, far) = (scene.of(1.0 / n, 0.0, 0.0).disc_px, scene.of(0.0, 0.0, 0.0).disc_px);
        assert!((close + far).abs() < 1e-9);
        let intent = Intent { near_m: Some(n), ..Intent::default() };
        let d = diagnose(&scene.map(), &scene.capture(), None, &intent);
        assert!((d.implied.right_focus_m.unwrap() / (2.0 * n) - 1.0).abs() < 1e-9);
    }
}

#[test]
fn a_nearest_subject_far_away_wants_focus_far_away() {
    // Common practice, no published source.
    let intent = Intent { near_m: Some(80.0), ..Intent::default() };
    let scene = Scene::default();
    let d = diagnose(&scene.map(), &scene.capture(), None, &intent);
    assert!(d.implied.right_focus_m.unwrap() > 150.0);
}

#[test]
fn stepping_back_a_little_helps_a_close_foreground_much() {
    // Common practice, no published source. The blur left at the best f-number falls as one over the root of the
    // near distance, so what is missing is made up by less room the closer the foreground is.
    let back = |near: f64| {
        let intent = Intent { near_m: Some(near), sharp_for: SharpFor::OneToOne, ..Intent::default() };
        let scene = Scene::default();
        diagnose(&scene.map(), &scene.capture(), None, &intent).implied.step_back_m
    };
    let close = back(0.5).expect("half a metre to infinity can't all be sharp at 1:1");
    assert!(close > 0.0 && close < 30.0);
    assert!(back(1000.0).is_none());
}

#[test]
fn the_picture_gives_focus_and_near_distance() {
    let scene = Scene { f_number: 5.6, focus_m: 3.0, ..Scene::default() };
    let d = diagnose(&scene.map(), &scene.capture(), None, &Intent::default());
    let n = near(&scene);
    let (focus, near) = (d.implied.focus_m.unwrap().value, d.implied.near_m.unwrap().value);
    assert!((1.0 / focus - 1.0 / scene.focus_m).abs() < 0.1 / n, "focus {focus}");
    assert!((near / n - 1.0).abs() < 0.15, "near {near} of {n}");
}

#[test]
fn a_recorded_distance_that_contradicts_the_picture_is_flagged() {
    let scene = Scene { f_number: 5.6, focus_m: 3.0, ..Scene::default() };
    let d = diagnose(&scene.map(), &scene.capture_with_focus(0.5), None, &Intent::default());
    assert!(d.flags.contains(&Flag::FocusDistanceContradicted));
    let d = diagnose(&scene.map(), &scene.capture_with_focus(3.0), None, &Intent::default());
    assert!(!d.flags.contains(&Flag::FocusDistanceContradicted));
}

#[test]
fn one_odd_tile_declares_nothing() {
    let mut scene = Scene { f_number: 11.0, ..Scene::default() };
    scene.focus_m = 2.0 * near(&scene);
    let mut map = scene.map();
    let at = map.tiles.iter().position(|t| t.blur.is_some()).unwrap();
    map.tiles[at].blur = Some(Estimate::new(9.0, 0.1, 20));
    let d = diagnose(&map, &scene.capture(), None, &Intent::default());
    assert_eq!(d.verdict.cause, Cause::SharpThroughout);
}

#[test]
fn the_same_map_gives_the_same_answer() {
    let scene = Scene::random(5);
    let once = diagnose(&scene.map(), &scene.capture(), None, &Intent::default());
    assert_eq!(once, diagnose(&scene.map(), &scene.capture(), None, &Intent::default()));
}

#[test]
fn sentences_carry_their_numbers_and_advice_to_move_a_caution() {
    let mut scene = Scene { f_number: 2.8, camera_height_m: 0.4, ..Scene::default() };
    scene.focus_m = 2.0 * near(&scene);
    let intent = Intent { sharp_for: SharpFor::OneToOne, ..Intent::default() };
    let d = diagnose(&scene.map(), &scene.capture(), None, &intent);
    assert_eq!(d.verdict.cause, Cause::TooLittleDepth);
    let said = words::sentence(&d, &scene.capture(), Units::Metric);
    assert!(said.contains("f/2.8") && said.contains("px"), "{said}");
    let feet = words::advice(&d, &scene.capture(), Units::Imperial);
    assert!(feet.contains("step back") && feet.contains("Look where you step"), "{feet}");
    assert!(feet.contains(" in") || feet.contains(" ft"), "{feet}");
}

#[test]
fn strong_corners_are_called_the_lens_not_the_focus() {
    let mut scene = Scene { f_number: 11.0, lens: (0.2, 2.6, 2.5), ..Scene::default() };
    scene.focus_m = 2.0 * near(&scene);
    let d = diagnose(&scene.map(), &scene.capture(), None, &Intent::default());
    let said = words::corners(&d);
    assert!(said.contains("lens"), "{said} {:?}", d.corners);
}

/// What lenses do at the corners is theirs, whatever the picture is for.
#[test]
fn what_most_lenses_do_at_the_corners_does_not_hang_on_the_use() {
    let scene = Scene { f_number: 11.0, lens: (0.2, 2.6, 2.5), ..Scene::default() };
    let uses =
        [SharpFor::Diagonal1500, SharpFor::OneToOne, SharpFor::Print { long_m: 0.6, short_m: 0.4, distance_m: 2.0 }];
    let told = uses.map(|sharp_for| {
        let d = diagnose(&scene.map(), &scene.capture(), None, &Intent { sharp_for, ..Intent::default() });
        (d.permitted_px, d.corners.expected_px.unwrap().value)
    });
    // Permitted are discs of 4.8 px, 2 px, and 1/3438 of 2 m, which is 5.8 px of a print 600 mm wide.
    assert!(told[2].0 > told[0].0 && told[0].0 > 2.0 * told[1].0, "{told:?}");
    assert!(told.iter().all(|t| (t.1 - 0.8 * told[0].0).abs() < 1e-9), "{told:?}");
}

/// The lens's own blur at a corner, what is expected and what goes beyond it in quadrature, is part of the width that was read there.
#[test]
fn no_more_is_laid_to_a_corner_than_was_read_there() {
    for (seed, f_number) in (1..=6).flat_map(|seed| [4.0, 11.0].map(|n| (seed, n))) {
        let mut scene = Scene { f_number, lens: (0.2, 6.0, 2.5), seed, ..Scene::default() };
        scene.focus_m = 3.0 * near(&scene);
        let d = diagnose(&scene.map(), &scene.capture(), None, &Intent::default());
        let c = d.corners;
        let (corner, expected, excess) = (c.corner.unwrap(), c.expected_px.unwrap(), c.excess_px.unwrap());
        let read = d.zones.iter().find(|z| z.name == corner).unwrap().blur_px.unwrap();
        let own = expected.value.hypot(excess.value);
        assert!(own < 1.02 * read.value, "seed {seed}, f/{f_number}, {corner:?}: {own} of {read:?}");
    }
}

/// A baseline that holds exactly the lens of a scene, known to 0.6 um.
fn learned(scene: &Scene) -> Baseline {
    let (columns, rows) = (12, 8);
    let cell = |i: u32| {
        let (x, y) = (f64::from(i % columns) + 0.5, f64::from(i / columns) + 0.5);
        let (u, v) = (f64::from(scene.width) * (x / 12.0 - 0.5), f64::from(scene.height) * (y / 8.0 - 0.5));
        let sigma = scene.lens.0.hypot(scene.lens.1 * (u.hypot(v) / scene.half()).powf(scene.lens.2));
        Some(Estimate::new(sigma * scene.pitch_um, 0.6, 20))
    };
    let sigma_um = (0..columns * rows).map(cell).collect();
    Baseline {
        lens: "Example".into(),
        focal_length_mm: Some(scene.focal_mm),
        frame_mm: None,
        provisional: false,
        learned_from: LearnedFrom::ApertureSeries,
        entries: vec![Entry { f_number: scene.f_number, frames: 5, columns, rows, sigma_um }],
        curvature: None,
    }
}

#[test]
fn strong_corners_that_were_learned_are_as_expected_and_what_goes_beyond_is_not() {
    let mut scene = Scene { f_number: 11.0, lens: (0.2, 3.0, 2.5), ..Scene::default() };
    scene.focus_m = 2.0 * near(&scene);
    let baseline = learned(&scene);
    let d = diagnose(&scene.map(), &scene.capture(), Some(&baseline), &Intent::default());
    assert_eq!((d.corners.basis, d.corners.state), (Basis::Learned, CornerState::AsExpected), "{:?}", d.corners);
    assert_eq!(d.verdict.cause, Cause::SharpThroughout);
    let worse = Scene { lens: (0.2, 7.0, 2.5), ..scene };
    let d = diagnose(&worse.map(), &worse.capture(), Some(&baseline), &Intent::default());
    assert_eq!(d.corners.state, CornerState::SofterThanExpected, "{:?}", d.corners);
}

/// No picture is sharper than its lens: what was learned from frames with depth, or out of focus, is not the lens's. A zone's
/// number must stay with its tiles then.
#[test]
fn a_frame_too_sharp_for_what_was_learned_of_its_lens_is_not_judged_by_it() {
    let mut scene = Scene { f_number: 8.0, lens: (0.3, 0.8, 2.5), ..Scene::default() };
    scene.focus_m = 4.0 * near(&scene);
    let map = scene.map();
    let by = |lens: Option<&Baseline>| diagnose(&map, &scene.capture(), lens, &Intent::default());
    let alone = by(None);
    for (learned_lens, contradicted) in [((1.2, 1.5, 2.5), true), (scene.lens, false)] {
        let d = by(Some(&learned(&Scene { lens: learned_lens, ..scene })));
        assert_eq!(d.flags.contains(&Flag::LensContradicted), contradicted, "{learned_lens:?}: {:?}", d.flags);
        for (zone, before) in d.zones.iter().zip(&alone.zones).take(2) {
            let (now, was) = (zone.optical_px.unwrap().value, before.optical_px.unwrap().value);
            assert!((now / was).ln().abs() < 0.1, "{learned_lens:?}: {:?} {now} for {was}", zone.name);
        }
    }
}

/// A scene's tiles, 3.5 px added to their blur in the bottom right corner.
fn with_a_bad_corner(scene: &Scene) -> TileMap {
    let mut map = scene.map();
    for tile in &mut map.tiles {
        let (x, y) = tile.centre();
        if let Some(blur) = tile.blur.as_mut().filter(|_| x > 4800.0 && y > 2900.0) {
            *blur = Estimate::new(blur.value.hypot(3.5), blur.sd, blur.n);
        }
    }
    map
}

/// What is hardly known of a lens excuses much: known to 2 px, it may well be as one-sided as this.
#[test]
fn a_corner_is_no_softer_than_its_mirror_image_by_less_than_the_lens_is_known() {
    let mut scene = Scene { f_number: 11.0, ..Scene::default() };
    scene.focus_m = 2.0 * near(&scene);
    let map = with_a_bad_corner(&scene);
    for (sd_px, state) in [(0.1, CornerState::SofterThanExpected), (2.0, CornerState::AsExpected)] {
        let mut baseline = learned(&scene);
        baseline.entries[0].sigma_um.iter_mut().flatten().for_each(|e| e.sd = sd_px * scene.pitch_um);
        let d = diagnose(&map, &scene.capture(), Some(&baseline), &Intent::default());
        assert_eq!((d.corners.basis, d.corners.state), (Basis::Learned, state), "{sd_px} px: {:?}", d.corners);
    }
}

#[test]
fn one_bad_corner_is_beyond_what_the_lens_does_and_is_named() {
    let mut scene = Scene { f_number: 11.0, ..Scene::default() };
    scene.focus_m = 2.0 * near(&scene);
    let map = with_a_bad_corner(&scene);
    let d = diagnose(&map, &scene.capture(), None, &Intent::default());
    assert_eq!(d.corners.state, CornerState::SofterThanExpected, "{:?} {:?}", d.corners, d.verdict);
    let said = words::corners(&d);
    assert!(said.contains("bottom right corner is worse"), "{said}");
    // Nothing was learned of this lens.
    assert!(said.contains("beyond what most lenses do (") && !said.contains("this lens should"), "{said}");
    // Such a corner is no more excused where it is within what is assumed of lenses: no even one draws it so.
    let mut excused = d.clone();
    (excused.verdict.cause, excused.corners.state) = (Cause::SharpThroughout, CornerState::AsExpected);
    let said = words::sentence(&excused, &scene.capture(), Units::Metric);
    assert!(said.contains("bottom right corner is softer") && said.contains("than the one across from it"), "{said}");
    // Where the upper corners lean the other way, however little, no side is the softer.
    let mut leaning = d;
    leaning.verdict.cause = Cause::LensAsymmetry;
    let corners = [ZoneName::TopLeft, ZoneName::TopRight, ZoneName::BottomLeft, ZoneName::BottomRight];
    for (name, width) in corners.into_iter().zip([1.3, 1.2, 1.0, 4.0]) {
        let zone = leaning.zones.iter_mut().find(|z| z.name == name).unwrap();
        zone.optical_px = Some(Estimate::new(width, 0.1, 9));
    }
    let said = words::sentence(&leaning, &scene.capture(), Units::Metric);
    let told = "bottom right corner is softer than its mirror image, 4.00 px against 1.00 px";
    assert!(said.contains(told) && !said.contains("one side"), "{said}");
}
