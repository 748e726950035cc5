//! Things that stand up from the ground, and land that is as bright as the sky, from hand-written tile maps.

#[path = "support/tilemaps.rs"]
mod tilemaps;

use tilemaps::{Scene, lit, v};
use tussock::TileMap;
use tussock::diagnose::{Cause, Diagnosis, ZoneName, diagnose};
use tussock::judge::Judgement;
use tussock::quantity::Intent;

fn judge(scene: &Scene, map: &TileMap) -> Diagnosis {
    diagnose(map, &scene.capture(), None, &Intent::default())
}

/// Focused on near ground: what lies far is out of focus by a disc of some 12 px.
fn too_near(seed: u64) -> Scene {
    Scene { f_number: 2.8, focus_m: 3.0, seed, ..Scene::default() }
}

fn is_focused_too_near(d: &Diagnosis, seed: u64) {
    let said = [ZoneName::Near, ZoneName::Far].map(|z| d.answer(z).judgement);
    // Where little but the thing is seen of the foreground it may be left open.
    assert!(said[0] != Judgement::Beyond && said[1] == Judgement::Beyond, "seed {seed}: {said:?}, {:?}", d.verdict);
    assert_eq!(d.verdict.cause, Cause::FocusTooNear, "seed {seed}: {:?}", d.verdict);
}

#[test]
fn a_rock_in_focus_does_not_make_the_far_scene_behind_it_soft_by_nature() {
    for seed in 1..=6 {
        // From the lower edge to above the horizon, over half of the width.
        let plain = too_near(seed);
        let scene = Scene { rock: Some([0.05, plain.bottom(), 0.4, 0.95]), ..plain };
        is_focused_too_near(&judge(&scene, &scene.map()), seed);
    }
}

#[test]
fn land_as_bright_as_the_sky_still_tells_that_it_is_out_of_focus() {
    for seed in 1..=6 {
        let scene = too_near(seed);
        let mut map = scene.map();
        lit(&scene, &mut map);
        let sky = map.tiles[0].level;
        for tile in map.tiles.iter_mut().filter(|t| v(&scene, t) < scene.horizon() + 0.3) {
            (tile.level, tile.contrast) = (sky, 0.1);
        }
        is_focused_too_near(&judge(&scene, &map), seed);
    }
}
