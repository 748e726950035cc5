//! Aperture series and focus brackets over rendered landscapes, compared and answered as `tussock series` does.

use tussock::diagnose::{self, diagnose};
use tussock::measure::pair::{spectra, tiles};
use tussock::measure::register::{Small, register};
use tussock::measure::{Settings, TileMap, measure};
use tussock::optics::WAVELENGTH_UM;
use tussock::quantity::{Intent, Region};
use tussock::series::{
    Blurs, Frame, Zone, ZoneBlur, ZoneName, aperture, bracket, frame_zones, on_reference, resolve,
    without_soft_content, without_still_content, zone_blurs,
};
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

struct Compared {
    blurs: Blurs,
    tiles: Vec<Region>,
    /// [frame][tile], px.
    truth: Vec<Vec<Option<f64>>>,
    zones: Vec<Zone>,
}

/// Renders, registers and compares the frames of one series.
fn compare(specs: &[SceneSpec], dice: &mut u64) -> Option<Compared> {
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
    let rank = |m: &TileMap| {
        let mut widths: Vec<f64> = m.measured().map(|(_, e)| e.value).collect();
        widths.sort_by(f64::total_cmp);
        widths.len() as f64 / (0.3 + widths.get(widths.len() / 2).copied().unwrap_or(10.0))
    };
    let reference = (0..maps.len()).max_by(|&a, &b| rank(&maps[a]).total_cmp(&rank(&maps[b])))?;
    let ground = &shots[reference].0;
    let tiles = tiles(ground, Settings::default().tiles);
    let mut compared = Vec::new();
    let mut frames = Vec::new();
    let mut registrations = Vec::new();
    for (k, shot) in shots.iter().enumerate() {
        let registration =
            if k == reference { None } else { register(ground, &shot.0, &smalls[reference], &smalls[k]) };
        registrations.push(registration.as_ref().map(|r| r.map));
        if k != reference && registration.is_none() {
            println!("  frame {k} was not registered");
            continue;
        }
        compared.push(k);
        frames.push(Frame {
            f_number: Some(specs[k].camera.f_number),
            pitch_um: Some(specs[k].camera.pitch_um),
            spectra: spectra(ground, &shot.0, registration.as_ref(), &tiles),
            absolute: on_reference(&maps[k], registration.as_ref(), &tiles),
        });
    }
    let blurs = resolve(&frames, &tiles).among(&compared, specs.len());
    // Focusing shifts the picture by a little: whether there is detail in a tile is one thing for all frames.
    let detailed = |t: &Region| {
        let shares = shots.iter().filter_map(|s| Some(scenes::truth_at(&s.1, t)?.detailed));
        shares.sum::<f64>() > 0.5 * shots.len() as f64
    };
    // What a tile of the reference shows lies elsewhere in the other frames, and by the shift in all of them.
    let truth = shots
        .iter()
        .zip(&registrations)
        .map(|((_, truths, shift), map)| {
            let known = |t: &Region| {
                let middle = (f64::from(t.x) + f64::from(t.width) / 2.0, f64::from(t.y) + f64::from(t.height) / 2.0);
                let (x, y) = map.map_or(middle, |m| m.apply(middle.0, middle.1));
                let uncut = |at: f64, by: i64| at + (scenes::MARGIN as i64 + by) as f64;
                scenes::width_at(truths, uncut(x, shift.0), uncut(y, shift.1)).filter(|_| detailed(t))
            };
            tiles.iter().map(known).collect()
        })
        .collect();
    let intent = Intent::default();
    let zones = zones(&maps[reference], &capture(&specs[reference]), &tiles, &intent);
    Some(Compared { blurs, tiles, truth, zones })
}

/// Near, far, centre and corners as the diagnosis of the reference frame has them, and mid-frame.
fn zones(map: &TileMap, capture: &Capture, tiles: &[Region], intent: &Intent) -> Vec<Zone> {
    let named = |name: diagnose::ZoneName| match name {
        diagnose::ZoneName::Near => ZoneName::Near,
        diagnose::ZoneName::Far => ZoneName::Far,
        diagnose::ZoneName::Centre => ZoneName::Centre,
        diagnose::ZoneName::TopLeft => ZoneName::TopLeft,
        diagnose::ZoneName::TopRight => ZoneName::TopRight,
        diagnose::ZoneName::BottomLeft => ZoneName::BottomLeft,
        diagnose::ZoneName::BottomRight => ZoneName::BottomRight,
    };
    let mut zones: Vec<Zone> = diagnose(map, capture, None, intent)
        .zones
        .iter()
        .map(|z| Zone { name: named(z.name), tiles: z.tiles.iter().map(|&t| t as usize).collect() })
        .collect();
    for own in frame_zones(tiles, map.width, map.height) {
        match zones.iter_mut().find(|z| z.name == own.name) {
            Some(z) if z.tiles.is_empty() => *z = own,
            Some(_) => {}
            None => zones.push(own),
        }
    }
    zones.sort_by_key(|z| z.name);
    zones
}

/// Relative error of the ratio of two frames' blur in every tile that has one, the truly sharpest frame's being
/// the other.
fn ratios(c: &Compared) -> Vec<f64> {
    let mut errors = Vec::new();
    for t in 0..c.tiles.len() {
        let best = (0..c.truth.len()).filter(|&k| c.blurs.sigma[k][t].is_some() && c.truth[k][t].is_some());
        let Some(m) = best.min_by(|&a, &b| c.truth[a][t].unwrap_or(9e9).total_cmp(&c.truth[b][t].unwrap_or(9e9)))
        else {
            continue;
        };
        for k in 0..c.truth.len() {
            if let (true, Some(s), Some(r), Some(x), Some(y)) =
                (k != m, c.blurs.sigma[k][t], c.blurs.sigma[m][t], c.truth[k][t], c.truth[m][t])
            {
                errors.push((s.value / r.value) / (x / y) - 1.0);
            }
        }
    }
    errors
}

/// Whether a tile was compared in any frame.
fn compared(c: &Compared, tile: usize) -> bool {
    c.blurs.sigma.iter().any(|f| f[tile].is_some())
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
        let Some(mut c) = compare(&specs, &mut dice) else { continue };
        let f_numbers: Vec<Option<f64>> = STOPS.iter().map(|&n| Some(n)).collect();
        c.blurs = without_soft_content(&c.blurs, &f_numbers, Some(first.camera.pitch_um));
        let raw = zone_blurs(&c.zones, &c.blurs);
        let answer = aperture::answer(&raw, &f_numbers, Some(first.camera.pitch_um));
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
            println!("    moved {:?} shifts {:?}", c.blurs.moved, answer.focus_shift);
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

/// Widest blur that counts as sharp in a bracket, px: that of an ordinary use on a full-size picture; these are
/// crops, whose own diagonal would make it absurdly small.
const PERMITTED: f64 = 1.1;

/// The worse of the true blurs of near and far in a frame: of the lowest eighth of the picture and of the far scene about
/// the horizon, means over their tiles.
fn worse_end(c: &Compared, spec: &SceneSpec, frame: usize) -> f64 {
    let (h, horizon) = (spec.camera.height as f64, spec.camera.horizon());
    let mean = |from: f64, to: f64| {
        let middle = |t: &Region| f64::from(t.y) + f64::from(t.height) / 2.0 + scenes::MARGIN as f64;
        let inside = c.tiles.iter().zip(&c.truth[frame]).filter(|(t, _)| (from..to).contains(&middle(t)));
        let known: Vec<f64> = inside.filter_map(|(_, width)| *width).collect();
        (!known.is_empty()).then(|| known.iter().sum::<f64>() / known.len() as f64)
    };
    let ends = [mean(0.875 * h, h), mean(horizon - 0.06 * h, horizon + 0.03 * h)];
    ends.into_iter().flatten().fold(0.0, f64::max)
}

/// Focus brackets of random lenses and scenes.
pub fn brackets(seed: u64) {
    let (count, long) = (number("COUNT", 20), number("LONG", 1000));
    let (mut single, mut named, mut rivals) = (0, 0, 0);
    let (mut minimal, mut same, mut complete, mut total) = (0, 0, 0, 0);
    let mut all = Vec::new();
    for i in number("FROM", 0)..count {
        let mut dice = seed.wrapping_mul(104_729).wrapping_add(7919 * i as u64);
        let mut first = base(seed * 100 + 50 + i as u64, long, &mut dice);
        first.camera.f_number = [5.6, 8.0, 11.0][(3.0 * even(&mut dice)) as usize % 3];
        let frames = 4 + (4.0 * even(&mut dice)) as usize;
        // As high above the ground as makes the near and the far end 4 to 14 px of blur disc apart.
        let span_px = 4.0 + 10.0 * even(&mut dice);
        let (f_mm, pitch_mm) = (first.camera.focal_mm, first.camera.pitch_um * 1e-3);
        let nearest = f_mm * f_mm / (first.camera.f_number * pitch_mm * span_px) * 1e-3;
        first.camera.focus_m = f64::INFINITY;
        first.camera.tilt_deg = first.camera.tilt_for_horizon(0.1 + 0.3 * even(&mut dice));
        first.camera.height_m *= nearest / first.camera.nearest_m();
        (first.objects, first.water) = (Vec::new(), None);
        let specs: Vec<SceneSpec> = (0..frames)
            .map(|k| {
                let mut s = first.clone();
                // Even steps of inverse distance from the nearest ground to infinity.
                let inverse = (1.0 - k as f64 / (frames - 1) as f64) / nearest;
                s.camera.focus_m = if inverse > 0.0 { 1.0 / inverse } else { f64::INFINITY };
                s
            })
            .collect();
        let Some(mut c) = compare(&specs, &mut dice) else { continue };
        c.blurs = without_still_content(&c.blurs);
        let read = zone_blurs(&c.zones, &c.blurs);
        let f_numbers = vec![Some(first.camera.f_number); frames];
        let widths = bracket::widths(&c.blurs, &c.tiles, &f_numbers, Some(first.camera.pitch_um));
        let answer = bracket::answer(&read, &widths, &c.tiles, PERMITTED);
        // The same question put to the truth of the same tiles, which all frames have, compared there or not.
        let compared: Vec<bool> = (0..c.tiles.len()).map(|t| compared(&c, t)).collect();
        let of_frame = |f: &Vec<Option<f64>>| f.iter().zip(&compared).map(|(w, c)| w.filter(|_| *c)).collect();
        let exact = bracket::Widths { sigma: c.truth.iter().map(of_frame).collect(), place: None, doubt: 0.0 };
        let right = bracket::answer(&[], &exact, &c.tiles, PERMITTED);
        // Near and far by the scene's geometry, whatever zones were found.
        let worst = |k: usize| worse_end(&c, &first, k);
        let best = (0..frames).min_by(|&a, &b| worst(a).total_cmp(&worst(b)));
        let loss = answer.best_single.map_or(f64::INFINITY, worst) / best.map_or(f64::NAN, worst) - 1.0;
        // A tile within a twentieth of the limit may fall either way.
        let missed = (0..c.tiles.len())
            .filter(|&t| {
                let shown = |k: usize, by: f64| exact.sigma[k][t].is_some_and(|s| s <= by * PERMITTED);
                (0..frames).any(|k| shown(k, 0.95)) && !answer.covering_set.iter().any(|&k| shown(k, 1.05))
            })
            .count();
        total += 1;
        single += usize::from(loss <= 0.03);
        named += usize::from(loss <= 0.03 || best.is_some_and(|k| answer.as_good.contains(&k)));
        rivals += answer.as_good.len();
        // Least sizes where the limit is a twentieth to either side: within that no figure can tell.
        let size = |by: f64| bracket::answer(&[], &exact, &c.tiles, by * PERMITTED).covering_set.len();
        let sizes = [size(0.95), right.covering_set.len(), size(1.05)];
        let (least, most) = sizes.iter().fold((usize::MAX, 0), |m, &n| (m.0.min(n), m.1.max(n)));
        minimal += usize::from((least..=most).contains(&answer.covering_set.len()));
        same += usize::from(answer.covering_set.len() == right.covering_set.len());
        complete += usize::from(missed == 0);
        let errors = ratios(&c);
        println!(
            "{i:3} {:?} frames {frames} span {:.1} px, best {:?} for {:?} ({:.1} %) set {:?} for {:?} missed {missed} of {} \
             | tiles med {:.1} %",
            first.ground,
            span_px,
            answer.best_single,
            best,
            100.0 * loss,
            answer.covering_set,
            right.covering_set,
            compared.iter().filter(|c| **c).count(),
            100.0 * median_abs(&errors)
        );
        if std::env::var_os("VERBOSE").is_some() {
            for z in c.zones.iter().filter(|z| matches!(z.name, ZoneName::Near | ZoneName::Far)) {
                let line = |of: &[ZoneBlur]| -> String {
                    let points = of.iter().find(|r| r.name == z.name).map_or(&[][..], |r| &r.points);
                    points.iter().map(|p| format!("{:.2} ", p.blur.value)).collect()
                };
                println!("    {:?} {}", z.name, line(&read));
            }
        }
        all.extend(errors);
    }
    println!(
        "best single right in {single}, or among the frames named as good in {named} ({rivals} named in all), covering set of the least size in {minimal} ({same} at the very limit), complete \
         in {complete} of {total}; tiles: median |error| {:.2} %",
        100.0 * median_abs(&all)
    );
}
