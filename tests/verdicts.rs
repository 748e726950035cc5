//! Verdicts from hand-written tile maps: every rule of the diagnosis, with no pixel involved.

#[path = "support/tilemaps.rs"]
mod tilemaps;

use tilemaps::Scene;
use tussock::diagnose::{Cause, Unsettled, ZoneName, diagnose};
use tussock::quantity::Intent;

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

#[test]
fn a_foreground_of_water_alone_is_not_judged_but_the_far_scene_is() {
    let scene = Scene { f_number: 11.0, pool: 1.0, pool_depth: 0.75, ..Scene::default() };
    let d = diagnose(&scene.map(), &scene.capture(), None, &Intent::default());
    assert_eq!(d.verdict.cause, Cause::CannotTell);
    assert_eq!(d.verdict.unsettled, Some(Unsettled::NearUnmeasured));
    let far = d.zones.iter().find(|z| z.name == ZoneName::Far).unwrap();
    assert!(far.optical_px.is_some());
}
