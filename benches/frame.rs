//! Steps of one frame's audit, each by itself: `cargo bench --bench frame`.
//!
//! The frame is 6 megapixels of the CC0 textures in `fixtures/`, tiled; times of larger frames are in proportion.
#![allow(missing_docs)] // The macros of criterion make public items.

use std::hint::black_box;
use std::path::{Path, PathBuf};

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use image::codecs::jpeg::JpegEncoder;
use image::{GrayImage, Luma};
use tussock::diagnose::diagnose;
use tussock::intake::{Overrides, read};
use tussock::measure::{Settings, measure};
use tussock::optics::WAVELENGTH_UM;
use tussock::quantity::Intent;
use tussock::report::{self, Frame, Links, Run};

const WIDTH: u32 = 3000;
const HEIGHT: u32 = 2000;

/// The three textures in squares of their own size, as a JPEG file.
fn frame(folder: &Path) -> PathBuf {
    let textures = ["grass", "gravel", "brick"].map(|name| {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/textures").join(format!("{name}.png"));
        image::open(path).expect("a fixture").to_luma8()
    });
    let picture = GrayImage::from_fn(WIDTH, HEIGHT, |x, y| {
        let texture = &textures[((x / 512 + y / 512) % 3) as usize];
        Luma([texture.get_pixel(x % 512, y % 512).0[0]])
    });
    let mut bytes = Vec::new();
    JpegEncoder::new_with_quality(&mut bytes, 95).encode_image(&picture).expect("a JPEG");
    let path = folder.join("frame.jpg");
    std::fs::write(&path, bytes).expect("a file");
    path
}

fn steps(c: &mut Criterion) {
    let folder = tempfile::tempdir().expect("a folder");
    let path = frame(folder.path());
    let (overrides, intent) = (Overrides::default(), Intent::default());
    let shot = read(&path, &overrides).expect("a frame");
    let settings = Settings::default().under(shot.capture.lambda_n_px(WAVELENGTH_UM));
    let map = measure(&shot.plane, &settings);
    let diagnosis = diagnose(&map, &shot.capture, None, &intent);
    let one = Frame { file: shot.file, capture: shot.capture, flags: shot.flags, map, diagnosis, group: None };
    let run = Run { frames: vec![one; 100], intent, ..Run::default() };
    let frame = &run.frames[0];

    let mut group = c.benchmark_group("frame of 6 megapixels");
    group.sample_size(20);
    group.throughput(Throughput::Elements(u64::from(WIDTH * HEIGHT)));
    group.bench_function("decode", |b| b.iter(|| read(black_box(&path), &overrides)));
    // One thread: how the work spreads over threads is the folder's affair.
    let pool = rayon::ThreadPoolBuilder::new().num_threads(1).build().expect("a thread");
    group.bench_function("measure", |b| b.iter(|| pool.install(|| measure(black_box(&shot.plane), &settings))));
    group.throughput(Throughput::Elements(1));
    group.bench_function("diagnose", |b| b.iter(|| diagnose(black_box(&frame.map), &frame.capture, None, &intent)));
    group.finish();

    let mut group = c.benchmark_group("report of 100 frames");
    group.sample_size(10);
    group.throughput(Throughput::Elements(100));
    let view = report::view(&run);
    let links = vec![Links::default(); 100];
    group.bench_function("view", |b| b.iter(|| report::view(black_box(&run))));
    group.bench_function("json", |b| b.iter(|| report::json(black_box(&view))));
    group.bench_function("page", |b| b.iter(|| report::html(black_box(&view), &links)));
    group.finish();
}

criterion_group!(benches, steps);
criterion_main!(benches);
