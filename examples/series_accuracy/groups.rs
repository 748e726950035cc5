//! Grouping over a rendered shoot: singles, near-duplicates, aperture series, focus brackets, and, as a trap, other
//! scenes composed just like the one before.

use tussock::measure::register::{Small, register_small};
use tussock::measure::{Settings, TileMap, measure};
use tussock::series::{Pauses, Seen, Varied, group};
use tussock::shot::{Capture, Fact, Source};
use tussock::simulate::SceneSpec;

use super::scenes::{Take, base, cut, render, stopped};
use super::{even, number};

struct Shot {
    spec: SceneSpec,
    /// Which scene it shows.
    scene: usize,
    varied: Option<Varied>,
    date: String,
}

/// A shoot of about COUNT frames. Facts that could tell scenes apart but for size, date and f-number are left out.
fn shoot(seed: u64, count: usize, long: usize) -> Vec<Shot> {
    let mut dice = seed.wrapping_mul(15_485_863);
    let mut shots: Vec<Shot> = Vec::new();
    let (mut scene, mut clock) = (0u64, 0.0);
    while shots.len() < count {
        let mut first = base(seed * 1000 + scene, long, &mut dice);
        if even(&mut dice) < 0.3 {
            // Composed like the scene before, but another place.
            if let Some(before) = shots.last() {
                first = SceneSpec { seed: seed * 1000 + scene, ..before.spec.clone() };
            }
        }
        let kind = even(&mut dice);
        let (frames, varied) = match kind {
            k if k < 0.3 => (1, None),
            k if k < 0.55 => (2 + (2.0 * even(&mut dice)) as usize, Some(Varied::Nothing)),
            k if k < 0.8 => (4 + (3.0 * even(&mut dice)) as usize, Some(Varied::Aperture)),
            _ => (4 + (2.0 * even(&mut dice)) as usize, Some(Varied::Focus)),
        };
        let nearest = first.camera.nearest_m();
        for k in 0..frames {
            let mut spec = first.clone();
            match varied {
                Some(Varied::Aperture) => spec = stopped(&spec, [4.0, 5.6, 8.0, 11.0, 16.0, 22.0][k % 6]),
                Some(Varied::Focus) => {
                    let inverse = (1.0 - k as f64 / (frames - 1) as f64) / nearest;
                    spec.camera.focus_m = if inverse > 0.0 { 1.0 / inverse } else { f64::INFINITY };
                }
                _ => {}
            }
            let at = clock as u64;
            let date = format!("2026-05-01T{:02}:{:02}:{:02}", 6 + at / 3600, at / 60 % 60, at % 60);
            shots.push(Shot { spec, scene: scene as usize, varied, date });
            clock += 2.0 + 15.0 * even(&mut dice);
        }
        clock += 3.0 + 120.0 * even(&mut dice);
        scene += 1;
    }
    shots
}

/// Groups the shoot and counts what was found.
pub fn groups(seed: u64) {
    let (count, long) = (number("COUNT", 200), number("LONG", 600));
    let shots = shoot(seed, count, long);
    let mut dice = seed.wrapping_mul(32_452_843);
    let seen: Vec<(Small, TileMap, Capture)> = shots
        .iter()
        .enumerate()
        .map(|(i, shot)| {
            let picture = render(&shot.spec);
            let plane = cut(&picture, Take::random(&mut dice, shot.spec.noise, seed * 7 + i as u64));
            let capture = Capture {
                f_number: Some(Fact::new(shot.spec.camera.f_number, Source::Exif)),
                date: Some(Fact::new(shot.date.clone(), Source::Exif)),
                ..Capture::default()
            };
            (Small::new(&plane), measure(&plane, &Settings::default()), capture)
        })
        .collect();
    let members: Vec<Seen> = seen
        .iter()
        .map(|(small, map, capture)| Seen {
            file: "",
            size: (map.width, map.height),
            capture,
            small: small.into(),
            map: Some(map.into()),
        })
        .collect();
    if std::env::var_os("VERBOSE").is_some() {
        for b in 0..shots.len() {
            for a in b.saturating_sub(10)..b {
                let Some(r) = register_small(&seen[a].0, &seen[b].0) else { continue };
                let same = if shots[a].scene == shots[b].scene { "one scene" } else { "two scenes" };
                println!(
                    "{a} {b} {same}: {} patches, {:.2} agree, shift {:.0} {:.0} px, scale {:.3}, turn {:.2}, residual {:.2}",
                    r.compared,
                    r.agreement,
                    r.map.shift.0,
                    r.map.shift.1,
                    r.map.scale,
                    r.map.angle.to_degrees(),
                    r.residual_px
                );
            }
        }
    }
    // A larger folder is the shoot over and over, which is as many neighbours to compare.
    let many: Vec<Seen> = members.iter().copied().cycle().take(number("FRAMES", members.len())).collect();
    let started = std::time::Instant::now();
    let groups = group(&many, Pauses::Part).len();
    let per_frame = 1e3 * started.elapsed().as_secs_f64() / many.len() as f64;
    println!("grouping {} frames into {groups} groups: {per_frame:.2} ms a frame by the clock", many.len());
    let found = group(&members, Pauses::Part);
    let strangers: usize =
        found.iter().map(|g| g.members.iter().filter(|&&m| shots[m].scene != shots[g.members[0]].scene).count()).sum();
    let (mut true_groups, mut whole, mut named) = (0, 0, 0);
    for scene in 0..=shots.last().map_or(0, |s| s.scene) {
        let own: Vec<usize> = (0..shots.len()).filter(|&k| shots[k].scene == scene).collect();
        let Some(varied) = shots[own[0]].varied else { continue };
        true_groups += 1;
        match found.iter().find(|g| g.members == own) {
            Some(g) => {
                whole += 1;
                named += usize::from(g.varied == varied);
                if g.varied != varied {
                    println!("scene {scene}: {varied:?} was called {:?}", g.varied);
                }
            }
            None => {
                let parts: Vec<&Vec<usize>> =
                    found.iter().map(|g| &g.members).filter(|m| m.iter().any(|k| own.contains(k))).collect();
                println!("scene {scene} ({varied:?}) {own:?} was found as {parts:?}");
            }
        }
    }
    println!(
        "{} frames of {} scenes: {true_groups} true groups, {whole} found whole, {named} of them with what was varied; \
         {strangers} frames in a group of another scene",
        shots.len(),
        shots.last().map_or(0, |s| s.scene + 1)
    );
}
