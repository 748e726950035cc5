//! Pixels of a frame as they are shown: small, or a region at 1:1, in colour where there is any, unsharpened.

use base64::Engine as _;
use image::{GrayImage, RgbImage, imageops};
use multiversion::multiversion;

use super::encode::{ONE_TO_ONE, Picture, Raster, SMALL, encode};
use super::hue;
use crate::quantity::{Region, srgb};
use crate::shot::{Plane, Tint};

/// Pixels to make pictures from.
#[derive(Clone, Copy, Debug)]
pub struct Pixels<'a> {
    /// The linear luminance that was measured, upright.
    pub plane: &'a Plane,
    /// The upright picture in colour, where there is one. Crops come from it if it has the plane's size; else their
    /// detail comes from the very samples that were measured, and only their hue from here.
    pub colour: Option<&'a RgbImage>,
    /// Its colours at a coarse step, which are laid over the plane's own samples where there is no `colour`.
    pub tint: Option<&'a Tint>,
}

/// A region at 1:1, in colour where there is any.
pub(in crate::report) fn patch(pixels: &Pixels<'_>, tone: &Tone, r: Region) -> Picture {
    encode(&at_one(pixels, tone, r), ONE_TO_ONE)
}

/// Likewise, not yet encoded.
pub(in crate::report) fn at_one(pixels: &Pixels<'_>, tone: &Tone, r: Region) -> Raster {
    let plane = pixels.plane;
    let size = (plane.width as u32, plane.height as u32);
    match (pixels.colour, pixels.tint) {
        (Some(colour), _) if colour.dimensions() == size => {
            Raster::Colour(imageops::crop_imm(colour, r.x, r.y, r.width, r.height).to_image())
        }
        (Some(colour), _) => match hue::coloured(plane, colour, r) {
            Some(picture) => Raster::Colour(picture),
            None => Raster::Grey(cropped(plane, tone, r)),
        },
        (None, Some(tint)) => Raster::Colour(tinted(&cropped(plane, tone, r), tint, r)),
        (None, None) => Raster::Grey(cropped(plane, tone, r)),
    }
}

/// Linear levels to 8-bit display levels: a gain that brings the brightest hundredth near white, then the
/// sRGB transfer curve (IEC 61966-2-1). No sharpening and no local contrast, which would change what is judged.
pub(in crate::report) struct Tone {
    table: Vec<u8>,
}

impl Tone {
    pub(in crate::report) fn of(plane: &Plane) -> Self {
        let range = f64::from(plane.range()).max(1.0);
        if plane.rendered {
            return Self::with(plane, 1.0, range);
        }
        let mut histogram = vec![0u32; 65_536];
        // Every 7th sample is plenty for a percentile and shares no factor with common widths.
        for &v in plane.data.iter().step_by(7) {
            histogram[usize::from(v)] += 1;
        }
        let total: u64 = histogram.iter().map(|&n| u64::from(n)).sum();
        let mut above = 0u64;
        let bright = (0..histogram.len())
            .rev()
            .find(|&v| {
                above += u64::from(histogram[v]);
                above * 100 > total
            })
            .unwrap_or(usize::from(plane.white));
        let bright = ((bright as f64 - f64::from(plane.black)) / range).max(1e-3);
        Self::with(plane, (0.85 / bright).clamp(1.0, 64.0), range)
    }

    fn with(plane: &Plane, gain: f64, range: f64) -> Self {
        let table =
            (0..=u16::MAX).map(|v| srgb::f64::byte(gain * (f64::from(v) - f64::from(plane.black)) / range)).collect();
        Self { table }
    }

    fn show(&self, level: u16) -> u8 {
        self.table[usize::from(level)]
    }
}

fn cropped(plane: &Plane, tone: &Tone, r: Region) -> GrayImage {
    GrayImage::from_fn(r.width, r.height, |x, y| {
        image::Luma([tone.show(plane.row((r.y + y) as usize)[(r.x + x) as usize])])
    })
}

/// The whole frame with a long side of so many px, in colour where there is any.
pub(in crate::report) fn small(pixels: &Pixels<'_>, tone: &Tone, long: u32) -> Raster {
    let plane = pixels.plane;
    let (width, height) = (plane.width as u32, plane.height as u32);
    let (w, h) = fit(width, height, long);
    match (pixels.colour, pixels.tint) {
        (Some(colour), _) => Raster::Colour(imageops::thumbnail(colour, w, h)),
        (None, Some(tint)) => {
            let whole = Region { x: 0, y: 0, width, height };
            Raster::Colour(tinted(&shrunk(plane, tone, w, h), tint, whole))
        }
        (None, None) => Raster::Grey(shrunk(plane, tone, w, h)),
    }
}

/// Likewise in grey, encoded.
pub(in crate::report) fn overview(plane: &Plane, tone: &Tone, long: u32) -> Picture {
    let (w, h) = fit(plane.width as u32, plane.height as u32, long);
    encode(&Raster::Grey(shrunk(plane, tone, w, h)), SMALL)
}

/// Area average of the linear levels, which is what a smaller sensor would have seen.
fn shrunk(plane: &Plane, tone: &Tone, width: u32, height: u32) -> GrayImage {
    let edge = |i: u32, n: u32, size: usize| (u64::from(i) * size as u64 / u64::from(n)) as usize;
    let mut out = GrayImage::new(width, height);
    let mut columns = vec![0_u32; plane.width];
    for (y, line) in (0..height).zip(out.chunks_exact_mut(width as usize)) {
        let rows = edge(y, height, plane.height)..edge(y + 1, height, plane.height);
        // As many rows of 16 bits as 32 bits hold the sum of; only a picture that is nearly a line has more.
        let step = rows.len().div_ceil(1 << 16).max(1);
        let tall = rows.len().div_ceil(step);
        columns.fill(0);
        for row in rows.step_by(step) {
            add(&mut columns, plane.row(row));
        }
        for (x, level) in (0..width).zip(line) {
            let some = &columns[edge(x, width, plane.width)..edge(x + 1, width, plane.width)];
            let sum: u64 = some.iter().map(|&v| u64::from(v)).sum();
            *level = tone.show(sum.checked_div((some.len() * tall) as u64).unwrap_or(0) as u16);
        }
    }
    out
}

/// A grey picture of a region with the colours there (ITU-T T.871, clause 7).
fn tinted(grey: &GrayImage, tint: &Tint, region: Region) -> RgbImage {
    let (width, height) = grey.dimensions();
    let mut out = RgbImage::new(width, height);
    let (across, down) = (region.width as f32 / width as f32, region.height as f32 / height as f32);
    let mut colours = vec![[0.0_f32; 2]; width as usize];
    let places = tint.across(region.x as f32 + 0.5 * across, across, width as usize);
    let wide = width as usize;
    for (y, (line, grey)) in out.chunks_exact_mut(3 * wide).zip(grey.chunks_exact(wide)).enumerate() {
        let middle = region.y as f32 + (y as f32 + 0.5) * down;
        tint.row(middle, &places, &mut colours);
        paint(line, grey, &colours);
    }
    out
}

/// The colours of a row from its light and its colour differences.
#[multiversion(targets("x86_64+avx2"))]
fn paint(line: &mut [u8], grey: &[u8], differences: &[[f32; 2]]) {
    for ((pixel, &luma), &[cb, cr]) in line.chunks_exact_mut(3).zip(grey).zip(differences) {
        let luma = f32::from(luma) + 0.5;
        pixel[0] = (luma + 1.402 * cr) as u8;
        pixel[1] = (luma - 0.344_136 * cb - 0.714_136 * cr) as u8;
        pixel[2] = (luma + 1.772 * cb) as u8;
    }
}

#[multiversion(targets("x86_64+avx2"))]
fn add(sums: &mut [u32], row: &[u16]) {
    sums.iter_mut().zip(row).for_each(|(sum, &v)| *sum += u32::from(v));
}

/// Width and height made so small that the longer is at most `long`; never enlarged.
pub(in crate::report) fn fit(width: u32, height: u32, long: u32) -> (u32, u32) {
    let side = width.max(height);
    if side <= long {
        return (width, height);
    }
    let scaled = |n: u32| (u64::from(n) * u64::from(long)).div_ceil(u64::from(side)).max(1) as u32;
    (scaled(width), scaled(height))
}

/// Bytes as a `data:` URI.
pub(in crate::report) fn data_uri(kind: &str, bytes: &[u8]) -> String {
    format!("data:{kind};base64,{}", base64::engine::general_purpose::STANDARD.encode(bytes))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn small_pictures_keep_their_shape_and_are_never_enlarged() {
        assert_eq!(fit(6000, 4000, 1440), (1440, 960));
        assert_eq!(fit(4000, 6000, 384), (256, 384));
        assert_eq!(fit(100, 50, 384), (100, 50));
        assert_eq!(fit(60_000, 1, 384), (384, 1));
    }
}
