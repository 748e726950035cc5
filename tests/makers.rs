//! Raw files in the makers' own formats: what is written comes back, sample by sample, with its levels, borders and facts.

mod negatives;

use std::path::{Path, PathBuf};

use memchr::memmem;
use negatives::makers::{Made, every};
use tussock::intake::raw::{Sensor, by_rawler, by_rawloader, decode};
use tussock::intake::{IntakeErrorKind, Overrides, read};
use tussock::quantity::{Distance, Flag};
use tussock::shot::{Fact, Mosaic, Source};

fn written(place: &Path, name: &str, bytes: &[u8]) -> PathBuf {
    let path = place.join(name);
    std::fs::write(&path, bytes).unwrap();
    path
}

/// That a file gives the samples that it stands for, and what it states of levels and borders.
fn check(sensor: &Sensor, made: &Made) {
    let name = &made.name;
    assert_eq!((sensor.stride, sensor.channels), (made.width, 1), "{name}");
    let apart = sensor.samples.iter().zip(&made.samples).filter(|(a, b)| a != b).count();
    assert_eq!((sensor.samples.len(), apart), (made.samples.len(), 0), "{name}: samples that differ");
    if let Some(area) = made.area {
        assert_eq!((sensor.left, sensor.top, sensor.width, sensor.height), area, "{name}");
    }
    if let Some(black) = made.black {
        assert_eq!(sensor.black, [f32::from(black); 4], "{name}");
    }
    assert!(sensor.gains[0] > 1.2 && sensor.gains[1] == 1.0 && sensor.gains[2] > 1.2, "{name}: {:?}", sensor.gains);
}

#[test]
fn every_layout_gives_back_the_samples_written() {
    let place = tempfile::tempdir().unwrap();
    for made in every() {
        let path = written(place.path(), &made.name, &made.bytes);
        check(&decode(&path).unwrap_or_else(|e| panic!("{}: {e}", made.name)), &made);
        // Where both libraries know the body, they see the same colour at each site.
        if let (Ok(a), Ok(b)) = (by_rawler(&path, false), by_rawloader(&path, false)) {
            let colour = |s: &Sensor, x: usize, y: usize| s.pattern.unwrap().colour(x - s.left, y - s.top);
            let (left, top) = (a.left.max(b.left), a.top.max(b.top));
            for (x, y) in (0..36).map(|i| (left + i % 6, top + i / 6)) {
                assert_eq!(colour(&a, x, y), colour(&b, x, y), "{} at {x}, {y}", made.name);
            }
        }
    }
}

/// A body that no list has yet, in a format that is read here: its own tags tell what is needed.
#[test]
fn bodies_of_no_list_are_read_by_what_their_files_state() {
    let place = tempfile::tempdir().unwrap();
    let mut count = 0;
    for mut made in every() {
        for (name, other) in [
            ("NIKON Z 6", "NIKON Z 0"),
            ("ILCE-7M3", "ILCE-0M3"),
            ("ILCE-7M4", "ILCE-0M4"),
            ("DMC-GH4", "DMC-GQ0"),
            ("DC-GH5S", "DC-GQ5S"),
            ("DC-S1", "DC-Q0"),
        ] {
            let places: Vec<usize> = memmem::find_iter(&made.bytes, name).collect();
            if places.is_empty() {
                continue;
            }
            places.iter().for_each(|at| made.bytes[*at..at + name.len()].copy_from_slice(other.as_bytes()));
            let path = written(place.path(), &made.name, &made.bytes);
            assert!(by_rawler(&path, false).is_err() && by_rawloader(&path, false).is_err(), "{}", made.name);
            let sensor = decode(&path).unwrap_or_else(|e| panic!("{}: {e}", made.name));
            check(&sensor, &made);
            assert!(sensor.white > 3800.0 && sensor.white < 16_400.0, "{}: {}", made.name, sensor.white);
            let sites = if made.name == "panasonic-4.rw2" { [2, 1, 1, 0] } else { [0, 1, 1, 2] };
            assert_eq!(sensor.pattern.unwrap().colours[..4], sites, "{}", made.name);
            count += 1;
        }
    }
    assert_eq!(count, 14);
}

/// Bodies that put several exposures together say so beside the picture.
#[test]
fn pictures_of_several_exposures_are_named() {
    let place = tempfile::tempdir().unwrap();
    let made = every().into_iter().find(|m| m.name == "panasonic-5-14.rw2").unwrap();
    // The last entry of the first directory, which says where the samples stand, becomes one that says how many there are.
    let entry = [0x18, 1, 4, 0, 1, 0, 0, 0, 0, 0, 1, 0];
    let at = memmem::find(&made.bytes, &entry).unwrap();
    let mut several = made.bytes.clone();
    several[at - 12..at].copy_from_slice(&entry);
    several[at..at + 12].copy_from_slice(&[0x21, 1, 4, 0, 1, 0, 0, 0, 0, 0, 1, 0]);
    let flags = |bytes: &[u8]| read(&written(place.path(), &made.name, bytes), &Overrides::default()).unwrap().flags;
    assert!(!flags(&made.bytes).contains(&Flag::MultiShot));
    assert!(flags(&several).contains(&Flag::MultiShot));
}

/// Orientation, body, exposure and focus distance of the makers' files arrive in the shot.
#[test]
fn facts_and_orientation_arrive_with_the_pixels() {
    let place = tempfile::tempdir().unwrap();
    for made in every() {
        let path = written(place.path(), &made.name, &made.bytes);
        let shot = read(&path, &Overrides::default()).unwrap_or_else(|e| panic!("{}: {e}", made.name));
        let name = &made.name;
        let sideways = [
            "canon-two",
            "canon-12",
            "nikon-newer",
            "fuji-bayer",
            "fuji-coded-bayer",
            "olympus-newer",
            "panasonic-4",
            "panasonic-6-14",
            "pentax-16",
            "sony-blocks-upright",
        ];
        let sideways = sideways.iter().any(|s| name.starts_with(s));
        if let Some((_, _, width, height)) = made.area {
            let upright = if sideways { (height, width) } else { (width, height) };
            assert_eq!((shot.plane.width, shot.plane.height), upright, "{name}");
        }
        assert_eq!(matches!(shot.plane.mosaic, Mosaic::Six(_)), name.contains("x-trans"), "{name}");
        let facts = &shot.capture;
        assert_eq!(facts.f_number, Some(Fact::new(8.0, Source::Exif)), "{name}");
        assert_eq!(facts.focal_length_mm, Some(Fact::new(35.0, Source::Exif)), "{name}");
        assert!(facts.body.is_some() && facts.iso.is_some() && facts.exposure_s.is_some(), "{name}");
        let distance = facts.focus_distance_m.as_ref().map(|d| d.value);
        match name.split('-').next().unwrap() {
            "canon" => assert_eq!(distance, Some(Distance::Interval { low: 3.3, high: 3.5 }), "{name}"),
            // Forty steps a decade from a centimetre on.
            "nikon" => {
                let Some(Distance::Finite(m)) = distance else { panic!("{name}: {distance:?}") };
                assert!((m - 0.01 * 10_f64.powf(2.5)).abs() < 1e-3, "{name}: {m}");
            }
            "olympus" => assert_eq!(distance, Some(Distance::Finite(3.45)), "{name}"),
            _ => {}
        }
    }
}

/// A kind that no public description tells of is named, whatever else the file holds.
#[test]
fn high_efficiency_is_named() {
    let place = tempfile::tempdir().unwrap();
    let mut made = every().into_iter().find(|m| m.name == "nikon-newer-lossless-14.nef").unwrap();
    // The note's entry for the kind: 3 is lossless, 13 high efficiency.
    let entry = [0x93, 0, 3, 0, 1, 0, 0, 0, 3, 0];
    let at = made.bytes.windows(10).position(|w| w == entry).unwrap();
    made.bytes[at + 8] = 13;
    let error = decode(&written(place.path(), &made.name, &made.bytes)).map(|s| s.height).unwrap_err();
    assert_eq!(error.kind, IntakeErrorKind::Unsupported, "{error}");
    assert!(error.problem.contains("high-efficiency"), "{error}");
}

#[test]
fn cut_files_are_damaged() {
    let place = tempfile::tempdir().unwrap();
    for made in every() {
        let own = ["lossless", "table", "points", "coarser", "blocks", "panasonic-"];
        if own.iter().any(|kind| made.name.contains(kind)) && made.name != "panasonic-words.rw2" {
            let path = written(place.path(), &made.name, &made.bytes[..made.bytes.len() * 2 / 3]);
            let error = decode(&path).map(|s| s.height).expect_err(&made.name);
            assert_eq!(error.kind, IntakeErrorKind::Damaged, "{error}");
        }
    }
}
