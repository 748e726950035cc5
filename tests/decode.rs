//! Decoding against truths from outside: samples written into files, tables and formulas of published standards.

#[path = "support/files.rs"]
mod files;
#[path = "support/folder.rs"]
mod folder;

use std::path::Path;

use exif::Tag;
use files::{Dng, ascii, encoded, exif_block, grey_jpeg, picture, rational, short, with_exif};
use folder::Place;
use image::{GrayImage, ImageFormat, Luma};
use tussock::intake::raw::{by_rawler, by_rawloader};
use tussock::intake::{IntakeErrorKind, Overrides, colour, facts, read};
use tussock::quantity::Flag;
use tussock::shot::{Capture, Fact, Mosaic, Plane, Source};

fn plane(path: &Path) -> Plane {
    read(path, &Overrides::default()).unwrap().plane
}

fn fixture(name: &str) -> Vec<u8> {
    std::fs::read(Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/jpeg").join(name)).unwrap()
}

/// Linear light of an sRGB code, IEC 61966-2-1.
fn srgb(code: u8) -> f64 {
    let v = f64::from(code) / 255.0;
    if v <= 0.04045 { v / 12.92 } else { ((v + 0.055) / 1.055).powf(2.4) }
}

#[test]
fn both_raw_decoders_give_back_the_samples_written() {
    let place = Place::new();
    for bits in [12, 14, 16] {
        let dng = Dng::new(64, 48, bits);
        let path = place.file(&format!("{bits}.dng"), &dng.bytes());
        for sensor in [by_rawler(&path, true).unwrap(), by_rawloader(&path, true).unwrap()] {
            assert_eq!((sensor.width, sensor.height), (64, 48));
            for y in 0..48 {
                assert_eq!(sensor.row(y), &dng.samples[y * 64..][..64], "{bits} bits, row {y}");
            }
            assert_eq!(sensor.black, [f32::from(dng.black); 4]);
            assert_eq!(sensor.white, f32::from(dng.white));
            assert!((sensor.gains[0] - 2.0).abs() < 1e-4 && (sensor.gains[2] - 1.5).abs() < 1e-4);
        }
    }
}

#[test]
fn green_sites_of_a_raw_file_are_the_sensor_s_own() {
    let place = Place::new();
    for pattern in [[0, 1, 1, 2], [1, 0, 2, 1], [1, 2, 0, 1], [2, 1, 1, 0]] {
        let dng = Dng { pattern, ..Dng::new(64, 48, 14) };
        let shot = read(&place.file("a.dng", &dng.bytes()), &Overrides::default()).unwrap();
        let plane = shot.plane;
        assert_eq!((plane.width, plane.height, plane.black, plane.white), (64, 48, dng.black, dng.white));
        assert_eq!(plane.mosaic, Mosaic::Checkerboard { even: pattern[0] == 1 });
        assert!(!plane.rendered && plane.jpeg.is_none() && !shot.flags.contains(&Flag::Processed));
        for (i, v) in plane.data.iter().enumerate() {
            if plane.mosaic.measured(i % 64, i / 64) {
                assert_eq!(*v, dng.samples[i]);
            }
        }
        assert_eq!(shot.capture.f_number, Some(Fact::new(8.0, Source::Exif)));
    }
}

#[test]
fn crops_and_orientation_move_the_pattern_along() {
    let place = Place::new();
    for orientation in 1..=8 {
        for (area, crop) in [
            (None, None),
            (Some([0, 0, 48, 64]), Some([3, 2, 50, 40])),
            (Some([5, 7, 45, 61]), None),
            (Some([5, 6, 45, 62]), Some([1, 1, 41, 33])),
        ] {
            // The pattern is stated from the active area's corner on; greens are marked by odd values.
            let (top, left) = area.map_or((0, 0), |[t, l, ..]: [u32; 4]| (t, l));
            let mut dng = Dng { orientation, active_area: area, default_crop: crop, ..Dng::new(64, 48, 14) };
            for (i, v) in dng.samples.iter_mut().enumerate() {
                let (x, y) = (i as u32 % 64, i as u32 / 64);
                let green = dng.pattern[((y + top) % 2 * 2 + (x + left) % 2) as usize] == 1;
                *v = *v & !1 | u16::from(green);
            }
            let plane = plane(&place.file("a.dng", &dng.bytes()));
            let (w, h) = match (area, crop) {
                (_, Some([_, _, w, h])) => (w, h),
                (Some([t, l, b, r]), None) => (r - l, b - t),
                (None, None) => (64, 48),
            };
            let upright = if orientation >= 5 { (h, w) } else { (w, h) };
            assert_eq!(
                (plane.width as u32, plane.height as u32),
                upright,
                "orientation {orientation} {area:?} {crop:?}"
            );
            for y in 0..plane.height {
                for x in (0..plane.width).filter(|x| plane.mosaic.measured(*x, y)) {
                    assert_eq!(plane.row(y)[x] & 1, 1, "orientation {orientation} {area:?} {crop:?} at {x} {y}");
                }
            }
        }
    }
}

#[test]
fn luma_is_linearised_as_the_colour_space_says() {
    let place = Place::new();
    let grey = GrayImage::from_fn(64, 64, |x, y| Luma([(x / 8 * 32 + y / 8 * 4) as u8]));
    let jpeg = grey_jpeg(&grey, 100);
    let adobe = [(Tag::ColorSpace, short(65535)), (Tag::InteroperabilityIndex, ascii("R03"))];
    type Curve = fn(u8) -> f64;
    let cases: [(&str, Vec<u8>, Curve); 4] = [
        ("plain.jpg", jpeg.clone(), srgb),
        ("srgb.jpg", with_exif(&jpeg, &[(Tag::ColorSpace, short(1))]), srgb),
        // Adobe RGB (1998), section 4.3.4.2: gamma 563/256.
        ("adobe.jpg", with_exif(&jpeg, &adobe), |v| (f64::from(v) / 255.0).powf(563.0 / 256.0)),
        ("two.jpg", with_exif(&jpeg, &[(Tag::ColorSpace, short(2))]), |v| (f64::from(v) / 255.0).powf(563.0 / 256.0)),
    ];
    for (name, bytes, linear) in cases {
        let plane = plane(&place.file(name, &bytes));
        assert!(plane.rendered);
        for y in (4..64).step_by(8) {
            for x in (4..64).step_by(8) {
                let code = grey.get_pixel(x, y).0[0];
                let got = f64::from(plane.row(y as usize)[x as usize]) / 65535.0;
                // Quality 100 keeps flat blocks within a code or so.
                let near = [code.saturating_sub(1), code, code.saturating_add(1)].map(linear);
                assert!(
                    (near[0] - 1e-4..=near[2] + 1e-4).contains(&got),
                    "{name} code {code}: {got} not near {near:?}"
                );
            }
        }
    }
}

/// ITU-T T.81, table K.1, which the encoder uses unscaled at quality 50.
const K1: [u16; 64] = [
    16, 11, 10, 16, 24, 40, 51, 61, 12, 12, 14, 19, 26, 58, 60, 55, 14, 13, 16, 24, 40, 57, 69, 56, 14, 17, 22, 29, 51,
    87, 80, 62, 18, 22, 37, 56, 68, 109, 103, 77, 24, 35, 55, 64, 81, 104, 113, 92, 49, 64, 78, 87, 103, 121, 120, 101,
    72, 92, 95, 98, 112, 100, 103, 99,
];

#[test]
fn luma_steps_and_block_grid_follow_the_picture_upright() {
    let place = Place::new();
    // 45 x 70 pixels: a flipped axis starts with a cut block of 5 or 6 pixels.
    let jpeg = grey_jpeg(&GrayImage::from_fn(45, 70, |x, y| Luma([(x * 5) as u8 ^ y as u8])), 50);
    let stored = plane(&place.file("a.jpg", &jpeg));
    assert_eq!(stored.jpeg.as_ref().unwrap().luma_steps, K1);
    for orientation in 1..=8_u16 {
        let turned = plane(&place.file("b.jpg", &with_exif(&jpeg, &[(Tag::Orientation, short(orientation))])));
        let blocks = turned.jpeg.as_ref().unwrap();
        // By the tag's own table: which stored sides are the upright top and left.
        let (swap, from_right, from_bottom) = match orientation {
            1 => (false, false, false),
            2 => (false, true, false),
            3 => (false, true, true),
            4 => (false, false, true),
            5 => (true, false, false),
            6 => (true, false, true),
            7 => (true, true, true),
            _ => (true, true, false),
        };
        let x0 = if from_right { 45 % 8 } else { 0 };
        let y0 = if from_bottom { 70 % 8 } else { 0 };
        assert_eq!((blocks.x0, blocks.y0), if swap { (y0, x0) } else { (x0, y0) }, "orientation {orientation}");
        assert_eq!((turned.width, turned.height), if swap { (70, 45) } else { (45, 70) });
        assert_eq!(blocks.luma_steps[1], if swap { K1[8] } else { K1[1] });
        // The stored top-left pixel is at the corner that the tag names.
        let corner = match orientation {
            1 | 5 => (0, 0),
            2 | 6 => (turned.width - 1, 0),
            3 | 7 => (turned.width - 1, turned.height - 1),
            _ => (0, turned.height - 1),
        };
        assert_eq!(turned.row(corner.1)[corner.0], stored.data[0], "orientation {orientation}");
    }
    // A quarter turn by hand comes on top of the tag.
    let path = place.file("b.jpg", &with_exif(&jpeg, &[(Tag::Orientation, short(6))]));
    let three_more = Overrides { turn: Some(3), ..Overrides::default() };
    assert_eq!(read(&path, &three_more).unwrap().plane.data, stored.data);
}

#[test]
fn jpeg_variants_of_one_picture_give_one_plane() {
    let place = Place::new();
    let baseline = plane(&place.file("baseline.jpg", &fixture("baseline.jpg")));
    for name in ["progressive.jpg", "restart.jpg"] {
        assert_eq!(plane(&place.file(name, &fixture(name))).data, baseline.data, "{name} has the same coefficients");
    }
    // Another picture behind the end of the first, as phones append, is not looked at.
    let mut two = fixture("baseline.jpg");
    two.extend(fixture("cmyk.jpg"));
    assert_eq!(plane(&place.file("two.jpg", &two)).data, baseline.data);
    // Another extension changes nothing.
    assert_eq!(plane(&place.file("wrong.png", &fixture("baseline.jpg"))).data, baseline.data);
    for (name, least) in [("grey.jpg", 0.98), ("cmyk.jpg", 0.9)] {
        let other = plane(&place.file(name, &fixture(name)));
        assert_eq!((other.width, other.height), (baseline.width, baseline.height));
        let r = correlation(&other.data, &baseline.data);
        assert!(r > least, "{name}: {r}");
    }
}

fn correlation(a: &[u16], b: &[u16]) -> f64 {
    let n = a.len() as f64;
    let mean = |v: &[u16]| v.iter().map(|v| f64::from(*v)).sum::<f64>() / n;
    let (ma, mb) = (mean(a), mean(b));
    let sum = |f: &dyn Fn(f64, f64) -> f64| {
        a.iter().zip(b).map(|(x, y)| f(f64::from(*x) - ma, f64::from(*y) - mb)).sum::<f64>()
    };
    sum(&|x, y| x * y) / (sum(&|x, _| x * x) * sum(&|_, y| y * y)).sqrt()
}

#[test]
fn a_picture_to_look_at_is_upright_and_in_colour() {
    let place = Place::new();
    let picture = picture(48, 40);
    for (name, format) in [("a.png", ImageFormat::Png), ("a.tif", ImageFormat::Tiff), ("a.webp", ImageFormat::WebP)] {
        assert_eq!(
            colour(&place.file(name, &encoded(picture.clone(), format)), &Overrides::default()).unwrap(),
            picture
        );
    }
    let sixteen = image::DynamicImage::from(picture.clone()).to_rgb16();
    let path = place.file("b.png", &encoded(sixteen, ImageFormat::Png));
    assert_eq!(colour(&path, &Overrides::default()).unwrap(), picture);
    let grey = GrayImage::from_pixel(9, 7, Luma([77]));
    let seen = colour(&place.file("g.png", &encoded(grey, ImageFormat::Png)), &Overrides::default()).unwrap();
    assert!(seen.pixels().all(|p| p.0 == [77; 3]) && seen.dimensions() == (9, 7));
    let jpeg = with_exif(&fixture("baseline.jpg"), &[(Tag::Orientation, short(8))]);
    assert_eq!(colour(&place.file("a.jpg", &jpeg), &Overrides::default()).unwrap().dimensions(), (45, 70));
    // White-balanced grey light through the DNG's filters is grey.
    let mut dng = Dng { orientation: 6, ..Dng::new(64, 48, 14) };
    for (i, v) in dng.samples.iter_mut().enumerate() {
        let gain = [2.0, 1.0, 1.5][usize::from(dng.pattern[i / 64 % 2 * 2 + i % 2])];
        *v = dng.black + (f64::from(3000 + i as u32 % 64 * 40) / gain) as u16;
    }
    let seen = colour(&place.file("a.dng", &dng.bytes()), &Overrides::default()).unwrap();
    assert_eq!(seen.dimensions(), (24, 32));
    assert!(seen.pixels().all(|p| p.0.iter().max().unwrap() - p.0.iter().min().unwrap() <= 2));
}

#[test]
fn what_the_user_gives_comes_last() {
    let place = Place::new();
    let path = place.file("a.jpg", &with_exif(&fixture("baseline.jpg"), &[(Tag::FNumber, rational(56, 10))]));
    let capture = Capture { f_number: Some(Fact::new(11.0, Source::Given)), ..Capture::default() };
    let overrides = Overrides { capture, ..Overrides::default() };
    assert_eq!(read(&path, &Overrides::default()).unwrap().capture.f_number, Some(Fact::new(5.6, Source::Exif)));
    assert_eq!(read(&path, &overrides).unwrap().capture.f_number, Some(Fact::new(11.0, Source::Given)));
    assert_eq!(facts(&path, &overrides).unwrap().capture.f_number, Some(Fact::new(11.0, Source::Given)));
}

/// JPEG XL of the JPEG fixture, by libjxl: its pixels without loss, and the JPEG itself packed tighter.
#[test]
fn jpeg_xl_pictures_are_read() {
    let place = Place::new();
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/jxl");
    let file = |name: &str| place.file(name, &std::fs::read(folder.join(name)).unwrap());
    let jpeg = plane(&place.file("a.jpg", &fixture("baseline.jpg")));
    assert_eq!(plane(&file("from-jpeg.jxl")), jpeg);
    let shot = read(&file("lossless.jxl"), &Overrides::default()).unwrap();
    assert!(shot.flags.contains(&Flag::Processed) && shot.plane.rendered);
    let pixels = colour(&file("lossless.jxl"), &Overrides::default()).unwrap();
    let same = plane(&place.file("a.png", &encoded(pixels.clone(), ImageFormat::Png)));
    assert_eq!((shot.plane.width, shot.plane.height), (70, 45));
    let most = shot.plane.data.iter().zip(&same.data).map(|(a, b)| a.abs_diff(*b)).max();
    assert!(most <= Some(20), "{most:?}");
    // Pixels of another decoder of the same JPEG, which smooths colours of half size.
    let seen = colour(&place.file("a.jpg", &fixture("baseline.jpg")), &Overrides::default()).unwrap();
    let apart: u64 = pixels.iter().zip(seen.iter()).map(|(a, b)| u64::from(a.abs_diff(*b))).sum();
    assert!(apart < 3 * pixels.len() as u64, "{apart}");
    assert_eq!(facts(&file("lossless.jxl"), &Overrides::default()).unwrap().size, Some((70, 45)));
    assert_eq!(facts(&file("from-jpeg.jxl"), &Overrides::default()).unwrap().size, Some((70, 45)));
    let cut = std::fs::read(folder.join("lossless.jxl")).unwrap();
    let error = read(&place.file("cut.jxl", &cut[..cut.len() / 2]), &Overrides::default()).unwrap_err();
    assert_eq!(error.kind, IntakeErrorKind::Damaged, "{error}");
}

/// A gain map, a depth map or a video behind the picture, as phones append them, is never taken for it, however large.
#[test]
fn what_lies_behind_a_jpeg_is_left_alone() {
    let place = Place::new();
    let alone = plane(&place.file("a.jpg", &fixture("baseline.jpg")));
    let mut large = Vec::new();
    let drawn = image::RgbImage::from_fn(1200, 900, |x, y| image::Rgb([x as u8, y as u8, 0]));
    image::codecs::jpeg::JpegEncoder::new(&mut large).encode_image(&drawn).unwrap();
    let both = plane(&place.file("b.jpg", &[fixture("baseline.jpg"), large].concat()));
    assert_eq!((both.width, both.height), (alone.width, alone.height));
    assert!(both.data == alone.data);
}

/// HEIC of the same picture as the JPEG fixtures, by another encoder.
#[cfg(feature = "heic")]
#[test]
fn heic_is_read_where_asked_for() {
    let bytes = std::fs::read(Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/heif/small.heic")).unwrap();
    let place = Place::new();
    let path = place.file("small.heic", &bytes);
    let shot = read(&path, &Overrides::default()).unwrap();
    let jpeg = plane(&place.file("a.jpg", &fixture("baseline.jpg")));
    assert_eq!((shot.plane.width, shot.plane.height), (jpeg.width, jpeg.height));
    assert!(correlation(&shot.plane.data, &jpeg.data) > 0.99);
    let level = |p: &Plane| p.data.iter().map(|v| f64::from(*v)).sum::<f64>() / p.data.len() as f64;
    assert!((level(&shot.plane) / level(&jpeg) - 1.0).abs() < 0.03, "{} {}", level(&shot.plane), level(&jpeg));
    assert_eq!(colour(&path, &Overrides::default()).unwrap().dimensions(), (70, 45));
}

#[test]
fn refusals_say_what_is_wrong_and_what_to_try() {
    let place = Place::new();
    let heic = b"\0\0\0\x18ftypheic\0\0\0\0mif1heic".to_vec();
    let empty_raw: Vec<u8> = Dng { samples: vec![600; 64 * 48], ..Dng::new(64, 48, 14) }.bytes();
    let cases: [(&str, Vec<u8>, IntakeErrorKind, &str); 7] = [
        ("empty.jpg", vec![], IntakeErrorKind::Damaged, "empty"),
        ("text.jpg", b"just some words".to_vec(), IntakeErrorKind::Damaged, "not that of any kind of photograph"),
        ("words.txt", b"just some words".to_vec(), IntakeErrorKind::Unsupported, "not a photograph"),
        ("film.mov", b"\0\0\0\x14ftypqt  \0\0\0\0qt  ".to_vec(), IntakeErrorKind::Unsupported, "video"),
        ("a.gif", b"GIF89a\x01\0\x01\0".to_vec(), IntakeErrorKind::Unsupported, "GIF"),
        (
            "cut.heic",
            heic,
            if cfg!(feature = "heic") { IntakeErrorKind::Damaged } else { IntakeErrorKind::Unsupported },
            "HEIC",
        ),
        ("flat.dng", empty_raw, IntakeErrorKind::Damaged, "no picture in it"),
    ];
    for (name, bytes, kind, words) in cases {
        let error = read(&place.file(name, &bytes), &Overrides::default()).unwrap_err();
        assert_eq!(error.kind, kind, "{name}: {error}");
        assert!(error.problem.contains(words), "{name}: {}", error.problem);
        assert!(error.advice.ends_with('.'), "{name}: {}", error.advice);
    }
    let missing = read(&place.0.path().join("nowhere.jpg"), &Overrides::default()).unwrap_err();
    assert_eq!(missing.kind, IntakeErrorKind::Unreadable);
    std::fs::create_dir(place.0.path().join("folder.jpg")).unwrap();
    let folder = read(&place.0.path().join("folder.jpg"), &Overrides::default()).unwrap_err();
    assert_eq!(folder.kind, IntakeErrorKind::Unreadable);
    assert!(folder.problem.contains("folder"));
}

/// The largest picture inside a raw file that no decoder knows stands in, and says so.
#[test]
fn an_undecodable_raw_falls_back_to_its_preview() {
    let place = Place::new();
    let large = encoded(picture(1200, 800), ImageFormat::Jpeg);
    let mut raw = b"FOVb\0\0\0\0 sensor data of an unknown kind ".to_vec();
    raw.extend(with_exif(&fixture("grey.jpg"), &[(Tag::Orientation, short(1))]));
    raw.extend([0xFF, 0xD8, 0xFF, 0x00, 0x13]);
    raw.extend(&large);
    raw.extend(b"more");
    let shot = read(&place.file("a.x3f", &raw), &Overrides::default()).unwrap();
    assert_eq!((shot.plane.width, shot.plane.height), (1200, 800));
    assert!(shot.flags.contains(&Flag::Preview) && shot.flags.contains(&Flag::Processed));
    assert_eq!(shot.plane.data, plane(&place.file("p.jpg", &large)).data);
    let thumbnail_only = &raw[..raw.len() - large.len() - 4];
    assert!(read(&place.file("b.x3f", thumbnail_only), &Overrides::default()).is_err());
    assert!(!exif_block(&[(Tag::Orientation, short(1))]).is_empty());
}
