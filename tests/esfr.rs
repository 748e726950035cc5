//! The e-SFR of rendered slanted edges against the closed forms of their blur.
//!
//! Truth: MTF of a Gaussian exp(-2 pi^2 s^2 f^2), of a pixel sin(pi f)/(pi f), of a uniform disc 2 J1(pi c f)/(pi c f)
//! (any optics handbook), and their product solved for one half by bisection. The rise of a Gaussian edge from
//! 10 % to 90 % is 2.56310 sigma (twice the normal quantile 1.28155).

use tussock::measure::esfr::{EdgeError, EdgeSettings, Window, esfr};
use tussock::quantity::{MTF50_SIGMA, Region};
use tussock::shot::{Mosaic, Plane};

/// A repeatable standard normal deviate: splitmix64 bits, Box-Muller.
fn normal(state: &mut u64) -> f64 {
    let mut uniform = || {
        *state = state.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = *state;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    };
    (-2.0 * (1.0 - uniform()).ln()).sqrt() * (std::f64::consts::TAU * uniform()).cos()
}

/// Standard normal distribution function (Abramowitz & Stegun 7.1.26 is too coarse here; this is its series).
fn cumulative(x: f64) -> f64 {
    if x.abs() > 8.0 {
        return if x > 0.0 { 1.0 } else { 0.0 };
    }
    let (mut term, mut sum, mut k) = (x, x, 1.0);
    while term.abs() > 1e-14 * sum.abs() && k < 400.0 {
        term *= x * x / (2.0 * k + 1.0);
        sum += term;
        k += 1.0;
    }
    0.5 + sum * (-x * x / 2.0).exp() / std::f64::consts::TAU.sqrt()
}

struct Edge {
    /// Share of light on the bright side at a signed distance from the edge, px.
    spread: fn(f64, f64) -> f64,
    size: f64,
    degrees: f64,
    /// Across = position + curve * (along / 50)^2.
    curve: f64,
    width: usize,
    height: usize,
    snr: f64,
    turned: bool,
    falling: bool,
    seed: u64,
}

impl Default for Edge {
    fn default() -> Self {
        Self {
            spread: |d, s| cumulative(d / s),
            size: 1.0,
            degrees: 5.0,
            curve: 0.0,
            width: 64,
            height: 100,
            snr: 50.0,
            turned: false,
            falling: false,
            seed: 1,
        }
    }
}

impl Edge {
    /// Renders: the spread averaged over each pixel by 5 x 5 points, then noise of step / snr.
    fn plane(&self) -> Plane {
        let (w, h) = if self.turned { (self.height, self.width) } else { (self.width, self.height) };
        let (sin, cos) = self.degrees.to_radians().sin_cos();
        let mut seed = self.seed;
        let mut data = Vec::with_capacity(w * h);
        for y in 0..h {
            for x in 0..w {
                let mut sum = 0.0;
                for sub in 0..25 {
                    let (px, py) =
                        (x as f64 + ((sub % 5) as f64 + 0.5) / 5.0, y as f64 + ((sub / 5) as f64 + 0.5) / 5.0);
                    let (u, v) = if self.turned { (py, px) } else { (px, py) };
                    let (u, v) = (u - self.width as f64 / 2.0 + 0.37, v - self.height as f64 / 2.0);
                    let bent = self.curve * (v / 50.0).powi(2);
                    sum += (self.spread)((u - bent) * cos - v * sin, self.size);
                }
                let share = if self.falling { 1.0 - sum / 25.0 } else { sum / 25.0 };
                let value = 0.1 + 0.6 * share + 0.6 / self.snr * normal(&mut seed);
                data.push((1000.0 + value * 60000.0).round().clamp(0.0, 65535.0) as u16);
            }
        }
        Plane {
            width: w,
            height: h,
            data,
            black: 1000,
            white: 61000,
            saturation: 61000,
            mosaic: Mosaic::None,
            jpeg: None,
            rendered: false,
        }
    }
}

fn whole(plane: &Plane) -> Region {
    Region { x: 0, y: 0, width: plane.width as u32, height: plane.height as u32 }
}

fn sinc(x: f64) -> f64 {
    if x.abs() < 1e-9 { 1.0 } else { (std::f64::consts::PI * x).sin() / (std::f64::consts::PI * x) }
}

/// MTF50 of an MTF times the pixel's, for an edge whose normal is turned by `degrees`.
fn half_point(mtf: impl Fn(f64) -> f64, degrees: f64) -> f64 {
    let (sin, cos) = degrees.to_radians().sin_cos();
    let (mut low, mut high) = (0.001, 1.0);
    for _ in 0..60 {
        let f = (low + high) / 2.0;
        if mtf(f) * sinc(f * cos) * sinc(f * sin) > 0.5 { low = f } else { high = f }
    }
    low
}

fn gaussian_half_point(sigma: f64, degrees: f64) -> f64 {
    half_point(|f| (-2.0 * (std::f64::consts::PI * sigma * f).powi(2)).exp(), degrees)
}

/// 2 J1(x) / x by its power series.
fn jinc(x: f64) -> f64 {
    let (mut term, mut sum) = (1.0, 1.0);
    for k in 1..60 {
        term *= -(x / 2.0).powi(2) / (f64::from(k) * f64::from(k + 1));
        sum += term;
    }
    sum
}

#[test]
fn mtf50_of_gaussian_edges_is_within_two_per_cent() {
    // sqrt(total^2 - 1/12) leaves about the total asked for once the pixel is added.
    for (i, total) in [0.5, 0.6, 0.8, 1.0, 1.5, 2.0, 3.0, 4.0f64].into_iter().enumerate() {
        for (j, degrees) in [3.0, 5.0, 9.0].into_iter().enumerate() {
            let size = (total * total - 1.0 / 12.0).sqrt();
            let edge = Edge {
                size,
                degrees,
                snr: 100.0,
                turned: (i + j) % 2 == 1,
                falling: j == 2,
                seed: (10 * i + j) as u64,
                ..Edge::default()
            };
            let plane = edge.plane();
            let read = esfr(&plane, whole(&plane), &EdgeSettings::default()).unwrap();
            let truth = gaussian_half_point(size, degrees);
            let error = read.mtf50.value / truth - 1.0;
            assert!(error.abs() < 0.02, "sigma {total} at {degrees}: {error:.4} (sd {:.4})", read.mtf50.sd / truth);
            assert_eq!(read.vertical, (i + j) % 2 == 0);
            assert!((read.angle_deg - degrees).abs() < 0.3);
        }
    }
}

/// At a slope of one in three or four all samples of a bin lie at one place of it, and not at its middle.
#[test]
fn edges_of_simple_slopes_read_as_those_between() {
    for slope in [1.0 / 4.0, 1.0 / 3.0, 4.0 / 11.0, 7.0 / 10.0f64] {
        let degrees = slope.atan().to_degrees();
        let plane = Edge { degrees, width: 140, snr: 200.0, ..Edge::default() }.plane();
        let read = esfr(&plane, whole(&plane), &EdgeSettings::default()).unwrap();
        let error = read.mtf50.value / gaussian_half_point(1.0, degrees) - 1.0;
        assert!(error.abs() < 0.01, "{degrees:.1} degrees: {error:.4} (sd {:.4})", read.mtf50.sd / read.mtf50.value);
    }
}

#[test]
fn stated_sd_covers_the_scatter_at_snr_50() {
    let (mut within_one, mut within_two, mut sum) = (0, 0, 0.0);
    let truth = gaussian_half_point(1.0, 5.0);
    for seed in 0..60 {
        let plane = Edge { seed: 1000 + seed, height: 60, width: 40, ..Edge::default() }.plane();
        let read = esfr(&plane, whole(&plane), &EdgeSettings::default()).unwrap();
        let pull = (read.mtf50.value - truth) / read.mtf50.sd;
        within_one += i32::from(pull.abs() < 1.0);
        within_two += i32::from(pull.abs() < 2.0);
        sum += read.mtf50.value / truth - 1.0;
    }
    assert!((33..=51).contains(&within_one) && within_two >= 54, "{within_one} and {within_two} of 60");
    assert!((sum / 60.0).abs() < 0.01, "bias {:.4}", sum / 60.0);
}

/// MTF of an ideal round pupil at a frequency over its cut-off (any optics handbook).
fn pupil(s: f64) -> f64 {
    if s >= 1.0 { 0.0 } else { (s.acos() - s * (1.0 - s * s).sqrt()) * 2.0 / std::f64::consts::PI }
}

#[test]
fn the_long_tails_of_diffraction_do_not_narrow_the_edge() {
    // ESF(x) = 1/2 + the integral over f of MTF(f) sin(2 pi f x) / (pi f), by Simpson's rule.
    let spread = |x: f64, cutoff: f64| {
        const STEPS: usize = 256;
        let at = |k: usize| {
            let f = cutoff * k as f64 / STEPS as f64;
            if k == 0 {
                2.0 * x
            } else {
                pupil(f / cutoff) * (std::f64::consts::TAU * f * x).sin() / std::f64::consts::PI / f
            }
        };
        let weight = |k: usize| if k == 0 || k == STEPS { 1.0 } else { 2.0 + 2.0 * (k % 2) as f64 };
        0.5 + (0..=STEPS).map(|k| weight(k) * at(k)).sum::<f64>() * cutoff / STEPS as f64 / 3.0
    };
    for (cutoff, degrees) in [(0.5, 3.0), (0.7, 5.0), (1.1, 9.0)] {
        let edge = Edge { spread, size: cutoff, degrees, snr: 200.0, ..Edge::default() };
        let plane = edge.plane();
        let found = esfr(&plane, whole(&plane), &EdgeSettings::default()).expect("an edge");
        let truth = half_point(|f| pupil(f / cutoff), degrees);
        assert!((found.mtf50.value / truth - 1.0).abs() < 0.02, "{cutoff}: {} for {truth}", found.mtf50.value);
    }
}

#[test]
fn a_disc_of_defocus_reads_as_its_closed_form() {
    let disc = |d: f64, c: f64| {
        let t = (2.0 * d / c).clamp(-1.0, 1.0);
        0.5 + (t.asin() + t * (1.0 - t * t).sqrt()) / std::f64::consts::PI
    };
    for c in [3.0, 6.0, 10.0] {
        let plane = Edge { spread: disc, size: c, snr: 200.0, ..Edge::default() }.plane();
        let read = esfr(&plane, whole(&plane), &EdgeSettings::default()).unwrap();
        let truth = half_point(|f| jinc(std::f64::consts::PI * c * f), 5.0);
        assert!((read.mtf50.value / truth - 1.0).abs() < 0.02, "disc {c}: {} for {truth}", read.mtf50.value);
    }
}

#[test]
fn rise_of_a_gaussian_edge_is_2_563_sigma() {
    for total in [0.7, 1.2, 2.5f64] {
        let size = (total * total - 1.0 / 12.0).sqrt();
        let plane = Edge { size, snr: 100.0, ..Edge::default() }.plane();
        let read = esfr(&plane, whole(&plane), &EdgeSettings::default()).unwrap();
        assert!((read.rise.value / (2.563_10 * total) - 1.0).abs() < 0.03, "{total}: {}", read.rise.value);
        assert!((read.sigma.value * read.mtf50.value - MTF50_SIGMA).abs() < 1e-9);
    }
}

#[test]
fn only_measured_samples_of_a_mosaic_count() {
    let mut plane = Edge { size: 0.6, snr: 100.0, ..Edge::default() }.plane();
    plane.mosaic = Mosaic::Checkerboard { even: true };
    // Interpolated sites are filled with nonsense: the answer must not see them.
    for y in 0..plane.height {
        for x in 0..plane.width {
            if !plane.mosaic.measured(x, y) {
                plane.data[y * plane.width + x] = 20000;
            }
        }
    }
    let read = esfr(&plane, whole(&plane), &EdgeSettings::default()).unwrap();
    let truth = gaussian_half_point(0.6, 5.0);
    assert!((read.mtf50.value / truth - 1.0).abs() < 0.03, "{} for {truth}", read.mtf50.value);
}

#[test]
fn a_bent_edge_needs_and_gets_a_curve() {
    let plane = Edge { curve: 1.5, snr: 100.0, ..Edge::default() }.plane();
    let truth = gaussian_half_point(1.0, 5.0);
    let read = esfr(&plane, whole(&plane), &EdgeSettings::default()).unwrap();
    assert!(read.degree >= 2 && (read.mtf50.value / truth - 1.0).abs() < 0.02, "{read:?}");
    let straight = EdgeSettings { degree: Some(1), ..EdgeSettings::default() };
    assert!(esfr(&plane, whole(&plane), &straight).unwrap().mtf50.value < 0.95 * truth);
}

#[test]
fn the_standards_window_agrees_where_the_region_is_wide() {
    let plane = Edge { width: 100, snr: 200.0, ..Edge::default() }.plane();
    let hamming = EdgeSettings { window: Window::Hamming, ..EdgeSettings::default() };
    let read = esfr(&plane, whole(&plane), &hamming).unwrap();
    assert!((read.mtf50.value / gaussian_half_point(1.0, 5.0) - 1.0).abs() < 0.02);
    assert!((read.mtf[0].1 - 1.0).abs() < 1e-12);
}

#[test]
fn what_is_no_edge_is_refused_by_name() {
    let ask = |plane: &Plane| esfr(plane, whole(plane), &EdgeSettings::default()).unwrap_err();
    let flat = Edge { spread: |_, _| 0.5, ..Edge::default() }.plane();
    assert!(matches!(ask(&flat), EdgeError::NoEdge | EdgeError::Noisy { .. }));
    let straight = Edge { degrees: 0.0, snr: 500.0, ..Edge::default() }.plane();
    assert_eq!(ask(&straight), EdgeError::NotSlanted);
    let noisy = Edge { snr: 6.0, ..Edge::default() }.plane();
    assert!(matches!(ask(&noisy), EdgeError::Noisy { .. }), "{:?}", ask(&noisy));
    let wide = Edge { size: 15.0, ..Edge::default() }.plane();
    assert_eq!(ask(&wide), EdgeError::TooWide);
    let mut clipped = Edge::default().plane();
    clipped.saturation = 30000;
    assert!(matches!(ask(&clipped), EdgeError::Clipped { .. }));
    let small = Edge { width: 12, ..Edge::default() }.plane();
    assert_eq!(ask(&small), EdgeError::TooSmall);
    let plane = Edge::default().plane();
    let outside = Region { x: 40, y: 0, width: 40, height: 40 };
    assert_eq!(esfr(&plane, outside, &EdgeSettings::default()), Err(EdgeError::Outside));
    let huge = Region { x: u32::MAX, y: 1, width: u32::MAX, height: 40 };
    assert_eq!(esfr(&plane, huge, &EdgeSettings::default()), Err(EdgeError::Outside));
}

#[test]
fn the_view_says_the_same_in_text_json_and_picture() {
    let plane = Edge { size: 1.5, snr: 100.0, ..Edge::default() }.plane();
    let region = whole(&plane);
    let read = esfr(&plane, region, &EdgeSettings::default()).unwrap();
    let view = tussock::report::EdgeView::new("edge.tif", region, &read, Some(4.0));
    let json = serde_json::to_value(&view).unwrap();
    assert!((json["mtf50_lp_mm"].as_f64().unwrap() - read.mtf50.value * 250.0).abs() < 1e-9);
    let number = format!("{:.4}", read.mtf50.value);
    assert!(view.text().contains(&number));
    let svg = view.chart().unwrap();
    assert!(svg.contains(&number) && svg.starts_with("<svg") && svg.trim_end().ends_with("</svg>"));
}
