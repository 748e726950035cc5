//! Reads files and prints size, levels and time: a look at decoding alone, and at what the workers cost.
//!
//! `cargo run --release --example decode -- [--luma | --xl | --workers PROGRAM] [--times N] [--dump DIR] [--write] FILE...`
//!
//! `--luma` decodes JPEG files to 8-bit luma by zune-jpeg alone, the floor to compare with, and `--xl` the tiles of a
//! JPEG XL DNG by jxl-oxide alone, side by side; `--workers` decodes raw
//! files in child processes of the `tussock` program named; `--times` reads each file so often and prints the
//! median; `--dump` writes each plane's samples to `DIR/FILE.u16` (little-endian); `--write` first writes a made-up raw file of 24 megapixels
//! to each FILE that does not exist yet: a Bayer DNG, or what `.cr2`, `.raf`, `.nef` and `.arw` stand for.

#[path = "../tests/support/files.rs"]
mod files;

#[path = "../tests/negatives/mod.rs"]
mod negatives;

use std::path::{Path, PathBuf};
use std::time::Instant;

use jxl_oxide::{JxlImage, JxlThreadPool};
use negatives::makers;
use rayon::prelude::*;
use tussock::intake::{Overrides, Workers, read, use_workers};
use zune_core::bytestream::ZCursor;
use zune_core::colorspace::ColorSpace;
use zune_core::options::DecoderOptions;
use zune_jpeg::JpegDecoder;

fn main() {
    let (mut luma, mut xl, mut times, mut dump, mut write) = (false, false, 1_usize, None, false);
    let mut paths = Vec::new();
    let mut arguments = std::env::args_os().skip(1);
    while let Some(argument) = arguments.next() {
        match argument.to_str() {
            Some("--luma") => luma = true,
            Some("--xl") => xl = true,
            Some("--write") => write = true,
            Some("--dump") => dump = arguments.next().map(PathBuf::from),
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
        if write && !path.exists() {
            let made = makers::large().into_iter().find(|made| Path::new(&made.name).extension() == path.extension());
            let bytes = made.map_or_else(|| files::Dng::new(6000, 4000, 14).bytes(), |made| made.bytes);
            let written = std::fs::write(path, bytes);
            written.unwrap_or_else(|error| tussock::output::print(&format!("{}: {error}\n", path.display())));
        }
        let mut taken = Vec::new();
        let mut line = String::new();
        for _ in 0..times.max(1) {
            let start = Instant::now();
            line = match (luma, xl) {
                (true, _) => floor(path),
                (_, true) => tiles(path),
                _ => through_intake(path, dump.as_deref()),
            };
            taken.push(start.elapsed().as_secs_f64() * 1e3);
        }
        taken.sort_by(f64::total_cmp);
        let median = taken[taken.len() / 2];
        tussock::output::print(&format!("{median:8.1} ms  {}  {line}\n", path.display()));
    }
}

/// Decodes all tiles by jxl-oxide alone.
fn tiles(path: &Path) -> String {
    let file = std::fs::read(path).expect("a readable file");
    let block = exif::Reader::new().read_raw(file.clone()).expect("a DNG");
    let numbers = |tag: u16| -> Vec<usize> {
        let field = block.get_field(exif::Tag(exif::Context::Tiff, tag), exif::In::PRIMARY).expect("tiles");
        field.value.iter_uint().expect("numbers").map(|v| v as usize).collect()
    };
    let places: Vec<(usize, usize)> = numbers(324).into_iter().zip(numbers(325)).collect();
    let decoded = places.par_iter().map(|(offset, length)| {
        let image = JxlImage::builder().pool(JxlThreadPool::none()).read(&file[*offset..offset + length]);
        let image = image.expect("JPEG XL");
        let render = image.render_frame(0).expect("JPEG XL");
        let mut stream = render.stream_no_alpha();
        let mut samples = vec![0_u16; (stream.width() * stream.height() * stream.channels()) as usize];
        stream.write_to_buffer(&mut samples)
    });
    format!("{} samples in {} tiles", decoded.sum::<usize>(), places.len())
}

fn through_intake(path: &Path, dump: Option<&Path>) -> String {
    match read(path, &Overrides::default()) {
        Err(error) => format!("{:?}: {} | {}", error.kind, error.problem, error.advice),
        Ok(shot) => {
            let plane = &shot.plane;
            if let Some(folder) = dump {
                let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
                let bytes: Vec<u8> = plane.data.iter().flat_map(|v| v.to_le_bytes()).collect();
                std::fs::write(folder.join(format!("{name}.u16")), bytes).expect("a folder that can be written to");
            }
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
