//! Hue: a crop in colour where colour is known only at another size: detail from the measured samples, hue from the
//! smaller picture.

use image::{Rgb, RgbImage};

use crate::quantity::{Region, srgb};
use crate::shot::{Mosaic, Plane};

/// How far the shapes of plane and colour picture may differ, share.
const SHAPE: f64 = 0.02;

/// What a region of the plane looks like in the colours of a picture of another size; `None` where the two can't be of one
/// picture.
///
/// Each pixel is the colour of its neighbourhood times the ratio of the pixel's own light to that of its neighbourhood: the
/// same hue throughout a neighbourhood of a few pixels, as all reconstructions of mosaics take it. Nothing is sharpened.
pub(in crate::report) fn coloured(plane: &Plane, colour: &RgbImage, r: Region) -> Option<RgbImage> {
    let (across, down) = (
        plane.width as f64 / f64::from(colour.width().max(1)),
        plane.height as f64 / f64::from(colour.height().max(1)),
    );
    let alike = colour.width() > 1 && colour.height() > 1 && (across / down - 1.0).abs() < SHAPE;
    if !alike || across < 1.0 {
        return None;
    }
    let light = lights();
    let lows = Lows::of(plane, colour, r, (across, down));
    Some(RgbImage::from_fn(r.width, r.height, |x, y| {
        let here = level(plane, (r.x + x) as usize, (r.y + y) as usize) - f64::from(plane.black);
        let at = (
            (f64::from(r.x + x) + 0.5) / across - 0.5 - f64::from(lows.x),
            (f64::from(r.y + y) + 0.5) / down - 0.5 - f64::from(lows.y),
        );
        let (around, hue) = lows.at(at, &light);
        // Noise about black must not blow up, nor a clipped neighbourhood darken what is clipped.
        let ratio = if around > 0.0 { (here.max(0.0) / around).min(6.0) } else { 1.0 };
        Rgb(hue.map(|v| srgb::f64::byte(v * ratio)))
    }))
}

/// The level at a site; one that was filled in stays between the measured ones beside it. Where a colour clips, what is
/// filled in by its gradient swings past them from site to site, and edges would show a dotted line.
fn level(plane: &Plane, x: usize, y: usize) -> f64 {
    let value = f64::from(plane.row(y)[x]);
    match plane.mosaic {
        Mosaic::Checkerboard { even } if (x + y).is_multiple_of(2) != even => {
            let beside = [
                (y > 0).then(|| plane.row(y - 1)[x]),
                (y + 1 < plane.height).then(|| plane.row(y + 1)[x]),
                (x > 0).then(|| plane.row(y)[x - 1]),
                plane.row(y).get(x + 1).copied(),
            ];
            let known = || beside.iter().flatten().map(|&v| f64::from(v));
            value.clamp(known().fold(f64::INFINITY, f64::min).min(65535.0), known().fold(0.0, f64::max))
        }
        _ => value,
    }
}

/// The part of the colour picture under a region, with the plane's mean light at each of its pixels.
struct Lows<'a> {
    colour: &'a RgbImage,
    x: u32,
    y: u32,
    width: u32,
    height: u32,
    means: Vec<f64>,
}

impl<'a> Lows<'a> {
    fn of(plane: &Plane, colour: &'a RgbImage, r: Region, (across, down): (f64, f64)) -> Self {
        let x = ((f64::from(r.x) / across) as u32).saturating_sub(1);
        let y = ((f64::from(r.y) / down) as u32).saturating_sub(1);
        let right = ((f64::from(r.x + r.width) / across) as u32 + 2).min(colour.width());
        let bottom = ((f64::from(r.y + r.height) / down) as u32 + 2).min(colour.height());
        let (x, y) = (x.min(colour.width() - 2), y.min(colour.height() - 2));
        let (width, height) = (right.saturating_sub(x).max(2), bottom.saturating_sub(y).max(2));
        let edge = |i: u32, step: f64, most: usize| ((f64::from(i) * step) as usize).min(most - 1);
        let mean = |i: u32, j: u32| {
            let (x0, y0) = (edge(i, across, plane.width), edge(j, down, plane.height));
            let (x1, y1) = (edge(i + 1, across, plane.width + 1).max(x0 + 1), edge(j + 1, down, plane.height + 1));
            let rows = y0..y1.max(y0 + 1);
            let count = (rows.len() * (x1 - x0)) as f64;
            let sum: f64 = rows.flat_map(|row| &plane.row(row)[x0..x1]).map(|&v| f64::from(v)).sum();
            sum / count - f64::from(plane.black)
        };
        let means =
            (y..y + height).flat_map(|j| (x..x + width).map(move |i| (i, j))).map(|(i, j)| mean(i, j)).collect();
        Self { colour, x, y, width, height, means }
    }

    /// Mean light and linear colour at a place between the pixels' centres.
    fn at(&self, (x, y): (f64, f64), light: &[f64; 256]) -> (f64, [f64; 3]) {
        let (x, y) = (x.clamp(0.0, f64::from(self.width - 1)), y.clamp(0.0, f64::from(self.height - 1)));
        let (i, j) = ((x as u32).min(self.width - 2), (y as u32).min(self.height - 2));
        let (fx, fy) = (x - f64::from(i), y - f64::from(j));
        let (mut mean, mut hue) = (0.0, [0.0; 3]);
        for (di, dj, share) in
            [(0, 0, (1.0 - fx) * (1.0 - fy)), (1, 0, fx * (1.0 - fy)), (0, 1, (1.0 - fx) * fy), (1, 1, fx * fy)]
        {
            mean += share * self.means[((j + dj) * self.width + i + di) as usize];
            let pixel = self.colour.get_pixel(self.x + i + di, self.y + j + dj);
            for (sum, v) in hue.iter_mut().zip(pixel.0) {
                *sum += share * light[usize::from(v)];
            }
        }
        (mean, hue)
    }
}

/// Linear light of each code of sRGB (IEC 61966-2-1).
fn lights() -> [f64; 256] {
    std::array::from_fn(|i| srgb::f64::light(i as f64 / 255.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn plane(width: usize, height: usize, light: impl Fn(usize, usize) -> f64) -> Plane {
        let data = (0..width * height).map(|i| 100 + (light(i % width, i / width) * 10_000.0) as u16).collect();
        Plane { black: 100, ..Plane::plain(width, height, data, 10_100) }
    }

    #[test]
    fn an_even_surface_keeps_its_colour_and_detail_comes_from_the_plane() {
        let colour = RgbImage::from_pixel(50, 40, Rgb([180, 120, 60]));
        let whole = Region { x: 10, y: 20, width: 60, height: 40 };
        let even = coloured(&plane(100, 80, |_, _| 0.3), &colour, whole).unwrap();
        assert!(even.pixels().all(|p| p.0.iter().zip([180, 120, 60]).all(|(a, b)| a.abs_diff(b) <= 1)));
        // Stripes one pixel wide, finer than the colour picture can hold, stand at full contrast.
        let fine = coloured(&plane(100, 80, |x, _| if x % 2 == 0 { 0.4 } else { 0.2 }), &colour, whole).unwrap();
        let light = lights();
        let (a, b) = (fine.get_pixel(20, 20).0, fine.get_pixel(21, 20).0);
        for c in 0..3 {
            let ratio = light[usize::from(a[c])] / light[usize::from(b[c])];
            assert!((ratio - 2.0).abs() < 0.1, "channel {c}: {ratio}");
        }
    }

    #[test]
    fn a_picture_of_another_shape_is_not_taken_for_the_same() {
        let r = Region { x: 0, y: 0, width: 10, height: 10 };
        assert!(coloured(&plane(100, 80, |_, _| 0.3), &RgbImage::new(50, 50), r).is_none());
        assert!(coloured(&plane(100, 80, |_, _| 0.3), &RgbImage::new(1, 1), r).is_none());
        let odd = coloured(
            &plane(101, 81, |_, _| 0.3),
            &RgbImage::new(50, 40),
            Region { x: 91, y: 71, width: 10, height: 10 },
        );
        assert!(odd.is_some());
    }
}
