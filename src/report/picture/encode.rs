//! Pixels to JPEG bytes.

use image::{GrayImage, Pixel as _, RgbImage};
use jpeg_encoder::{ColorType, Encoder, SamplingFactor};

/// JPEG qualities of small pictures, and of what is judged at 1:1.
pub(in crate::report) const SMALL: u8 = 84;
pub(in crate::report) const ONE_TO_ONE: u8 = 93;

/// One encoded picture.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Picture {
    /// Width, px.
    pub width: u32,
    /// Height, px.
    pub height: u32,
    /// JPEG bytes; empty where the picture could not be encoded.
    pub jpeg: Vec<u8>,
}

/// Pixels as they are to be encoded.
pub(in crate::report) enum Raster {
    Grey(GrayImage),
    Colour(RgbImage),
}

impl Raster {
    pub(in crate::report) fn size(&self) -> (u32, u32) {
        match self {
            Self::Grey(picture) => picture.dimensions(),
            Self::Colour(picture) => picture.dimensions(),
        }
    }

    pub(in crate::report) fn coloured(self) -> RgbImage {
        match self {
            Self::Colour(picture) => picture,
            Self::Grey(grey) => RgbImage::from_fn(grey.width(), grey.height(), |x, y| grey.get_pixel(x, y).to_rgb()),
        }
    }
}

/// A picture as JPEG of a quality from 1 to 100, as the reference encoder of the format counts it. Colour is kept for every
/// second pixel either way, as cameras keep it; light, which is what sharpness is judged by, for each.
pub(in crate::report) fn encode(raster: &Raster, quality: u8) -> Picture {
    match raster {
        Raster::Colour(picture) => encoded(picture.as_raw(), picture.dimensions(), ColorType::Rgb, quality),
        Raster::Grey(picture) => encoded(picture.as_raw(), picture.dimensions(), ColorType::Luma, quality),
    }
}

fn encoded(samples: &[u8], (width, height): (u32, u32), kind: ColorType, quality: u8) -> Picture {
    // Sides beyond 65,535 px have no JPEG; the page then does without.
    let (Ok(wide), Ok(high)) = (u16::try_from(width), u16::try_from(height)) else { return Picture::default() };
    let mut jpeg = Vec::new();
    let mut encoder = Encoder::new(&mut jpeg, quality);
    encoder.set_sampling_factor(SamplingFactor::F_2_2);
    match encoder.encode(samples, wide, high, kind) {
        Ok(()) => Picture { width, height, jpeg },
        Err(_) => Picture::default(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_independent_decoder_reads_what_is_written() {
        let at = |x: u32, y: u32| (128.0 + 80.0 * (f64::from(x) / 9.0).sin() * (f64::from(y) / 7.0).cos()) as u8;
        for (width, height) in [(1, 1), (17, 33), (640, 48)] {
            let picture = RgbImage::from_fn(width, height, |x, y| image::Rgb([at(x, y), 90, at(y, x)]));
            let back =
                image::load_from_memory(&encode(&Raster::Colour(picture.clone()), ONE_TO_ONE).jpeg).unwrap().to_rgb8();
            assert_eq!(back.dimensions(), (width, height));
            // Luma of ITU-T T.871.
            let luma =
                |p: &image::Rgb<u8>| 0.299 * f64::from(p.0[0]) + 0.587 * f64::from(p.0[1]) + 0.114 * f64::from(p.0[2]);
            let most = picture.pixels().zip(back.pixels()).map(|(a, b)| (luma(a) - luma(b)).abs()).fold(0.0, f64::max);
            assert!(most < 4.0, "{width} x {height}: {most}");
            let grey = GrayImage::from_fn(width, height, |x, y| image::Luma([at(x, y)]));
            let back =
                image::load_from_memory(&encode(&Raster::Grey(grey.clone()), ONE_TO_ONE).jpeg).unwrap().to_luma8();
            assert!(grey.pixels().zip(back.pixels()).all(|(a, b)| a.0[0].abs_diff(b.0[0]) < 5), "{width} x {height}");
        }
        assert_eq!(encode(&Raster::Grey(GrayImage::new(70_000, 1)), SMALL), Picture::default());
    }
}
