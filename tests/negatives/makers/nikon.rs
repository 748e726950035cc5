//! Nikon NEF: TIFF/EP with the sensor's picture in a directory below the first, uncompressed or in codes of Nikon's own.
//!
//! Codes are as the public readers of these files describe them: each sample is foretold from the one two columns before it
//! (at the beginning of a row, two rows above it), and the size of what that misses is coded after one of six tables.

use super::super::bits::Bits;
use super::super::directory::{Order, Values};
use super::{Made, append, camera, exposure, picture, standing, strip, with_data, words};

/// How samples are stored.
#[derive(Clone, Copy, PartialEq)]
enum Coding {
    /// Each in 16 bits.
    Words,
    /// Bits one behind the other.
    Packed,
    /// Codes of the samples themselves.
    Lossless,
    /// Codes of the places in a list of levels, all of which is written.
    Table,
    /// Codes of the places in a list of levels, of which some are written, with coarser codes from a row on.
    Points(Option<usize>),
    /// The same with a quarter of the places, in a file that says 14 bits.
    Quarter,
}

struct Nef {
    name: &'static str,
    model: &'static str,
    order: Order,
    bits: u32,
    coding: Coding,
    turn: u16,
    size: (usize, usize),
}

const SIZE: (usize, usize) = (400, 270);

/// One of 24 megapixels.
pub(super) fn large() -> Made {
    made(&Nef { size: (6000, 4000), ..newer("nikon-24.nef", 14, Coding::Lossless) })
}

const fn newer(name: &'static str, bits: u32, coding: Coding) -> Nef {
    Nef { name, model: "NIKON Z 6", order: Order::Little, bits, coding, turn: 8, size: SIZE }
}

pub(super) fn every() -> Vec<Made> {
    let older =
        |name, bits, coding| Nef { name, model: "NIKON D700", order: Order::Big, bits, coding, turn: 1, size: SIZE };
    [
        older("nikon-14.nef", 14, Coding::Words),
        older("nikon-12.nef", 12, Coding::Packed),
        older("nikon-lossless-14.nef", 14, Coding::Lossless),
        older("nikon-lossless-12.nef", 12, Coding::Lossless),
        older("nikon-table-12.nef", 12, Coding::Table),
        older("nikon-table-14.nef", 14, Coding::Table),
        older("nikon-points-14.nef", 14, Coding::Points(None)),
        older("nikon-points-12.nef", 12, Coding::Points(None)),
        older("nikon-coarser-14.nef", 14, Coding::Points(Some(150))),
        older("nikon-coarser-12.nef", 12, Coding::Points(Some(150))),
        newer("nikon-newer-14.nef", 14, Coding::Words),
        newer("nikon-newer-12.nef", 12, Coding::Packed),
        newer("nikon-newer-lossless-14.nef", 14, Coding::Lossless),
        newer("nikon-newer-points-14.nef", 14, Coding::Quarter),
    ]
    .iter()
    .map(made)
    .collect()
}

fn made(file: &Nef) -> Made {
    let (width, height) = file.size;
    let (black, white) = if file.bits == 14 { (1008_u16, 15_520_u16) } else { (252, 3880) };
    let wanted = picture(width, height, black, white);
    let (samples, data, list) = match file.coding {
        Coding::Words => (wanted.clone(), words(&wanted, file.order), None),
        Coding::Packed => (wanted.clone(), packed(&wanted, file.order), None),
        Coding::Lossless => {
            let (kept, data) = Coder::new(file, None).code(&wanted);
            (kept, data, Some(list(file, &[], None)))
        }
        Coding::Table | Coding::Points(_) | Coding::Quarter => {
            let (levels, written) = levels(file);
            let split = if let Coding::Points(split) = file.coding { split } else { None };
            let places: Vec<u16> = wanted.iter().map(|v| levels.partition_point(|l| l < v) as u16).collect();
            let places: Vec<u16> = places.iter().map(|p| (*p).min(levels.len() as u16 - 1)).collect();
            let (kept, data) = Coder::new(file, split).code(&places);
            (kept.iter().map(|p| levels[usize::from(*p)]).collect(), data, Some(list(file, &written, split)))
        }
    };
    // Newer bodies write the number of codes over packed samples, too.
    let newer = file.order == Order::Little && file.coding == Coding::Packed;
    let compression = if list.is_some() || newer { 34_713 } else { 1 };
    let bytes = with_data(directories(file, compression, black, list, data.len()), &data);
    let area = Some((8, 6, width - 16, height - 12));
    Made {
        name: file.name.into(),
        bytes,
        width,
        height,
        samples,
        area,
        black: (file.order == Order::Little).then_some(black),
    }
}

fn directories(file: &Nef, compression: u16, black: u16, list: Option<Vec<u8>>, length: usize) -> Vec<u8> {
    let order = file.order;
    let mut out = order.header();
    let kind = match file.coding {
        Coding::Words => 2,
        Coding::Packed => 9,
        Coding::Lossless => 3,
        _ => 4,
    };
    // Black is stated on the scale of 14 bits.
    let blacks = vec![if file.bits == 14 { black } else { black << 2 }; 4];
    let mut tags = vec![
        (0x0001, Values::Undefined(b"0211".to_vec())),
        (0x000c, Values::Ratios(vec![(2000, 1000), (1500, 1000), (1, 1), (1, 1)])),
        (0x0045, Values::Shorts(vec![8, 6, file.size.0 as u16 - 16, file.size.1 as u16 - 12])),
        (0x0084, Values::Ratios(vec![(24, 1), (70, 1), (28, 10), (28, 10)])),
        (0x0093, Values::Shorts(vec![kind])),
        // Lens data of the version that is not enciphered: the distance on a scale of forty steps a decade.
        (0x0098, Values::Undefined([b"0101".as_slice(), &[0, 0, 0, 0, 0, 100, 0, 0, 0, 0, 0, 0, 0, 0, 0]].concat())),
    ];
    // Older bodies take black off themselves.
    if file.order == Order::Little {
        tags.push((0x003d, Values::Shorts(blacks)));
    }
    tags.extend(list.map(|bytes| (0x0096, Values::Undefined(bytes))));
    let mut note = b"Nikon\0\x02\x10\0\0".to_vec();
    note.extend(order.header());
    note[14..18].copy_from_slice(&order.long(8));
    note.extend(standing(order, 8, &tags));
    let at = out.len();
    let exif = exposure(Some((note.len(), at)));
    out.extend(note);
    let exif = append(&mut out, order, &exif);
    let raw = append(&mut out, order, &strip(file.size, file.bits as u16, compression, length));
    let mut first = camera("NIKON CORPORATION", file.model, file.turn, exif);
    first.extend([(254, Values::Longs(vec![1])), (330, Values::Longs(vec![raw]))]);
    let first = append(&mut out, order, &first);
    out[4..8].copy_from_slice(&order.long(first));
    out
}

/// Two samples of 12 bits in three bytes: the most significant bits first, or, in the other order, last.
fn packed(samples: &[u16], order: Order) -> Vec<u8> {
    let three = |p: &[u16]| match order {
        Order::Big => [(p[0] >> 4) as u8, ((p[0] & 15) << 4 | p[1] >> 8) as u8, p[1] as u8],
        Order::Little => [p[0] as u8, (p[0] >> 8 | (p[1] & 15) << 4) as u8, (p[1] >> 4) as u8],
    };
    samples.chunks_exact(2).flat_map(three).collect()
}

/// The levels that codes stand for, and the numbers by which the file states them.
///
/// Steps grow with the square root of the level, as photon noise does.
fn levels(file: &Nef) -> (Vec<u16>, Vec<u16>) {
    let top = 1_usize << file.bits;
    let count = if file.bits == 14 { 3073 } else { 769 };
    let grown = |i: usize| {
        let share = i as f64 / (count - 1) as f64;
        ((0.25 * share + 0.75 * share * share) * (top - 1) as f64) as u16
    };
    if file.coding == Coding::Table {
        let all: Vec<u16> = (0..count).map(grown).collect();
        return (all.clone(), all);
    }
    // Straight lines between points that lie a power of two apart.
    let places = if file.coding == Coding::Quarter { top / 4 } else { top };
    let (points, step) = (257, places / 256);
    let written: Vec<u16> = (0..points).map(|i| ((i * i * (top - 1)) / (256 * 256)) as u16).collect();
    let between = |i: usize| {
        let (from, part) = (i / step, i % step);
        ((usize::from(written[from]) * (step - part) + usize::from(written[from + 1]) * part) / step) as u16
    };
    ((0..places).map(between).collect(), written)
}

/// The list that says how samples are coded: two bytes of version, four first samples, and the levels.
fn list(file: &Nef, levels: &[u16], split: Option<usize>) -> Vec<u8> {
    let version = match file.coding {
        Coding::Points(_) => [0x44, 0x20],
        Coding::Table => [0x44, 0x10],
        Coding::Quarter => [0x44, 0x40],
        _ => [0x46, 0x30],
    };
    let mut out = version.to_vec();
    let first = [FIRST; 4];
    out.extend(words(&first, file.order));
    out.extend(file.order.short(levels.len() as u16));
    out.extend(words(levels, file.order));
    // Room for more than is written here, as the bodies leave it.
    out.resize(out.len().max(600), 0);
    if let Some(row) = split {
        out[562..564].copy_from_slice(&file.order.short(row as u16));
    }
    out
}

/// What the first samples are foretold from.
const FIRST: u16 = 0x800;

/// A table: how many codes have each length from 1 on, and the sizes they stand for. Of sizes with a second number, so many
/// of the lowest bits are left out.
struct Table {
    lengths: &'static [u8],
    sizes: &'static [(u32, u32)],
}

const fn plain<const N: usize>(sizes: [u32; N]) -> [(u32, u32); N] {
    let mut out = [(0, 0); N];
    let mut i = 0;
    while i < N {
        out[i].0 = sizes[i];
        i += 1;
    }
    out
}

const LOSSY_12: Table =
    Table { lengths: &[0, 1, 5, 1, 1, 1, 1, 1, 1, 2], sizes: &plain([5, 4, 3, 6, 2, 7, 1, 0, 8, 9, 11, 10, 12]) };
const COARSER_12: Table = Table {
    lengths: &[0, 1, 5, 1, 1, 1, 1, 1, 1, 2],
    sizes: &[
        (6, 3),
        (5, 5),
        (5, 3),
        (5, 2),
        (5, 1),
        (5, 0),
        (4, 0),
        (3, 0),
        (2, 0),
        (1, 0),
        (0, 0),
        (11, 0),
        (12, 0),
        (12, 0),
    ],
};
const LOSSLESS_12: Table =
    Table { lengths: &[0, 1, 4, 2, 3, 1, 2], sizes: &plain([5, 4, 6, 3, 7, 2, 8, 1, 9, 0, 10, 11, 12]) };
const LOSSY_14: Table = Table {
    lengths: &[0, 1, 4, 3, 1, 1, 1, 1, 1, 2],
    sizes: &plain([5, 6, 4, 7, 8, 3, 9, 2, 1, 0, 10, 11, 12, 13, 14]),
};
const COARSER_14: Table = Table {
    lengths: &[0, 1, 5, 1, 1, 1, 1, 1, 1, 1, 2],
    sizes: &[
        (8, 0),
        (7, 5),
        (7, 4),
        (7, 3),
        (7, 2),
        (7, 0),
        (6, 0),
        (5, 0),
        (4, 0),
        (3, 0),
        (2, 0),
        (1, 0),
        (0, 0),
        (13, 0),
        (14, 0),
    ],
};
const LOSSLESS_14: Table =
    Table { lengths: &[0, 1, 4, 2, 2, 3, 1, 2], sizes: &plain([7, 6, 8, 5, 9, 4, 10, 3, 11, 12, 2, 0, 1, 13, 14]) };

/// Codes a picture's samples, or their places in a list of levels.
struct Coder {
    table: &'static Table,
    /// The row from which a coarser table counts.
    coarser: Option<(usize, &'static Table)>,
    /// Samples or places are below this.
    top: i32,
    /// Samples in a row.
    width: usize,
}

impl Coder {
    fn new(file: &Nef, split: Option<usize>) -> Self {
        let (table, coarser) = match (file.coding, file.bits) {
            (Coding::Lossless, 14) => (&LOSSLESS_14, &COARSER_14),
            (Coding::Lossless, _) => (&LOSSLESS_12, &COARSER_12),
            (_, 14) => (&LOSSY_14, &COARSER_14),
            _ => (&LOSSY_12, &COARSER_12),
        };
        let bits = if file.coding == Coding::Quarter { file.bits - 2 } else { file.bits };
        Self { table, coarser: split.map(|row| (row, coarser)), top: 1 << bits, width: file.size.0 }
    }

    /// The bytes, and what they stand for: what was given, but where the coarser table loses some.
    fn code(&self, wanted: &[u16]) -> (Vec<u16>, Vec<u8>) {
        let mut bits = Bits::default();
        let mut kept = Vec::with_capacity(wanted.len());
        let mut first = [[i32::from(FIRST); 2]; 2];
        for (y, row) in wanted.chunks_exact(self.width).enumerate() {
            let table = self.coarser.filter(|(from, _)| y >= *from).map_or(self.table, |(_, table)| table);
            let mut before = first[y % 2];
            for (x, v) in row.iter().enumerate() {
                before[x % 2] = table.put(&mut bits, before[x % 2], i32::from(*v), self.top);
                if x < 2 {
                    first[y % 2][x] = before[x];
                }
                kept.push(before[x % 2] as u16);
            }
        }
        (kept, bits.close())
    }
}

impl Table {
    /// Codes the way from what is foretold to what is wanted; returns where it leads.
    fn put(&self, bits: &mut Bits, foretold: i32, wanted: i32, top: i32) -> i32 {
        let apart = wanted - foretold;
        let size = 32 - apart.unsigned_abs().leading_zeros();
        let rank = self.sizes.iter().position(|(kept, left_out)| kept + left_out == size);
        let rank = rank.expect("a size that the table has");
        let (kept, left_out) = self.sizes[rank];
        let (code, length) = self.code(rank);
        bits.put(code, length);
        if left_out == 0 {
            bits.put(if apart < 0 { apart - 1 } else { apart } as u32, kept);
            return wanted;
        }
        // The middle of a step; the first bit kept tells the sign.
        let (from, half) = (if apart < 0 { -(1 << size) } else { 0 }, 1 << (left_out - 1));
        let (least, most) = if apart < 0 { (0, (1 << (kept - 1)) - 1) } else { (1 << (kept - 1), (1 << kept) - 1) };
        let leads = |step: i32| foretold + from + (step << left_out) + half;
        let mut step = ((apart - from) >> left_out).clamp(least, most);
        while leads(step) >= top && step > least {
            step -= 1;
        }
        while leads(step) < 0 && step < most {
            step += 1;
        }
        bits.put(step as u32, kept);
        leads(step)
    }

    /// A code and its length: shorter ones first, each the last one's successor (ITU-T T.81, annex C).
    fn code(&self, rank: usize) -> (u32, u32) {
        let (mut code, mut before) = (0, 0);
        for (i, count) in self.lengths.iter().enumerate() {
            let count = usize::from(*count);
            if rank < before + count {
                return (code + (rank - before) as u32, i as u32 + 1);
            }
            code = (code + count as u32) << 1;
            before += count;
        }
        unreachable!("a code that the table has")
    }
}
