//! The encoder of the page's pictures beside that of the `image` library: `cargo run --release --example jpeg_speed -- PICTURE...`.
//!
//! Of each picture a part of at most 1600 x 1200 px is encoded, nine times each way; printed are the fastest time, the size, and
//! how near light and colour come to the original (peak signal to noise, dB).

use std::time::Instant;

use anyhow::Context as _;
use image::codecs::jpeg::JpegEncoder;
use image::{ImageEncoder as _, RgbImage};
use jpeg_encoder::{ColorType, Encoder, SamplingFactor};

const TIMES: usize = 9;

fn main() -> anyhow::Result<()> {
    for path in std::env::args_os().skip(1) {
        let whole = image::open(&path).with_context(|| format!("cannot read {}", path.display()))?.to_rgb8();
        let (w, h) = (1600.min(whole.width()), 1200.min(whole.height()));
        let at = ((whole.width() - w) / 2, (whole.height() - h) / 2);
        let part = image::imageops::crop_imm(&whole, at.0, at.1, w, h).to_image();
        for quality in [84, 93] {
            report("image", quality, &part, &|| library(&part, quality));
            for (name, kept) in [("every colour", SamplingFactor::F_1_1), ("as written", SamplingFactor::F_2_2)] {
                report(name, quality, &part, &|| ours(&part, quality, kept));
            }
        }
    }
    Ok(())
}

fn library(part: &RgbImage, quality: u8) -> anyhow::Result<Vec<u8>> {
    let mut out = Vec::new();
    let encoder = JpegEncoder::new_with_quality(&mut out, quality);
    encoder.write_image(part, part.width(), part.height(), image::ExtendedColorType::Rgb8)?;
    Ok(out)
}

fn ours(part: &RgbImage, quality: u8, kept: SamplingFactor) -> anyhow::Result<Vec<u8>> {
    let mut out = Vec::new();
    let mut encoder = Encoder::new(&mut out, quality);
    encoder.set_sampling_factor(kept);
    encoder.encode(part, u16::try_from(part.width())?, u16::try_from(part.height())?, ColorType::Rgb)?;
    Ok(out)
}

fn report(name: &str, quality: u8, part: &RgbImage, encode: &dyn Fn() -> anyhow::Result<Vec<u8>>) {
    let megapixels = f64::from(part.width()) * f64::from(part.height()) / 1e6;
    let timed = (0..TIMES).map(|_| {
        let start = Instant::now();
        encode().map(|made| (start.elapsed().as_secs_f64(), made))
    });
    let said = timed.collect::<anyhow::Result<Vec<_>>>().and_then(|made| {
        let (seconds, bytes) = made.into_iter().min_by(|a, b| a.0.total_cmp(&b.0)).context("nothing was timed")?;
        let back = image::load_from_memory(&bytes)?.to_rgb8();
        let (light, colour) = nearness(part, &back);
        Ok(format!(
            "{:5.1} ms/MP, {:6.3} bytes a pixel, light {light:.2} dB, colour {colour:.2} dB",
            1e3 * seconds / megapixels,
            bytes.len() as f64 / 1e6 / megapixels
        ))
    });
    tussock::output::print(&format!("quality {quality}, {name}: {}\n", said.unwrap_or_else(|e| e.to_string())));
}

/// Peak signal to noise of luma and of the two colour differences (ITU-T T.871), dB.
fn nearness(a: &RgbImage, b: &RgbImage) -> (f64, f64) {
    let parts = |p: &image::Rgb<u8>| {
        let [r, g, b] = p.0.map(f64::from);
        let luma = 0.299 * r + 0.587 * g + 0.114 * b;
        [luma, (b - luma) / 1.772, (r - luma) / 1.402]
    };
    let mut squares = [0.0; 3];
    for (p, q) in a.pixels().zip(b.pixels()) {
        let (p, q) = (parts(p), parts(q));
        (0..3).for_each(|k| squares[k] += (p[k] - q[k]).powi(2));
    }
    let mean = |sum: f64| sum / (f64::from(a.width()) * f64::from(a.height()));
    let decibels = |error: f64| 10.0 * (255.0 * 255.0 / error.max(1e-12)).log10();
    (decibels(mean(squares[0])), decibels(mean((squares[1] + squares[2]) / 2.0)))
}
