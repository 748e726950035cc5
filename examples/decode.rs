//! Reads each file named and prints its size, levels and the time taken: a look at decoding alone.
//!
//! `cargo run --release --example decode -- [--luma] FILE...`; with `--luma`, JPEG files are decoded to 8-bit
//! luma by zune-jpeg alone, the floor to compare with.

use std::path::{Path, PathBuf};
use std::time::Instant;

use tussock::intake::{Overrides, read};
use zune_core::bytestream::ZCursor;
use zune_core::colorspace::ColorSpace;
use zune_core::options::DecoderOptions;
use zune_jpeg::JpegDecoder;

fn main() {
    let mut files: Vec<PathBuf> = std::env::args_os().skip(1).map(PathBuf::from).collect();
    let luma = files.first().is_some_and(|f| f.as_os_str() == "--luma");
    if luma {
        files.remove(0);
    }
    for file in &files {
        let start = Instant::now();
        let line = if luma { floor(file) } else { through_intake(file) };
        tussock::output::print(&format!(
            "{:8.1} ms  {}  {line}\n",
            start.elapsed().as_secs_f64() * 1e3,
            file.display()
        ));
    }
}

fn through_intake(file: &Path) -> String {
    match read(file, &Overrides::default()) {
        Err(error) => format!("{:?}: {} | {}", error.kind, error.problem, error.advice),
        Ok(shot) => {
            let plane = &shot.plane;
            let sum: u64 = plane.data.iter().map(|v| u64::from(*v)).sum();
            let mean = sum as f64 / plane.data.len().max(1) as f64;
            format!(
                "{}x{} black {} white {} saturation {} mean {mean:.1} {:?} {:?} {:?}",
                plane.width,
                plane.height,
                plane.black,
                plane.white,
                plane.saturation,
                plane.mosaic,
                plane.jpeg.as_ref().map(|j| (j.x0, j.y0, &j.luma_steps[..3])),
                shot.flags
            )
        }
    }
}

fn floor(file: &Path) -> String {
    let Ok(bytes) = std::fs::read(file) else { return "unreadable".into() };
    let options = DecoderOptions::default().set_strict_mode(true).jpeg_set_out_colorspace(ColorSpace::Luma);
    match JpegDecoder::new_with_options(ZCursor::new(&bytes), options).decode() {
        Ok(pixels) => format!("{} luma samples", pixels.len()),
        Err(error) => format!("{error:?}"),
    }
}
