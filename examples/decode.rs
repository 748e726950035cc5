//! Reads files and prints size, levels and time: a look at decoding alone, and at what the workers cost.
//!
//! `cargo run --release --example decode -- [--luma | --workers PROGRAM] [--times N] [--write-dng] FILE...`
//!
//! `--luma` decodes JPEG files to 8-bit luma by zune-jpeg alone, the floor to compare with; `--workers` decodes raw
//! files in child processes of the `tussock` program named; `--times` reads each file so often and prints the
//! median; `--write-dng` first writes a made-up 24-megapixel Bayer DNG to each FILE that does not exist yet.

#[path = "../tests/support/files.rs"]
mod files;

use std::path::{Path, PathBuf};
use std::time::Instant;

use tussock::intake::{Overrides, Workers, read, use_workers};
use zune_core::bytestream::ZCursor;
use zune_core::colorspace::ColorSpace;
use zune_core::options::DecoderOptions;
use zune_jpeg::JpegDecoder;

fn main() {
    let (mut luma, mut times, mut write_dng, mut paths) = (false, 1_usize, false, Vec::new());
    let mut arguments = std::env::args_os().skip(1);
    while let Some(argument) = arguments.next() {
        match argument.to_str() {
            Some("--luma") => luma = true,
            Some("--write-dng") => write_dng = true,
            Some("--times") => {
                times = arguments.next().and_then(|n| n.to_str()?.parse().ok()).unwrap_or(1);
            }
            Some("--workers") => use_workers(arguments.next().map(|program| Workers {
                program: program.into(),
                arguments: vec!["raw-worker".into()],
                memory: Workers::MEMORY,
                side_by_side: 1,
                time: Workers::TIME,
            })),
            _ => paths.push(PathBuf::from(argument)),
        }
    }
    for path in &paths {
        if write_dng && !path.exists() {
            let written = std::fs::write(path, files::Dng::new(6000, 4000, 14).bytes());
            written.unwrap_or_else(|error| tussock::output::print(&format!("{}: {error}\n", path.display())));
        }
        let mut taken = Vec::new();
        let mut line = String::new();
        for _ in 0..times.max(1) {
            let start = Instant::now();
            line = if luma { floor(path) } else { through_intake(path) };
            taken.push(start.elapsed().as_secs_f64() * 1e3);
        }
        taken.sort_by(f64::total_cmp);
        let median = taken[taken.len() / 2];
        tussock::output::print(&format!("{median:8.1} ms  {}  {line}\n", path.display()));
    }
}

fn through_intake(path: &Path) -> String {
    match read(path, &Overrides::default()) {
        Err(error) => format!("{:?}: {} | {}", error.kind, error.problem, error.advice),
        Ok(shot) => {
            let plane = &shot.plane;
            format!(
                "{}x{} black {} white {} saturation {} middle {} {:?} {:?}",
                plane.width,
                plane.height,
                plane.black,
                plane.white,
                plane.saturation,
                plane.data[plane.data.len() / 2],
                plane.mosaic,
                shot.flags
            )
        }
    }
}

fn floor(path: &Path) -> String {
    let Ok(bytes) = std::fs::read(path) else { return "unreadable".into() };
    let options = DecoderOptions::default().set_strict_mode(true).jpeg_set_out_colorspace(ColorSpace::Luma);
    match JpegDecoder::new_with_options(ZCursor::new(&bytes), options).decode() {
        Ok(pixels) => format!("{} luma samples", pixels.len()),
        Err(error) => format!("{error:?}"),
    }
}
