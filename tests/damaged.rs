//! Damage: every truncation and many mutations of small files of each kind cost that file and nothing else.

#[path = "support/files.rs"]
mod files;

use std::path::Path;

use tussock::intake::{IntakeErrorKind, Overrides, colour, facts, read};
use tussock::quantity::Flag;

/// Whatever the bytes, reading ends with a sound plane or an error in words; a plane of which a part is missing says so.
fn survives(path: &Path, what: &str) -> Option<IntakeErrorKind> {
    let none = Overrides::default();
    let _ = (facts(path, &none), colour(path, &none).map(|picture| picture.dimensions()));
    match read(path, &none) {
        Ok(shot) => {
            let missing = shot.coded.is_some_and(|share| share < 1.0);
            assert_eq!(missing, shot.flags.contains(&Flag::Truncated), "{what}");
            let plane = shot.plane;
            assert_eq!(plane.data.len(), plane.width * plane.height, "{what}");
            assert!(plane.width > 0 && plane.height > 0 && plane.black < plane.white, "{what}");
            assert!(plane.saturation > plane.black, "{what}");
            // Told as a failure wherever frames are audited.
            missing.then_some(IntakeErrorKind::Damaged)
        }
        Err(error) => {
            assert!(!error.problem.is_empty() && error.advice.ends_with('.'), "{what}: {error:?}");
            Some(error.kind)
        }
    }
}

/// Bytes behind the last one that the picture itself needs: end markers and checksums.
fn needed(name: &str, size: usize) -> usize {
    match name {
        // A PNG's pixels are whole before its last two chunks' checksum and end chunk.
        n if n.ends_with(".png") => size - 16,
        // The DNG written here ends with white balance and colour matrix, which luminance hardly needs.
        n if n.ends_with(".dng") => size - 100,
        // A JPEG without the marker of its end has all of its picture.
        n if n.ends_with(".jpg") => size - 2,
        // The TIFFs written here keep their directories behind the pixels.
        _ => size,
    }
}

#[test]
fn every_truncation_is_an_error() {
    let place = tempfile::tempdir().unwrap();
    for (name, bytes) in files::one_of_each() {
        let path = place.path().join(name);
        std::fs::write(&path, &bytes).unwrap();
        assert_eq!(survives(&path, name), None, "the whole file {name}");
        let small = bytes.len() < 1500;
        // All lengths of small files; of larger ones all near the ends and every 37th between.
        for size in (0..needed(name, bytes.len())).filter(|n| small || *n < 200 || n + 200 > bytes.len() || n % 61 == 0)
        {
            std::fs::write(&path, &bytes[..size]).unwrap();
            let kind = survives(&path, &format!("{name} cut to {size}"));
            assert!(kind.is_some(), "{name} cut to {size} of {} bytes passes as whole", bytes.len());
        }
    }
}

#[test]
fn mutations_never_end_the_program() {
    let place = tempfile::tempdir().unwrap();
    let mut state = 0x9E37_79B9_7F4A_7C15_u64;
    let mut random = move |below: usize| {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 33) as usize % below
    };
    for (name, bytes) in files::one_of_each() {
        // Raw decoding in this process survives panics but not aborts; tests/workers.rs damages raw files.
        if name.ends_with(".dng") {
            continue;
        }
        let path = place.path().join(name);
        for round in 0..100 {
            let mut damaged = bytes.clone();
            for _ in 0..=random(4) {
                // Headers matter most.
                let at = if random(2) == 0 { random(damaged.len().min(400)) } else { random(damaged.len()) };
                damaged[at] = [0, 0xFF, 0x7F, 0x80, random(256) as u8][random(5)];
            }
            std::fs::write(&path, &damaged).unwrap();
            survives(&path, &format!("{name} round {round}"));
        }
    }
}

#[test]
fn absurd_sizes_are_refused() {
    let place = tempfile::tempdir().unwrap();
    let huge = |bytes: &mut [u8], at: usize| bytes[at..at + 4].copy_from_slice(&[0xFF; 4]);
    let mut jpeg = files::grey_jpeg(&image::GrayImage::new(16, 16), 90);
    let frame = jpeg.windows(2).position(|w| w == [0xFF, 0xC0]).unwrap();
    huge(&mut jpeg, frame + 5);
    let mut png = files::encoded(files::picture(16, 16), image::ImageFormat::Png);
    // Width and height of the header chunk, and its checksum made to fit.
    png[16..24].copy_from_slice(&[0, 1, 0, 0, 0, 1, 0, 0]);
    let checksum = crc32(&png[12..29]).to_be_bytes();
    png[29..33].copy_from_slice(&checksum);
    for (name, bytes, kinds) in [
        ("a.jpg", jpeg, [IntakeErrorKind::Damaged, IntakeErrorKind::TooMuch]),
        ("a.png", png, [IntakeErrorKind::TooMuch, IntakeErrorKind::TooMuch]),
    ] {
        let path = place.path().join(name);
        std::fs::write(&path, &bytes).unwrap();
        let kind = survives(&path, name).expect("an error");
        assert!(kinds.contains(&kind), "{name}: {kind:?}");
    }
}

/// The checksum of PNG chunks (ISO 15948, annex D).
fn crc32(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(!0_u32, |crc, byte| {
        (0..8).fold(crc ^ u32::from(*byte), |c, _| if c & 1 == 1 { c >> 1 ^ 0xEDB8_8320 } else { c >> 1 })
    })
}
