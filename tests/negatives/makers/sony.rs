//! Sony ARW: a TIFF with the sensor's picture in a directory below the first; levels and white balance in a directory that is
//! enciphered. After the public readers of these files.

use super::super::directory::{Order, Values};
use super::super::lossless::{self, Lossless};
use super::{DATA, Made, append, camera, exposure, picture, standing, strip, with_data, words};

const ORDER: Order = Order::Little;
const SIZE: (usize, usize) = (1024, 512);
const BLACK: u16 = 512;
const WHITE: u16 = 16_300;

/// How samples are stored.
#[derive(Clone, Copy, PartialEq)]
enum Coding {
    /// Each in 16 bits.
    Words,
    /// In blocks of 16: the highest, the lowest, and steps between.
    Blocks,
    /// Lossless JPEG in tiles, the four sites of the mosaic as its components.
    Tiles,
}

pub(super) fn every() -> Vec<Made> {
    [
        ("sony-14.arw", "ILCE-7M3", 1, Coding::Words),
        ("sony-blocks.arw", "ILCE-7M3", 1, Coding::Blocks),
        ("sony-blocks-upright.arw", "ILCE-7", 6, Coding::Blocks),
        ("sony-tiles.arw", "ILCE-7M4", 3, Coding::Tiles),
    ]
    .map(|(name, model, turn, coding)| made(name, model, turn, coding, SIZE))
    .to_vec()
}

/// One of 25 megapixels.
pub(super) fn large() -> Made {
    made("sony-24.arw", "ILCE-7M4", 1, Coding::Tiles, (12 * TILE, 8 * TILE))
}

fn made(name: &str, model: &str, turn: u16, coding: Coding, size: (usize, usize)) -> Made {
    let wanted = picture(size.0, size.1, BLACK, WHITE);
    let (samples, parts) = match coding {
        Coding::Words => (wanted.clone(), vec![words(&wanted, ORDER)]),
        Coding::Blocks => blocks(&wanted),
        Coding::Tiles => (wanted.clone(), tiles(&wanted, size)),
    };
    let lengths: Vec<usize> = parts.iter().map(Vec::len).collect();
    let bytes = with_data(directories(model, turn, coding, size, &lengths), &parts.concat());
    let area = Some((12, 8, size.0 - 24, size.1 - 16));
    Made { name: name.into(), bytes, width: size.0, height: size.1, samples, area, black: Some(BLACK) }
}

fn directories(model: &str, turn: u16, coding: Coding, size: (usize, usize), lengths: &[usize]) -> Vec<u8> {
    let mut out = ORDER.header();
    let mut note = b"SONY DSC \0\0\0".to_vec();
    let at = out.len();
    note.extend(standing(ORDER, at + note.len(), &[(0x0102, Values::Longs(vec![2]))]));
    let exif = exposure(Some((note.len(), at)));
    out.extend(note);
    let exif = append(&mut out, ORDER, &exif);
    let private = private(&mut out);
    let (bits, number) = match coding {
        Coding::Words => (14, 1),
        Coding::Blocks => (8, 32_767),
        Coding::Tiles => (14, 7),
    };
    let mut tags = strip(size, bits, number, lengths[0]);
    tags.extend([
        (0x7000, Values::Shorts(vec![if coding == Coding::Blocks { 2 } else { 0 }])),
        (0x7010, Values::Shorts(KNEES.to_vec())),
        (0xc61f, Values::Longs(vec![12, 8])),
        (0xc620, Values::Longs(vec![size.0 as u32 - 24, size.1 as u32 - 16])),
    ]);
    if coding == Coding::Tiles {
        let places = lengths.iter().scan(DATA, |at, length| {
            *at += length;
            Some((*at - length) as u32)
        });
        tags.extend([
            (278, Values::Longs(vec![])),
            (322, Values::Longs(vec![TILE as u32])),
            (323, Values::Longs(vec![TILE as u32])),
            (324, Values::Longs(places.collect())),
            (325, Values::Longs(lengths.iter().map(|n| *n as u32).collect())),
        ]);
    }
    let raw = append(&mut out, ORDER, &tags);
    let mut first = camera("SONY", model, turn, exif);
    first.extend([
        (254, Values::Longs(vec![1])),
        (330, Values::Longs(vec![raw])),
        (0xc634, Values::Bytes(ORDER.long(private).to_vec())),
    ]);
    let first = append(&mut out, ORDER, &first);
    out[4..8].copy_from_slice(&ORDER.long(first));
    out
}

/// Appends the directory with the enciphered one below it; returns where it stands.
fn private(out: &mut Vec<u8>) -> u32 {
    const KEY: u32 = 0x1234_5679;
    out.resize(out.len().next_multiple_of(4), 0);
    let at = out.len();
    let mut plain = standing(
        ORDER,
        at,
        &[
            (0x7310, Values::Shorts(vec![BLACK; 4])),
            (0x7313, Values::Shorts(vec![2048, 1024, 1024, 1638])),
            (0x787f, Values::Shorts(vec![WHITE; 3])),
        ],
    );
    plain.resize(plain.len().next_multiple_of(4), 0);
    out.extend(enciphered(&plain, KEY));
    let tags = [
        (0x7200, Values::Longs(vec![at as u32])),
        (0x7201, Values::Longs(vec![plain.len() as u32])),
        (0x7221, Values::Undefined(ORDER.long(KEY).to_vec())),
    ];
    append(out, ORDER, &tags)
}

/// Each word is combined with one of a row of words, each of which follows from two before it; the first four come of the key.
fn enciphered(plain: &[u8], key: u32) -> Vec<u8> {
    let mut row = Vec::with_capacity(127 + plain.len() / 4);
    let mut state = key;
    for _ in 0..4 {
        state = state.wrapping_mul(48_828_125).wrapping_add(1);
        row.push(state);
    }
    row[3] = row[3] << 1 | (row[0] ^ row[2]) >> 31;
    for i in 4..127 {
        row.push((row[i - 4] ^ row[i - 2]) << 1 | (row[i - 3] ^ row[i - 1]) >> 31);
    }
    let words = plain.chunks_exact(4).enumerate().flat_map(|(i, word)| {
        let next = row[i] ^ row[i + 64];
        row.push(next);
        // Big-endian, whatever the file's order is.
        std::iter::zip(word.to_vec(), row[i + 127].to_be_bytes()).map(|(a, b)| a ^ b).collect::<Vec<_>>()
    });
    words.collect()
}

/// Where the curve of the coarser codes changes its slope, as the file states it.
const KNEES: [u16; 4] = [8000, 10_400, 12_900, 14_100];

/// The levels that codes of 12 bits stand for: slope 1 up to the first knee, and twice as steep behind each.
fn curve() -> Vec<u16> {
    let knees = KNEES.map(|k| usize::from(k >> 2));
    let mut levels = vec![0_u16];
    for code in 1..4096 {
        levels.push(levels[code - 1] + (1 << knees.iter().filter(|k| code > **k).count()));
    }
    levels
}

/// Samples of one colour in blocks of 16, two blocks of neighbouring columns in turn: the highest and the lowest code in
/// 11 bits each, their places, and how far the others lie above the lowest, in 7 bits of as coarse a step as needed.
fn blocks(wanted: &[u16]) -> (Vec<u16>, Vec<Vec<u8>>) {
    let levels = curve();
    let code = |v: u16| levels.partition_point(|l| *l < v).min(4094) as u32 >> 1;
    let mut kept = wanted.to_vec();
    let mut out = Vec::new();
    for (start, first) in (0..wanted.len()).step_by(32).flat_map(|start| [(start, 0), (start, 1)]) {
        let at = |i: usize| start + first + 2 * i;
        let codes: Vec<u32> = (0..16).map(|i| code(wanted[at(i)])).collect();
        let high = (0..16).max_by_key(|i| codes[*i]).unwrap_or(0);
        let low = (0..16).filter(|i| *i != high).min_by_key(|i| codes[*i]).unwrap_or(0);
        let (most, least) = (codes[high], codes[low]);
        let step = (0..5).find(|s| most - least < 0x80 << s).unwrap_or(4);
        let mut block = u128::from(most) | u128::from(least) << 11 | (high as u128) << 22 | (low as u128) << 26;
        let mut bit = 30;
        for i in 0..16 {
            let value = if i == high {
                most
            } else if i == low {
                least
            } else {
                let above = (codes[i] - least) >> step;
                block |= u128::from(above) << bit;
                bit += 7;
                ((above << step) + least).min(0x7FF)
            };
            kept[at(i)] = levels[2 * value as usize];
        }
        out.extend(block.to_le_bytes());
    }
    (kept, vec![out])
}

/// Side of a tile, px.
const TILE: usize = 512;

/// Tiles whose JPEG has a quarter of their pixels, and the four sites of the mosaic as its components.
fn tiles(samples: &[u16], (width, height): (usize, usize)) -> Vec<Vec<u8>> {
    let corners = (0..height).step_by(TILE).flat_map(|top| (0..width).step_by(TILE).map(move |left| (left, top)));
    let tile = |(left, top): (usize, usize)| {
        let site = |i: usize| {
            let (pixel, c) = (i / 4, i % 4);
            let (x, y) = (pixel % (TILE / 2) * 2 + c % 2, pixel / (TILE / 2) * 2 + c / 2);
            samples[(top + y) * width + left + x]
        };
        let dealt: Vec<u16> = (0..TILE * TILE).map(site).collect();
        lossless::encode(&dealt, 2 * TILE, 14, Lossless { components: 4, predictor: 1, restart_rows: 0 })
    };
    corners.map(tile).collect()
}
