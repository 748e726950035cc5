//! How often verdicts are right: random scenes written as tile maps, a reliability table, and the hundreds of
//! hard cases. `cargo run --example verdict_accuracy` prints the tables of docs/accuracy.md,
//! tile maps.
#![allow(clippy::print_stdout, missing_docs)] // A program whose purpose is to print.

#[path = "../tests/support/tilemaps.rs"]
mod tilemaps;

use std::time::Instant;
use tilemaps::Scene;
use tussock::diagnose::{Cause, diagnose};
use tussock::quantity::Intent;

fn main() {
    let count: u64 = std::env::args().nth(1).and_then(|a| a.parse().ok()).unwrap_or(300);
    let verbose = std::env::args().nth(2).is_some();
    let (mut clear, mut right, mut open) = (0, 0, 0);
    let (mut sure, mut sure_wrong) = ([0; 2], [0; 2]);
    let mut bins = [(0, 0.0, 0); 6];
    let (mut near, mut far, mut focus, mut distance) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    let mut time = 0.0;
    for seed in 0..count {
        let scene = Scene::random(seed);
        let (map, capture) = (scene.map(), scene.capture());
        let start = Instant::now();
        let d = diagnose(&map, &capture, None, &Intent::default());
        time += start.elapsed().as_secs_f64();
        let truth = scene.cause();
        let v = &d.verdict;
        if v.cause != Cause::CannotTell {
            let edges = [0.0, 0.7, 0.8, 0.9, 0.95, 0.98];
            let bin = edges.iter().rposition(|&e| v.confidence >= e).unwrap_or(0);
            bins[bin].0 += 1;
            bins[bin].1 += v.confidence;
            bins[bin].2 += u32::from(v.cause == truth);
        }
        let is_clear = scene.is_clear();
        if is_clear {
            clear += 1;
            right += u32::from(v.cause == truth);
            open += u32::from(v.cause == Cause::CannotTell);
        }
        if v.cause != Cause::CannotTell && v.confidence >= 0.9 {
            for k in 0..=usize::from(is_clear) {
                sure[k] += 1;
                sure_wrong[k] += u32::from(v.cause != truth);
            }
        }
        let error = |k: usize, t: f64| d.zones[k].optical_px.map(|e| e.value / t - 1.0);
        near.extend(error(0, scene.near().optical_px));
        far.extend(error(1, scene.far().optical_px));
        let n = 1.0 / scene.ground(scene.bottom());
        focus.extend(d.implied.focus_m.map(|f| (1.0 / f.value - 1.0 / scene.focus_m) * n));
        distance.extend(d.implied.near_m.map(|f| f.value / n - 1.0));
        let off = error(0, scene.near().optical_px).is_some_and(|e| e.abs() > 0.15)
            || error(1, scene.far().optical_px).is_some_and(|e| e.abs() > 0.25);
        if verbose
            && (is_clear && v.cause != truth
                || off
                || v.confidence >= 0.9 && v.cause != truth && v.cause != Cause::CannotTell)
        {
            println!(
                "{seed:4} truth {truth:?} said {:?} {:.2} {:?} | near {:.2}/{:.2} far {:.2}/{:.2} P {:.2} f{:.0} N{} n {:.1} s {:.1} disc {:.1} {:.1} lens {:.1?} tilt {:.1} mot {:?} horizon {:.2} of {:.2} | w {:.2?} fit {:?}",
                v.cause,
                v.confidence,
                v.unsettled,
                d.near().optical_px.map_or(0.0, |e| e.value),
                scene.near().optical_px,
                d.far().optical_px.map_or(0.0, |e| e.value),
                scene.far().optical_px,
                scene.permitted(),
                scene.focal_mm,
                scene.f_number,
                n,
                scene.focus_m,
                scene.near().disc_px,
                scene.far().disc_px,
                scene.lens,
                scene.tilt_px,
                scene.motion,
                scene.horizon(),
                scene.bottom(),
                &v.weights[..v.weights.len().min(3)],
                d.model.as_ref().map(|m| (
                    m.disc_far_px.value,
                    m.disc_down_px.value,
                    m.horizon,
                    m.disc_right_px.value,
                    m.lens_corner_px.value
                ))
            );
        }
    }
    println!("{count} scenes, {:.1} ms a frame", 1e3 * time / count as f64);
    println!(
        "clear (beyond 1.3 or within 0.7 times the limit): {clear}, right {right} ({:.1} %), open {open}",
        100.0 * f64::from(right) / f64::from(clear.max(1))
    );
    println!(
        "given with confidence >= 0.9: {} of all, {} wrong; {} of the clear, {} wrong",
        sure[0], sure_wrong[0], sure[1], sure_wrong[1]
    );
    println!("confidence  verdicts  mean stated  right");
    for ((n, sum, ok), from) in bins.into_iter().zip([0.0, 0.7, 0.8, 0.9, 0.95, 0.98]) {
        println!("from {from:.2}  {n:8}  {:.3}  {:.3}", sum / f64::from(n.max(1)), f64::from(ok) / f64::from(n.max(1)));
    }
    spread("near optical blur, relative", near);
    spread("far optical blur, relative", far);
    spread("1/focus over 1/near", focus);
    spread("near distance, relative", distance);
    hundreds(verbose);
}

/// The hundreds of hard cases of the accuracy bars: how many came out as they must.
fn hundreds(verbose: bool) {
    let say = |scene: &Scene, intent: &Intent| diagnose(&scene.map(), &scene.capture(), None, intent);
    let base = |seed: u64| {
        let plain = Scene { motion: None, tilt_px: 0.0, rock: None, pool: 0.0, pool_depth: 0.0, ..Scene::random(seed) };
        let near = 1.0 / plain.ground(plain.bottom());
        (Scene { lens: (0.2, 0.6, 2.5), ..plain }, near)
    };
    let focus_error = |c: Cause| matches!(c, Cause::FocusTooFar | Cause::FocusTooNear | Cause::TooLittleDepth);

    // Right focus, strong corners: none called a focus error. The f-number is the best one for the depth, and the
    // scene counts if truth is then clearly sharp in both zones but for the lens.
    let (mut n, mut bad, mut open) = (0, 0, 0);
    let mut seed = 10_000;
    while n < 100 {
        seed += 1;
        let (mut scene, near) = base(seed);
        scene.focus_m = 2.0 * near;
        scene.f_number = (21.9 * (scene.focal_mm * scene.focal_mm * 1e-3 / near).sqrt()).clamp(4.0, 16.0);
        let p = scene.permitted();
        if scene.near().optical_px > 0.8 * p || scene.far().optical_px > 0.8 * p {
            continue;
        }
        scene.lens = (0.2, p * (1.0 + (seed % 7) as f64 / 3.0), 2.5);
        n += 1;
        let v = say(&scene, &Intent::default()).verdict;
        bad += u32::from(focus_error(v.cause));
        open += u32::from(v.cause == Cause::CannotTell);
        if verbose && focus_error(v.cause) {
            println!("right focus {seed}: {:?} {:.2}", v.cause, v.confidence);
        }
    }
    println!("right focus and strong corners: {n} scenes, {bad} called a focus error, {open} left open");

    // Focus error and strong corners: none excused.
    let (mut n, mut bad, mut open) = (0, 0, 0);
    while n < 100 {
        seed += 1;
        let (mut scene, _) = base(seed);
        let p = scene.permitted();
        let worst = scene.near().disc_px.abs().max(scene.far().disc_px.abs()) * 0.265_77;
        if worst < 1.5 * p || scene.diffraction() > 0.8 * p {
            continue;
        }
        scene.lens = (0.2, p * (1.0 + (seed % 7) as f64 / 3.0), 2.5);
        n += 1;
        let v = say(&scene, &Intent::default()).verdict;
        bad += u32::from(!focus_error(v.cause) && v.cause != Cause::CannotTell);
        open += u32::from(v.cause == Cause::CannotTell);
        if verbose && !focus_error(v.cause) {
            println!(
                "focus error {seed}: {:?} {:.2} {:?} truth {:?}",
                v.cause,
                v.confidence,
                v.unsettled,
                scene.cause()
            );
        }
    }
    println!("focus error and strong corners: {n} scenes, {bad} excused, {open} left open");

    // A clouded sky and a pool over up to half of the foreground: the verdict stays what it is without them.
    let (mut n, mut changed, mut opened) = (0, 0, 0);
    while n < 100 {
        seed += 1;
        let (scene, _) = base(seed);
        if !scene.is_clear() {
            continue;
        }
        let dry = say(&Scene { cloud: 0.0, ..scene.clone() }, &Intent::default()).verdict.cause;
        let wet = Scene { cloud: 0.9, pool: 0.2 + 0.3 * (seed % 4) as f64 / 3.0, pool_depth: 0.8, ..scene };
        n += 1;
        let v = say(&wet, &Intent::default()).verdict;
        changed += u32::from(v.cause != dry && v.cause != Cause::CannotTell);
        opened += u32::from(v.cause != dry && v.cause == Cause::CannotTell);
        if verbose && v.cause != dry {
            println!(
                "pool and cloud {seed}: {:?} {:.2} {:?} dry {dry:?} truth {:?}",
                v.cause,
                v.confidence,
                v.unsettled,
                wet.cause()
            );
        }
    }
    println!("cloud and pool: {n} scenes, {changed} changed, {opened} left open");

    // Water alone in the foreground: near can't be told, far is still judged.
    let (mut n, mut told, mut blind) = (0, 0, 0);
    while n < 100 {
        seed += 1;
        let (mut scene, near) = base(seed);
        scene.focus_m = near * 2.0;
        scene.f_number = (21.9 * (scene.focal_mm * scene.focal_mm * 1e-3 / near).sqrt()).clamp(4.0, 16.0);
        if scene.near().optical_px > scene.permitted() {
            continue;
        }
        let wet = Scene { pool: 1.0, pool_depth: 0.85, ..scene };
        n += 1;
        let d = say(&wet, &Intent::default());
        told += u32::from(d.verdict.cause != Cause::CannotTell);
        blind += u32::from(d.far().optical_px.is_none());
        if verbose && d.verdict.cause != Cause::CannotTell {
            println!(
                "water {seed}: {:?} {:.2} truth {:?} near {:?}",
                d.verdict.cause,
                d.verdict.confidence,
                wet.cause(),
                d.near().optical_px
            );
        }
    }
    println!("all water: {n} scenes, {told} told a cause for, far not judged in {blind}");
}

fn spread(name: &str, mut errors: Vec<f64>) {
    errors.sort_by(f64::total_cmp);
    if errors.is_empty() {
        return;
    }
    let at = |q: f64| errors[((errors.len() - 1) as f64 * q) as usize];
    println!(
        "{name}: n {} median {:+.3}, 16 % {:+.3}, 84 % {:+.3}, 2.5 % {:+.3}, 97.5 % {:+.3}",
        errors.len(),
        at(0.5),
        at(0.16),
        at(0.84),
        at(0.025),
        at(0.975)
    );
}
