//! Pentax PEF: a TIFF of one directory with the sensor's picture in codes after a table that stands in the maker note, or
//! uncompressed. After the public readers of these files.

use super::super::bits::Bits;
use super::super::directory::{Order, Values};
use super::{Made, append, camera, exposure, head, picture, standing, strip, with_data, words};

const ORDER: Order = Order::Big;
const SIZE: (usize, usize) = (400, 270);
const BLACK: u16 = 512;
const WHITE: u16 = 15_866;

pub(super) fn every() -> Vec<Made> {
    [("pentax-coded.pef", true, 1), ("pentax-16.pef", false, 6)]
        .map(|(name, coded, turn)| made(name, coded, turn))
        .to_vec()
}

fn made(name: &str, coded: bool, turn: u16) -> Made {
    let samples = picture(SIZE.0, SIZE.1, BLACK, WHITE);
    let data = if coded { code(&samples) } else { words(&samples, ORDER) };
    let mut out = head(ORDER);
    let mut note = b"AOC\0MM".to_vec();
    let mut tags = vec![
        (0x000d, Values::Shorts(vec![16])),
        (0x0200, Values::Shorts(vec![BLACK; 4])),
        (0x0201, Values::Shorts(vec![16_384, 8192, 8192, 12_288])),
    ];
    if coded {
        tags.push((0x0220, Values::Undefined(table())));
    }
    let at = out.len();
    note.extend(standing(ORDER, at + note.len(), &tags));
    let exif = exposure(Some((note.len(), at)));
    out.extend(note);
    let exif = append(&mut out, ORDER, &exif);
    let mut first = strip(SIZE, if coded { 14 } else { 16 }, if coded { 65_535 } else { 1 }, data.len());
    first.extend(camera("PENTAX", "PENTAX K-5", turn, exif));
    let first = append(&mut out, ORDER, &first);
    out[4..8].copy_from_slice(&ORDER.long(first));
    let bytes = with_data(out, &data);
    Made { name: name.into(), bytes, width: SIZE.0, height: SIZE.1, samples, area: None, black: Some(BLACK) }
}

/// Sizes of differences from the commonest on, and the lengths of their codes.
const SIZES: [usize; 15] = [7, 6, 8, 5, 9, 4, 10, 3, 11, 2, 12, 1, 13, 0, 14];
const LENGTHS: [u32; 15] = [2, 3, 3, 4, 4, 4, 5, 5, 6, 6, 7, 8, 9, 10, 10];

/// Code and length of each size: shorter codes first, each the last one's successor.
fn codes() -> [(u32, u32); 15] {
    let mut out = [(0, 0); 15];
    let (mut code, mut before) = (0, LENGTHS[0]);
    for (size, length) in SIZES.into_iter().zip(LENGTHS) {
        code <<= length - before;
        out[size] = (code, length);
        (code, before) = (code + 1, length);
    }
    out
}

/// The table: the number of sizes less twelve, twelve bytes of other meaning, the codes at the upper end of twelve bits, and
/// their lengths.
fn table() -> Vec<u8> {
    let mut out = ORDER.short(15 - 12).to_vec();
    out.extend([0; 12]);
    codes().iter().for_each(|(code, length)| out.extend(ORDER.short((code << (12 - length)) as u16)));
    out.extend(codes().iter().map(|(_, length)| *length as u8));
    out
}

/// Each sample as what it differs by from the one two columns before it, or, at the beginning of a row, two rows above.
fn code(samples: &[u16]) -> Vec<u8> {
    let codes = codes();
    let mut bits = Bits::default();
    for (i, v) in samples.iter().enumerate() {
        let (x, y) = (i % SIZE.0, i / SIZE.0);
        let foretold = match (x < 2, y < 2) {
            (false, _) => samples[i - 2],
            (true, false) => samples[i - 2 * SIZE.0],
            (true, true) => 0,
        };
        let apart = i32::from(*v) - i32::from(foretold);
        let size = 32 - apart.unsigned_abs().leading_zeros();
        let (code, length) = codes[size as usize];
        bits.put(code, length);
        bits.put(if apart < 0 { apart - 1 } else { apart } as u32, size);
    }
    bits.close()
}
