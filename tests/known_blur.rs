//! Known blur in, measured blur out.
//!
//! The scenes are the simulator's or made by hand; nothing of `measure` or `optics` is used to make them.

use tussock::measure::{Settings, TileMap, TileState, measure};
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

/// Widths of tiles of leaves and rock over the truth, with their stated errors, under a spread of `sigma` px seen `seen`.
fn over_truth(sigma: f64, seen: impl Fn(Plane) -> Plane) -> Vec<(f64, f64)> {
    let settings = Settings { tiles: 5, ..Settings::default() };
    [(Texture::Leaves, 11), (Texture::Rock, 12)]
        .into_iter()
        .flat_map(|(texture, seed)| {
            let (plane, truth) = patch(texture, &Psf { pixel: true, ..Psf::gaussian(sigma) }, 640, seed, 100.0);
            let map = measure(&seen(plane), &settings);
            let ratios: Vec<(f64, f64)> =
                map.measured().map(|(_, b)| (b.value / truth.sigma, b.sd / truth.sigma)).collect();
            ratios
        })
        .collect()
}

fn middle(ratios: &[(f64, f64)]) -> f64 {
    let mut values: Vec<f64> = ratios.iter().map(|r| r.0).collect();
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}

/// The simulator integrates edges under a spread with formulas of its own. Asked is what the estimator is to reach on any
/// texture: a median within 5 % over widths, no more than a tenth for one, and errors that hold.
#[test]
fn free_edges_are_measured_with_errors_that_hold() {
    let (mut bias, mut held, mut count) = (0.0, 0, 0);
    let sigmas = [0.4, 0.8, 1.5, 2.5];
    for sigma in sigmas {
        let ratios = over_truth(sigma, |plane| plane);
        assert!(ratios.len() >= 45, "sigma {sigma}: {} of 50 tiles measured", ratios.len());
        let off = middle(&ratios) - 1.0;
        assert!(off.abs() < 0.1, "sigma {sigma}: {off}");
        bias += off / sigmas.len() as f64;
        held += ratios.iter().filter(|(ratio, sd)| (ratio - 1.0).abs() < 2.0 * sd).count();
        count += ratios.len();
    }
    assert!(bias.abs() < 0.05, "{bias}");
    assert!(held as f64 > 0.85 * f64::from(count as u32), "{held} of {count} within two standard deviations");
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
        for tile in &map.tiles {
            // A width that is too wide for a number has a bound; none may read as if it were sharp.
            match (tile.blur, tile.state, tile.bound) {
                (Some(b), ..) => assert!((b.value / truth - 1.0).abs() < 0.15, "{diameter} px: {b:?} for {truth}"),
                (None, TileState::AtLeast, Some(bound)) => {
                    assert!((0.5..1.0).contains(&(bound / truth)), "{diameter} px: {bound}")
                }
                _ => panic!("{diameter} px: {tile:?}"),
            }
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
fn a_known_pupil_helps_the_width_of_its_edges() {
    let mut bias = 0.0;
    let cases = [(11.0, 0.0), (16.0, 0.0), (22.0, 0.0), (16.0, 10.0)];
    for (f_number, defocus_um) in cases {
        let (plane, truth) = patch(Texture::Leaves, &Psf::lens(f_number, 4.0, defocus_um), 512, 5, 100.0);
        let settings = Settings { tiles: 4, ..Settings::default() };
        let blind = median(&measure(&plane, &settings)) / truth.sigma - 1.0;
        let told = median(&measure(&plane, &settings.under(Some(0.55 * f_number / 4.0)))) / truth.sigma - 1.0;
        // What is asked of discs in docs/accuracy.md, rendered patches: 6 % of an error, 3 % of a bias.
        assert!(told.abs() < 0.06, "f/{f_number}, {defocus_um} um: {told}");
        assert!(blind.abs() < 0.1, "f/{f_number}, {defocus_um} um: {blind} without knowing the pupil");
        bias += told / cases.len() as f64;
    }
    assert!(bias.abs() < 0.03, "{bias}");
}

/// Coarse JPEG steps round fine coefficients to nothing and widen what is sharp; what they take is given back.
#[test]
fn coarse_jpeg_steps_do_not_pass_for_blur() {
    let folder = tempfile::tempdir().expect("a folder");
    for (quality, sigma) in [(95, 0.4), (85, 0.4), (85, 0.6), (80, 0.8)] {
        let code = |v: f64| if v <= 0.003_130_8 { 12.92 * v } else { 1.055 * v.powf(1.0 / 2.4) - 0.055 };
        let path = folder.path().join("seen.jpg");
        let ratios = over_truth(sigma, |plane| {
            let luminance = |i: usize| f64::from(plane.luminance(i % plane.width, i / plane.width)).clamp(0.0, 1.0);
            let bytes: Vec<u8> = (0..plane.data.len()).map(|i| (255.0 * code(luminance(i))).round() as u8).collect();
            let file = std::fs::File::create(&path).expect("a file");
            image::codecs::jpeg::JpegEncoder::new_with_quality(file, quality)
                .encode(&bytes, plane.width as u32, plane.height as u32, image::ExtendedColorType::L8)
                .expect("a picture");
            tussock::intake::read(&path, &tussock::intake::Overrides::default()).expect("a shot").plane
        });
        let off = middle(&ratios) - 1.0;
        assert!(off.abs() < 0.1, "quality {quality}, sigma {sigma}: {off}");
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

/// A cloudy sky by formula: even above; below swell clouds of all sizes from 12 px on, the fainter the smaller, and there more is
/// left of the noise, which the camera has smoothed.
#[test]
fn more_noise_than_elsewhere_is_no_fine_detail() {
    use std::f64::consts::TAU;
    let (side, mut dice) = (960, fastrand::Rng::with_seed(5));
    let white: Vec<f64> = (0..side * side).map(|_| (0..12).map(|_| dice.f64()).sum::<f64>() - 6.0).collect();
    let waves: Vec<[f64; 4]> = (0..60)
        .map(|_| {
            let (length, turn) = (12.0 * 20_f64.powf(dice.f64()), TAU * dice.f64());
            [TAU / length * turn.cos(), TAU / length * turn.sin(), TAU * dice.f64(), 4e-5 * length]
        })
        .collect();
    let below = |y: f64| y > side as f64 / 2.0;
    for more in [1.3, 1.6] {
        let sky = plane(side, side, |x, y| {
            let at = |dx: f64, dy: f64| {
                let place = |v: f64| (v.max(0.0) as usize).min(side - 1);
                white[place(y + dy) * side + place(x + dx)]
            };
            let smoothed = 0.4 * at(0.0, 0.0) + 0.15 * (at(1.0, 0.0) + at(-1.0, 0.0) + at(0.0, 1.0) + at(0.0, -1.0));
            let cloud: f64 = waves.iter().map(|[u, v, from, high]| high * (u * x + v * y + from).sin()).sum();
            let (cloud, noise) = if below(y) { (cloud, 0.006 * more) } else { (0.0, 0.006) };
            0.4 + cloud + noise * smoothed
        });
        let map = measure(&sky, &Settings { tiles: 10, ..Settings::default() });
        let clouds = || map.tiles.iter().filter(|t| below(f64::from(t.y)));
        // The clouds are seen: detail there is, but none as fine as a pixel or two.
        assert!(clouds().all(|t| !matches!(t.state, TileState::NoDetail | TileState::Noisy)));
        let fine: Vec<f64> = clouds().filter_map(|t| t.blur).map(|b| b.value).filter(|v| *v < 2.0).collect();
        assert!(fine.is_empty(), "noise stronger by {more}: {fine:?} of {}", clouds().count());
    }
}

/// Soft edges below an even sky, and over all of it grain as a scan of film has it: noise drawn by a Gaussian wider than any
/// camera's own. It is alike in every patch of the sky, and no detail there or below.
#[test]
fn coarse_grain_is_no_fine_detail() {
    let (side, drawn, sigma) = (960, 0.8_f64, 2.0);
    let edges = edges_through(sigma, side);
    let mut dice = fastrand::Rng::with_seed(9);
    let white: Vec<f64> = (0..side * side).map(|_| (0..12).map(|_| dice.f64()).sum::<f64>() - 6.0).collect();
    let weight: Vec<f64> = (-4..=4).map(|d: i32| (-0.5 * (f64::from(d) / drawn).powi(2)).exp()).collect();
    // A unit of white noise so drawn has a deviation of the root of its squared weights, in either direction.
    let (sum, square) = (weight.iter().sum::<f64>(), weight.iter().map(|w| w * w).sum::<f64>());
    let along = |data: &[f64], step: usize| -> Vec<f64> {
        let at = |i: usize, d: usize| data[(i + side * side + d * step - 4 * step) % (side * side)];
        (0..side * side).map(|i| weight.iter().enumerate().map(|(d, w)| w * at(i, d)).sum::<f64>() / sum).collect()
    };
    let grain = along(&along(&white, 1), side);
    let strength = 0.03 * sum * sum / square * 50_000.0;
    let data = (0..side * side).map(|i| {
        let light = if i / side < side / 2 { 31_000.0 } else { f64::from(edges.data[i]) };
        (light + strength * grain[i]).round().clamp(0.0, 65_535.0) as u16
    });
    let map = measure(&Plane { data: data.collect(), ..edges.clone() }, &Settings { tiles: 20, ..Settings::default() });
    // A patch reaches beyond its tile, and where the sky ends is an edge.
    let middle = |t: &&tussock::measure::Tile| t.centre().1 - side as f64 / 2.0;
    let sky: Vec<_> = map.tiles.iter().filter(|t| middle(t) < -96.0).collect();
    assert!(sky.len() >= 160 && sky.iter().all(|t| t.blur.is_none()), "{} tiles", sky.len());
    let fine = |t: &&tussock::measure::Tile| t.blur.is_some_and(|b| b.value < 0.6 * sigma);
    let below: Vec<_> = map.tiles.iter().filter(|t| middle(t) > 96.0).collect();
    let told = below.iter().copied().filter(fine).count();
    // One in twenty may be misread, as two standard deviations have it; read for detail, grain gives all of them a number.
    assert!(20 * told <= below.len(), "{told} of {}", below.len());
}

/// Rock far out of focus, over half of it what a small camera leaves of its noise: smoothed, but for the strongest of it, and that
/// sharpened.
#[test]
fn specks_over_a_wide_blur_are_no_fine_detail() {
    let (side, tile) = (960, 96);
    let psf = Psf { disc_px: 40.0, pixel: true, ..Psf::default() };
    let (rock, truth) = patch(Texture::Rock, &psf, side, 7, 200.0);
    let mut dice = fastrand::Rng::with_seed(3);
    let white: Vec<f64> = (0..side * side).map(|_| (0..12).map(|_| dice.f64()).sum::<f64>() - 6.0).collect();
    let speckled = |x: usize| (x / tile) % 4 < 2;
    for strength in [800.0, 1600.0] {
        let mut rock = rock.clone();
        for i in (side..side * (side - 1)).filter(|i| speckled(i % side)) {
            let beside = white[i - 1] + white[i + 1] + white[i - side] + white[i + side];
            let left = (0.5 * white[i] + 0.2 * beside).powi(3);
            rock.data[i] = (f64::from(rock.data[i]) + strength * left).round().clamp(0.0, 65_535.0) as u16;
        }
        let map = measure(&rock, &Settings { tiles: 10, ..Settings::default() });
        let ratios: Vec<f64> = map.measured().map(|(_, b)| b.value / truth.sigma).collect();
        assert!(ratios.len() >= 90, "strength {strength}: {} of 100 tiles", ratios.len());
        // Noise read for detail is a twentieth as wide; single tiles under specks may be poor.
        assert!(ratios.iter().all(|r| (r - 1.0).abs() < 0.4), "strength {strength}: {ratios:?}");
    }
}

/// Leaves in focus before rock that is far out of it: what is sharp keeps its numbers up to the border.
#[test]
fn sharp_things_before_a_wide_blur_stay_sharp() {
    let side = 960;
    let (leaves, truth) = patch(Texture::Leaves, &Psf { pixel: true, ..Psf::gaussian(0.5) }, side, 5, 100.0);
    let (rock, _) = patch(Texture::Rock, &Psf { disc_px: 40.0, pixel: true, ..Psf::default() }, side, 7, 100.0);
    let sharp = |x: usize| (x / 96) % 5 == 1;
    let data = (0..side * side).map(|i| if sharp(i % side) { leaves.data[i] } else { rock.data[i] }).collect();
    let map = measure(&Plane { data, ..leaves }, &Settings { tiles: 10, ..Settings::default() });
    let told: Vec<f64> = map
        .tiles
        .iter()
        .filter(|t| sharp(t.x as usize))
        .filter_map(|t| t.blur)
        .map(|b| b.value / truth.sigma)
        .collect();
    // What is not sharp is eight times as wide and more.
    assert!(told.len() >= 18 && told.iter().all(|r| (r - 1.0).abs() < 0.4), "{told:?} of 20");
}

/// A picture in focus is sharp whatever f-number is written beside it. Diffraction alone would make it two to four times as wide.
#[test]
fn a_false_f_number_widens_nothing() {
    let psf = Psf { pixel: true, ..Psf::gaussian(0.35) };
    for (texture, seed) in [(Texture::Leaves, 11), (Texture::Rock, 12)] {
        let (plane, truth) = patch(texture, &psf, 640, seed, 100.0);
        let settings = Settings { tiles: 5, ..Settings::default() };
        let blind = median(&measure(&plane, &settings));
        // The bar of the estimator's single pictures, 15 %.
        assert!((blind / truth.sigma - 1.0).abs() < 0.15, "{texture:?}: {blind}");
        for lambda_n_px in [2.0, 3.0, 4.5] {
            let told = median(&measure(&plane, &settings.under(Some(lambda_n_px))));
            assert!(
                (told / blind - 1.0).abs() < 0.02,
                "{texture:?}, lambda N {lambda_n_px} px: {told}, {blind} without"
            );
        }
    }
}

#[test]
fn threads_do_not_change_a_digit() {
    let (scene, _) = patch(Texture::Leaves, &Psf::gaussian(0.9), 300, 3, 60.0);
    let on = |threads| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().expect("a thread pool");
        pool.install(|| measure(&scene, &Settings { tiles: 6, ..Settings::default() }))
    };
    assert_eq!(on(1), on(3));
}

/// Beyond what the estimator knows at full size a smaller picture tells; the simulator's own truth is the judge.
#[test]
fn blur_of_many_pixels_is_told_by_a_smaller_picture() {
    let psf = Psf { disc_px: 24.0, pixel: true, ..Psf::default() };
    let (plane, truth) = patch(Texture::Rock, &psf, 800, 5, 60.0);
    let map = measure(&plane, &Settings { tiles: 4, ..Settings::default() });
    let mut ratios: Vec<f64> = map.measured().map(|(_, b)| b.value / truth.sigma).collect();
    ratios.sort_by(f64::total_cmp);
    assert!(ratios.len() >= 14, "{} of 16 tiles", ratios.len());
    // The bar of the estimator's single pictures at widths that it knows, 15 %.
    let middle = ratios[ratios.len() / 2];
    assert!((middle - 1.0).abs() < 0.15, "{middle}");
}

/// A picture half as large tells of what is too small for a quarter.
#[test]
fn small_pictures_tell_a_blur_of_many_pixels_too() {
    let psf = Psf { disc_px: 24.0, pixel: true, ..Psf::default() };
    let (plane, truth) = patch(Texture::Rock, &psf, 480, 5, 60.0);
    let map = measure(&plane, &Settings { tiles: 4, ..Settings::default() });
    let ratios: Vec<(f64, f64)> = map.measured().map(|(_, b)| (b.value / truth.sigma, 0.0)).collect();
    assert!(ratios.len() >= 14, "{} of 16 tiles", ratios.len());
    assert!((middle(&ratios) - 1.0).abs() < 0.15, "{}", middle(&ratios));
}

/// Edges of all directions, each a step seen through a Gaussian of `sigma` px (the normal law's integral), under a little noise.
fn edges_through(sigma: f64, side: usize) -> Plane {
    let mut dice = fastrand::Rng::with_seed(11);
    let edges: Vec<[f64; 4]> = (0..24)
        .map(|_| {
            let turn = std::f64::consts::TAU * dice.f64();
            [turn.cos(), turn.sin(), side as f64 * dice.f64(), side as f64 * dice.f64()]
        })
        .collect();
    let noise: Vec<f64> = (0..side * side).map(|_| (0..12).map(|_| dice.f64()).sum::<f64>() - 6.0).collect();
    let normal = normal_law();
    plane(side, side, |x, y| {
        let steps: f64 =
            edges.iter().map(|[u, v, at, over]| normal((u * (x - at) + v * (y - over)) / sigma) - 0.5).sum();
        0.5 + 0.06 * steps + 0.002 * noise[y as usize * side + x as usize]
    })
}

/// The normal law's integral at every hundredth from -6 to 6, by the trapezoid rule.
fn normal_law() -> impl Fn(f64) -> f64 {
    let density = |k: usize| (-0.5 * (k as f64 / 100.0 - 6.0).powi(2)).exp() / std::f64::consts::TAU.sqrt();
    let table: Vec<f64> = (0..1200)
        .scan(0.0, |sum, k| {
            *sum += 0.01 * 0.5 * (density(k) + density(k + 1));
            Some(*sum)
        })
        .collect();
    move |x| table[((x + 6.0) * 100.0).clamp(0.0, 1199.0) as usize]
}

/// What is too wide for a number even in the smallest picture that there is has a bound which says how wide it is at the least.
#[test]
fn a_blur_too_wide_for_a_number_has_a_bound_that_says_so() {
    let sigma = 26.0;
    let map = measure(&edges_through(sigma, 800), &Settings { tiles: 8, ..Settings::default() });
    let bounds: Vec<f64> = map.tiles.iter().filter(|t| t.state == TileState::AtLeast).filter_map(|t| t.bound).collect();
    // Half of the tiles hold enough of an edge.
    assert!(bounds.len() >= 32, "{} of 64 tiles", bounds.len());
    let holds = bounds.iter().filter(|b| **b < sigma).count();
    assert!(holds as f64 >= 0.95 * bounds.len() as f64, "{holds} of {}", bounds.len());
    let typical = middle(&bounds.iter().map(|b| (b / sigma, 0.0)).collect::<Vec<_>>());
    assert!(typical > 0.3, "{typical}");
}

/// Thin reeds before a slope of light, which an eighth of the picture hardly shows: what a quarter of it has as sharp stays so. It is a
/// quarter of the tiles and more, and without that none; the others are still taken for specks of noise over a wide blur.
#[test]
fn reeds_that_a_quarter_of_the_picture_has_as_sharp_stay_so() {
    let side = 1600;
    let slope = edges_through(60.0, side);
    let mut dice = fastrand::Rng::with_seed(12);
    let mut data = slope.data.clone();
    for x in (10..side - 10).step_by(23) {
        let (top, lean) = (805 + dice.usize(0..40), dice.usize(4..12));
        for y in top..885 {
            let at = y * side + x + (y - top) / lean;
            data[at..at + 3].iter_mut().for_each(|v| *v = (u32::from(*v) * 3 / 4) as u16);
        }
    }
    let map = measure(&Plane { data, ..slope }, &Settings { tiles: 16, ..Settings::default() });
    let reeds = map.tiles.iter().filter(|t| t.y == 800);
    let sharp = reeds.filter(|t| t.blur.is_some_and(|b| b.value < 1.0)).count();
    assert!(sharp >= 4, "{sharp} of 16");
}

/// The same with the contrast of every ninth tile of 96 px a small part of what it was, as in shade or haze, and a sensor's noise.
fn faded(plane: &Plane, times: f64) -> Plane {
    let mean = plane.data.iter().map(|&v| f64::from(v)).sum::<f64>() / plane.data.len() as f64;
    let mut dice = 0x9e37_79b9_7f4a_7c15_u64;
    let mut normal = || {
        // The sum of twelve even numbers is nearly normal, of variance one.
        let mut even = || {
            dice ^= dice << 13;
            dice ^= dice >> 7;
            dice ^= dice << 17;
            (dice >> 11) as f64 / (1u64 << 53) as f64
        };
        (0..12).map(|_| even()).sum::<f64>() - 6.0
    };
    let data = plane.data.iter().enumerate().map(|(i, &v)| {
        let contrast = if fades(i % plane.width / 96, i / plane.width / 96) { times } else { 1.0 };
        let light = mean + contrast * (f64::from(v) - mean) + 0.03 * mean * normal();
        light.round().clamp(0.0, 65_535.0) as u16
    });
    Plane { data: data.collect(), ..plane.clone() }
}

fn fades(column: usize, row: usize) -> bool {
    column % 3 == 1 && row % 3 == 1
}

/// What a tile says on its own is told where it is sure enough; as its contrast sinks it grows unsure before nothing is left.
/// In rendered noise that is a narrow step: noise and contrasts are those of one draw in which tiles fall on it, as they do by the
/// dozen in photographs.
#[test]
fn faint_tiles_are_told_with_the_help_of_their_neighbours() {
    let (plane, truth) = patch(Texture::Leaves, &Psf { pixel: true, ..Psf::gaussian(1.4) }, 576, 5, 4000.0);
    let mut helped = 0;
    for times in [0.18, 0.175, 0.17, 0.165, 0.16, 0.155] {
        let map = measure(&faded(&plane, times), &Settings { tiles: 6, ..Settings::default() });
        for (k, tile) in map.tiles.iter().enumerate() {
            let Some((blur, alone)) = tile.blur.zip(tile.alone) else { continue };
            helped += 1;
            assert!(fades(k % 6, k / 6), "tile {k} needs no help");
            assert!((blur.value - truth.sigma).abs() < 2.0 * blur.sd, "{blur:?} for {}", truth.sigma);
            assert!(alone.sd / alone.value > blur.sd / blur.value, "{alone:?} {blur:?}");
        }
    }
    assert!(helped >= 2, "{helped}");
}
