//! Any bytes as the maker note of each maker, with the cameras whose notes are read by their model.
#![no_main]

use libfuzzer_sys::fuzz_target;
use tussock::intake::makernote::{self, Note};

const CAMERAS: &[(&str, &str)] = &[
    ("NIKON CORPORATION", "NIKON D50"),
    ("NIKON CORPORATION", "NIKON Z 6"),
    ("CANON", "Canon EOS 60D"),
    ("CANON", "Canon PowerShot S90"),
    ("SONY", "ILCE-6500"),
    ("SONY", "SLT-A58"),
    ("SONY", "DSLR-A350"),
    ("SONY", "NEX-5"),
    ("OLYMPUS", "E-M1"),
    ("PANASONIC", "DMC-G7"),
    ("FUJIFILM", "X-T3"),
    ("PENTAX", "PENTAX K10D"),
    ("SIGMA", "SIGMA SD14"),
    ("APPLE", "iPhone 12"),
    ("KONICA MINOLTA", "DiMAGE A2"),
    ("CASIO", "EX-Z750"),
];

fuzz_target!(|data: &[u8]| {
    let Some((&choice, rest)) = data.split_first() else { return };
    let (make, model) = CAMERAS[usize::from(choice >> 1) % CAMERAS.len()];
    // The note stands behind a header of eight bytes, as in the shortest block there can be.
    let mut block = vec![0; 8];
    block.extend_from_slice(rest);
    let note = Note {
        bytes: rest,
        offset: 8,
        block: &block,
        little_endian: choice & 1 == 0,
        model,
        focal_35mm: Some(36.0),
        focal_mm: Some(24.0),
        frame: Some((4000, 3000)),
    };
    if let Some(notes) = makernote::dispatch(&note, make) {
        if let Some(point) = notes.point {
            assert!((0.0..=1.0).contains(&point.x) && (0.0..=1.0).contains(&point.y));
        }
        if let Some(distance) = notes.distance {
            let (low, high) = distance.bounds();
            assert!(low > 0.0 && low <= high);
        }
    }
});
