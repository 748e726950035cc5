//! The simulator against the rest of the program: the same tiles, the same picture conventions.

use tussock::measure::{Settings, measure};
use tussock::optics::blur::{self, Parts};
use tussock::quantity::MTF50_SIGMA;
use tussock::simulate::file::{Developing, Facts, Light, Recording, bayer, dng, jpeg};
use tussock::simulate::{Noise, Psf, SceneSpec, landscape};

#[test]
fn the_true_tiles_are_those_that_measuring_cuts() {
    let picture = landscape(&SceneSpec::random(5, 250));
    let map = measure(&picture.plane(), &Settings::default());
    assert_eq!((picture.columns, picture.rows), (map.columns, map.rows));
    for (truth, tile) in picture.tiles.iter().zip(&map.tiles) {
        let r = truth.region;
        assert_eq!((r.x, r.y, r.width, r.height), (tile.x, tile.y, tile.width, tile.height));
    }
}

/// One line of a reference table.
struct Line {
    psf: Psf,
    values: Vec<f64>,
    text: String,
}

/// Reference tables computed by two independent optics libraries (see `tests/reference/make_tables.py`, which
/// names their versions): what blurs, and the numbers after it.
fn reference(name: &str) -> Vec<Line> {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/reference").join(name);
    let mut reader = csv::ReaderBuilder::new().comment(Some(b'#')).from_path(path).unwrap();
    reader
        .records()
        .map(|record| {
            let record = record.unwrap();
            let number = |i: usize| record[i].parse::<f64>().unwrap();
            let (n, pitch, w) = (number(1), number(2), number(3));
            // W020 = w wavelengths at the pupil's edge is a geometric disc of 8 w lambda N.
            let psf = Psf { pixel: &record[4] == "1", ..Psf::lens(n, pitch, 8.0 * w * 0.55 * n) };
            Line { psf, values: (5..record.len()).map(number).collect(), text: format!("{record:?}") }
        })
        .collect()
}

#[test]
fn transfers_agree_with_two_optics_libraries() {
    let lines = reference("mtf.csv");
    assert!(lines.len() > 7000);
    let mut worst = (0.0, String::new());
    for line in lines {
        let got = line.psf.transfer().at(line.values[0], 0.0).abs();
        let off = (got - line.values[1]).abs();
        if off > worst.0 {
            worst = (off, line.text);
        }
    }
    assert!(worst.0 < 0.005, "{worst:?}");
}

#[test]
fn half_contrast_agrees_with_two_optics_libraries() {
    let lines = reference("mtf50.csv");
    assert!(lines.len() > 500);
    let mut worst = (0.0, String::new());
    for line in lines {
        let off = (line.psf.transfer().mtf50(0.0) / line.values[0] - 1.0).abs();
        if off > worst.0 {
            worst = (off, line.text);
        }
    }
    assert!(worst.0 < 0.005, "{worst:?}");
}

#[test]
fn the_optics_formulas_agree_with_two_optics_libraries() {
    let parts = |psf: &Psf| {
        let pupil = psf.pupil.unwrap();
        Parts {
            lambda_n_px: Some(0.55 * pupil.f_number / pupil.pitch_um),
            disc_px: pupil.defocus_um / pupil.pitch_um,
            pixel: psf.pixel,
            ..Parts::default()
        }
    };
    for line in reference("mtf.csv") {
        let off = (blur::mtf(&parts(&line.psf), line.values[0]) - line.values[1]).abs();
        assert!(off < 0.005, "{off} {}", line.text);
    }
    for line in reference("mtf50.csv") {
        let off = (MTF50_SIGMA / blur::sigma_px(&parts(&line.psf)) / line.values[0] - 1.0).abs();
        assert!(off < 0.005, "{off} {}", line.text);
    }
}

#[test]
fn a_bayer_dng_reads_back_alike_in_both_raw_decoders() {
    let (width, height) = (96, 64);
    let luminance: Vec<f32> = (0..width * height).map(|i| 0.1 + 0.6 * (i % width) as f32 / width as f32).collect();
    let light = Light { width, height, luminance: &luminance, chroma: None };
    let spec = SceneSpec::random(1, 96);
    let facts = Facts::of(&spec, (1, 60), 100, "2026:03:14 07:00:00");
    for bits in [14, 16] {
        let recording = Recording { bits, red_blue: (0.5, 0.6), noise: Noise::NONE, seed: 0 };
        let bytes = dng(&light, &facts, &recording);
        let samples = bayer(&light, &recording);
        let one = rawloader::decode(&mut std::io::Cursor::new(&bytes)).unwrap();
        let rawloader::RawImageData::Integer(first) = one.data else { panic!("floating point samples") };
        assert_eq!((one.width, one.height), (width, height));
        assert!(first == samples, "rawloader, {bits} bits");
        assert_eq!(one.whitelevels[0], recording.white());
        assert_eq!(one.blacklevels[0], recording.black());
        let source = rawler::rawsource::RawSource::new_from_slice(&bytes);
        let two = rawler::decode(&source, &rawler::decoders::RawDecodeParams::default()).unwrap();
        let rawler::RawImageData::Integer(second) = two.data else { panic!("floating point samples") };
        assert!(second == samples, "rawler, {bits} bits");
    }
}

#[test]
fn a_jpeg_carries_its_facts() {
    let spec = SceneSpec::random(4, 240);
    let picture = landscape(&spec);
    let facts = Facts { focus_m: Some(f64::INFINITY), ..Facts::of(&spec, (1, 125), 200, "2026:03:14 07:00:00") };
    let developing = Developing { quality: 92, sharpening: 0.5, noise: spec.noise, seed: 1 };
    let bytes = jpeg(&picture.light(), Some(&facts), &developing).unwrap();
    // Read back by the Exif library itself.
    let read = exif::Reader::new().read_from_container(&mut std::io::Cursor::new(&bytes)).unwrap();
    let value = |tag| read.get_field(tag, exif::In::PRIMARY).unwrap().display_value().to_string();
    let f_number: f64 = value(exif::Tag::FNumber).trim_start_matches("f/").parse().unwrap();
    assert!((f_number - spec.camera.f_number).abs() < 1e-6);
    assert_eq!(value(exif::Tag::SubjectDistance), "infinity");
    assert_eq!(value(exif::Tag::PhotographicSensitivity), "200");
    let decoded = image::load_from_memory(&bytes).unwrap();
    assert_eq!((decoded.width() as usize, decoded.height() as usize), (picture.width, picture.height));
}
