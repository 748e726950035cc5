//! Optics against published closed forms, handbook examples and independently computed values.
//!
//! "Two routes" marks values of the project's reference sheet that were computed by two independent routes
//! outside this crate; other sources are named beside their check.

#[path = "support/waves.rs"]
mod waves;

use std::f64::consts::PI;

use tussock::optics::blur::{self, Parts};
use tussock::optics::{WAVELENGTH_UM, aperture, depth, diffraction, ground, hopkins, kernel, motion, thin_lens};
use tussock::quantity::{DISC_SIGMA, MTF50_SIGMA};
use waves::{frequency_at, otf};

/// Asserts equality to the printed digits: half a unit in the last place given.
#[track_caller]
fn printed(value: f64, expected: &str) {
    let digits = expected.trim_start_matches('-').split_once('.').map_or(0, |(_, d)| d.len());
    let tolerance = 0.5 * 10f64.powi(-(digits as i32)) * 1.000_001;
    let wanted: f64 = expected.parse().unwrap();
    assert!((value - wanted).abs() <= tolerance, "{value} is not {expected}");
}

fn bisect(mut low: f64, mut high: f64, rising: impl Fn(f64) -> f64) -> f64 {
    for _ in 0..100 {
        let middle = 0.5 * (low + high);
        if rising(middle) > 0.0 { high = middle } else { low = middle }
    }
    0.5 * (low + high)
}

/// Integral by the composite Simpson rule.
fn simpson(low: f64, high: f64, n: usize, f: impl Fn(f64) -> f64) -> f64 {
    let h = (high - low) / n as f64;
    let inner: f64 = (1..n).map(|i| if i % 2 == 1 { 4.0 } else { 2.0 } * f(low + h * i as f64)).sum();
    h / 3.0 * (f(low) + f(high) + inner)
}

/// Transfer function of a uniform disc of `diameter` at frequency `f`: 2 J1(pi c f) / (pi c f).
fn disc(diameter: f64, f: f64) -> f64 {
    hopkins::otf_by_disc(diameter * f, 0.0)
}

#[test]
fn mtf50_of_the_plain_kernels() {
    // Two routes; the Gaussian is sqrt(ln 2 / 2) / pi.
    printed(MTF50_SIGMA, "0.187391");
    assert!((MTF50_SIGMA - (2f64.ln() / 2.0).sqrt() / PI).abs() < 1e-15);
    printed((10f64.ln() / 2.0).sqrt() / PI, "0.341541");
    printed(bisect(0.1, 1.0, |f| 0.1 - kernel::gaussian(1.0, f)), "0.341541");
    let half = bisect(0.1, 1.0, |f| 0.5 - disc(1.0, f));
    printed(half, "0.705085");
    assert!((kernel::DISC_MTF50 - half).abs() < 1e-8, "{half}");
    printed(bisect(1.0, 1.5, |f| -disc(1.0, f)), "1.21967");
    let square = bisect(0.1, 0.9, |f| 0.5 - kernel::sinc(1.0, f));
    printed(square, "0.603355");
    assert!((kernel::BOX_MTF50 - square).abs() < 1e-8, "{square}");
    let airy = bisect(0.1, 0.9, |s| 0.5 - diffraction::mtf(s));
    printed(airy, "0.403973");
    assert!((diffraction::MTF50 - airy).abs() < 1e-8, "{airy}");
    printed(bisect(0.1, 0.99, |s| 0.1 - diffraction::mtf(s)), "0.80538");
    printed(kernel::sinc(1.0, 0.5), "0.63662");
    let track = bisect(0.1, 1.5, |f| 0.5 - kernel::track_all_directions(1.0, f));
    assert!((kernel::TRACK_MTF50 - track).abs() < 1e-8, "{track}");
    // As Gaussian-equivalent sigmas by MTF50.
    printed(MTF50_SIGMA / half, "0.26577");
    // The constant is given to five digits.
    assert!((DISC_SIGMA * half / MTF50_SIGMA - 1.0).abs() < 1e-5);
    printed(MTF50_SIGMA / square, "0.31058");
    printed(MTF50_SIGMA / airy, "0.46387");
}

/// Distance between two levels of the edge response whose transfer function is given: the edge is
/// 1/2 + integral of MTF(f) sin(2 pi f x) / (pi f).
fn rise(low: f64, high: f64, reach: f64, cut: f64, mtf: impl Fn(f64) -> f64) -> f64 {
    let edge = |x: f64| 0.5 + simpson(1e-9, cut, 40_000, |f| mtf(f) * (2.0 * PI * f * x).sin() / (PI * f));
    bisect(-reach, reach, |x| edge(x) - high) - bisect(-reach, reach, |x| edge(x) - low)
}

#[test]
fn edge_rises_of_the_plain_kernels() {
    // Two routes. The disc's and the box's line spreads are known in closed form, so their edges are too.
    let gauss = |f| kernel::gaussian(1.0, f);
    printed(rise(0.1, 0.9, 3.0, 2.0, gauss), "2.56310");
    printed(rise(0.2, 0.8, 3.0, 2.0, gauss), "1.68324");
    let airy = rise(0.1, 0.9, 2.0, 1.0, diffraction::mtf);
    printed(airy, "1.33287");
    printed(airy / 2.563_103, "0.52002");
    let edge = |x: f64| simpson(-PI / 2.0, (2.0 * x).asin(), 2000, |t| 2.0 / PI * t.cos() * t.cos());
    let of_disc = |low: f64, high: f64| bisect(-0.5, 0.5, |x| edge(x) - high) - bisect(-0.5, 0.5, |x| edge(x) - low);
    printed(of_disc(0.1, 0.9), "0.68705");
    printed(of_disc(0.2, 0.8), "0.49186");
    printed(of_disc(0.1, 0.9) / 2.563_103, "0.26805");
    printed(0.8 / 2.563_103, "0.31212");
    printed(2.0 * (2.0 * 2f64.ln()).sqrt(), "2.35482");
    // Second moments: a disc's line spread has variance c^2/16, a box b^2/12; read off the MTF's curvature.
    let moment = |mtf: &dyn Fn(f64) -> f64| ((1.0 - mtf(1e-3)) / (2.0 * PI * PI * 1e-6)).sqrt();
    printed(moment(&|f| disc(1.0, f)), "0.25");
    printed(moment(&|f| kernel::sinc(1.0, f)), "0.28868");
}

#[test]
fn airy_pattern_from_the_transfer_function() {
    // Two routes. The line spread's peak is the integral of the MTF; the point spread is its Hankel transform.
    printed(2.0 * simpson(0.0, 1.0, 4000, diffraction::mtf) * 3.0 * PI / 8.0, "1.00000");
    let j0 = |x: f64| simpson(0.0, PI, 200, |t| (x * t.sin()).cos()) / PI;
    let point = |r: f64| 2.0 * PI * simpson(0.0, 1.0, 2000, |s| diffraction::mtf(s) * j0(2.0 * PI * s * r) * s);
    let half = 0.5 * point(0.0);
    printed(2.0 * bisect(0.2, 0.8, |r| half - point(r)), "1.02899");
    // The first dark ring is where J1(pi r) = 0, i.e. where the disc's transfer function 2 J1(x)/x is.
    let ring = 2.0 * bisect(1.0, 1.5, |r| -disc(1.0, r));
    printed(ring, "2.43934");
    printed(2.0 * PI * simpson(0.0, ring / 2.0, 400, |r| point(r) * r), "0.83778");
}

#[test]
fn diffraction_mtf_table() {
    // Two routes.
    let table = [".87289", ".74706", ".62384", ".50463", ".39100", ".28476", ".18812", ".10409", ".03739"];
    for (i, value) in table.iter().enumerate() {
        let s = (i + 1) as f64 / 10.0;
        printed(diffraction::mtf(s), value);
        printed(otf(0.0, s), value);
        printed(hopkins::otf_by_disc(1e-9, s), value);
    }
    assert_eq!(diffraction::mtf(1.0), 0.0);
    assert_eq!(otf(0.3, 1.2), 0.0);
}

#[test]
fn defocused_otf_tables() {
    // Two routes; prysm and GalSim agree within 0.04 %.
    let quarter = [".83886", ".65858", ".50157", ".37942", ".28747", ".21529", ".15249", ".09239", ".03603"];
    for (i, value) in quarter.iter().enumerate() {
        printed(otf(0.25, (i + 1) as f64 / 10.0), value);
    }
    let waves = [0.0, 0.1, 0.25, 0.305, 0.5, 0.75, 1.0, 2.0];
    let exact = [".40397", ".38529", ".30113", ".26628", ".17652", ".11926", ".08948", ".04451"];
    let product = [0, -7, -18, -18, -15, -11, -9, -5];
    let squares = [0, -5, -12, -12, -8, -5, -4, -2];
    for i in 0..8 {
        let (w, mtf50) = (waves[i], frequency_at(0.5, waves[i]));
        printed(mtf50, exact[i]);
        // The fast path sees the same.
        let fast =
            MTF50_SIGMA / blur::sigma_px(&Parts { lambda_n_px: Some(1.0), disc_px: 8.0 * w, ..Parts::default() });
        printed(fast, exact[i]);
        // The two shortcuts, and by how many per cent they miss.
        let shortcut = bisect(0.0, 0.5, |s| 0.5 - diffraction::mtf(s) * disc(8.0 * w, s));
        printed((shortcut / mtf50 - 1.0) * 100.0, &product[i].to_string());
        let sum = (MTF50_SIGMA / diffraction::MTF50).hypot(DISC_SIGMA * 8.0 * w);
        printed((MTF50_SIGMA / sum / mtf50 - 1.0) * 100.0, &squares[i].to_string());
    }
}

#[test]
fn diffraction_times_pixel() {
    // Two routes, cycles a pixel at 0.55 um. Published practice for the kernel: a square pixel.
    for (pitch, values) in [
        (3.76, [".425", ".363", ".290", ".227", ".164", ".122"]),
        (4.35, [".448", ".391", ".320", ".255", ".187", ".140"]),
        (5.94, [".490", ".445", ".382", ".319", ".243", ".186"]),
    ] {
        for (n, value) in [4.0, 5.6, 8.0, 11.0, 16.0, 22.0].into_iter().zip(values) {
            let parts = Parts { lambda_n_px: Some(WAVELENGTH_UM * n / pitch), pixel: true, ..Parts::default() };
            printed(MTF50_SIGMA / blur::sigma_px(&parts), value);
        }
    }
}

/// Defocus in waves at either end of a focus spread of `spread_mm`, focus midway: the disc dv / (2 N) over 8 lambda N.
fn waves_at_ends(spread_mm: f64, f_number: f64) -> f64 {
    spread_mm * 1e3 / (16.0 * WAVELENGTH_UM * f_number * f_number)
}

#[test]
fn best_f_number_for_a_spread() {
    // Two routes: the optimum of the exact integral is at w = .2368, N = 21.9 sqrt(dv); the root-square rule
    // (Hansma 1996, from memory) at w = .305. 24 mm, 1.5 m to infinity: dv 0.3902 mm, f/13.7.
    let spread = thin_lens::focus_spread_mm(24.0, 1500.0, f64::INFINITY);
    printed(spread, "0.3902");
    printed(aperture::best_f_number(spread), "13.7");
    printed(aperture::best_f_number(1.0), "21.9");
    printed(waves_at_ends(1.0, aperture::root_square_f_number(1.0)), "0.303");
    printed(waves_at_ends(0.3902, aperture::best_f_number(0.3902)), "0.2368");
    // The optimum searched for, over the exact integral: MTF50 in cycles a um at w = dv / (16 lambda N^2).
    let mtf50 = |n: f64| frequency_at(0.5, waves_at_ends(1.0, n)) / (WAVELENGTH_UM * n);
    let (mut low, mut high) = (15.0f64, 30.0f64);
    while high - low > 1e-4 {
        let (a, b) = (low + (high - low) / 3.0, high - (high - low) / 3.0);
        if mtf50(a) < mtf50(b) { low = a } else { high = b }
    }
    assert!((waves_at_ends(1.0, low) - aperture::BEST_WAVES).abs() < 2e-4);
    assert!((low / aperture::best_f_number(1.0) - 1.0).abs() < 1e-3, "{low}");
}

#[test]
fn thin_lens_and_depth_of_field() {
    // Published example: US Army correspondence course SS0507, 2 in, f/8, c = 0.002 in: 20.8 ft and 10.4 ft,
    // the course's own f^2/(N c) leaving out the last focal length.
    let inch = 25.4;
    let h = depth::hyperfocal_mm(2.0 * inch, 8.0, 0.002 * inch) - 2.0 * inch;
    printed(h / (12.0 * inch), "20.8");
    printed(h / (12.0 * inch), "20.833");
    printed(h / (24.0 * inch), "10.4");
    // Two routes.
    let h = depth::hyperfocal_mm(50.0, 8.0, 0.030);
    printed(h, "10466.7");
    printed(depth::hyperfocal_mm(24.0, 11.0, 0.030), "1769.5");
    printed(depth::hyperfocal_mm(35.0, 11.0, 0.030), "3747.1");
    assert!((depth::equal_blur_focus(1500.0, f64::INFINITY) - 3000.0).abs() < 1e-9);
    assert!((depth::equal_blur_focus(2.0, 6.0) - 3.0).abs() < 1e-12);
    for subject in [1500.0, f64::INFINITY] {
        printed(thin_lens::disc_mm(24.0, 11.0, 3000.0, subject).abs() * 1e3, "17.5953");
    }
    assert!(thin_lens::disc_mm(24.0, 11.0, 3000.0, 1500.0) < 0.0);
    // At a limit the disc is the permitted one.
    printed(thin_lens::disc_mm(50.0, 8.0, 5000.0, 3389.37) * 1e3, "-30.000");
    printed(thin_lens::disc_mm(50.0, 8.0, 5000.0, 9527.44) * 1e3, "30.000");
}

#[test]
fn the_disc_is_undone() {
    for subject in [700.0, 1500.0, 2999.0, 8000.0, 1e6, f64::INFINITY] {
        let disc = thin_lens::disc_mm(24.0, 8.0, 3000.0, subject);
        let back = thin_lens::subject_mm(24.0, 8.0, 3000.0, disc);
        assert!((1.0 / back - 1.0 / subject).abs() < 1e-12, "{subject} came back as {back}");
    }
}

#[test]
fn focus_shift_of_a_given_defocus() {
    // Closed form: focus shift 8 N^2 w lambda gives the disc 8 w lambda N; a quarter wave is 2 lambda N.
    let (n, w) = (11.0, 0.25);
    let shift_mm = 8.0 * n * n * w * WAVELENGTH_UM * 1e-3;
    printed(shift_mm / n * 1e3 / (WAVELENGTH_UM * n), "2.000");
    printed(waves_at_ends(2.0 * shift_mm, n), "0.25");
}

#[test]
fn flat_ground() {
    // Two routes: 24 mm f/8, s 4 m, 1.5 m up, 12 degrees down; rows counted upwards in the sheet.
    let (down, rows) = (12f64.to_radians(), [-12.0, -8.0, -4.0, 0.0, 4.0]);
    for (row, value) in rows.into_iter().zip(["-15.407", "-7.582", "0.243", "8.069", "15.894"]) {
        // Inverse depth, and so the signed disc, is affine in the row (McCloskey and Langer, CVPR 2009).
        let depth = ground::depth(1500.0, down, thin_lens::image_mm(24.0, 4000.0), -row);
        printed(thin_lens::disc_mm(24.0, 8.0, 4000.0, depth) * 1e3, value);
    }
    assert_eq!(ground::depth(1.5, 0.0, 24.0, -1.0), f64::INFINITY);
    let z = ground::depth(1.5, down, 24.0, 10.0);
    assert!((ground::height_for(z, down, 24.0, 10.0) - 1.5).abs() < 1e-12);
}

#[test]
fn hinge_rule() {
    // Merklinger 1996; two routes: 24 mm at 1 degree: 1375 mm.
    printed(ground::tilt_for_hinge(24.0, 1375.17).unwrap().to_degrees(), "1.0000");
    assert_eq!(ground::tilt_for_hinge(24.0, 20.0), None);
}

#[test]
fn motion_tracks() {
    // Closed form: at 2 m with a 24 mm lens a subject is drawn 24 / 1976 of its size.
    printed(motion::subject_track_um(24.0, 2.0, 0.1, 0.02), "24.29");
    printed(motion::longest_for_subject_s(24.0, 2.0, 0.1, 24.291_498), "0.0200");
    printed(motion::longest_for_turn_s(50.0, 0.01, 5.0), "0.0100");
}

#[test]
fn fast_path_against_direct_quadrature() {
    // The bar is 0.3 %; the polynomial is far inside it.
    let mut worst = 0.0f64;
    for lambda_n in [None, Some(0.0), Some(0.2), Some(0.7), Some(1.5), Some(4.0)] {
        for disc in [0.0, 0.3, 1.0, 2.5, 7.0, 30.0] {
            for lens in [0.0, 0.2, 0.8, 3.0] {
                for motion in [0.0, 0.5, 2.0, 9.0] {
                    for pixel in [false, true] {
                        let parts =
                            Parts { lambda_n_px: lambda_n, disc_px: disc, lens_px: lens, motion_px: motion, pixel };
                        let sigma = blur::sigma_px(&parts);
                        assert!(sigma.is_finite() && sigma >= 0.0, "{parts:?}");
                        if sigma == 0.0 {
                            continue;
                        }
                        // Direct quadrature, first crossing by small steps.
                        let guess = MTF50_SIGMA / sigma;
                        assert!(blur::mtf(&parts, 0.98 * guess) > 0.5 && blur::mtf(&parts, 1.02 * guess) < 0.5);
                        let exact = bisect(0.9 * guess, 1.1 * guess, |f| 0.5 - blur::mtf(&parts, f));
                        worst = worst.max((guess / exact - 1.0).abs());
                    }
                }
            }
        }
    }
    assert!(worst < 3e-5, "worst relative error {worst}");
}

#[test]
fn slopes_are_the_derivatives() {
    let parts = Parts { lambda_n_px: Some(1.1), disc_px: -1.7, lens_px: 0.6, motion_px: 1.4, pixel: true };
    let h = 1e-5;
    let slopes = blur::slopes_px(&parts);
    let moved = |step: &dyn Fn(&mut Parts, f64)| {
        let (mut up, mut down) = (parts, parts);
        step(&mut up, h);
        step(&mut down, -h);
        (blur::sigma_px(&up) - blur::sigma_px(&down)) / (2.0 * h)
    };
    for (by, slope) in [
        (moved(&|p, d| p.lambda_n_px = p.lambda_n_px.map(|v| v + d)), slopes.by_lambda_n),
        (moved(&|p, d| p.disc_px += d), slopes.by_disc),
        (moved(&|p, d| p.lens_px += d), slopes.by_lens),
        (moved(&|p, d| p.motion_px += d), slopes.by_motion),
    ] {
        assert!((by - slope).abs() < 1e-6, "{by} {slope}");
    }
    assert!(slopes.by_disc < 0.0, "the disc is negative here, so a larger one is a narrower blur");
}

#[test]
fn parts_are_taken_out_again() {
    for lambda_n in [None, Some(0.4), Some(2.0)] {
        for disc in [0.0, 0.4, 2.0, 12.0] {
            for lens in [0.0, 0.5] {
                let parts = Parts { lambda_n_px: lambda_n, disc_px: disc, lens_px: lens, motion_px: 0.8, pixel: true };
                let sigma = blur::sigma_px(&parts);
                let back = blur::disc_px_for(sigma * (1.0 + 1e-12), &parts).unwrap();
                assert!((back - disc).abs() < 2e-4 * (1.0 + disc), "{parts:?}: {back}");
                let back = blur::lens_px_for(sigma * (1.0 + 1e-12), &parts).unwrap();
                assert!((back - lens).abs() < 2e-4 * (1.0 + lens), "{parts:?}: {back}");
            }
        }
    }
    let parts = Parts { lambda_n_px: Some(1.0), pixel: true, ..Parts::default() };
    let floor = blur::sigma_px(&parts);
    assert_eq!(blur::disc_px_for(0.9 * floor, &parts), None);
    assert_eq!(blur::lens_px_for(0.9 * floor, &parts), None);
    assert_eq!(blur::disc_px_for(f64::NAN, &parts), None);
    assert_eq!(blur::disc_px_for(0.0, &parts), None);
    assert_eq!(blur::sigma_px(&Parts::default()), 0.0);
}

#[test]
fn motion_averaged_over_directions() {
    // Against the average itself, by quadrature over the directions.
    for x in [0.1, 0.5, 0.9, 2.0, 2.6, 5.0] {
        let average = simpson(0.0, PI / 2.0, 2000, |t| kernel::sinc(x * t.cos(), 1.0)) * 2.0 / PI;
        let value = kernel::track_all_directions(x, 1.0);
        assert!((value - average).abs() < 1e-9, "{x}: {value} {average}");
    }
}
