//! Frames as an editor exports them: made smaller, sharpened, through a tone curve, to JPEG and back.

use image::codecs::jpeg::JpegEncoder;
use image::imageops::{self, FilterType};
use image::{GrayImage, ImageBuffer, Luma};
use tussock::intake::{self, Overrides};
use tussock::shot::Plane;
use tussock::simulate::sensor::to_srgb;

use super::number;

/// By how much exported frames are made smaller: REDUCE, 1 for none, which leaves frames as they are.
pub fn reduced() -> usize {
    number("REDUCE", 1)
}

/// The frame as exported, reduced by a whole factor; SHARPEN is the strength of the sharpening in hundredths (0.7 px wide),
/// QUALITY that of the JPEG file.
pub fn export(plane: &Plane, name: &str) -> Plane {
    let by = reduced() as u32;
    if by < 2 {
        return plane.clone();
    }
    let (w, h) = (plane.width as u32, plane.height as u32);
    let level = |x: u32, y: u32| Luma([to_srgb(plane.luminance(x as usize, y as usize))]);
    let whole: ImageBuffer<Luma<f32>, Vec<f32>> = ImageBuffer::from_fn(w, h, level);
    let small = imageops::resize(&whole, w / by, h / by, FilterType::Lanczos3);
    let soft = imageops::blur(&small, 0.7);
    let strength = number("SHARPEN", 0) as f32 / 100.0;
    let grey = GrayImage::from_fn(w / by, h / by, |x, y| {
        let (own, around) = (small.get_pixel(x, y)[0], soft.get_pixel(x, y)[0]);
        Luma([((own + strength * (own - around)) * 255.0).round().clamp(0.0, 255.0) as u8])
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
