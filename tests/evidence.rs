//! What the fit may rest on, from hand-written tile maps: where the far scene shows, how many witnesses a row of tiles
//! is, both sides of the frame, and softness that two causes explain.

#[path = "support/tilemaps.rs"]
mod tilemaps;

use tilemaps::{Rng, Scene, right, scaled};
use tussock::TileMap;
use tussock::diagnose::{Cause, Diagnosis, Unsettled, ZoneName, diagnose};
use tussock::judge::Judgement;
use tussock::measure::{Tile, TileState};
use tussock::quantity::{Estimate, Intent, Units};
use tussock::report::words;
use tussock::shot::Capture;

fn judge(scene: &Scene, map: &TileMap) -> Diagnosis {
    diagnose(map, &scene.capture(), None, &Intent::default())
}

/// Place of a tile as the model counts: u across, v down, fractions of the half diagonal from the centre.
fn place(scene: &Scene, tile: &Tile) -> (f64, f64) {
    let (x, y) = tile.centre();
    ((x - f64::from(scene.width) / 2.0) / scene.half(), (y - f64::from(scene.height) / 2.0) / scene.half())
}

/// The scene's map seen through air of a visual range: contrast falls as exp(-distance / range) and the level goes to
/// the air's own by the same factor (Koschmieder 1924); below a `least` share of the contrast nothing is measured.
fn through_air(scene: &Scene, range_m: f64, least: f64) -> TileMap {
    let mut map = scene.map();
    for tile in &mut map.tiles {
        let inverse = scene.ground(place(scene, tile).1);
        let left = if inverse > 0.0 { (-1.0 / (inverse * range_m)).exp() } else { 0.0 };
        tile.contrast = 0.35 * left;
        tile.level = 0.6 - 0.45 * left;
        if left < least {
            tile.state = TileState::NoDetail;
            tile.blur = None;
        }
    }
    map
}

fn is_focus(cause: Cause) -> bool {
    matches!(cause, Cause::FocusTooFar | Cause::FocusTooNear | Cause::TooLittleDepth)
}

#[test]
fn fog_over_the_far_scene_is_said_and_the_ground_before_it_is_not_taken_for_it() {
    let scene = right(Scene { f_number: 11.0, ..Scene::default() });
    let near = 1.0 / scene.ground(scene.bottom());
    let d = judge(&scene, &through_air(&scene, 3.0 * near, 0.2));
    assert_eq!(d.verdict.unsettled, Some(Unsettled::FarHidden), "{:?}", d.verdict);
    let zone = |name| d.zones.iter().find(|z| z.name == name).unwrap();
    assert!(zone(ZoneName::Far).optical_px.is_none() && zone(ZoneName::Near).optical_px.is_some());
    let said = words::sentence(&d, &scene.capture(), Units::Metric);
    assert!(said.contains("Haze hides the far scene") && said.contains("as far as can be seen"), "{said}");
}

/// Air takes of fine detail what it takes of coarse, so that what is measured through it is as wide as the lens drew it.
#[test]
fn a_far_scene_that_is_measured_through_haze_is_judged() {
    for (focus, soft) in [(2.0, false), (1.1, true)] {
        let scene = Scene { f_number: 11.0, ..Scene::default() };
        let near = 1.0 / scene.ground(scene.bottom());
        let scene = Scene { focus_m: focus * near, f_number: if soft { 5.6 } else { 11.0 }, ..scene };
        let d = judge(&scene, &through_air(&scene, 4.0 * near, 0.04));
        assert_ne!(d.verdict.unsettled, Some(Unsettled::FarHidden), "focus at {focus}: {:?}", d.verdict);
        let far = d.answer(ZoneName::Far).judgement;
        assert!(if soft { far == Judgement::Beyond } else { far.passes() }, "focus at {focus}: {far:?}");
        let hidden = judge(&scene, &through_air(&scene, 4.0 * near, 0.2));
        assert_eq!(hidden.verdict.unsettled, Some(Unsettled::FarHidden), "focus at {focus}: {:?}", hidden.verdict);
    }
}

#[test]
fn a_sky_that_darkens_towards_hills_is_no_veil() {
    // Contrast and level that grow over four rows as through haze, but whose horizon would lie far above the picture.
    let scene = right(Scene { f_number: 11.0, ..Scene::default() });
    let mut map = scene.map();
    let columns = map.columns as usize;
    let contrast = [0.048, 0.103, 0.115, 0.30, 0.33, 0.36, 0.39, 0.41];
    let level = [0.86, 0.65, 0.47, 0.30, 0.156, 0.149, 0.147, 0.142];
    for (i, tile) in map.tiles.iter_mut().enumerate() {
        tile.contrast = contrast.get(i / columns).copied().unwrap_or(0.46);
        tile.level = level.get(i / columns).copied().unwrap_or(0.14);
    }
    let d = judge(&scene, &map);
    assert_ne!(d.verdict.unsettled, Some(Unsettled::FarHidden), "{:?}", d.verdict);
}

#[test]
fn ridges_that_stand_out_of_the_sky_at_once_are_no_veil() {
    // Contrast and level grow over three rows, but the line through them would leave a third of the contrast in the even sky above.
    let scene = right(Scene { f_number: 11.0, ..Scene::default() });
    let mut map = scene.map();
    let columns = map.columns as usize;
    let sky = map.tiles.chunks(columns).take_while(|row| place(&scene, &row[0]).1 < scene.horizon() - 0.1).count();
    for (i, tile) in map.tiles.iter_mut().enumerate() {
        let down = (i / columns).checked_sub(sky);
        tile.contrast = down.map_or(0.01, |k| [0.22, 0.24, 0.27].get(k).copied().unwrap_or(0.46));
        tile.level = down.map_or(0.86, |k| [0.40, 0.32, 0.26].get(k).copied().unwrap_or(0.14));
        if down.is_none() {
            (tile.state, tile.blur) = (TileState::NoDetail, None);
        }
    }
    let d = judge(&scene, &map);
    assert_ne!(d.verdict.unsettled, Some(Unsettled::FarHidden), "{:?}", d.verdict);
}

#[test]
fn ground_before_a_pool_is_judged_and_a_pool_at_the_lower_edge_is_not_ground() {
    for seed in 1..=6 {
        let scene = right(Scene { f_number: 11.0, seed, ..Scene::default() });
        let wet = |from: f64, to: f64| {
            let (mut map, mut rng) = (scene.map(), Rng(seed));
            for tile in &mut map.tiles {
                let depth = (scene.bottom() - place(&scene, tile).1) / (scene.bottom() - scene.horizon());
                if (from..to).contains(&depth) && tile.blur.is_some() {
                    let width = rng.log_between(2.8, 4.2);
                    tile.blur = Some(Estimate::new(width, 0.1 * width, 20));
                }
            }
            judge(&scene, &map)
        };
        let near = |d: &Diagnosis| d.answer(ZoneName::Near).judgement;
        assert!(near(&wet(0.0, 0.0)).passes(), "seed {seed}");
        assert!(near(&wet(0.2, 0.5)).passes(), "seed {seed}");
        assert!(!near(&wet(0.0, 0.5)).passes(), "seed {seed}");
    }
}

#[test]
fn in_clear_air_the_far_scene_is_judged() {
    let scene = right(Scene { f_number: 11.0, ..Scene::default() });
    let map = through_air(&scene, 20_000.0, 0.2);
    let mut lit = scene.map();
    for (tile, air) in lit.tiles.iter_mut().zip(&map.tiles) {
        (tile.contrast, tile.level) = (air.contrast, air.level);
    }
    let d = judge(&scene, &lit);
    assert_eq!(d.verdict.cause, Cause::SharpThroughout, "{:?}", d.verdict);
}

#[test]
fn the_skyline_keeps_the_horizon_from_floating() {
    // Focus at many times the nearest distance: the far disc is small and of either sign as far as widths go.
    for seed in 1..=8 {
        let scene = Scene { f_number: 8.0, focus_m: 25.0, cloud: 0.0, seed, ..Scene::default() };
        let mut map = scene.map();
        for tile in &mut map.tiles {
            let above = place(&scene, tile).1 < scene.horizon() - 0.03;
            (tile.level, tile.contrast) = if above { (0.7, 0.02) } else { (0.15, 0.35) };
            if above {
                tile.blur = None;
            }
        }
        let d = judge(&scene, &map);
        let horizon = d.model.as_ref().unwrap().horizon;
        assert!((horizon - scene.horizon()).abs() < 0.12, "seed {seed}: {horizon} of {}", scene.horizon());
    }
}

#[test]
fn rows_that_err_together_name_no_focus_error() {
    // Every row shares an error of seven per cent, as the tiles of one texture at one distance do.
    for seed in 1..=20 {
        let scene = right(Scene { f_number: 13.0, scatter: 0.04, seed, ..Scene::default() });
        let mut map = scene.map();
        let mut rng = Rng(seed.wrapping_mul(977));
        for row in map.tiles.chunks_mut(map.columns as usize) {
            let factor = (0.07 * rng.normal()).exp();
            for blur in row.iter_mut().filter_map(|t| t.blur.as_mut()) {
                *blur = Estimate::new(blur.value * factor, blur.sd * factor, blur.n);
            }
        }
        let d = judge(&scene, &map);
        assert!(!is_focus(d.verdict.cause), "seed {seed}: {:?}", d.verdict);
    }
}

#[test]
fn a_far_zone_at_the_permitted_blur_is_no_sure_focus_error() {
    for seed in 1..=10 {
        let mut scene = Scene { f_number: 8.0, lens: (0.2, 0.6, 2.5), seed, ..Scene::default() };
        // The focus at which the far scene just reaches the permitted blur.
        while scene.far().optical_px > scene.permitted() {
            scene.focus_m *= 1.01;
        }
        while scene.far().optical_px < scene.permitted() {
            scene.focus_m /= 1.01;
        }
        let d = judge(&scene, &scene.map());
        assert!(!is_focus(d.verdict.cause) || d.verdict.confidence < 0.85, "seed {seed}: {:?}", d.verdict);
    }
}

#[test]
fn a_rock_in_focus_before_a_soft_far_scene_is_not_taken_for_it() {
    // Focused at twice the nearest distance the far scene is as soft as the near; the rock stands where the focus is,
    // half a way up the ground, and reaches above the horizon.
    for seed in 1..=6 {
        let scene = right(Scene { f_number: 2.8, camera_height_m: 0.6, missing: 0.3, seed, ..Scene::default() });
        let foot = (0..200).map(|k| scene.bottom() * (1.0 - f64::from(k) / 100.0));
        let foot = foot.into_iter().find(|&v| scene.ground(v) < 1.0 / scene.focus_m).unwrap();
        let scene = Scene { rock: Some([0.2, foot, 0.3, foot + 0.42]), ..scene };
        let d = judge(&scene, &scene.map());
        assert_eq!(d.verdict.cause, Cause::TooLittleDepth, "seed {seed}: {:?}", d.verdict);
    }
}

#[test]
fn one_side_alone_or_content_that_differs_is_no_lens_out_of_line() {
    let scene = right(Scene { f_number: 11.0, tilt_px: 11.0, ..Scene::default() });
    let whole = judge(&scene, &scene.map()).verdict.cause;
    assert_eq!(whole, Cause::LensAsymmetry);
    let mut cut = scene.map();
    for tile in &mut cut.tiles {
        if place(&scene, tile).0 > 0.25 {
            tile.blur = None;
        }
    }
    assert_ne!(judge(&scene, &cut).verdict.cause, Cause::LensAsymmetry);
    let mut mixed = scene.map();
    for tile in &mut mixed.tiles {
        tile.contrast = if place(&scene, tile).0 > 0.0 { 0.1 } else { 0.6 };
    }
    assert_ne!(judge(&scene, &mixed).verdict.cause, Cause::LensAsymmetry);
}

#[test]
fn what_ends_at_its_edge_is_no_lens_out_of_line() {
    // A thing in focus over one side of the picture, from its lower edge to above the horizon, before what is soft by another lot: a
    // tilted or decentred lens would soften what lies between by less.
    for seed in 1..=8 {
        let scene = right(Scene { f_number: 11.0, seed, ..Scene::default() });
        let mut map = scene.map();
        map.tiles.iter_mut().filter(|t| place(&scene, t).0 > 0.05).for_each(|t| scaled(t, 3.0));
        let verdict = judge(&scene, &map).verdict;
        let named = verdict.cause == Cause::LensAsymmetry || verdict.also.contains(&Cause::LensAsymmetry);
        assert!(!named, "seed {seed}: {verdict:?}");
    }
}

#[test]
fn a_lens_decentred_upwards_is_not_laid_to_focus_for_sure() {
    // The lens's field is centred at v = -0.45: the lower edge is soft, as with focus too far.
    for seed in 1..=6 {
        let scene = right(Scene { f_number: 13.0, lens: (0.2, 0.0, 2.5), seed, ..Scene::default() });
        let mut map = scene.map();
        for tile in &mut map.tiles {
            let (u, v) = place(&scene, tile);
            let added = 2.6 * u.hypot(v + 0.45).powf(2.5);
            if let Some(blur) = tile.blur.as_mut() {
                *blur = Estimate::new(blur.value.hypot(added), blur.sd, blur.n);
            }
        }
        let d = judge(&scene, &map);
        assert!(!is_focus(d.verdict.cause) || d.verdict.confidence < 0.8, "seed {seed}: {:?}", d.verdict);
    }
}

#[test]
fn a_frame_soft_alike_all_over_without_facts_is_not_laid_to_focus() {
    for seed in 1..=6 {
        let scene = right(Scene { f_number: 11.0, lens: (2.6, 0.2, 2.0), seed, ..Scene::default() });
        let facts = Capture { pixel_pitch_um: None, ..scene.capture() };
        let d = diagnose(&scene.map(), &facts, None, &Intent::default());
        assert_eq!(d.verdict.cause, Cause::CannotTell, "seed {seed}: {:?}", d.verdict);
    }
}

#[test]
fn smooth_water_before_sharp_ground_is_no_defocus() {
    // Everything below v = 0.2 is 4.5 px soft alike and as low in contrast as a stream drawn out by a long exposure (0.07),
    // everything above as the right focus leaves it: ground would go on growing softer from row to row.
    for seed in 1..=6 {
        let scene = right(Scene { f_number: 11.0, seed, ..Scene::default() });
        let mut map = scene.map();
        let mut rng = Rng(seed);
        for tile in &mut map.tiles {
            if place(&scene, tile).1 > 0.2
                && let Some(blur) = tile.blur.as_mut()
            {
                *blur = Estimate::new(4.5 * (0.05 * rng.normal()).exp(), 0.4, blur.n);
                tile.contrast = 0.07;
            }
        }
        let d = judge(&scene, &map);
        assert_eq!(d.verdict.unsettled, Some(Unsettled::NearUnmeasured), "seed {seed}: {:?}", d.verdict);
        assert!(d.zones.iter().any(|z| z.name == ZoneName::Far && z.optical_px.is_some()), "seed {seed}");
        // Real defocus of the same reach grows all the way down, and is named.
        let near = Scene { focus_m: 60.0, f_number: 4.0, ..scene };
        assert!(is_focus(judge(&near, &near.map()).verdict.cause), "seed {seed}");
    }
}

#[test]
fn whole_blur_is_never_less_than_the_optical_part_of_it() {
    for seed in 1..=10 {
        let scene =
            right(Scene { f_number: 5.6 + f64::from(seed as u32), lens: (0.3, 2.0, 2.5), seed, ..Scene::default() });
        let zones = judge(&scene, &scene.map()).zones;
        let both = zones.iter().filter_map(|z| Some((z.name, z.blur_px?, z.optical_px?)));
        assert!(both.clone().count() >= 5, "seed {seed}: most zones have both");
        for (name, whole, optical) in both {
            assert!(whole.value >= optical.value, "seed {seed}: {name:?} {whole:?} {optical:?}");
        }
    }
}

#[test]
fn a_cause_beside_the_named_one_is_said_and_advised_upon() {
    // The words alone: the verdict is set by hand.
    let scene = right(Scene { f_number: 8.0, ..Scene::default() });
    let mut d = judge(&scene, &scene.map());
    let said = |d: &Diagnosis| {
        let facts = scene.capture();
        (words::sentence(d, &facts, Units::Metric), words::advice(d, &facts, Units::Metric))
    };
    d.verdict.cause = Cause::FocusTooNear;
    d.verdict.also.clear();
    d.verdict.confidence = 0.9;
    let (alone, advice) = said(&d);
    assert!(!alone.contains("a part in it too") && !advice.contains("And steady"), "{alone} {advice}");
    d.verdict.also = vec![Cause::Motion];
    let (both, advice) = said(&d);
    assert!(
        both.contains("Motion probably has a part in it too.") && advice.contains("And steady the camera."),
        "{both}"
    );
    d.verdict.also = vec![Cause::Motion, Cause::Diffraction, Cause::TooLittleDepth];
    let (three, _) = said(&d);
    assert!(three.contains("Motion, diffraction and too little depth probably have a part in it too."), "{three}");
    d.verdict.confidence = 0.45;
    assert!(said(&d).0.contains("which of them weighs most is not sure"));
    // An open verdict names nothing by the way.
    d.verdict.cause = Cause::CannotTell;
    assert!(!said(&d).0.contains("a part in it too"));
}
