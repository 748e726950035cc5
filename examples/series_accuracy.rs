//! Accuracy of relative blur from pairs of rendered frames, and of answers over rendered series.
//!
//! Prints the tables of docs/accuracy.md: `cargo run --release --example series_accuracy -- pairs|apertures|brackets
//! [SEED]`. The environment variables COUNT (cases) and LONG (px) change how much is rendered.

#![allow(clippy::print_stdout, clippy::print_stderr, reason = "a program that prints a table and its progress")]

use tussock::measure::pair::{relative, spectra, tiles};
use tussock::measure::register::{Registration, Similarity, Small, register};
use tussock::measure::{Settings, measure};
use tussock::quantity::Region;
use tussock::series::{
    Blurs, Frame, Zone, ZoneName, aperture, bracket, frame_zones, on_reference, resolve, zone_blurs,
};
use tussock::shot::Plane;
use tussock::simulate::{
    Noise, PatchSpec, Psf, Rendered, SceneSpec, Texture, TileTruth, Truth, View, landscape, render_patch,
};

/// Prints the table asked for.
pub fn main() {
    let which = std::env::args().nth(1).unwrap_or_else(|| "pairs".into());
    let seed: u64 = std::env::args().nth(2).and_then(|s| s.parse().ok()).unwrap_or(1);
    match which.as_str() {
        "pairs" => pairs(seed),
        "apertures" => apertures(seed),
        "brackets" => brackets(seed),
        other => eprintln!("pairs, apertures or brackets, not {other}"),
    }
}

/// A repeatable uniform deviate, 0 to 1.
fn even(state: &mut u64) -> f64 {
    *state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
    (*state >> 11) as f64 / (1u64 << 53) as f64
}

const SIDE: usize = 272;

/// Renders so that the scene is painted on a canvas of the same size whatever the spread, since what is painted
/// depends on that size; the middle is kept.
fn framed(spec: &PatchSpec) -> (Plane, Truth) {
    const CANVAS: usize = 324;
    let width = CANVAS - 2 * spec.psf.reach().ceil() as usize;
    let (plane, truth) = render_patch(&PatchSpec { width, height: width, ..*spec });
    let edge = (width - SIDE) / 2;
    let data = (edge..edge + SIDE).flat_map(|y| plane.row(y)[edge..edge + SIDE].to_vec()).collect();
    (Plane { width: SIDE, height: SIDE, data, ..plane }, truth)
}

fn pairs(seed: u64) {
    let count = number("COUNT", 16) as u64;
    println!("texture   n  ideal: med|e| bias p90 none | found: med|e| bias p90 none in-1sd in-2sd");
    let mut dice = seed.wrapping_mul(977);
    for texture in [
        Texture::Leaves,
        Texture::Rock,
        Texture::Blades,
        Texture::Grass,
        Texture::Gravel,
        Texture::Brick,
        Texture::Fractal,
        Texture::Sky,
    ] {
        let (mut ideal, mut found, mut pulls, mut none) = (Vec::new(), Vec::new(), Vec::new(), [0, 0]);
        let mut worst = Vec::new();
        for i in 0..count {
            let pitch = 3.5 + 2.5 * even(&mut dice);
            let lens = |dice: &mut u64, n: f64, spread: f64| {
                let soft = 0.2 + 0.6 * even(dice);
                Psf::lens(n, pitch, spread * even(dice) * pitch).softened(
                    soft,
                    soft * (0.8 + 0.4 * even(dice)),
                    even(dice),
                )
            };
            let a = lens(&mut dice, 5.6, 2.0);
            let b = match i % 3 {
                0 => lens(&mut dice, 16.0, 2.0),
                1 => lens(&mut dice, 22.0, 0.5),
                _ => lens(&mut dice, 4.0, 8.0),
            };
            let snr = if i % 2 == 0 { 100.0 } else { 30.0 };
            let view = View {
                shift: (10.0 * even(&mut dice) - 5.0, 10.0 * even(&mut dice) - 5.0),
                angle: 0.01 * even(&mut dice) - 0.005,
                scale: 1.0 + 0.02 * even(&mut dice) - 0.01,
            };
            let spec = PatchSpec {
                texture,
                psf: a,
                width: SIDE,
                height: SIDE,
                seed: seed * 1000 + i,
                noise_seed: i,
                snr,
                ..PatchSpec::default()
            };
            let other = PatchSpec { psf: b, noise_seed: i + 500, view, exposure: 0.7 + 0.3 * even(&mut dice), ..spec };
            let ((pa, truth_a), (pb, _)) = (framed(&spec), framed(&other));
            let middle = SIDE as f64 / 2.0;
            let map = Similarity { centre: (middle, middle), shift: view.shift, scale: view.scale, angle: view.angle };
            let given = Registration { map, residual_px: 0.0, compared: 0, agreement: 1.0, offsets: Vec::new() };
            let got = register(&pa, &pb, &Small::new(&pa), &Small::new(&pb));
            let tile = [Region { x: 68, y: 68, width: 136, height: 136 }];
            for (k, registration) in [Some(&given), got.as_ref()].into_iter().enumerate() {
                let read = registration.and_then(|r| {
                    let sa = spectra(&pa, &pa, None, &tile);
                    let sb = spectra(&pa, &pb, Some(r), &tile);
                    relative(&sa.tiles[0], &sb.tiles[0], truth_a.sigma, r.map.scale, false)
                });
                let Some(read) = read else {
                    none[k] += 1;
                    continue;
                };
                // Truth at the same frequency, averaged over directions, from the simulator's own transfers.
                let f = read.frequency;
                let (ta, tb) = (a.transfer(), b.transfer());
                let mean = |t: &tussock::simulate::Transfer| {
                    (0..24)
                        .map(|j| (j as f64 * std::f64::consts::PI / 24.0).sin_cos())
                        .map(|(s, c)| t.at(f * c, f * s).powi(2))
                        .sum::<f64>()
                        / 24.0
                };
                let (ma, mb) = (mean(&ta), mean(&tb));
                let g = 4.0 * std::f64::consts::PI.powi(2) * f * f;
                let base = -ma.ln() / g;
                let truth = (-mb.ln() / g).sqrt();
                let read_sigma = (base + read.squared.value).max(0.01).sqrt();
                let e = read_sigma / truth - 1.0;
                if k == 0 {
                    ideal.push(e);
                } else {
                    found.push(e);
                    pulls.push((read.squared.value - (truth * truth - base)) / read.squared.sd);
                    worst.push((e, truth_a.sigma, truth, read.squared.sd / (2.0 * truth * truth), snr, view, 0));
                }
            }
        }
        let line = |v: &[f64]| {
            let mut a: Vec<f64> = v.iter().map(|e| e.abs()).collect();
            a.sort_by(f64::total_cmp);
            let q = |p: f64| {
                a.get(((a.len() as f64 * p) as usize).min(a.len().saturating_sub(1))).copied().unwrap_or(f64::NAN)
                    * 100.0
            };
            format!("{:5.2} {:6.2} {:5.2}", q(0.5), v.iter().sum::<f64>() / v.len() as f64 * 100.0, q(0.9))
        };
        let inside = |s: f64| 100 * pulls.iter().filter(|p| p.abs() < s).count() / pulls.len().max(1);
        println!(
            "{texture:?} {} ideal {} none {} | found {} none {} {}% {}%",
            ideal.len(),
            line(&ideal),
            none[0],
            line(&found),
            none[1],
            inside(1.0),
            inside(2.0)
        );
        if std::env::args().nth(3).is_some() {
            for w in &worst {
                println!(
                    "   {:+.3} a {:.2} b {:.2} sd {:.3} snr {} shift {:.1},{:.1} scale {:.4}",
                    w.0, w.1, w.2, w.3, w.4, w.5.shift.0, w.5.shift.1, w.5.scale
                );
            }
        }
    }
}

fn number(name: &str, usual: usize) -> usize {
    std::env::var(name).ok().and_then(|c| c.parse().ok()).unwrap_or(usual)
}

const STOPS: [f64; 7] = [2.8, 4.0, 5.6, 8.0, 11.0, 16.0, 22.0];
const MARGIN: usize = 8;

/// A rendered frame cut by a shift of up to 5 px, exposed, with the truth of its tiles.
fn cut(picture: &Rendered, (dx, dy): (i64, i64), noise_seed: u64) -> Plane {
    let mut picture = picture.clone();
    picture.spec.noise_seed = noise_seed;
    let plane = picture.plane();
    let (w, h) = (plane.width - 2 * MARGIN, plane.height - 2 * MARGIN);
    let (x0, y0) = ((MARGIN as i64 + dx) as usize, (MARGIN as i64 + dy) as usize);
    let data = (0..h).flat_map(|y| plane.row(y0 + y)[x0..x0 + w].to_vec()).collect();
    Plane { width: w, height: h, data, ..plane }
}

/// Truth at the middle of a tile of the cut frame.
fn truth_at<'a>(truths: &'a [TileTruth], tile: &Region) -> Option<&'a TileTruth> {
    let (x, y) = (tile.x + tile.width / 2 + MARGIN as u32, tile.y + tile.height / 2 + MARGIN as u32);
    truths.iter().find(|t| {
        let r = t.region;
        (r.x..r.x + r.width).contains(&x) && (r.y..r.y + r.height).contains(&y)
    })
}

struct Compared {
    blurs: Blurs,
    tiles: Vec<Region>,
    /// [frame][tile], px.
    truth: Vec<Vec<Option<f64>>>,
}

/// Renders, registers and compares the frames of one series.
fn compare(specs: &[SceneSpec], dice: &mut u64) -> Option<Compared> {
    let rendered: Vec<(Plane, Vec<TileTruth>)> = specs
        .iter()
        .enumerate()
        .map(|(i, spec)| {
            let picture = landscape(spec);
            let shift = |dice: &mut u64| (11.0 * even(dice)) as i64 - 5;
            (cut(&picture, (shift(dice), shift(dice)), spec.seed * 31 + i as u64), picture.tiles)
        })
        .collect();
    let maps: Vec<_> = rendered.iter().map(|r| measure(&r.0, &Settings::default())).collect();
    let smalls: Vec<Small> = rendered.iter().map(|r| Small::new(&r.0)).collect();
    let reference = (0..maps.len()).max_by_key(|&k| maps[k].measured().count())?;
    let ground = &rendered[reference].0;
    let tiles = tiles(ground, Settings::default().tiles);
    let frames: Vec<Frame> = (0..specs.len())
        .map(|k| {
            let registration =
                (k != reference).then(|| register(ground, &rendered[k].0, &smalls[reference], &smalls[k])).flatten();
            if k != reference && registration.is_none() {
                println!("  frame {k} was not registered");
            }
            Frame {
                f_number: Some(specs[k].camera.f_number),
                pitch_um: Some(specs[k].camera.pitch_um),
                spectra: spectra(ground, &rendered[k].0, registration.as_ref(), &tiles),
                absolute: on_reference(&maps[k], registration.as_ref(), &tiles),
            }
        })
        .collect();
    let truth = rendered
        .iter()
        .map(|(_, truths)| {
            let known = |t: &Region| truth_at(truths, t).filter(|x| x.detailed > 0.5).map(|x| x.truth.sigma);
            tiles.iter().map(known).collect()
        })
        .collect();
    Some(Compared { blurs: resolve(&frames), tiles, truth })
}

fn zones(tiles: &[Region], width: u32, height: u32) -> Vec<Zone> {
    let mut zones = frame_zones(tiles, width, height);
    let band = |name, low: f64, high: f64| Zone {
        name,
        tiles: (0..tiles.len())
            .filter(|&t| {
                let y = f64::from(tiles[t].y + tiles[t].height / 2) / f64::from(height);
                let x = f64::from(tiles[t].x + tiles[t].width / 2) / f64::from(width);
                (low..high).contains(&y) && (0.15..0.85).contains(&x)
            })
            .collect(),
    };
    zones.push(band(ZoneName::Near, 0.87, 1.0));
    zones.push(band(ZoneName::Far, 0.3, 0.45));
    zones
}

/// Relative error of the ratio of two frames' blur in every tile that has one.
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

fn median_abs(values: &[f64]) -> f64 {
    let mut a: Vec<f64> = values.iter().map(|e| e.abs()).collect();
    a.sort_by(f64::total_cmp);
    a.get(a.len() / 2).copied().unwrap_or(f64::NAN)
}

fn base(seed: u64, long: usize, dice: &mut u64) -> SceneSpec {
    let mut spec = SceneSpec::random(seed, long);
    spec.shake = (0.0, 0.0);
    spec.visibility_m = 20_000.0;
    spec.noise = Noise::at_snr(40.0 + 60.0 * even(dice), 0.3);
    spec
}

fn apertures(seed: u64) {
    let (count, long) = (number("COUNT", 20), number("LONG", 960));
    let mut dice = seed.wrapping_mul(7919);
    let (mut good, mut slopes, mut all, mut answered) = (0, Vec::new(), Vec::new(), 0);
    for i in number("FROM", 0)..count {
        let first = base(seed * 100 + i as u64, long, &mut dice);
        // Softness falls with the f-number to the power 1.5, and some of it never.
        let specs: Vec<SceneSpec> = STOPS
            .iter()
            .map(|&n| {
                let mut s = first.clone();
                s.camera.f_number = n;
                let falls = 0.15 + 0.85 * (2.8f64 / n).powf(1.5);
                s.lens.centre_um *= falls;
                s.lens.corner_radial_um *= falls;
                s.lens.corner_tangential_um *= falls;
                s
            })
            .collect();
        let Some(c) = compare(&specs, &mut dice) else { continue };
        let (w, h) = (first.camera.width as u32 - 16, first.camera.height as u32 - 16);
        let zones = zones(&c.tiles, w, h);
        let read = zone_blurs(&zones, &c.blurs);
        let f_numbers: Vec<Option<f64>> = STOPS.iter().map(|&n| Some(n)).collect();
        let answer = aperture::answer(&read, &f_numbers, Some(first.camera.pitch_um));
        let read = answer.blurs.clone();
        let errors = ratios(&c);
        // Truth of the zones from the very tiles that were compared.
        let worst = |k: usize| {
            zones
                .iter()
                .filter(|z| read.iter().any(|r| r.name == z.name))
                .map(|z| {
                    let v: Vec<f64> = z
                        .tiles
                        .iter()
                        .filter(|&&t| (0..7).any(|j| c.blurs.sigma[j][t].is_some()))
                        .filter_map(|&t| c.truth[k][t])
                        .collect();
                    v.iter().sum::<f64>() / v.len().max(1) as f64
                })
                .fold(0.0, f64::max)
        };
        if std::env::var_os("VERBOSE").is_some() {
            let known: Vec<usize> = c.blurs.sigma.iter().map(|f| f.iter().flatten().count()).collect();
            println!("    tiles known {known:?} moved {:?}", c.blurs.moved);
            for (z, r) in zones.iter().filter_map(|z| Some((z, read.iter().find(|r| r.name == z.name)?))) {
                let truth = |k: usize| {
                    let v: Vec<f64> = z
                        .tiles
                        .iter()
                        .filter(|&&t| c.blurs.sigma[k][t].is_some())
                        .filter_map(|&t| c.truth[k][t])
                        .collect();
                    v.iter().sum::<f64>() / v.len().max(1) as f64
                };
                let line: Vec<String> =
                    r.points.iter().map(|p| format!("{:.2}/{:.2}", p.blur.value, truth(p.frame))).collect();
                println!("    {:?} {} tiles of {}: {}", r.name, r.tiles, z.tiles.len(), line.join("  "));
            }
        }
        let least = (0..7).map(worst).fold(f64::INFINITY, f64::min);
        let loss = answer.whole.map_or(f64::NAN, |k| worst(k) / least - 1.0);
        let slope = answer
            .split
            .as_ref()
            .map(|s| (s.growth.value * first.camera.pitch_um / 0.55 - 1.0, s.growth.sd / s.growth.value));
        answered += usize::from(answer.whole.is_some());
        good += usize::from(loss <= 0.03);
        slopes.extend(slope.map(|s| s.0));
        println!(
            "{i:3} {:?} pitch {:.2} tiles {} ratio med|e| {:.2} % bias {:.2} % | best f/{} loses {:.1} % | slope {:?} spoiled {:?} shift {}",
            first.ground,
            first.camera.pitch_um,
            errors.len(),
            100.0 * median_abs(&errors),
            100.0 * errors.iter().sum::<f64>() / errors.len().max(1) as f64,
            answer.whole.map_or(0.0, |k| STOPS[k]),
            100.0 * loss,
            slope,
            answer.spoiled,
            answer.focus_shift.len()
        );
        all.extend(errors);
    }
    let within = slopes.iter().filter(|s: &&f64| s.abs() < 0.10).count();
    println!(
        "ratios: {} of tiles, median |error| {:.2} %, {:.0} % within 5 %; best aperture right in {good} of {answered}; slope within 10 % in {within} of {}",
        all.len(),
        100.0 * median_abs(&all),
        100.0 * all.iter().filter(|e| e.abs() < 0.05).count() as f64 / all.len().max(1) as f64,
        slopes.len()
    );
}

fn brackets(seed: u64) {
    let (count, long) = (number("COUNT", 20), number("LONG", 960));
    let mut dice = seed.wrapping_mul(104_729);
    let (mut single, mut minimal, mut complete) = (0, 0, 0);
    for i in 0..count {
        let mut first = base(seed * 100 + 50 + i as u64, long, &mut dice);
        first.camera.f_number = [5.6, 8.0, 11.0][(3.0 * even(&mut dice)) as usize % 3];
        let frames = 4 + (4.0 * even(&mut dice)) as usize;
        let nearest = first.camera.nearest_m();
        let specs: Vec<SceneSpec> = (0..frames)
            .map(|k| {
                let mut s = first.clone();
                // Even steps of inverse distance from the nearest ground to infinity.
                let inverse = (1.0 - k as f64 / (frames - 1) as f64) / nearest;
                s.camera.focus_m = if inverse > 0.0 { 1.0 / inverse } else { f64::INFINITY };
                s
            })
            .collect();
        let Some(c) = compare(&specs, &mut dice) else { continue };
        let (w, h) = (first.camera.width as u32 - 16, first.camera.height as u32 - 16);
        let zones = zones(&c.tiles, w, h);
        let read = zone_blurs(&zones, &c.blurs);
        let permitted = 1.1;
        let answer = bracket::answer(&read, &c.blurs, &c.tiles, permitted);
        // The same questions put to the truth of the same tiles, those within a twentieth of the limit left out.
        let mut truth = c.blurs.clone();
        for k in 0..frames {
            for t in 0..c.tiles.len() {
                truth.sigma[k][t] =
                    c.blurs.sigma[k][t].and(c.truth[k][t]).map(|s| tussock::quantity::Estimate::new(s, 0.0, 1));
            }
        }
        let right = bracket::answer(&zone_blurs(&zones, &truth), &truth, &c.tiles, permitted);
        let fine = |k: Option<usize>| -> f64 {
            let ends: Vec<f64> = zone_blurs(&zones, &truth)
                .iter()
                .filter(|z| matches!(z.name, ZoneName::Near | ZoneName::Far))
                .filter_map(|z| z.points.iter().find(|p| Some(p.frame) == k).map(|p| p.blur.value))
                .collect();
            ends.into_iter().fold(0.0, f64::max)
        };
        let loss = fine(answer.best_single) / fine(right.best_single) - 1.0;
        let missed = (0..c.tiles.len())
            .filter(|&t| {
                let coverable = (0..frames).any(|k| truth.sigma[k][t].is_some_and(|s| s.value <= 0.95 * permitted));
                coverable
                    && !answer
                        .covering_set
                        .iter()
                        .any(|&k| truth.sigma[k][t].is_some_and(|s| s.value <= 1.05 * permitted))
            })
            .count();
        single += usize::from(answer.best_single == right.best_single || loss.abs() < 0.03);
        minimal += usize::from(answer.covering_set.len() == right.covering_set.len());
        complete += usize::from(missed == 0);
        println!(
            "{i:3} frames {frames} best {:?} for {:?} ({:.1} %) set {:?} for {:?} missed {missed} ratio {:.2} %",
            answer.best_single,
            right.best_single,
            100.0 * loss,
            answer.covering_set,
            right.covering_set,
            100.0 * median_abs(&ratios(&c))
        );
    }
    println!(
        "best single right in {single}, covering set of the least size in {minimal}, complete in {complete} of {count}"
    );
}
