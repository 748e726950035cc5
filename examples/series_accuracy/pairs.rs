//! Relative blur of two rendered patches, by texture.

use tussock::measure::pair::{Contrast, relative, spectra};
use tussock::measure::register::{Registration, Similarity, Small, register};
use tussock::quantity::Region;
use tussock::simulate::{PatchSpec, Psf, Texture, View};

use super::patches::{SIDE, framed};
use super::{even, number};

pub fn pairs(seed: u64) {
    let count = number("COUNT", 16) as u64;
    // RENDERED compares them as files whose tone curve nobody knows.
    let contrast = if std::env::var_os("RENDERED").is_some() { Contrast::Rendered } else { Contrast::Linear };
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
            let skip = std::env::var("ONLY").is_ok_and(|t| t != format!("{texture:?}"));
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
            if skip {
                continue;
            }
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
                    relative(&sa.tiles[0], &sb.tiles[0], truth_a.sigma, r.map.scale, contrast)
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
                if std::env::var_os("DUMP").is_some() {
                    let at = |t: &tussock::simulate::Transfer, f: f64| {
                        (0..24)
                            .map(|j| (j as f64 * std::f64::consts::PI / 24.0).sin_cos())
                            .map(|(s, c)| t.at(f * c, f * s).powi(2))
                            .sum::<f64>()
                            / 24.0
                    };
                    for k in [
                        1.5f64, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0, 10.0, 11.0, 12.0, 13.0, 14.0, 15.0, 16.0,
                        17.0, 18.0, 19.0, 20.0, 21.0, 22.0, 23.0, 24.0,
                    ] {
                        let along = |f: f64, g: f64| (tb.at(f, g) / ta.at(f, g)).abs().ln();
                        eprintln!(
                            "DUMPTRUE {k} {:.5} {:.5} {:.5}",
                            0.5 * (at(&tb, k / 64.0) / at(&ta, k / 64.0)).ln(),
                            along(k / 64.0, 0.0),
                            along(0.0, k / 64.0)
                        );
                    }
                    eprintln!(
                        "DUMPCASE {i} ideal {} exposure {:.4} true sq {:.4} read {:.4}",
                        k == 0,
                        other.exposure,
                        truth * truth - base,
                        read.squared.value
                    );
                }
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
