//! Frames as an editor exports them: made smaller, sharpened, through a tone curve, to JPEG and back.

use image::codecs::jpeg::JpegEncoder;
use image::imageops::{self, FilterType};
use image::{GrayImage, ImageBuffer, Luma};
use tussock::intake::{self, Overrides};
use tussock::shot::Plane;
use tussock::simulate::Noise;
use tussock::simulate::sensor::{expose, to_srgb};

use super::number;

/// By how much exported frames are made smaller: REDUCE (2, or 1.5), 1 for none, which leaves frames as they are.
pub fn reduced() -> f64 {
    std::env::var("REDUCE").ok().and_then(|c| c.parse().ok()).unwrap_or(1.0)
}

/// The frame as exported; SHARPEN is the strength of the sharpening in hundredths (0.7 px wide), QUALITY that of the JPEG file,
/// CURVE the strength of an S-curve in hundredths.
pub fn export(plane: &Plane, name: &str) -> Plane {
    let by = reduced();
    if by < 1.01 {
        return plane.clone();
    }
    let (w, h) = (plane.width as u32, plane.height as u32);
    let size = ((f64::from(w) / by).round() as u32, (f64::from(h) / by).round() as u32);
    let small = imageops::resize(&levels(plane), size.0, size.1, FilterType::Lanczos3);
    let soft = imageops::blur(&small, 0.7);
    let strength = number("SHARPEN", 0) as f32 / 100.0;
    let curve = number("CURVE", 0) as f32 / 100.0;
    let grey = GrayImage::from_fn(size.0, size.1, |x, y| {
        let (own, around) = (small.get_pixel(x, y)[0], soft.get_pixel(x, y)[0]);
        let v = (own + strength * (own - around)).clamp(0.0, 1.0);
        // An S-curve, as cameras lay over their pictures.
        let v = v + curve * v * (1.0 - v) * (2.0 * v - 1.0);
        Luma([(v * 255.0).round().clamp(0.0, 255.0) as u8])
    });
    let file = std::env::temp_dir().join(format!("{name}-{}.jpg", std::process::id()));
    let mut bytes = Vec::new();
    let quality = number("QUALITY", 92) as u8;
    let read = grey
        .write_with_encoder(JpegEncoder::new_with_quality(&mut bytes, quality))
        .map_err(anyhow::Error::from)
        .and_then(|()| Ok(std::fs::write(&file, &bytes)?))
        .and_then(|()| Ok(intake::read(&file, &Overrides::default())?.plane));
    let _ = std::fs::remove_file(&file);
    read.unwrap_or_else(|e| {
        eprintln!("{e}");
        plane.clone()
    })
}

/// The frame made smaller by a ratio of whole numbers, as light.
pub fn by(plane: &Plane, from: u32, to: u32) -> Plane {
    let (w, h) = (plane.width as u32 * to / from, plane.height as u32 * to / from);
    let light: ImageBuffer<Luma<f32>, Vec<f32>> =
        ImageBuffer::from_fn(plane.width as u32, plane.height as u32, |x, y| {
            Luma([plane.luminance(x as usize, y as usize)])
        });
    let small = imageops::resize(&light, w, h, FilterType::Lanczos3);
    let data: Vec<f32> = small.pixels().map(|p| p[0]).collect();
    expose(&data, w as usize, h as usize, Noise::NONE, 0)
}

/// Levels as a screen shows them, 0 to 1.
fn levels(plane: &Plane) -> ImageBuffer<Luma<f32>, Vec<f32>> {
    let level = |x: u32, y: u32| Luma([to_srgb(plane.luminance(x as usize, y as usize))]);
    ImageBuffer::from_fn(plane.width as u32, plane.height as u32, level)
}
