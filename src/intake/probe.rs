//! Probe: doors for the fuzzers to what reads a file's bytes and is nobody else's business.

use std::io::Cursor;
use std::path::Path;

use super::headers::Headers;
use super::tone::{Named, Tone};
use super::{containers, messages, preview, scan, sniff};

/// Headers, scans and embedded pictures of a JPEG or of whatever holds one.
pub fn jpeg(bytes: &[u8]) {
    let headers = Headers::scan(bytes);
    if let Some(rows) = scan::coded_rows(bytes) {
        // Only a file of several frames, which is none, may differ in its height.
        assert!(rows <= usize::from(u16::MAX), "{rows} rows of {:?}", headers.size());
    }
    for (picture, headers) in preview::previews(bytes) {
        assert!(picture.len() <= bytes.len() && headers.size().0.max(headers.size().1) >= 1000);
    }
}

/// The kind of a file by its content, and the directories of a TIFF.
pub fn kind(bytes: &[u8]) {
    for name in ["a.jpg", "a.nef", ""] {
        let _ = sniff::kind(&mut Cursor::new(bytes), Path::new(name));
    }
    let _ = sniff::directories(&mut Cursor::new(bytes));
}

/// What a file of some kind carries, whatever its bytes begin with; `choice` names the kind.
pub fn contents(choice: u8, bytes: &[u8]) {
    let kinds = sniff::kinds();
    containers::contents(&mut Cursor::new(bytes), kinds[usize::from(choice) % kinds.len()]);
}

/// The tone of an ICC profile: whatever it says, light is from none to all and grows.
pub fn icc(bytes: &[u8]) {
    let tone = Tone::of(Some(bytes), Named::Srgb);
    assert!((0..=16).all(|i| (0.0..=1.0).contains(&tone.linear(i as f32 / 16.0))));
    assert!((tone.weights().iter().sum::<f32>() - 1.0).abs() < 1e-3);
}

/// What goes between the program and its workers.
pub fn frames(bytes: &[u8]) {
    messages::probe(bytes);
}
