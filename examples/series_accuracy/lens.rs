//! Baselines learned from rendered frames, against the lens that rendered them.

use tussock::lens::{Baseline, learn_aperture_series, learn_from_shoot};
use tussock::measure::{Settings, TileMap, measure};
use tussock::optics::WAVELENGTH_UM;
use tussock::optics::blur::{Parts, sigma_px};
use tussock::shot::Capture;
use tussock::simulate::{Lens, SceneSpec, Sky};

use super::scenes::{Take, base, cut, render, stopped};
use super::series::capture;
use super::{even, number};

const STOPS: [f64; 7] = [2.8, 4.0, 5.6, 8.0, 11.0, 16.0, 22.0];

/// A random lens as it is wide open; [`stopped`] closes it.
fn glass(dice: &mut u64) -> Lens {
    let corner = 2.0 + 7.0 * even(dice);
    Lens {
        centre_um: 0.6 + 1.2 * even(dice),
        corner_radial_um: corner * (0.7 + 0.3 * even(dice)),
        corner_tangential_um: corner,
        power: 1.8 + 2.0 * even(dice),
        ..Lens::default()
    }
}

/// Error of the total blur told for a corner, as a share, and in standard deviations as stated.
type Miss = (f64, f64);

/// Errors of the total blur told for the corners of an in-focus frame at each learned stop.
fn corner_errors(baseline: &Baseline, open: &SceneSpec) -> Vec<Miss> {
    let mut errors = Vec::new();
    for entry in &baseline.entries {
        let spec = stopped(open, entry.f_number);
        let camera = &spec.camera;
        let (w, h) = (camera.width as f64, camera.height as f64);
        for (x, y) in [(0.03, 0.03), (0.97, 0.03), (0.03, 0.97), (0.97, 0.97)] {
            // In focus: the distance it is focused at.
            let truth = camera.psf(&spec.lens, (0.0, 0.0), x * w, y * h, 1.0 / camera.focus_m).truth().sigma;
            let Some(told) = baseline.expected_um(x, y, entry.f_number) else {
                errors.push((f64::NAN, f64::NAN));
                continue;
            };
            let whole = |um: f64| {
                sigma_px(&Parts {
                    lambda_n_px: Some(WAVELENGTH_UM * entry.f_number / camera.pitch_um),
                    lens_px: um.max(0.0) / camera.pitch_um,
                    pixel: true,
                    ..Parts::default()
                })
            };
            let (value, sd) = (whole(told.value), 0.5 * (whole(told.value + told.sd) - whole(told.value - told.sd)));
            errors.push((value / truth - 1.0, (value - truth) / sd));
        }
    }
    errors
}

fn summary(errors: &[Miss]) -> String {
    let known: Vec<Miss> = errors.iter().copied().filter(|e| e.0.is_finite()).collect();
    let worst = known.iter().fold(0.0f64, |m, e| if e.0.abs() > m.abs() { e.0 } else { m });
    let share = |n: usize| 100.0 * n as f64 / known.len().max(1) as f64;
    format!(
        "{} of {} told, mean {:+.1} %, worst {:+.1} %, within 15 % {:.0} %, within two stated sd {:.0} %",
        known.len(),
        errors.len(),
        100.0 * known.iter().map(|e| e.0).sum::<f64>() / known.len().max(1) as f64,
        100.0 * worst,
        share(known.iter().filter(|e| e.0.abs() < 0.15).count()),
        share(known.iter().filter(|e| e.1.abs() < 2.0).count())
    )
}

/// How a baseline is learned from frames.
type Learner = fn(&[(&TileMap, &Capture)]) -> Result<Baseline, tussock::lens::Unsuitable>;

fn learn(specs: &[SceneSpec], seed: u64, dice: &mut u64, by: Learner) -> Result<Baseline, tussock::lens::Unsuitable> {
    let frames: Vec<(TileMap, Capture)> = specs
        .iter()
        .enumerate()
        .map(|(i, spec)| {
            let take = Take::random(dice, spec.noise, seed * 91 + i as u64);
            {
                let facts = capture(spec);
                let settings = Settings::default().under(facts.lambda_n_px(WAVELENGTH_UM));
                (measure(&cut(&render(spec), take), &settings), facts)
            }
        })
        .collect();
    let refs: Vec<(&TileMap, &Capture)> = frames.iter().map(|(m, c)| (m, c)).collect();
    by(&refs)
}

/// Learns lenses from an aperture series of a flat subject and from mixed shoots.
pub fn lens(seed: u64) {
    let (count, long, frames) = (number("COUNT", 5), number("LONG", 1000), number("FRAMES", 60));
    let kind = std::env::args().nth(3);
    let wanted = |name: &str| kind.as_deref().is_none_or(|k| k == name);
    let mut series = Vec::new();
    for i in (number("FROM", 0)..count).filter(|_| wanted("series")) {
        let mut dice = seed.wrapping_mul(49_979_687).wrapping_add(i as u64 * 7919);
        let mut open = flat(seed * 100 + i as u64, long, &mut dice);
        open.lens = glass(&mut dice);
        let specs: Vec<SceneSpec> = STOPS.iter().map(|&n| stopped(&open, n)).collect();
        match learn(&specs, seed, &mut dice, learn_aperture_series) {
            Ok(baseline) => {
                let errors = corner_errors(&baseline, &open);
                println!("series {i} {:?}: corners {}", open.ground, summary(&errors));
                series.extend(errors);
            }
            Err(why) => println!("series {i} {:?}: {why}", open.ground),
        }
    }
    let mut shoots = Vec::new();
    for i in (number("FROM", 0)..count).filter(|_| wanted("shoot")) {
        let mut dice = seed.wrapping_mul(67_867_967).wrapping_add(i as u64 * 7919);
        let own = glass(&mut dice);
        let mut model = base(seed * 100, long, &mut dice);
        (model.camera.focal_mm, model.lens) = (24.0, own);
        let specs: Vec<SceneSpec> = (0..frames)
            .map(|k| {
                let n = STOPS[(7.0 * even(&mut dice)) as usize % 7];
                stopped(&mixed(seed * 10_000 + (i * frames + k) as u64, long, &model, &mut dice), n)
            })
            .collect();
        match learn(&specs, seed, &mut dice, learn_from_shoot) {
            Ok(baseline) => {
                let errors = corner_errors(&baseline, &model);
                println!("shoot {i} of {frames} frames: corners {}", summary(&errors));
                if std::env::var_os("VERBOSE").is_some() {
                    for (entry, corners) in baseline.entries.iter().zip(errors.chunks(4)) {
                        println!("  f/{} of {} frames: {corners:.3?}", entry.f_number, entry.frames);
                    }
                }
                shoots.extend(errors);
            }
            Err(why) => println!("shoot {i} of {frames} frames: {why}"),
        }
    }
    if wanted("none") {
        let mut dice = seed;
        let specs: Vec<SceneSpec> = (0..8)
            .map(|k| {
                let mut spec = landscape_format(seed * 100 + k, long, &mut dice);
                spec.visibility_m = 0.3 * spec.camera.nearest_m();
                spec.sky = Sky::Overcast;
                spec
            })
            .map(|mut s| {
                s.camera.focal_mm = 24.0;
                s
            })
            .collect();
        match learn(&specs, seed, &mut dice, learn_from_shoot) {
            Ok(_) => println!("eight frames of thick fog: a baseline all the same"),
            Err(why) => println!("eight frames of thick fog: {why}"),
        }
    }
    println!("series: corners {}; shoots: corners {}", summary(&series), summary(&shoots));
}

/// The landscape format of a random scene: of a portrait left and right of the lens are not known.
fn landscape_format(seed: u64, long: usize, dice: &mut u64) -> SceneSpec {
    let mut spec = base(seed, long, dice);
    let (w, h) = (spec.camera.width, spec.camera.height);
    if h > w {
        let share = spec.camera.horizon() / h as f64;
        (spec.camera.width, spec.camera.height) = (h, w);
        spec.camera.tilt_deg = spec.camera.tilt_for_horizon(share);
    }
    spec
}

/// Level ground photographed straight down, as flat a subject as there is.
fn flat(seed: u64, long: usize, dice: &mut u64) -> SceneSpec {
    let mut spec = landscape_format(seed, long, dice);
    (spec.water, spec.objects) = (None, Vec::new());
    spec.camera.tilt_deg = 89.0;
    spec.camera.height_m = 2.5;
    spec.camera.focus_m = 2.5;
    spec
}

/// A random scene through the model's camera and lens, focused here and there.
fn mixed(seed: u64, long: usize, model: &SceneSpec, dice: &mut u64) -> SceneSpec {
    let mut spec = landscape_format(seed, long, dice);
    let share = spec.camera.horizon() / spec.camera.height as f64;
    spec.camera.focal_mm = model.camera.focal_mm;
    spec.camera.pitch_um = model.camera.pitch_um;
    spec.camera.focus_m = f64::INFINITY;
    spec.camera.tilt_deg = spec.camera.tilt_for_horizon(share);
    spec.camera.focus_m = spec.even_focus_m() * 0.5 * 8.0f64.powf(even(dice));
    spec.lens = model.lens;
    spec
}
