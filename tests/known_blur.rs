//! Known blur in, measured blur out.
//!
//! The edge here is integrated by hand from the Gaussian: a step blurred by a Gaussian of width s and a pixel
//! aperture of one; nothing of `measure` or `optics` is used to make it.

use tussock::measure::{Settings, TileMap, measure};
use tussock::quantity::MTF50_SIGMA;
use tussock::shot::{Mosaic, Plane};
use tussock::simulate::{Psf, Texture, patch};

/// A plane from a function of the sample's centre, 0 to 1.
fn plane(width: usize, height: usize, light: impl Fn(f64, f64) -> f64) -> Plane {
    let data = (0..width * height)
        .map(|i| {
            let v = light((i % width) as f64 + 0.5, (i / width) as f64 + 0.5);
            (1000.0 + 50_000.0 * v).round().clamp(0.0, 65_535.0) as u16
        })
        .collect();
    Plane {
        width,
        height,
        data,
        black: 1000,
        white: 51_000,
        saturation: 65_000,
        mosaic: Mosaic::None,
        jpeg: None,
        rendered: false,
    }
}

/// The normal distribution function by Simpson's rule on the density.
fn phi(z: f64) -> f64 {
    let z = z.clamp(-8.0, 8.0);
    let n = 200;
    let h = z / f64::from(n);
    let d = |t: f64| (-0.5 * t * t).exp() / (2.0 * std::f64::consts::PI).sqrt();
    let sum: f64 = (0..=n)
        .map(|i| {
            d(f64::from(i) * h)
                * if i == 0 || i == n {
                    1.0
                } else if i % 2 == 1 {
                    4.0
                } else {
                    2.0
                }
        })
        .sum();
    0.5 + sum * h / 3.0
}

/// Stripes 24 px wide, their edges turned by `angle`, blurred by a Gaussian of width `sigma`; the pixel aperture
/// comes from 4 x 4 points a sample.
fn stripes(width: usize, height: usize, angle: f64, sigma: f64) -> Plane {
    let table: Vec<f64> = (0..=1600).map(|i| phi((f64::from(i) / 100.0 - 8.0) / sigma.max(1e-9))).collect();
    let edge = |t: f64| {
        let p = ((t + 8.0) * 100.0).clamp(0.0, 1599.0);
        let i = p as usize;
        table[i] + (p - i as f64) * (table[i + 1] - table[i])
    };
    let wave = |t: f64| {
        let t = t.rem_euclid(48.0);
        if t < 24.0 { edge(t - 12.0) } else { 1.0 - edge(t - 36.0) }
    };
    plane(width, height, |x, y| {
        let mut sum = 0.0;
        for j in 0..4 {
            for i in 0..4 {
                let (dx, dy) = (f64::from(i) / 4.0 - 0.375, f64::from(j) / 4.0 - 0.375);
                sum += wave((x + dx) * angle.cos() + (y + dy) * angle.sin());
            }
        }
        0.2 + 0.5 * sum / 16.0
    })
}

/// Gaussian-equivalent width of a Gaussian and a pixel aperture seen at an angle, by bisection on the MTF.
fn truth(sigma: f64, angle: f64) -> f64 {
    let pi = std::f64::consts::PI;
    let sinc = |f: f64| if f.abs() < 1e-12 { 1.0 } else { (pi * f).sin() / (pi * f) };
    let mtf = |f: f64| (-2.0 * (pi * sigma * f).powi(2)).exp() * sinc(f * angle.cos()) * sinc(f * angle.sin());
    let (mut low, mut high) = (0.0, 2.0);
    for _ in 0..60 {
        let mid = 0.5 * (low + high);
        if mtf(mid) > 0.5 { low = mid } else { high = mid }
    }
    MTF50_SIGMA / low
}

#[test]
fn straight_edges_are_measured_to_five_per_cent() {
    for (sigma, angle) in [(0.4, 0.2), (0.8, 1.1), (1.5, 0.7), (2.5, 2.4)] {
        let map = measure(&stripes(240, 240, angle, sigma), &Settings { tiles: 2, ..Settings::default() });
        let expected = truth(sigma, angle);
        let found: Vec<f64> = map.measured().map(|(_, b)| b.value).collect();
        assert!(found.len() >= 3, "sigma {sigma}: {} tiles measured", found.len());
        for value in found {
            assert!((value / expected - 1.0).abs() < 0.05, "sigma {sigma}: {value} for {expected}");
        }
    }
}

/// Short thin strokes, half a pixel wide and facing every way, each as a disc of `diameter` px makes it: the share of the
/// disc about a sample that the stroke covers, counted on a fine raster.
fn strokes_under_a_disc(side: usize, diameter: f64) -> Plane {
    const FINE: usize = 4;
    let mut dice = 88_172_645_463_325_252_u64;
    let mut even = || {
        dice ^= dice << 13;
        dice ^= dice >> 7;
        dice ^= dice << 17;
        (dice >> 11) as f64 / (1u64 << 53) as f64
    };
    let fine = side * FINE;
    let mut sharp = vec![0.0_f64; fine * fine];
    for _ in 0..side * side / 60 {
        let (x, y, angle) = (even() * fine as f64, even() * fine as f64, even() * std::f64::consts::PI);
        let (length, light) = ((4.0 + 20.0 * even()) * FINE as f64, 0.3 + even());
        for k in 0..(2.0 * length) as usize {
            let t = k as f64 / 2.0 - length / 2.0;
            let (px, py) = ((x + t * angle.cos()) as usize, (y + t * angle.sin()) as usize);
            for (dx, dy) in [(0, 0), (1, 0), (0, 1), (1, 1)] {
                if let Some(v) = (px + dx < fine && py + dy < fine).then(|| &mut sharp[(py + dy) * fine + px + dx]) {
                    *v = light;
                }
            }
        }
    }
    // Running sums along rows make a disc of any size a sum over its rows; a pixel is a square of fine samples.
    let sums: Vec<f64> = sharp
        .chunks_exact(fine)
        .flat_map(|row| {
            let mut sum = 0.0;
            std::iter::once(0.0)
                .chain(row.iter().map(move |v| {
                    sum += v;
                    sum
                }))
                .collect::<Vec<f64>>()
        })
        .collect();
    let radius = diameter * FINE as f64 / 2.0;
    let disc = |cx: f64, cy: f64| {
        let (mut light, mut area) = (0.0, 0.0);
        for y in (cy - radius).ceil().max(0.0) as usize..((cy + radius) as usize + 1).min(fine) {
            let half = (radius * radius - (y as f64 - cy).powi(2)).max(0.0).sqrt();
            let (a, b) = ((cx - half).ceil().max(0.0) as usize, ((cx + half) as usize + 1).min(fine));
            if b > a {
                light += sums[y * (fine + 1) + b] - sums[y * (fine + 1) + a];
                area += (b - a) as f64;
            }
        }
        if area > 0.0 { light / area } else { 0.0 }
    };
    plane(side, side, |x, y| {
        let at = |k: usize| (k as f64 - 0.5) * FINE as f64 / 2.0;
        let pixel: f64 = (0..4).map(|k| disc(x * FINE as f64 + at(k % 2), y * FINE as f64 + at(k / 2))).sum();
        0.1 + 0.5 * pixel / 4.0
    })
}

#[test]
fn thin_detail_under_a_disc_is_not_taken_for_sharp() {
    for diameter in [9.0, 14.0] {
        let map = measure(&strokes_under_a_disc(512, diameter), &Settings { tiles: 2, ..Settings::default() });
        // 2 J1(x) / x = 1/2 at x = 2.2149 (Abramowitz & Stegun, table 9.1): MTF50 = 0.70503 / diameter; the pixel adds
        // a few per cent at most.
        let truth = MTF50_SIGMA * diameter / 0.705_03;
        let found: Vec<f64> = map.measured().map(|(_, b)| b.value).collect();
        // A tile may be left without a number, but none may read as if it were sharp.
        assert!(!found.is_empty(), "{diameter} px: nothing measured");
        for value in found {
            assert!((value / truth - 1.0).abs() < 0.15, "{diameter} px: {value} for {truth}");
        }
    }
}

fn median(map: &TileMap) -> f64 {
    let mut widths: Vec<f64> = map.measured().map(|(_, b)| b.value).collect();
    assert!(widths.len() >= 8, "{} tiles measured", widths.len());
    widths.sort_by(f64::total_cmp);
    widths[widths.len() / 2]
}

/// Edges under an ideal pupil fall in long tails; a Gaussian fitted to their middle is narrower than half contrast has it
/// (the transfer function of a circular pupil: Goodman, Introduction to Fourier Optics, section 6.3; the scene and its
/// truth come from the simulator's own integral over the pupil).
#[test]
fn a_known_pupil_sets_the_width_of_its_edges_right() {
    let mut bias = 0.0;
    let cases = [(11.0, 0.0), (16.0, 0.0), (22.0, 0.0), (16.0, 10.0)];
    for (f_number, defocus_um) in cases {
        let (plane, truth) = patch(Texture::Leaves, &Psf::lens(f_number, 4.0, defocus_um), 512, 5, 100.0);
        let settings = Settings { tiles: 4, ..Settings::default() };
        let blind = median(&measure(&plane, &settings)) / truth.sigma - 1.0;
        let told = median(&measure(&plane, &settings.under(Some(0.55 * f_number / 4.0)))) / truth.sigma - 1.0;
        // What is asked of discs in docs/accuracy.md: 6 % of an error, 3 % of a bias.
        assert!(told.abs() < 0.06, "f/{f_number}, {defocus_um} um: {told}");
        assert!(told - blind > 0.02, "f/{f_number}, {defocus_um} um: {told} told, {blind} blind");
        bias += told / cases.len() as f64;
    }
    assert!(bias.abs() < 0.03, "{bias}");
}

/// Coarse JPEG steps round fine coefficients to nothing and widen what is sharp; what they take is given back.
#[test]
fn coarse_jpeg_steps_do_not_pass_for_blur() {
    let folder = tempfile::tempdir().expect("a folder");
    for (quality, sigma) in [(95, 0.4), (85, 0.4), (85, 0.6), (80, 0.8)] {
        let scene = stripes(480, 480, 0.35, sigma);
        let code = |v: f64| if v <= 0.003_130_8 { 12.92 * v } else { 1.055 * v.powf(1.0 / 2.4) - 0.055 };
        // Steps of some 35 code values: the coarsest fine coefficients are as coarse.
        let weak = |v: u16| 0.3 + 0.4 * ((f64::from(v) - 1000.0) / 50_000.0 - 0.2);
        let bytes: Vec<u8> = scene.data.iter().map(|&v| (255.0 * code(weak(v))).round() as u8).collect();
        let path = folder.path().join(format!("{quality}-{sigma}.jpg"));
        let file = std::fs::File::create(&path).expect("a file");
        image::codecs::jpeg::JpegEncoder::new_with_quality(file, quality)
            .encode(&bytes, 480, 480, image::ExtendedColorType::L8)
            .expect("a picture");
        let shot = tussock::intake::read(&path, &tussock::intake::Overrides::default()).expect("a shot");
        let map = measure(&shot.plane, &Settings { tiles: 4, ..Settings::default() });
        assert!(map.streak.is_none(), "stripes that face one way are no track: {:?}", map.streak);
        let found = median(&map);
        let expected = truth(sigma, 0.35);
        assert!((found / expected - 1.0).abs() < 0.08, "quality {quality}, sigma {sigma}: {found} for {expected}");
    }
}

#[test]
fn nothing_is_measured_where_nothing_is() {
    for (width, height) in [(1, 1), (2, 3), (5, 400), (300, 200)] {
        for level in [0.0, 0.5, 2.0] {
            let map = measure(&plane(width, height, |_, _| level), &Settings::default());
            assert_eq!(map.tiles.len(), (map.columns * map.rows) as usize);
            assert_eq!(map.measured().count(), 0, "{width} x {height} at {level}");
            assert!(map.tiles.iter().all(|t| t.contrast.is_finite() && t.noise.is_finite() && t.level.is_finite()));
        }
    }
}

#[test]
fn threads_do_not_change_a_digit() {
    let scene = stripes(300, 200, 0.3, 0.9);
    let on = |threads| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().expect("a thread pool");
        pool.install(|| measure(&scene, &Settings { tiles: 6, ..Settings::default() }))
    };
    assert_eq!(on(1), on(3));
}
