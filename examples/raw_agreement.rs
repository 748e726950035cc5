//! Decodes raw files by each decoder and compares their samples, pixel by pixel, over the area both give.
//!
//! `cargo run --release --example raw_agreement -- [--dump DIR] FILE...`; with `--dump`, each decoder's samples go
//! to `DIR/<file>.<decoder>.u16` (little-endian, stored rows) for tests/reference/raw_agreement.py, which compares
//! them with LibRaw's. The last line counts files that disagree; the exit status is 1 if there are any.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use tussock::intake::raw::{Refused, Sensor, by_rawler, by_rawloader};
use tussock::output::print;

fn main() -> ExitCode {
    std::panic::set_hook(Box::new(|_| {}));
    let mut files: Vec<PathBuf> = std::env::args_os().skip(1).map(PathBuf::from).collect();
    let dump = (files.first().is_some_and(|f| f.as_os_str() == "--dump") && files.len() > 1).then(|| {
        files.remove(0);
        files.remove(0)
    });
    let mut disagreeing = 0;
    for file in &files {
        let dng = file.extension().is_some_and(|e| e.eq_ignore_ascii_case("dng"));
        let answers = [("rawloader", by_rawloader(file, dng)), ("rawler", by_rawler(file, dng))];
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
                    if let Some(folder) = &dump {
                        write(folder, file, name, s);
                    }
                }
            }
        }
        if let [(_, Ok(a)), (_, Ok(b))] = &answers {
            let (compared, different) = compare(a, b);
            disagreeing += usize::from(different > 0 || compared == 0);
            print(&format!("{}: {compared} samples compared, {different} differ\n", file.display()));
        }
    }
    print(&format!("{disagreeing} files disagree\n"));
    ExitCode::from(u8::from(disagreeing > 0))
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
    let pairs = (top..bottom).flat_map(|y| row(a, y).into_iter().zip(row(b, y)));
    pairs.fold((0, 0), |(n, different), (x, y)| (n + 1, different + usize::from(x != y)))
}

fn write(folder: &Path, file: &Path, decoder: &str, sensor: &Sensor) {
    let stem = file.file_name().unwrap_or_default().to_string_lossy();
    let bytes: Vec<u8> = sensor.samples.iter().flat_map(|v| v.to_le_bytes()).collect();
    let target = folder.join(format!("{stem}.{decoder}.u16"));
    if let Err(error) = std::fs::write(&target, bytes) {
        print(&format!("{}: {error}\n", target.display()));
    }
}
