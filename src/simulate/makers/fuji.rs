//! Fujifilm RAF: a head of its own with a JPEG that holds the Exif, a list of records, and a TIFF in front of uncompressed
//! samples. After the public readers of these files.

use super::{DATA, Made, camera, exposure, picture, standing, words};
use crate::simulate::directory::{Order, Values};

const ORDER: Order = Order::Little;
const SIZE: (usize, usize) = (480, 318);
const BLACK: u16 = 1024;
const WHITE: u16 = 16_383;
/// Left, top, width and height of the picture.
const AREA: (usize, usize, usize, usize) = (12, 6, 408, 300);

pub(super) fn every() -> Vec<Made> {
    vec![made("fuji-x-trans.raf", "X-T1", 1, true), made("fuji-bayer.raf", "X-A1", 8, false)]
}

fn made(name: &str, model: &str, turn: u16, x_trans: bool) -> Made {
    let samples = picture(SIZE.0, SIZE.1, BLACK, WHITE);
    let mut out = b"FUJIFILMCCD-RAW 0201FF129506".to_vec();
    out.extend(model.as_bytes());
    out.resize(108, 0);
    let jpeg = jpeg(model, turn);
    let records = records(x_trans);
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
    let data = words(&samples, ORDER);
    let tiff = tiff(if x_trans { 36 } else { 4 }, data.len());
    out[100..104].copy_from_slice(&(DATA as u32).to_be_bytes());
    out[104..108].copy_from_slice(&((tiff.len() + data.len()) as u32).to_be_bytes());
    out.extend(tiff);
    out.extend(data);
    out.extend([0; 64]);
    let (width, height) = SIZE;
    Made { name: name.into(), bytes: out, width, height, samples, area: Some(AREA), black: Some(BLACK) }
}

/// A JPEG of nothing but its Exif block, with a maker note.
fn jpeg(model: &str, turn: u16) -> Vec<u8> {
    let mut tiff = ORDER.header();
    let mut note = b"FUJIFILM\x0c\0\0\0".to_vec();
    note.extend(standing(ORDER, 12, &[(0x1021, Values::Shorts(vec![0])), (0x1023, Values::Shorts(vec![204, 150]))]));
    let exif = exposure(Some((note.len(), tiff.len())));
    tiff.extend(note);
    let exif = super::append(&mut tiff, ORDER, &exif);
    let first = super::append(&mut tiff, ORDER, &camera("FUJIFILM", model, turn, exif));
    tiff[4..8].copy_from_slice(&ORDER.long(first));
    let mut out = vec![0xFF, 0xD8, 0xFF, 0xE1];
    out.extend((tiff.len() as u16 + 8).to_be_bytes());
    out.extend(b"Exif\0\0");
    out.extend(tiff);
    out.extend([0xFF, 0xD9]);
    out
}

/// Records of 16-bit numbers, big-endian whatever the TIFF's order is: sizes, the picture's corner, gains, and the pattern,
/// which is written backwards.
fn records(x_trans: bool) -> Vec<u8> {
    let pair = |a: usize, b: usize| [(a as u16).to_be_bytes(), (b as u16).to_be_bytes()].concat();
    let mut list =
        vec![(0x100_u16, pair(SIZE.1, SIZE.0)), (0x110, pair(AREA.1, AREA.0)), (0x111, pair(AREA.3, AREA.2))];
    if x_trans {
        let rows = ["RBGBRG", "GGRGGB", "GGBGGR", "BRGRBG", "GGBGGR", "GGRGGB"];
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
fn tiff(sites: usize, length: usize) -> Vec<u8> {
    let mut out = ORDER.header();
    let above = standing(ORDER, 8, &[(0xf000, Values::Longs(vec![0]))]).len();
    let below = 8 + above as u32;
    out.extend(standing(ORDER, 8, &[(0xf000, Values::Longs(vec![below]))]));
    out[4..8].copy_from_slice(&ORDER.long(8));
    let inner = |at: u32| {
        let tags = [
            (0xf001, Values::Longs(vec![SIZE.0 as u32])),
            (0xf002, Values::Longs(vec![SIZE.1 as u32])),
            (0xf003, Values::Longs(vec![14])),
            (0xf007, Values::Longs(vec![at])),
            (0xf008, Values::Longs(vec![length as u32])),
            (0xf00a, Values::Longs(vec![u32::from(BLACK); sites])),
            (0xf00e, Values::Longs(vec![302, 604, 480])),
        ];
        standing(ORDER, below as usize, &tags)
    };
    let size = inner(0).len() as u32;
    out.extend(inner(below + size));
    out
}
