//! Pictures written as files: as a camera develops them, and as a sensor records them.

use std::fs::File;
use std::io::BufWriter;
use std::path::Path;

use image::codecs::jpeg::JpegEncoder;
use image::{Rgb, Rgb32FImage, RgbImage, imageops};
use tussock::simulate::file::{Facts, Light, Recording, dng};
use tussock::simulate::sensor::Noise;

/// As a camera develops it: noise of a signal to noise of 25 to 80 at middle grey, and an unsharp mask of up to all of what a
/// Gaussian of one pixel takes away.
pub fn developed(light: &Rgb32FImage, random: &mut fastrand::Rng) -> Rgb32FImage {
    let (noise, mask) = (1.0 / (25.0 + 55.0 * random.f32()), random.f32());
    let mut out = light.clone();
    for value in out.iter_mut() {
        // The sum of twelve even numbers is near enough to a normal one.
        let normal = (0..12).map(|_| random.f32()).sum::<f32>() - 6.0;
        *value = tone((*value + normal * noise * (0.18 * value.max(1e-4)).sqrt()).max(0.0));
    }
    let smooth = imageops::blur(&out, 1.0);
    out.iter_mut().zip(smooth.iter()).for_each(|(v, s)| *v += mask * (*v - s));
    out
}

/// As a sensor records it, behind a lens of 24 mm at an f-number and with pixels of a pitch, um.
pub fn recorded(light: &Rgb32FImage, (f_number, pitch_um): (f64, f64), seed: u64) -> Vec<u8> {
    let of = |weights: [f32; 3]| -> Vec<f32> {
        light.pixels().map(|p| p.0.iter().zip(weights).map(|(v, w)| v * w).sum()).collect()
    };
    // Rec. ITU-R BT.709.
    let (red, green, blue) = (0.2126, 0.7152, 0.0722);
    let chroma = [of([1.0 - red, -green, -blue]), of([-red, -green, 1.0 - blue])];
    let (width, height) = (light.width() as usize, light.height() as usize);
    let light = Light { width, height, luminance: &of([red, green, blue]), chroma: Some(&chroma) };
    let facts = Facts {
        f_number,
        focal_mm: 24.0,
        pitch_um,
        crop: 36.0 / (1e-3 * pitch_um * width.max(height) as f64),
        focus_m: None,
        exposure_s: (1, 125),
        iso: 200,
        date: "2026:03:14 06:52:10".to_owned(),
    };
    let noise = Noise::at_snr(50.0, 0.18);
    dng(&light, &facts, &Recording { bits: 14, red_blue: (0.52, 0.61), noise, seed })
}

pub fn rendered(mut light: Rgb32FImage) -> Rgb32FImage {
    light.iter_mut().for_each(|v| *v = tone(*v));
    light
}

fn tone(light: f32) -> f32 {
    light.clamp(0.0, 1.0).powf(1.0 / 2.2)
}

pub fn save(tones: &Rgb32FImage, to: &Path, quality: u8) -> anyhow::Result<()> {
    let codes = |p: &Rgb<f32>| Rgb(p.0.map(|v| (255.0 * v.clamp(0.0, 1.0)).round() as u8));
    let picture = RgbImage::from_fn(tones.width(), tones.height(), |x, y| codes(tones.get_pixel(x, y)));
    Ok(JpegEncoder::new_with_quality(BufWriter::new(File::create(to)?), quality).encode_image(&picture)?)
}
