//! Olympus ORF: a TIFF with a magic number of its own, levels and the picture's place in a part of the maker note, and samples
//! in codes that follow the size of those before. After the public readers of these files.

use super::super::bits::Bits;
use super::super::directory::{Order, Values};
use super::{Made, append, camera, exposure, head, picture, standing, strip, with_data};

const ORDER: Order = Order::Little;
const SIZE: (usize, usize) = (400, 270);
/// Left, top, width and height of the picture.
const AREA: (usize, usize, usize, usize) = (10, 8, 376, 252);

/// A file to be written.
struct Orf {
    name: &'static str,
    make: &'static str,
    model: &'static str,
    /// How the maker note begins.
    note: &'static [u8],
    bits: u32,
    turn: u16,
}

pub(super) fn every() -> Vec<Made> {
    [
        Orf {
            name: "olympus-coded.orf",
            make: "OLYMPUS IMAGING CORP.",
            model: "E-M10",
            note: b"OLYMPUS\0II\x03\0",
            bits: 12,
            turn: 3,
        },
        Orf {
            name: "olympus-newer-14.orf",
            make: "OM Digital Solutions",
            model: "OM-1",
            note: b"OM SYSTEM\0\0\0II\x04\0",
            bits: 14,
            turn: 6,
        },
    ]
    .iter()
    .map(made)
    .collect()
}

fn made(file: &Orf) -> Made {
    let (width, height) = SIZE;
    // Levels are stated on the scale of 12 bits.
    let scale = 1 << (file.bits - 12);
    let samples = picture(width, height, 252 * scale, 4000 * scale);
    let data = code(&samples, file.bits);
    let mut out = head(ORDER);
    out[2..4].copy_from_slice(b"RO");
    let at = out.len();
    let note = note(file);
    let exif = exposure(Some((note.len(), at)));
    out.extend(note);
    let exif = append(&mut out, ORDER, &exif);
    let mut first = strip(SIZE, 16, 1, data.len());
    first.extend(camera(file.make, file.model, file.turn, exif));
    let first = append(&mut out, ORDER, &first);
    out[4..8].copy_from_slice(&ORDER.long(first));
    let bytes = with_data(out, &data);
    let black = Some(252 * scale);
    Made { name: file.name.into(), bytes, width, height, samples, area: Some(AREA), black }
}

/// Bytes of the number one that stands in front of the codes.
const fn front(bits: u32) -> usize {
    if bits == 14 { 6 } else { 5 }
}

/// What newer files say of their codes, and all have: the size of a step that counts as an edge, that of a small code, how the
/// mean and the width of the lower part follow those before, and the longest run of zeros.
const CODES: [(u16, usize); 13] = [
    (0x0640, 0),
    (0x0641, 5),
    (0x0642, 0),
    (0x0643, 2),
    (0x0644, 5),
    (0x0645, 4),
    (0x0646, 3),
    (0x0647, 2),
    (0x0648, 3),
    (0x0649, 4),
    (0x0650, 7),
    (0x0651, 15),
    (0x0652, 12),
];

/// The maker note, whose places count from its own beginning.
fn note(file: &Orf) -> Vec<u8> {
    let mut note = file.note.to_vec();
    let start = note.len();
    let short = |v: usize| Values::Shorts(vec![v as u16]);
    let parts = |focus: usize, image: usize| {
        let pointer = |at: usize| Values::Longs(vec![at as u32]);
        standing(ORDER, start, &[(0x2040, pointer(image)), (0x2050, pointer(focus))])
    };
    let focus_at = start + parts(0, 0).len();
    let focus = standing(ORDER, focus_at, &[(0x0305, Values::Ratios(vec![(3450, 1)]))]);
    let image_at = focus_at + focus.len();
    let mut tags = vec![
        (0x0100, Values::Shorts(vec![480, 400])),
        (0x0600, Values::Shorts(vec![252; 4])),
        (0x0611, Values::Shorts(vec![file.bits as u16, 0])),
        (0x0612, short(AREA.0)),
        (0x0613, short(AREA.1)),
        (0x0614, short(AREA.2)),
        (0x0615, short(AREA.3)),
    ];
    tags.extend(CODES.iter().map(|(tag, value)| (*tag, short(*value))));
    tags.push((0x0653, short(front(file.bits))));
    let image = standing(ORDER, image_at, &tags);
    note.extend(parts(focus_at, image_at));
    note.extend(focus);
    note.extend(image);
    note
}

/// What is remembered of the codes of even and of odd columns.
#[derive(Clone, Copy, Default)]
struct Memory {
    size: i32,
    mean: i32,
    small: i32,
}

/// Codes: a sign, the two lowest bits, and what is left above a running mean, its upper part by a number of zeros and its
/// lower one in as many bits as the one before makes likely.
fn code(samples: &[u16], precision: u32) -> Vec<u8> {
    let mut bits = Bits::default();
    (1..front(precision)).for_each(|_| bits.put(0, 8));
    // Two bytes of zeros follow the one.
    bits.put(1 << 16, 24);
    for y in 0..SIZE.1 {
        let mut memory = [Memory::default(); 2];
        for x in 0..SIZE.0 {
            let at = |dx: usize, dy: usize| i32::from(samples[(y - dy) * SIZE.0 + x - dx]);
            let foretold = match (x < 2, y < 2) {
                (true, true) => 0,
                (false, true) => at(2, 0),
                (true, false) => at(0, 2),
                (false, false) => between(at(2, 0), at(0, 2), at(2, 2)),
            };
            put(&mut bits, &mut memory[x % 2], at(0, 0) - foretold);
        }
    }
    bits.close()
}

/// What the left, the upper and the upper left neighbour of one colour foretell.
fn between(left: i32, up: i32, corner: i32) -> i32 {
    let (along, down) = (left - corner, up - corner);
    if along * down < 0 {
        if along.abs() > 32 || down.abs() > 32 { left + down } else { (left + up) >> 1 }
    } else if along.abs() > down.abs() {
        left
    } else {
        up
    }
}

fn put(bits: &mut Bits, memory: &mut Memory, apart: i32) {
    let spare = if memory.small < 3 { 2 } else { 0 };
    let mut width = 2 + spare;
    while memory.size >> (width + spare) & 0xFFFF > 0 {
        width += 1;
    }
    let width = width.min(16);
    let rest = (apart >> 2) - memory.mean;
    let sign = rest >> 31;
    let size = rest ^ sign;
    bits.put(sign.cast_unsigned() & 1, 1);
    bits.put((apart & 3).cast_unsigned(), 2);
    let upper = size >> width;
    if upper < 12 {
        bits.put(1, upper.cast_unsigned() + 1);
    } else {
        bits.put(0, 12);
        bits.put(upper.cast_unsigned() << 1, 16 - width);
    }
    bits.put(size.cast_unsigned(), width);
    memory.mean = ((apart >> 2) * 3 + memory.mean) >> 5;
    memory.small = if size > 16 { 0 } else { memory.small + 1 };
    memory.size = size;
}
