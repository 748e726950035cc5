//! Fujifilm RAF: a head of its own with a JPEG that holds the Exif, a list of records, and a TIFF in front of the samples,
//! uncompressed or in codes. After the public readers of these files.

use super::super::directory::{Order, Values};
use super::{DATA, Made, exif_jpeg, fuji_codes, picture, standing, words};

const ORDER: Order = Order::Little;
const BLACK: u16 = 1024;
const WHITE: u16 = 16_383;
/// Left and top of the picture.
const CORNER: (usize, usize) = (12, 6);

/// A file to be written.
struct Raf {
    name: &'static str,
    model: &'static str,
    turn: u16,
    size: (usize, usize),
    /// The mosaic's six rows, where it is not Bayer's.
    x_trans: Option<[&'static str; 6]>,
    coded: bool,
}

/// One of 24 megapixels.
pub(super) fn large() -> Made {
    let (size, x_trans) = ((6048, 4032), Some(fuji_codes::X_TRANS));
    made(&Raf { name: "fuji-24.raf", model: "X-T2", turn: 1, size, x_trans, coded: true })
}

pub(super) fn every() -> Vec<Made> {
    let rows = ["RBGBRG", "GGRGGB", "GGBGGR", "BRGRBG", "GGBGGR", "GGRGGB"];
    let plain = |name, model, turn, x_trans| Raf { name, model, turn, size: (480, 318), x_trans, coded: false };
    // Of more columns than one strip of codes has, so that these stay shorter than plain samples.
    let coded = |name, model, turn, x_trans| Raf { name, model, turn, size: (1512, 108), x_trans, coded: true };
    [
        plain("fuji-x-trans.raf", "X-T1", 1, Some(rows)),
        plain("fuji-bayer.raf", "X-A1", 8, None),
        coded("fuji-coded-x-trans.raf", "X-T2", 3, Some(fuji_codes::X_TRANS)),
        coded("fuji-coded-bayer.raf", "GFX 50R", 6, None),
    ]
    .iter()
    .map(made)
    .collect()
}

fn made(file: &Raf) -> Made {
    let size = file.size;
    let samples = picture(size.0, size.1, BLACK, WHITE);
    let (left, top) = CORNER;
    let area = (left, top, size.0 - 72, size.1 - 18);
    let mut out = b"FUJIFILMCCD-RAW 0201FF129506".to_vec();
    out.extend(file.model.as_bytes());
    out.resize(108, 0);
    let jpeg = jpeg(file.model, file.turn);
    let records = records(size, area, file.x_trans);
    let (jpeg_at, records_at) = (0x100, 0x8000);
    for (at, place, length) in [(84, jpeg_at, jpeg.len()), (92, records_at, records.len())] {
        out[at..at + 4].copy_from_slice(&(place as u32).to_be_bytes());
        out[at + 4..at + 8].copy_from_slice(&(length as u32).to_be_bytes());
    }
    out.resize(jpeg_at, 0);
    out.extend(jpeg);
    out.resize(records_at, 0);
    out.extend(records);
    out.resize(DATA, 0);
    let data =
        if file.coded { fuji_codes::code(&samples, size, file.x_trans.is_some()) } else { words(&samples, ORDER) };
    let tiff = tiff(size, if file.x_trans.is_some() { 36 } else { 4 }, data.len());
    out[100..104].copy_from_slice(&(DATA as u32).to_be_bytes());
    out[104..108].copy_from_slice(&((tiff.len() + data.len()) as u32).to_be_bytes());
    out.extend(tiff);
    out.extend(data);
    out.extend([0; 64]);
    let (width, height) = size;
    let (name, black) = (file.name.into(), Some(BLACK));
    Made { name, bytes: out, width, height, samples, area: Some(area), black }
}

/// The JPEG that holds the Exif, whose note's places count from the note's own beginning.
fn jpeg(model: &str, turn: u16) -> Vec<u8> {
    let mut note = b"FUJIFILM\x0c\0\0\0".to_vec();
    note.extend(standing(ORDER, 12, &[(0x1021, Values::Shorts(vec![0])), (0x1023, Values::Shorts(vec![204, 150]))]));
    exif_jpeg(ORDER, "FUJIFILM", model, turn, &note)
}

/// Records of 16-bit numbers, big-endian whatever the TIFF's order is: sizes, the picture's corner, gains, and the pattern,
/// which is written backwards.
fn records(size: (usize, usize), area: (usize, usize, usize, usize), x_trans: Option<[&str; 6]>) -> Vec<u8> {
    let pair = |a: usize, b: usize| [(a as u16).to_be_bytes(), (b as u16).to_be_bytes()].concat();
    let mut list =
        vec![(0x100_u16, pair(size.1, size.0)), (0x110, pair(area.1, area.0)), (0x111, pair(area.3, area.2))];
    if let Some(rows) = x_trans {
        let colour = |c: u8| b"RGB".iter().position(|k| *k == c).unwrap_or(1) as u8;
        list.push((0x131, rows.concat().bytes().rev().map(colour).collect()));
    }
    let mut out = (list.len() as u32).to_be_bytes().to_vec();
    for (tag, bytes) in list {
        out.extend(tag.to_be_bytes());
        out.extend((bytes.len() as u16).to_be_bytes());
        out.extend(bytes);
    }
    out
}

/// The TIFF whose one directory points at another, which says where and how the samples are stored.
fn tiff(size: (usize, usize), sites: usize, length: usize) -> Vec<u8> {
    let mut out = ORDER.header();
    let above = standing(ORDER, 8, &[(0xf000, Values::Longs(vec![0]))]).len();
    let below = 8 + above as u32;
    out.extend(standing(ORDER, 8, &[(0xf000, Values::Longs(vec![below]))]));
    out[4..8].copy_from_slice(&ORDER.long(8));
    let inner = |at: u32| {
        let tags = [
            (0xf001, Values::Longs(vec![size.0 as u32])),
            (0xf002, Values::Longs(vec![size.1 as u32])),
            (0xf003, Values::Longs(vec![14])),
            (0xf007, Values::Longs(vec![at])),
            (0xf008, Values::Longs(vec![length as u32])),
            (0xf00a, Values::Longs(vec![u32::from(BLACK); sites])),
            (0xf00e, Values::Longs(vec![302, 604, 480])),
        ];
        standing(ORDER, below as usize, &tags)
    };
    let length = inner(0).len() as u32;
    out.extend(inner(below + length));
    out
}
