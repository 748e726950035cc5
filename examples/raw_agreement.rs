//! Decodes raw files by each reader and compares their samples, pixel by pixel, over the area that two of them give.
//!
//! `cargo run --release --example raw_agreement -- [--write DIR] [--dump DIR] [FILE...]`; with `--write`, the
//! test raws are written to a folder first and read too, those of the makers' own formats with the samples that they stand for
//! beside them (`.expected.u16`); with `--dump`, each reader's samples go to
//! `DIR/<file>.<reader>.u16` (little-endian, stored rows; floating-point ones to `.f32`, what curves make of them to
//! `.developed.u16`) for tests/reference/raw_agreement.py, which compares them with LibRaw's. The last line counts files
//! that disagree; the exit status is 1 if there are any.

#[path = "../tests/negatives/mod.rs"]
mod negatives;

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use negatives::{catalogue, makers};
use tussock::intake::raw::dng::{Samples, stored};
use tussock::intake::raw::{Refused, Sensor, by_rawler, by_rawloader, by_specification, decode};
use tussock::output::print;

fn main() -> ExitCode {
    std::panic::set_hook(Box::new(|_| {}));
    let (mut files, mut dump) = (Vec::new(), None);
    let mut arguments = std::env::args_os().skip(1).map(PathBuf::from);
    while let Some(argument) = arguments.next() {
        match argument.to_str() {
            Some("--write") => files.extend(written(&arguments.next().expect("a folder behind --write"))),
            Some("--dump") => dump = arguments.next(),
            _ => files.push(argument),
        }
    }
    let disagreeing = files.iter().filter(|file| !agrees(file, dump.as_deref())).count();
    print(&format!("{disagreeing} files disagree\n"));
    ExitCode::from(u8::from(disagreeing > 0))
}

/// Writes the test raws; returns their paths.
fn written(folder: &Path) -> Vec<PathBuf> {
    let write = |(name, negative): (String, negatives::negative::Negative)| {
        let path = folder.join(format!("{name}.dng"));
        std::fs::write(&path, negative.bytes()).expect("a folder that can be written to");
        path
    };
    let made = makers::every().into_iter().map(|made| {
        let path = folder.join(&made.name);
        std::fs::write(&path, made.bytes).expect("a folder that can be written to");
        let samples = bytes(&made.samples, u16::to_le_bytes);
        std::fs::write(folder.join(format!("{}.expected.u16", made.name)), samples).expect("a folder to write to");
        path
    });
    catalogue::every().into_iter().map(write).chain(made).collect()
}

/// Whether the specification's reader and the best of the two libraries give the same where both read the file.
fn agrees(file: &Path, dump: Option<&Path>) -> bool {
    let dng = file.extension().is_some_and(|e| e.eq_ignore_ascii_case("dng"));
    let answers = [
        ("specification", by_specification(file)),
        ("rawler", by_rawler(file, dng)),
        ("rawloader", by_rawloader(file, dng)),
    ];
    for (name, answer) in &answers {
        match answer {
            Err(refused) => {
                let why = match refused {
                    Refused::Unknown(why) | Refused::Broken(why) => why.as_str(),
                    Refused::Unsound(why) => why,
                };
                print(&format!("{}: {name} refuses: {}\n", file.display(), why.lines().next().unwrap_or_default()));
            }
            Ok(s) => {
                let levels = format!("black {:?} white {} gains {:?}", s.black, s.white, s.gains);
                let area = format!("{}x{} at {},{}", s.width, s.height, s.left, s.top);
                print(&format!("{}: {name} {area} of rows of {} {levels}\n", file.display(), s.stride));
                if let Some(folder) = dump {
                    // The specification's reader may have brought them through curves.
                    let kind = if *name == "specification" { "developed.u16" } else { "u16" };
                    write(folder, file, name, &bytes(&s.samples, u16::to_le_bytes), kind);
                }
            }
        }
    }
    // What an audit measures.
    if let (Some(folder), Ok(read)) = (dump, decode(file)) {
        write(folder, file, "tussock", &bytes(&read.samples, u16::to_le_bytes), "developed.u16");
    }
    if let Some(folder) = dump
        && let Ok(stored) = stored(&std::fs::read(file).expect("a readable file"))
    {
        match &stored.samples {
            Samples::Whole(v) => write(folder, file, "specification", &bytes(v, u16::to_le_bytes), "u16"),
            Samples::Float(v) => write(folder, file, "specification", &bytes(v, f32::to_le_bytes), "f32"),
        }
    }
    // Of what was written here, every sample is known.
    if let Ok(expected) = std::fs::read(format!("{}.expected.u16", file.display())) {
        let apart = |samples: &[u16]| {
            let pairs = samples.iter().zip(expected.chunks_exact(2));
            pairs.filter(|(v, e)| v.to_le_bytes() != **e).count() + samples.len().abs_diff(expected.len() / 2)
        };
        for (name, answer) in &answers {
            if let Ok(read) = answer {
                print(&format!("{}: {name}: {} samples are not as written\n", file.display(), apart(&read.samples)));
            }
        }
        let same = decode(file).is_ok_and(|read| apart(&read.samples) == 0);
        print(&format!("{}: {}\n", file.display(), if same { "as written" } else { "not as written" }));
        return same;
    }
    // For a DNG, rawloader is known to leave out what the specification asks for; the two agree on others.
    let pair = if dng { (&answers[0], &answers[1]) } else { (&answers[2], &answers[1]) };
    let ((first, Ok(a)), (second, Ok(b))) = pair else { return true };
    let (compared, different) = compare(a, b);
    print(&format!("{}: {first}, {second}: {compared} samples compared, {different} differ\n", file.display()));
    // A library that doesn't know a layout may give nonsense for it; LibRaw judges those.
    different == 0 && compared > 0 || dng
}

fn bytes<T: Copy, const N: usize>(values: &[T], of: fn(T) -> [u8; N]) -> Vec<u8> {
    values.iter().flat_map(|v| of(*v)).collect()
}

/// Samples in the area that both decoders give, in stored coordinates, and how many of them differ.
fn compare(a: &Sensor, b: &Sensor) -> (usize, usize) {
    let (left, top) = (a.left.max(b.left), a.top.max(b.top));
    let right = (a.left + a.width).min(b.left + b.width);
    let bottom = (a.top + a.height).min(b.top + b.height);
    if a.channels != b.channels || a.stride != b.stride || left >= right {
        return (0, 0);
    }
    let row =
        |s: &Sensor, y: usize| s.samples[(y * s.stride + left) * s.channels..][..(right - left) * s.channels].to_vec();
    let different = (top..bottom).map(|y| row(a, y).iter().zip(row(b, y)).filter(|(p, q)| **p != *q).count()).sum();
    ((right - left) * (bottom - top) * a.channels, different)
}

fn write(folder: &Path, file: &Path, reader: &str, bytes: &[u8], kind: &str) {
    let name = file.file_name().unwrap_or_default().to_string_lossy().into_owned();
    std::fs::write(folder.join(format!("{name}.{reader}.{kind}")), bytes).expect("a folder that can be written to");
}
