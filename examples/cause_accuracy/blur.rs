//! Blurs of known size, put on a picture in linear light.

use std::collections::HashMap;
use std::f64::consts::PI;

use image::Rgb32FImage;
use rayon::prelude::*;

/// What blurs the light of a place, in steps too small to matter, so that each is reckoned once.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
pub enum Blur {
    /// Nothing.
    None,
    /// A disc, diameter in twentieths of a pixel.
    Disc(u32),
    /// A Gaussian, standard deviation in fiftieths of a pixel.
    Gaussian(u32),
    /// An even straight movement: length in twentieths of a pixel, direction in degrees.
    Track(u32, u32),
    /// A circular pupil without aberrations: wavelength times f-number in twentieths of a pixel.
    Airy(u32),
}

impl Blur {
    /// A disc of a diameter, px; one below a third of a pixel changes nothing.
    pub fn disc(diameter: f64) -> Self {
        match (20.0 * diameter.abs()).round() as u32 {
            0..=6 => Self::None,
            steps => Self::Disc(steps),
        }
    }

    /// A Gaussian of a standard deviation, px.
    pub fn gaussian(sigma: f64) -> Self {
        match (50.0 * sigma).round() as u32 {
            0..=5 => Self::None,
            steps => Self::Gaussian(steps),
        }
    }

    /// How far it reaches, px.
    fn reach(self) -> i32 {
        let reach = match self {
            Self::None => 0.0,
            Self::Disc(d) | Self::Track(d, _) => f64::from(d) / 40.0,
            Self::Gaussian(s) => 3.5 * f64::from(s) / 50.0,
            // The fifth dark ring, within which 96 % of the light lies: 1 - J0^2 at the fifth zero of J1.
            Self::Airy(s) => 5.3 * f64::from(s) / 20.0,
        };
        reach.ceil() as i32
    }

    /// Light at a distance from the middle, px; a track is made otherwise.
    fn at(self, x: f64, y: f64) -> f64 {
        let r = x.hypot(y);
        match self {
            Self::None | Self::Track(..) => 0.0,
            Self::Disc(d) => f64::from(u8::from(r <= f64::from(d) / 40.0)),
            Self::Gaussian(s) => (-0.5 * (50.0 * r / f64::from(s)).powi(2)).exp(),
            Self::Airy(s) => {
                let u = PI * r * 20.0 / f64::from(s);
                if u < 1e-6 { 0.25 } else { (bessel(u) / u).powi(2) }
            }
        }
    }

    /// Weights of pixels, row by row from the uppermost.
    fn kernel(self) -> Kernel {
        let mut rows = if let Self::Track(length, degrees) = self {
            track(f64::from(length) / 20.0, f64::from(degrees).to_radians(), self.reach())
        } else {
            spread(&|x, y| self.at(x, y), self.reach())
        };
        let sum: f32 = rows.iter().flatten().sum();
        rows.iter_mut().flatten().for_each(|w| *w /= sum);
        rows
    }
}

/// Weights of pixels about the middle one; as many rows as columns, an odd number.
type Kernel = Vec<Vec<f32>>;

/// Bessel's function of the first kind and order, by its integral.
fn bessel(x: f64) -> f64 {
    const STEPS: i32 = 200;
    (0..STEPS).map(|k| PI * (f64::from(k) + 0.5) / f64::from(STEPS)).map(|t| (t - x * t.sin()).cos()).sum::<f64>()
        / f64::from(STEPS)
}

/// Mean over each pixel, by eight by eight points.
fn spread(light: &dyn Fn(f64, f64) -> f64, half: i32) -> Kernel {
    const FINE: i32 = 8;
    let at = |k: i32| (f64::from(k) + 0.5) / f64::from(FINE) - 0.5;
    let pixel = |x: i32, y: i32| {
        (0..FINE * FINE).map(|k| light(f64::from(x) + at(k % FINE), f64::from(y) + at(k / FINE))).sum::<f64>() as f32
    };
    (-half..=half).map(|y| (-half..=half).map(|x| pixel(x, y)).collect()).collect()
}

/// An even line through the middle, each of its points shared out among the four pixels about it.
fn track(length: f64, angle: f64, half: i32) -> Kernel {
    let side = (2 * half + 3) as usize;
    let mut rows = vec![vec![0.0_f32; side]; side];
    let steps = (20.0 * length) as i32;
    for k in 0..steps {
        let along = length * ((f64::from(k) + 0.5) / f64::from(steps) - 0.5);
        let (x, y) = (along * angle.cos() + f64::from(half + 1), along * angle.sin() + f64::from(half + 1));
        let (i, j) = (x.floor() as usize, y.floor() as usize);
        let (u, v) = ((x - x.floor()) as f32, (y - y.floor()) as f32);
        for (dx, dy, share) in
            [(0, 0, (1.0 - u) * (1.0 - v)), (1, 0, u * (1.0 - v)), (0, 1, (1.0 - u) * v), (1, 1, u * v)]
        {
            rows[(j + dy).min(side - 1)][(i + dx).min(side - 1)] += share;
        }
    }
    rows
}

/// The picture, each of its places blurred as `at` says of its column and row.
pub fn blurred(light: &Rgb32FImage, at: &(dyn Fn(u32, u32) -> Blur + Sync)) -> Rgb32FImage {
    let (width, height) = light.dimensions();
    let mut kernels: HashMap<Blur, Kernel> = HashMap::new();
    for (x, y) in (0..height).flat_map(|y| (0..width).map(move |x| (x, y))) {
        let blur = at(x, y);
        kernels.entry(blur).or_insert_with(|| blur.kernel());
    }
    let inside = |k: i64, most: u32| k.clamp(0, i64::from(most) - 1) as u32;
    let pixel = |x: u32, y: u32| -> [f32; 3] {
        let blur = at(x, y);
        if blur == Blur::None {
            return light.get_pixel(x, y).0;
        }
        let kernel = &kernels[&blur];
        let half = (kernel.len() / 2) as i64;
        let mut sum = [0.0_f32; 3];
        for (dy, weights) in (-half..).zip(kernel) {
            let from = inside(i64::from(y) + dy, height);
            for (dx, weight) in (-half..).zip(weights).filter(|(_, w)| **w > 0.0) {
                let light = light.get_pixel(inside(i64::from(x) + dx, width), from).0;
                (0..3).for_each(|c| sum[c] += weight * light[c]);
            }
        }
        sum
    };
    let row = |y: u32| (0..width).flat_map(|x| pixel(x, y)).collect::<Vec<f32>>();
    let data: Vec<f32> = (0..height).into_par_iter().flat_map_iter(row).collect();
    Rgb32FImage::from_raw(width, height, data).expect("three numbers a pixel")
}
