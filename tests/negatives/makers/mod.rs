//! Makers: raw files in the makers' own formats, with samples chosen by the test.
//!
//! Layouts follow what is published of each; where a description says how a body fills in a value, the value here is one that
//! such bodies write. Nothing of a photograph is in them.

mod canon;
mod fuji;
mod fuji_codes;
mod nikon;
mod olympus;
mod panasonic;
mod pentax;
mod sony;

use super::directory::{Order, Values, append, standing};
use super::negative::scattered;

/// A raw file of a maker's own format and what it stands for.
#[derive(Clone, Debug)]
pub struct Made {
    /// File name; the extension is the format's.
    pub name: String,
    /// The file.
    pub bytes: Vec<u8>,
    /// Width of the stored picture, px.
    pub width: usize,
    /// Its height, px.
    pub height: usize,
    /// Row-major samples that the file stands for.
    pub samples: Vec<u16>,
    /// The part that is the picture: left, top, width and height, px; `None` where only a list of bodies tells.
    pub area: Option<(usize, usize, usize, usize)>,
    /// Black level, where the file states it.
    pub black: Option<u16>,
}

/// One file for each layout that is written.
#[must_use]
pub fn every() -> Vec<Made> {
    let makers =
        [canon::every, fuji::every, nikon::every, olympus::every, panasonic::every, pentax::every, sony::every];
    makers.iter().flat_map(|every| every()).collect()
}

/// One file of 24 megapixels, as cameras write them by default, for each of four makers: Canon, Fujifilm, Nikon and Sony.
#[must_use]
pub fn large() -> Vec<Made> {
    vec![canon::large(), fuji::large(), nikon::large(), sony::large()]
}

/// Where the samples stand in all these files: behind the directories, as cameras write them.
const DATA: usize = 0x1_0000;

/// Samples of a mosaic, from below black to white: waves with noise, and a strip where neighbours have nothing in common.
fn picture(width: usize, height: usize, black: u16, white: u16) -> Vec<u16> {
    let range = f64::from(white - black);
    let sample = |i: usize| {
        let (x, y) = ((i % width) as f64, (i / width) as f64);
        let noise = f64::from(scattered(i) % 64) - 32.0;
        if (i / width) % 29 < 2 {
            return (u32::from(black) + scattered(i) % u32::from(white - black + 1)) as u16;
        }
        let light = 0.4 + 0.3 * (x / 23.0).sin() * (y / 17.0).cos() + 0.1 * ((x as u32 % 2 + y as u32 % 2) as f64);
        (f64::from(black) + light * range + noise).clamp(0.0, f64::from(white)) as u16
    };
    (0..width * height).map(sample).collect()
}

/// How the Exif directory describes the exposure of all these files.
fn exposure(note: Option<(usize, usize)>) -> Vec<(u16, Values)> {
    let mut tags = vec![
        (0x829a, Values::Ratios(vec![(1, 125)])),
        (0x829d, Values::Ratios(vec![(80, 10)])),
        (0x8827, Values::Shorts(vec![200])),
        (0x9003, Values::Text("2024:05:01 06:30:00".into())),
        (0x920a, Values::Ratios(vec![(35, 1)])),
    ];
    if let Some((length, at)) = note {
        tags.push((0x927c, Values::Placed(length as u32, at as u32)));
    }
    tags
}

/// What the first directory says of the camera; `turn` is the orientation.
fn camera(make: &str, model: &str, turn: u16, exif: u32) -> Vec<(u16, Values)> {
    vec![
        (0x10f, Values::Text(make.into())),
        (0x110, Values::Text(model.into())),
        (0x112, Values::Shorts(vec![turn])),
        (0x132, Values::Text("2024:05:01 06:30:00".into())),
        (0x8769, Values::Longs(vec![exif])),
    ]
}

/// The header of a file whose maker note comes next. LibRaw looks at the twelve bytes in front of a note, which cameras never
/// put so near the beginning that they are missing.
fn head(order: Order) -> Vec<u8> {
    let mut out = order.header();
    out.resize(16, 0);
    out
}

/// Puts the samples' bytes in their place behind the directories.
fn with_data(mut out: Vec<u8>, data: &[u8]) -> Vec<u8> {
    assert!(out.len() <= DATA, "the directories reach into the samples");
    out.resize(DATA, 0);
    out.extend(data);
    // Readers that fetch several bytes at once must not meet the end.
    out.extend([0; 64]);
    out
}

/// A JPEG of nothing but its Exif block, with a maker note that has no places in it.
fn exif_jpeg(order: Order, make: &str, model: &str, turn: u16, note: &[u8]) -> Vec<u8> {
    let mut tiff = order.header();
    let exif = exposure(Some((note.len(), tiff.len())));
    tiff.extend(note);
    let exif = append(&mut tiff, order, &exif);
    let first = append(&mut tiff, order, &camera(make, model, turn, exif));
    tiff[4..8].copy_from_slice(&order.long(first));
    let mut out = vec![0xFF, 0xD8, 0xFF, 0xE1];
    out.extend((tiff.len() as u16 + 8).to_be_bytes());
    out.extend(b"Exif\0\0");
    out.extend(tiff);
    out.extend([0xFF, 0xD9]);
    out
}

/// The tags of a TIFF/EP picture of a sensor in one strip (ISO 12234-2).
fn strip(size: (usize, usize), bits: u16, compression: u16, length: usize) -> Vec<(u16, Values)> {
    vec![
        (254, Values::Longs(vec![0])),
        (256, Values::Longs(vec![size.0 as u32])),
        (257, Values::Longs(vec![size.1 as u32])),
        (258, Values::Shorts(vec![bits])),
        (259, Values::Shorts(vec![compression])),
        (262, Values::Shorts(vec![32_803])),
        (273, Values::Longs(vec![DATA as u32])),
        (277, Values::Shorts(vec![1])),
        (278, Values::Longs(vec![size.1 as u32])),
        (279, Values::Longs(vec![length as u32])),
        (284, Values::Shorts(vec![1])),
        (33_421, Values::Shorts(vec![2, 2])),
        (33_422, Values::Bytes(vec![0, 1, 1, 2])),
    ]
}

/// Numbers of 16 bits in a byte order.
fn words(samples: &[u16], order: Order) -> Vec<u8> {
    samples.iter().flat_map(|v| order.short(*v)).collect()
}
