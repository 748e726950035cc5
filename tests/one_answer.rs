//! Facts and pixels of one file give one answer: how it is turned, how large it is, which of its pictures it is.

#[path = "support/files.rs"]
mod files;
#[path = "support/folder.rs"]
mod folder;

use std::path::Path;

use exif::{Tag, Value};
use files::{grey_jpeg, short, with_exif};
use folder::Place;
use image::{GrayImage, Luma};
use tussock::intake::{Overrides, colour, facts, read};

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
            for point in captures.map(|c| c.focus_point.unwrap().value) {
                assert!((point.x - x).abs() < 1e-9 && (point.y - y).abs() < 1e-9, "{orientation} {turn}: {point:?}");
            }
        }
    }
}
