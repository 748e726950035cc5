//! Facts and pixels of one file give one answer: how it is turned, how large it is, which of its pictures it is.

#[path = "support/files.rs"]
mod files;
#[path = "support/folder.rs"]
mod folder;

use std::io::Cursor;
use std::path::Path;

use exif::{Tag, Value};
use files::{encoded, exif_block, grey_jpeg, short, with_exif};
use folder::Place;
use image::{GrayImage, ImageFormat, Luma};
use tiff::encoder::TiffEncoder;
use tiff::encoder::colortype::Gray8;
use tiff::tags::Tag as TiffTag;
use tussock::intake::{IntakeErrorKind, Overrides, colour, facts, read};

/// Where the bright place of [`spotted`] is, in fractions of the stored picture.
const SPOT: (f64, f64) = (0.25, 0.125);

/// A dark picture of 64 x 48 px with one bright place.
fn spotted() -> GrayImage {
    GrayImage::from_fn(64, 48, |x, y| Luma([if x.abs_diff(16) < 3 && y.abs_diff(6) < 3 { 250 } else { 20 }]))
}

/// Where the bright place is after an orientation (Exif 2.32, tag 0x0112) and quarter turns clockwise.
fn expected(orientation: u16, quarter_turns: u8) -> (f64, f64) {
    let (x, y) = SPOT;
    let upright = match orientation {
        2 => (1.0 - x, y),
        3 => (1.0 - x, 1.0 - y),
        4 => (x, 1.0 - y),
        5 => (y, x),
        6 => (1.0 - y, x),
        7 => (1.0 - y, 1.0 - x),
        8 => (y, 1.0 - x),
        _ => (x, y),
    };
    (0..quarter_turns).fold(upright, |(x, y), _| (1.0 - y, x))
}

/// Checks size and bright place of the plane and the picture to look at, and the size that the facts state.
#[track_caller]
fn lies_as(path: &Path, orientation: u16, quarter_turns: u8) {
    let overrides = Overrides { turn: Some(quarter_turns), ..Overrides::default() };
    let plane = read(path, &overrides).unwrap().plane;
    let size = (plane.width as u32, plane.height as u32);
    assert_eq!(size, if (orientation > 4) == (quarter_turns % 2 == 1) { (64, 48) } else { (48, 64) });
    let (x, y) = expected(orientation, quarter_turns);
    let (x, y) = ((x * plane.width as f64) as usize, (y * plane.height as f64) as usize);
    let middle = plane.data.iter().max().unwrap() / 2;
    assert!(plane.row(y)[x] > middle, "nothing at {x}, {y}");
    assert!(plane.data.iter().filter(|v| **v > middle).count() < 60);
    let seen = colour(path, &overrides).unwrap();
    assert_eq!(seen.dimensions(), size);
    assert!(seen.get_pixel(x as u32, y as u32).0[1] > 128);
    assert_eq!(facts(path, &overrides).unwrap().size, Some(size));
}

#[test]
fn what_the_user_turns_takes_the_recorded_facts_along() {
    let place = Place::new();
    let jpeg = grey_jpeg(&spotted(), 95);
    for orientation in 1..=8 {
        let area = Value::Short(vec![16, 6, 4, 4]);
        let bytes = with_exif(&jpeg, &[(Tag::Orientation, short(orientation)), (Tag::SubjectArea, area)]);
        let path = place.file("a.jpg", &bytes);
        for turn in 0..4 {
            lies_as(&path, orientation, turn);
            let overrides = Overrides { turn: Some(turn), ..Overrides::default() };
            let (x, y) = expected(orientation, turn);
            let captures = [facts(&path, &overrides).unwrap().capture, read(&path, &overrides).unwrap().capture];
            for capture in captures {
                let point = capture.focus_point.unwrap().value;
                assert!((point.x - x).abs() < 1e-9 && (point.y - y).abs() < 1e-9, "{orientation} {turn}: {point:?}");
                // The one orientation that brings the stored picture there.
                assert_eq!(expected(capture.orientation.unwrap().value, 0), (x, y), "{orientation} {turn}");
            }
        }
    }
}

/// A chunk of a PNG (ISO 15948, 5.3).
fn chunk(name: &[u8; 4], body: &[u8]) -> Vec<u8> {
    let named = [&name[..], body].concat();
    let sum = !named.iter().fold(!0_u32, |crc, byte| {
        (0..8).fold(crc ^ u32::from(*byte), |c, _| if c & 1 == 1 { c >> 1 ^ 0xEDB8_8320 } else { c >> 1 })
    });
    [&(body.len() as u32).to_be_bytes()[..], &named, &sum.to_be_bytes()].concat()
}

/// A PNG with a chunk put in before its pixels or behind them.
fn png_with(extra: &[u8], behind: bool) -> Vec<u8> {
    let png = encoded(spotted(), ImageFormat::Png);
    let at = if behind { png.len() - 12 } else { 33 };
    [&png[..at], extra, &png[at..]].concat()
}

fn xmp(orientation: u16) -> String {
    format!(
        r#"<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#"><rdf:Description xmlns:tiff="http://ns.adobe.com/tiff/1.0/" tiff:Orientation="{orientation}"/></rdf:RDF></x:xmpmeta>"#
    )
}

#[test]
fn pixels_are_turned_as_the_facts_say_wherever_these_are_recorded() {
    let place = Place::new();
    let block = exif_block(&[(Tag::Orientation, short(6))]);
    let digits: String = block.iter().map(|b| format!("{b:02x}")).collect();
    let profile = format!("Raw profile type exif\0\nexif\n{:8}\n{digits}\n", block.len());
    lies_as(&place.file("text.png", &png_with(&chunk(b"tEXt", profile.as_bytes()), false)), 6, 0);
    for behind in [false, true] {
        lies_as(&place.file("chunk.png", &png_with(&chunk(b"eXIf", &block), behind)), 6, 0);
    }
    let jpeg = grey_jpeg(&spotted(), 95);
    let packet = ["http://ns.adobe.com/xap/1.0/\0", &xmp(6)].concat();
    let length = (packet.len() as u16 + 2).to_be_bytes();
    let path = place.file("xmp.jpg", &[&jpeg[..2], &[0xFF, 0xE1], &length, packet.as_bytes(), &jpeg[2..]].concat());
    lies_as(&path, 6, 0);
}

/// It may have been written for the raw file that the picture was made from.
#[test]
fn a_sidecar_turns_no_rendered_file() {
    let place = Place::new();
    place.file("a.xmp", xmp(6).as_bytes());
    let jpeg = grey_jpeg(&spotted(), 95);
    lies_as(&place.file("a.jpg", &jpeg), 1, 0);
    lies_as(&place.file("a.png", &encoded(spotted(), ImageFormat::Png)), 1, 0);
    assert_eq!(facts(&place.file("a.jpg", &jpeg), &Overrides::default()).unwrap().orientation, None);
}

/// A TIFF of a reduced picture, which comes first, and the picture itself, of a kind by its photometric interpretation.
fn thumbnail_first(kind: u16) -> Vec<u8> {
    let mut out = Cursor::new(Vec::new());
    let mut encoder = TiffEncoder::new(&mut out).unwrap();
    let mut small = encoder.new_image::<Gray8>(16, 12).unwrap();
    small.encoder().write_tag(TiffTag::NewSubfileType, 1_u32).unwrap();
    small.write_data(&[200; 16 * 12]).unwrap();
    let mut large = encoder.new_image::<Gray8>(64, 48).unwrap();
    large.encoder().write_tag(TiffTag::NewSubfileType, 0_u32).unwrap();
    large.encoder().write_tag(TiffTag::PhotometricInterpretation, kind).unwrap();
    large.write_data(spotted().as_raw()).unwrap();
    out.into_inner()
}

#[test]
fn the_picture_of_a_tiff_is_decoded_wherever_it_stands() {
    let place = Place::new();
    // Black is zero.
    lies_as(&place.file("a.tif", &thumbnail_first(1)), 1, 0);
    // What can't be decoded is no reason to measure the thumbnail: logarithmic luminance.
    let error = read(&place.file("b.tif", &thumbnail_first(32_844)), &Overrides::default()).unwrap_err();
    assert_eq!(error.kind, IntakeErrorKind::Unsupported, "{error}");
}
