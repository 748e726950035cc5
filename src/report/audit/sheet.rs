//! One picture for all that is shown of a frame: the whole in small at the top left, the patches at 1:1 below it.
//!
//! A file a picture makes fourteen of a frame, and a hundred thousand of a long journey.

use image::{GrayImage, Pixel, RgbImage};

use super::spots::Spot;
use crate::report::picture::{Picture, Raster};

/// Every part begins at a multiple of this many px, so that no block of the encoder (8 px) holds pixels of two parts.
const STEP: u32 = 16;

/// What is shown of a frame, in one picture.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Sheet {
    /// All of it.
    pub picture: Picture,
    /// Width and height of the whole frame in small, which lies at the top left, px.
    pub overview: (u32, u32),
    /// The patches at 1:1, one a spot, and where each begins on the sheet, px.
    pub patches: Vec<(Spot, (u32, u32))>,
}

/// Lays out a sheet and hands its pixels to the encoder.
pub(super) fn sheet(overview: Raster, patches: Vec<(Spot, Raster)>, encode: impl Fn(&Raster) -> Picture) -> Sheet {
    let whole = overview.size();
    let even = |n: u32| n.div_ceil(STEP) * STEP;
    let cell = patches.iter().map(|(_, p)| p.size()).fold((1, 1), |m, s| (m.0.max(even(s.0)), m.1.max(even(s.1))));
    let across = (whole.0 / cell.0).max(2).min(patches.len().max(1) as u32);
    let place = |k: usize| (k as u32 % across * cell.0, even(whole.1) + k as u32 / across * cell.1);
    let rows = (patches.len() as u32).div_ceil(across);
    let size = if rows == 0 { whole } else { (whole.0.max(across * cell.0), even(whole.1) + rows * cell.1) };
    let grey = std::iter::once(&overview).chain(patches.iter().map(|p| &p.1)).all(|p| matches!(p, Raster::Grey(_)));
    let (spots, rasters): (Vec<Spot>, Vec<Raster>) = patches.into_iter().unzip();
    let places: Vec<(u32, u32)> = (0..spots.len()).map(place).collect();
    let parts = std::iter::once((overview, (0, 0))).chain(rasters.into_iter().zip(places.iter().copied()));
    let laid = if grey {
        let mut canvas = GrayImage::from_pixel(size.0, size.1, image::Luma([128]));
        for (part, at) in parts {
            if let Raster::Grey(part) = part {
                lay(&mut canvas, &part, at);
            }
        }
        Raster::Grey(canvas)
    } else {
        let mut canvas = RgbImage::from_pixel(size.0, size.1, image::Rgb([128; 3]));
        parts.for_each(|(part, at)| lay(&mut canvas, &part.coloured(), at));
        Raster::Colour(canvas)
    };
    Sheet { picture: encode(&laid), overview: whole, patches: spots.into_iter().zip(places).collect() }
}

/// Lays a part on the sheet; its last column and row go on to the next part, so that blocks at its rim hold nothing else.
fn lay<P: Pixel<Subpixel = u8>>(
    canvas: &mut image::ImageBuffer<P, Vec<u8>>,
    part: &image::ImageBuffer<P, Vec<u8>>,
    at: (u32, u32),
) {
    let (width, height) = part.dimensions();
    let channels = usize::from(P::CHANNEL_COUNT);
    let right = (at.0 + width.div_ceil(STEP) * STEP).min(canvas.width());
    let bottom = (at.1 + height.div_ceil(STEP) * STEP).min(canvas.height());
    let (stride, wide) = (canvas.width() as usize * channels, width as usize * channels);
    for y in at.1..bottom {
        let from = &part.as_raw()[(y - at.1).min(height - 1) as usize * wide..][..wide];
        let (start, end) = (at.0 as usize * channels, right as usize * channels);
        let to = &mut canvas.as_mut()[y as usize * stride..][start..end];
        to[..wide].copy_from_slice(from);
        let (copied, beyond) = to.split_at_mut(wide);
        beyond.chunks_exact_mut(channels).for_each(|pixel| pixel.copy_from_slice(&copied[wide - channels..]));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::Region;
    use crate::report::SpotName;

    #[test]
    fn parts_keep_their_pixels_and_never_overlap() {
        let spot = |w, h| Spot { name: SpotName::Near, region: Region { x: 0, y: 0, width: w, height: h }, tile: None };
        for (w, h, pw, ph, n) in
            [(1440, 960, 400, 256, 8), (300, 200, 290, 190, 6), (33, 1440, 20, 256, 3), (64, 64, 1, 1, 0)]
        {
            let part =
                |k: u8, w, h| Raster::Grey(GrayImage::from_fn(w, h, |x, y| image::Luma([(x * 3 + y * 5) as u8 ^ k])));
            let patches = (0..n).map(|k| (spot(pw, ph), part(k, pw, ph))).collect();
            let canvas = std::cell::RefCell::new(GrayImage::new(1, 1));
            let laid = sheet(part(99, w, h), patches, |r| {
                if let Raster::Grey(g) = r {
                    canvas.replace(g.clone());
                }
                Picture::default()
            });
            let canvas = canvas.into_inner();
            let mut taken = std::collections::HashSet::new();
            let parts = laid.patches.iter().map(|p| (p.1, (pw, ph)));
            for (k, (at, size)) in std::iter::once(((0, 0), (w, h))).chain(parts).enumerate() {
                let Raster::Grey(wanted) = part(if k == 0 { 99 } else { k as u8 - 1 }, size.0, size.1) else {
                    continue;
                };
                for (x, y, pixel) in wanted.enumerate_pixels() {
                    assert_eq!(canvas.get_pixel(at.0 + x, at.1 + y), pixel, "part {k} at {x}, {y}");
                    assert!(taken.insert((at.0 + x, at.1 + y)));
                }
                assert_eq!((at.0 % STEP, at.1 % STEP), (0, 0));
            }
        }
    }
}
