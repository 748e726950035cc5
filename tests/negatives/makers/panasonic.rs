//! Panasonic RW2: a TIFF with a magic number of its own, whose first directory says how the sensor's samples lie in blocks of
//! sixteen bytes, beside a JPEG that holds the Exif. After the public readers of these files and the public tag lists.

use super::super::directory::{Order, Values};
use super::{DATA, Made, append, camera, exif_jpeg, exposure, picture, standing, with_data};

const ORDER: Order = Order::Little;

/// A file to be written.
struct Rw2 {
    name: &'static str,
    model: &'static str,
    /// The number by which the file says how its samples are stored; 0 for each in 16 bits, in the upper twelve of them.
    format: u16,
    bits: u32,
    width: usize,
    turn: u16,
}

/// A multiple of sixteen: LibRaw reads some of these by so many rows.
const HEIGHT: usize = 288;
/// Left, top, and what is left out at the right and below.
const BORDER: (usize, usize, usize, usize) = (8, 4, 14, 4);

pub(super) fn every() -> Vec<Made> {
    let file = |name, model, format, bits, width| Rw2 { name, model, format, bits, width, turn: 1 };
    [
        Rw2 { turn: 8, ..file("panasonic-4.rw2", "DMC-GH4", 4, 12, 406) },
        file("panasonic-5-12.rw2", "DC-GH5S", 5, 12, 400),
        file("panasonic-5-14.rw2", "DC-GH5S", 5, 14, 414),
        file("panasonic-6-12.rw2", "DC-S1", 6, 12, 420),
        Rw2 { turn: 6, ..file("panasonic-6-14.rw2", "DC-S1", 6, 14, 440) },
        file("panasonic-7-12.rw2", "DC-S1", 7, 12, 430),
        file("panasonic-7-14.rw2", "DC-S1", 7, 14, 432),
        file("panasonic-words.rw2", "DMC-LX2", 0, 12, 520),
    ]
    .iter()
    .map(made)
    .collect()
}

fn made(file: &Rw2) -> Made {
    let (black, white) = if file.bits == 14 { (512, 15_800) } else { (143, 4000) };
    let wanted = picture(file.width, HEIGHT, black, white);
    let (samples, data) = match file.format {
        0 => (wanted.clone(), wanted.iter().flat_map(|v| ORDER.short(v << 4)).collect()),
        4 => coded(&wanted, 14, older),
        6 if file.bits == 14 => coded(&wanted, 11, |block| newer(block, &FOURTEEN)),
        6 => coded(&wanted, 14, |block| newer(block, &TWELVE)),
        _ => coded(&wanted, 126 / file.bits as usize, |block| plain(block, file.bits)),
    };
    // Of the first two kinds, each sixteen thousand bytes are cut in two, and the later part comes first.
    let data = if matches!(file.format, 4 | 5) { cut(&data) } else { data };
    let bytes = with_data(directories(file, black, white, data.len()), &data);
    let (left, top, right, bottom) = BORDER;
    let area = Some((left, top, file.width - left - right, HEIGHT - top - bottom));
    Made {
        name: file.name.into(),
        bytes,
        width: file.width,
        height: HEIGHT,
        samples,
        // What the oldest files say of their borders is not what they mean.
        area: area.filter(|_| file.format > 0),
        black: Some(black).filter(|_| file.format > 0),
    }
}

fn directories(file: &Rw2, black: u16, white: u16, length: usize) -> Vec<u8> {
    let mut out = ORDER.header();
    out[2..4].copy_from_slice(b"U\0");
    let mut note = b"Panasonic\0\0\0".to_vec();
    note.extend(standing(ORDER, 0, &[(0x07, Values::Shorts(vec![2]))]));
    let jpeg = exif_jpeg(ORDER, "Panasonic", file.model, file.turn, &note);
    let exif = append(&mut out, ORDER, &exposure(None));
    let short = |v: usize| Values::Shorts(vec![v as u16]);
    let (left, top, right, bottom) = BORDER;
    // The older kinds state black fifteen levels lower than it is.
    let stated = if file.format == 4 { black - 15 } else { black };
    let mut tags = camera("Panasonic", file.model, file.turn, exif);
    tags.extend([
        (0x01, Values::Undefined(b"0310".to_vec())),
        (0x02, short(file.width)),
        (0x03, short(HEIGHT)),
        (0x04, short(top)),
        (0x05, short(left)),
        (0x06, short(HEIGHT - bottom)),
        (0x07, short(file.width - right)),
        (0x08, short(1)),
        (0x09, short(if file.format < 5 { 4 } else { 1 })),
        (0x0a, short(file.bits as usize)),
        (0x0b, short(if file.format == 0 { 34_826 } else { 34_316 })),
        (0x17, short(200)),
        (0x24, short(512)),
        (0x25, short(256)),
        (0x26, short(400)),
        (0x2e, Values::Undefined(jpeg)),
        (0x0111, Values::Longs(vec![if file.format == 0 { DATA as u32 } else { u32::MAX }])),
        (0x0116, short(HEIGHT)),
        (0x0117, Values::Longs(vec![length as u32])),
    ]);
    if file.format > 0 {
        let [white, stated] = [white, stated].map(usize::from);
        tags.extend([0x0e, 0x0f, 0x10].map(|tag| (tag, short(white))));
        tags.extend([0x1c, 0x1d, 0x1e].map(|tag| (tag, short(stated))));
        tags.push((0x2d, short(file.format.into())));
        tags.push((0x0118, Values::Longs(vec![DATA as u32])));
    }
    let first = append(&mut out, ORDER, &tags);
    out[4..8].copy_from_slice(&ORDER.long(first));
    out
}

/// Blocks of so many samples, each made by a function that also says what it stands for.
fn coded(wanted: &[u16], side: usize, block: impl Fn(&[u16]) -> (Vec<u16>, u128)) -> (Vec<u16>, Vec<u8>) {
    let mut samples = Vec::with_capacity(wanted.len());
    let mut data = Vec::with_capacity(wanted.len() / side * 16);
    for part in wanted.chunks_exact(side) {
        let (kept, bits) = block(part);
        samples.extend(kept);
        data.extend(bits.to_le_bytes());
    }
    (samples, data)
}

fn cut(data: &[u8]) -> Vec<u8> {
    const WHOLE: usize = 0x4000;
    const FIRST: usize = 0x2008;
    let mut out = data.to_vec();
    out.resize(data.len().next_multiple_of(WHOLE), 0);
    out.chunks_exact_mut(WHOLE).for_each(|part| part.rotate_left(FIRST));
    out
}

/// One behind the other, the least significant bit first.
fn plain(block: &[u16], bits: u32) -> (Vec<u16>, u128) {
    let joined = block.iter().rev().fold(0, |sum, v| sum << bits | u128::from(*v));
    (block.to_vec(), joined)
}

/// Appends bits to a block, the most significant first.
fn put(block: &mut u128, value: u32, bits: u32) {
    *block = *block << bits | u128::from(value);
}

/// How steps are doubled: the two bits that say so, and how often.
const DOUBLED: [(u32, u32); 4] = [(0, 0), (1, 1), (2, 2), (3, 4)];

/// Chooses the finest steps in which three samples come out to within half of one, and gives the numbers of steps with what
/// they stand for. `step` tells both for a sample, given what came last of its colour and how often steps are doubled.
fn finest(
    wanted: &[u16],
    last: [i32; 2],
    from: usize,
    step: impl Fn(i32, i32, u32) -> (u32, i32),
) -> (u32, Vec<(u32, i32)>) {
    let tried = |doubled: u32| {
        let mut last = last;
        let values = wanted.iter().enumerate().map(|(i, v)| {
            let side = (from + i) % 2;
            let (number, value) = step(i32::from(*v), last[side], doubled);
            last[side] = value;
            (number, value)
        });
        values.collect::<Vec<_>>()
    };
    let within = |doubled: u32, values: &[(u32, i32)]| {
        std::iter::zip(values, wanted).all(|((_, got), v)| (got - i32::from(*v)).abs() <= (1 << doubled) / 2)
    };
    let found = DOUBLED.into_iter().map(|(bits, doubled)| (bits, doubled, tried(doubled)));
    let mut all: Vec<_> = found.collect();
    let at = all.iter().position(|(_, doubled, values)| within(*doubled, values)).unwrap_or(3);
    let (bits, _, values) = all.swap_remove(at);
    (bits, values)
}

/// Twelve bits for the first sample of each colour, then differences of eight bits in steps that hold for three samples.
fn older(block: &[u16]) -> (Vec<u16>, u128) {
    let step = |wanted: i32, last: i32, doubled: u32| {
        let below = last - (0x80 << doubled);
        // Where that is not to be had, what the steps leave over stays and the rest is counted from nothing.
        let from = if below < 0 || doubled == 4 { below & ((1 << doubled) - 1) } else { below };
        let number = ((wanted - from + (1 << doubled >> 1)) >> doubled).clamp(1, 255).min((4095 - from) >> doubled);
        (number as u32, from + (number << doubled))
    };
    let (mut bits, mut kept) = (0, block[..2].to_vec());
    for v in &block[..2] {
        assert!(*v > 15, "a first sample that the code has no words for");
        put(&mut bits, u32::from(*v), 12);
    }
    for from in (2..block.len()).step_by(3) {
        let last = [0, 1].map(|side| i32::from(kept[from - 2 + (side + from) % 2]));
        let (doubled, values) = finest(&block[from..from + 3], last, from, step);
        put(&mut bits, doubled, 2);
        for (number, value) in values {
            put(&mut bits, number, 8);
            kept.push(value as u16);
        }
    }
    (kept, bits)
}

/// Sizes of the codes of the newer kind: bits of the first samples, of the others, and what is left over.
struct Sizes {
    first: u32,
    other: u32,
    spare: u32,
}

const FOURTEEN: Sizes = Sizes { first: 14, other: 10, spare: 4 };
const TWELVE: Sizes = Sizes { first: 12, other: 8, spare: 0 };

/// What is added to each sample before it is coded.
const RAISED: i32 = 15;

/// The first sample of each colour whole, then what others lie above a level that follows the last one, in steps that hold
/// for three samples.
fn newer(block: &[u16], sizes: &Sizes) -> (Vec<u16>, u128) {
    let (half, top) = (1 << (sizes.other - 1), (1 << sizes.other) - 1);
    let step = |wanted: i32, last: i32, doubled: u32| {
        let (wanted, last) = (wanted + RAISED, last + RAISED);
        let under = half << doubled;
        let from = if doubled < 4 && last > under { last - under } else { 0 };
        let number = ((wanted - from + (1 << doubled >> 1)) >> doubled).clamp(0, top);
        (number as u32, from + (number << doubled) - RAISED)
    };
    let (mut bits, mut kept) = (0, block[..2].to_vec());
    block[..2].iter().for_each(|v| put(&mut bits, u32::from(*v) + RAISED as u32, sizes.first));
    for from in (2..block.len()).step_by(3) {
        let last = [0, 1].map(|side| i32::from(kept[from - 2 + (side + from) % 2]));
        let (doubled, values) = finest(&block[from..from + 3], last, from, step);
        put(&mut bits, doubled, 2);
        for (number, value) in values {
            put(&mut bits, number, sizes.other);
            kept.push(value.max(0) as u16);
        }
    }
    put(&mut bits, 0, sizes.spare);
    (kept, bits)
}
