//! Focus brackets over rendered landscapes, compared and answered as `tussock series` does.

use tussock::quantity::Region;
use tussock::series::{Varied, ZoneBlur, ZoneName, bracket};
use tussock::simulate::SceneSpec;

use super::scenes::{self, base};
use super::series::{Compared, compare, compared, ratios};
use super::{even, median_abs, number};

/// Widest blur that counts as sharp in a bracket, px: that of an ordinary use on a full-size picture; these are
/// crops, whose own diagonal would make it absurdly small.
const PERMITTED: f64 = 1.1;

/// The worse of the true blurs of near and far in a frame: of the lowest eighth of the picture and of the far scene about
/// the horizon, means over their tiles.
fn worse_end(c: &Compared, spec: &SceneSpec, frame: usize) -> f64 {
    let (h, horizon) = (spec.camera.height as f64, spec.camera.horizon());
    let mean = |from: f64, to: f64| {
        let middle = |t: &Region| f64::from(t.y) + f64::from(t.height) / 2.0 + scenes::MARGIN as f64;
        let inside = c.answer.tiles.iter().zip(&c.truth[frame]).filter(|(t, _)| (from..to).contains(&middle(t)));
        let known: Vec<f64> = inside.filter_map(|(_, width)| *width).collect();
        (!known.is_empty()).then(|| known.iter().sum::<f64>() / known.len() as f64)
    };
    let ends = [mean(0.875 * h, h), mean(horizon - 0.06 * h, horizon + 0.03 * h)];
    ends.into_iter().flatten().fold(0.0, f64::max)
}

/// Focus brackets of random lenses and scenes.
pub fn brackets(seed: u64) {
    let (count, long) = (number("COUNT", 20), number("LONG", 1000));
    let beyond = number("BEYOND", 0) as f64 / 100.0;
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
                // Even steps of inverse distance from the nearest ground to infinity, and beyond both where asked for: a lens
                // turns past infinity.
                let inverse = (1.0 + beyond - (1.0 + 2.0 * beyond) * k as f64 / (frames - 1) as f64) / nearest;
                s.camera.focus_m = if inverse == 0.0 { f64::INFINITY } else { 1.0 / inverse };
                s
            })
            .collect();
        let c = compare(&specs, Varied::Focus, PERMITTED, &mut dice);
        let Some(answer) = &c.answer.bracket else { continue };
        let read = &c.answer.zones;
        // The same question put to the truth of the same tiles, which all frames have, compared there or not.
        let compared: Vec<bool> = (0..c.answer.tiles.len()).map(|t| compared(&c, t)).collect();
        let of_frame = |f: &Vec<Option<f64>>| f.iter().zip(&compared).map(|(w, c)| w.filter(|_| *c)).collect();
        let exact =
            bracket::Widths { sigma: c.truth.iter().map(of_frame).collect(), low: None, depth: None, doubt: 0.0 };
        let right = bracket::answer(&[], &exact, &c.answer.tiles, PERMITTED);
        // Near and far by the scene's geometry, whatever zones were found.
        let worst = |k: usize| worse_end(&c, &first, k);
        let best = (0..frames).min_by(|&a, &b| worst(a).total_cmp(&worst(b)));
        let loss = answer.best_single.map_or(f64::INFINITY, worst) / best.map_or(f64::NAN, worst) - 1.0;
        // A tile within a twentieth of the limit may fall either way.
        let missed = (0..c.answer.tiles.len())
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
        let size = |by: f64| bracket::answer(&[], &exact, &c.answer.tiles, by * PERMITTED).covering_set.len();
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
                println!("    {:?} {}", z.name, line(read));
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
