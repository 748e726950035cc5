//! Aperture series over rendered landscapes, compared and answered as `tussock series` does.

use std::borrow::Cow;

use tussock::commands::groups;
use tussock::diagnose::diagnose;
use tussock::measure::register::Small;
use tussock::measure::{Settings, TileMap, measure};
use tussock::optics::WAVELENGTH_UM;
use tussock::quantity::{Intent, Region};
use tussock::series::{Answer, Ask, Seen, Varied, Zone, ZoneBlur, reference, zone_blurs};
use tussock::shot::{Capture, Fact, Plane, Source};
use tussock::simulate::SceneSpec;

use super::scenes::{self, Take, base, cut, render, stopped};
use super::{even, median_abs, number, share_within};

const STOPS: [f64; 7] = [2.8, 4.0, 5.6, 8.0, 11.0, 16.0, 22.0];

/// The facts a camera would record.
pub fn capture(spec: &SceneSpec) -> Capture {
    fn fact<T>(value: T) -> Option<Fact<T>> {
        Some(Fact::new(value, Source::Exif))
    }
    Capture {
        f_number: fact(spec.camera.f_number),
        focal_length_mm: fact(spec.camera.focal_mm),
        pixel_pitch_um: fact(spec.camera.pitch_um),
        lens: fact("Example lens".to_owned()),
        ..Capture::default()
    }
}

/// The frames of one series as compared, and their truth.
pub struct Compared {
    pub answer: Answer,
    /// [frame][tile], px.
    pub truth: Vec<Vec<Option<f64>>>,
    pub zones: Vec<Zone>,
}

/// Renders the frames of one series and has them compared as the program does.
pub fn compare(specs: &[SceneSpec], varied: Varied, permitted_px: f64, dice: &mut u64) -> Compared {
    let shots: Vec<(Plane, Vec<scenes::Tile>, (i64, i64))> = specs
        .iter()
        .enumerate()
        .map(|(i, spec)| {
            let picture = render(spec);
            let take = Take::random(dice, spec.noise, spec.seed * 31 + i as u64);
            (cut(&picture, take), picture.tiles, take.shift)
        })
        .collect();
    let settings = |s: &SceneSpec| Settings::default().under(capture(s).lambda_n_px(WAVELENGTH_UM));
    let maps: Vec<TileMap> = shots.iter().zip(specs).map(|(r, s)| measure(&r.0, &settings(s))).collect();
    let smalls: Vec<Small> = shots.iter().map(|r| Small::new(&r.0)).collect();
    let captures: Vec<Capture> = specs.iter().map(capture).collect();
    let seen: Vec<Seen> = (0..shots.len())
        .map(|k| Seen {
            file: "frame",
            size: (maps[k].width, maps[k].height),
            capture: &captures[k],
            small: (&smalls[k]).into(),
            map: Some((&maps[k]).into()),
        })
        .collect();
    let reference = reference(&seen);
    let zones =
        groups::zones(&seen[reference], &diagnose(&maps[reference], &captures[reference], None, &Intent::default()));
    let ask = Ask { varied, permitted_px, limits_px: &[], subject: None, shaken: &[] };
    let answer = tussock::series::compare(&seen, &zones, &ask, &|k| Some(Cow::Borrowed(&shots[k].0)));
    for (k, _) in answer.laid.iter().enumerate().filter(|(_, l)| l.is_none()) {
        println!("  frame {k} was not registered");
    }
    // Focusing shifts the picture by a little: whether there is detail in a tile is one thing for all frames.
    let detailed = |t: &Region| {
        let shares = shots.iter().filter_map(|s| Some(scenes::truth_at(&s.1, t)?.detailed));
        shares.sum::<f64>() > 0.5 * shots.len() as f64
    };
    // What a tile of the reference shows lies elsewhere in the other frames, and by the shift in all of them.
    let truth = shots
        .iter()
        .zip(&answer.laid)
        .map(|((_, truths, shift), map)| {
            let known = |t: &Region| {
                let (x, y) = map.map_or(t.middle(), |m| m.apply(t.middle().0, t.middle().1));
                let uncut = |at: f64, by: i64| at + (scenes::MARGIN as i64 + by) as f64;
                scenes::width_at(truths, uncut(x, shift.0), uncut(y, shift.1)).filter(|_| detailed(t))
            };
            answer.tiles.iter().map(known).collect()
        })
        .collect();
    let zones = answer.parts.clone();
    Compared { answer, truth, zones }
}

/// Relative error of the ratio of two frames' blur in every tile that has one, the truly sharpest frame's being
/// the other.
pub fn ratios(c: &Compared) -> Vec<f64> {
    let mut errors = Vec::new();
    for t in 0..c.answer.tiles.len() {
        let best = (0..c.truth.len()).filter(|&k| c.answer.blurs.sigma[k][t].is_some() && c.truth[k][t].is_some());
        let Some(m) = best.min_by(|&a, &b| c.truth[a][t].unwrap_or(9e9).total_cmp(&c.truth[b][t].unwrap_or(9e9)))
        else {
            continue;
        };
        for k in 0..c.truth.len() {
            if let (true, Some(s), Some(r), Some(x), Some(y)) =
                (k != m, c.answer.blurs.sigma[k][t], c.answer.blurs.sigma[m][t], c.truth[k][t], c.truth[m][t])
            {
                errors.push((s.value / r.value) / (x / y) - 1.0);
            }
        }
    }
    errors
}

/// Whether a tile was compared in any frame.
pub fn compared(c: &Compared, tile: usize) -> bool {
    c.answer.blurs.sigma.iter().any(|f| f[tile].is_some())
}

/// True blur of a zone in a frame: the mean over the tiles that were compared in it.
fn zone_truth(c: &Compared, zone: &Zone, k: usize) -> Option<f64> {
    let known: Vec<f64> = zone.tiles.iter().filter(|t| compared(c, **t)).filter_map(|&t| c.truth[k][t]).collect();
    (!known.is_empty()).then(|| known.iter().sum::<f64>() / known.len() as f64)
}

/// The same for the ratios of zones, against the truly sharpest frame of each.
fn zone_ratios(c: &Compared, read: &[ZoneBlur]) -> Vec<f64> {
    let mut errors = Vec::new();
    for zone in &c.zones {
        let Some(z) = read.iter().find(|r| r.name == zone.name) else { continue };
        let known: Vec<(f64, f64)> =
            z.points.iter().filter_map(|p| Some((p.blur.value, zone_truth(c, zone, p.frame)?))).collect();
        let Some(best) = known.iter().min_by(|a, b| a.1.total_cmp(&b.1)).copied() else { continue };
        errors.extend(known.iter().filter(|k| k.1 > best.1).map(|k| (k.0 / best.0) / (k.1 / best.1) - 1.0));
    }
    errors
}

/// The frame enlarged or reduced by up to a hundredth.
fn breathing(mut spec: SceneSpec, dice: &mut u64) -> SceneSpec {
    spec.camera.breathing = 0.99 + 0.02 * even(dice);
    spec
}

/// Aperture series of random lenses and scenes.
pub fn apertures(seed: u64) {
    let (count, long) = (number("COUNT", 20), number("LONG", 1000));
    let (mut good, mut slopes, mut all, mut by_zone, mut answered) = (0, Vec::new(), Vec::new(), Vec::new(), 0);
    let mut scales = Vec::new();
    for i in number("FROM", 0)..count {
        let mut dice = seed.wrapping_mul(7919).wrapping_add(104_729 * i as u64);
        let first = base(seed * 100 + i as u64, long, &mut dice);
        let specs: Vec<SceneSpec> = STOPS.iter().map(|&n| breathing(stopped(&first, n), &mut dice)).collect();
        let c = compare(&specs, Varied::Aperture, 1.0, &mut dice);
        let raw = zone_blurs(&c.zones, &c.answer.blurs);
        let Some(answer) = &c.answer.apertures else { continue };
        let read = &answer.blurs;
        let (errors, zone_errors) = (ratios(&c), zone_ratios(&c, read));
        let worst = |k: usize| {
            // A zone that was left out counts all the same where half of it has detail that was compared.
            let known = |z: &Zone| z.tiles.iter().filter(|t| c.truth[k][**t].is_some() && compared(&c, **t)).count();
            let deciding = |z: &&Zone| {
                let left_out = answer.left_out.iter().any(|l| l.0 == z.name);
                read.iter().any(|r| r.name == z.name) && (!left_out || 2 * known(z) >= z.tiles.len())
            };
            c.zones.iter().filter(deciding).filter_map(|z| zone_truth(&c, z, k)).fold(0.0, f64::max)
        };
        let least = (0..STOPS.len()).map(worst).fold(f64::INFINITY, f64::min);
        let loss = answer.whole.map_or(f64::NAN, |k| worst(k) / least - 1.0);
        let slope = answer
            .split
            .as_ref()
            .map(|s| (s.growth.value * first.camera.pitch_um / 0.55 - 1.0, s.growth.sd / s.growth.value));
        if std::env::var_os("VERBOSE").is_some() {
            println!("    moved {:?} shifts {:?}", c.answer.blurs.moved, answer.focus_shift);
            for z in &c.zones {
                let Some(r) = read.iter().find(|r| r.name == z.name) else { continue };
                let own = raw.iter().find(|r| r.name == z.name).map_or(&[][..], |r| &r.points);
                let line: Vec<String> = r
                    .points
                    .iter()
                    .map(|p| {
                        let before = own.iter().find(|o| o.frame == p.frame).map_or(f64::NAN, |o| o.blur.value);
                        let truth = zone_truth(&c, z, p.frame).unwrap_or(f64::NAN);
                        format!("{before:.2}>{:.2}/{truth:.2}", p.blur.value)
                    })
                    .collect();
                println!(
                    "    {:11} {:2} of {:2}: {}",
                    format!("{:?}", r.name),
                    r.tiles,
                    z.tiles.len(),
                    line.join("  ")
                );
            }
        }
        // The scale: measured over true width, by zone, before and after the curve has settled it.
        for z in &c.zones {
            let of = |list: &[ZoneBlur]| -> Option<f64> {
                let p = list.iter().find(|r| r.name == z.name)?.points.iter().min_by(|a, b| {
                    zone_truth(&c, z, a.frame).unwrap_or(9e9).total_cmp(&zone_truth(&c, z, b.frame).unwrap_or(9e9))
                })?;
                Some(p.blur.value / zone_truth(&c, z, p.frame)? - 1.0)
            };
            if let (Some(before), Some(after)) = (of(&raw), of(read)) {
                scales.push((z.name.is_corner(), before, after));
            }
        }
        answered += usize::from(answer.whole.is_some());
        good += usize::from(loss <= 0.03);
        slopes.extend(slope.map(|s| s.0));
        println!(
            "{i:3} {:?} {} mm pitch {:.2} | tiles {} med {:.1} % bias {:+.1} % | zones {} med {:.1} % within 5 % {:.0} % \
             | best f/{} loses {:.1} % | growth {} | spoiled {:?} shifts {} left out {:?}",
            first.ground,
            first.camera.focal_mm.round(),
            first.camera.pitch_um,
            errors.len(),
            100.0 * median_abs(&errors),
            100.0 * errors.iter().sum::<f64>() / errors.len().max(1) as f64,
            zone_errors.len(),
            100.0 * median_abs(&zone_errors),
            share_within(&zone_errors, 0.05),
            answer.whole.map_or(0.0, |k| STOPS[k]),
            100.0 * loss,
            slope.map_or("none".into(), |s| format!("{:+.1} +- {:.1} %", 100.0 * s.0, 100.0 * s.1)),
            answer.spoiled,
            answer.focus_shift.len(),
            answer.left_out.iter().map(|l| l.0).collect::<Vec<_>>(),
        );
        all.extend(errors);
        by_zone.extend(zone_errors);
    }
    println!(
        "tiles: {} ratios, median |error| {:.2} %, {:.0} % within 5 %; zones: {} ratios, median {:.2} %, {:.0} % within 5 %",
        all.len(),
        100.0 * median_abs(&all),
        share_within(&all, 0.05),
        by_zone.len(),
        100.0 * median_abs(&by_zone),
        share_within(&by_zone, 0.05),
    );
    println!(
        "best aperture within 3 % of the best achievable in {good} of {answered}; growth within 10 % in {} of {}",
        slopes.iter().filter(|s: &&f64| s.abs() <= 0.10).count(),
        slopes.len()
    );
    for (corners, name) in [(false, "inner zones"), (true, "corners")] {
        let of = |after: bool| -> Vec<f64> {
            scales.iter().filter(|s| s.0 == corners).map(|s| if after { s.2 } else { s.1 }).collect()
        };
        let mean = |v: &[f64]| 100.0 * v.iter().sum::<f64>() / v.len().max(1) as f64;
        let (before, after) = (of(false), of(true));
        println!(
            "scale of {} {name}: single-frame widths {:+.1} % (median |error| {:.1} %), settled by the curve {:+.1} % ({:.1} %)",
            before.len(),
            mean(&before),
            100.0 * median_abs(&before),
            mean(&after),
            100.0 * median_abs(&after)
        );
    }
}
