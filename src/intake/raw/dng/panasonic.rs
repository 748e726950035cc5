//! Panasonic's blocks: samples in sixteen bytes each, whole or as what they lie above the last one of their colour, in steps
//! that hold for three of them; with levels, borders and gains as the file states them. After the public readers and tag
//! lists of these files.
//!
//! The two raw libraries know most of this, but each misreads some: of the commonest kind the block that lies across the cut
//! in every sixteen thousand bytes, of the later ones samples near zero and those of twelve bits.

use rayon::prelude::*;

use super::super::sensor::{Pattern, Refused, Sensor};
use super::tags::{Directory, directories, tag};

mod own {
    pub(super) const WIDTH: u16 = 0x02;
    pub(super) const HEIGHT: u16 = 0x03;
    /// Top, left, bottom and right border of the picture, px.
    pub(super) const BORDERS: [u16; 4] = [0x04, 0x05, 0x06, 0x07];
    pub(super) const PATTERN: u16 = 0x09;
    pub(super) const BITS: u16 = 0x0a;
    /// The highest level of green that is linear.
    pub(super) const WHITE: u16 = 0x0f;
    pub(super) const BLACKS: [u16; 3] = [0x1c, 0x1d, 0x1e];
    pub(super) const GAINS: [u16; 3] = [0x24, 0x25, 0x26];
    pub(super) const FORMAT: u16 = 0x2d;
    pub(super) const DATA: u16 = 0x118;
    /// Where it is not 0, the camera made the picture of several.
    pub(super) const SHOTS: u16 = 0x121;
}

/// Bytes in which 1024 blocks stand, and where the older formats cut them: what comes first stands last.
const PART: usize = 0x4000;
const CUT: usize = 0x2008;

/// How a file stores its samples.
#[derive(Clone, Copy)]
struct Blocks {
    /// Samples in one.
    side: usize,
    /// Whether every part is cut.
    cut: bool,
    read: fn(u128, &mut [u16]),
}

impl Blocks {
    /// By the number and the bits that the file states; `None` for what is not described here.
    fn of(format: usize, bits: usize) -> Option<Self> {
        let (side, cut, read): (_, _, fn(u128, &mut [u16])) = match (format, bits) {
            (4, 12) => (14, true, older),
            (5, 12) => (10, true, plain::<12>),
            (5, 14) => (9, true, plain::<14>),
            (6, 12) => (14, false, |block, out| newer(block, out, &TWELVE)),
            (6, 14) => (11, false, |block, out| newer(block, out, &FOURTEEN)),
            (7, 12) => (10, false, plain::<12>),
            (7, 14) => (9, false, plain::<14>),
            _ => return None,
        };
        Some(Self { side, cut, read })
    }

    /// All samples; `None` where the data end too early.
    fn samples(self, data: &[u8], count: usize) -> Option<Vec<u16>> {
        let blocks = count / self.side;
        let needed = if self.cut { blocks.div_ceil(PART / 16) * PART } else { blocks * 16 };
        let data = data.get(..needed)?;
        let mut out = vec![0; count];
        let parts = out.par_chunks_mut(PART / 16 * self.side).zip(data.par_chunks(PART));
        parts.for_each(|(out, part)| {
            let whole;
            let part = if self.cut {
                whole = [&part[PART - CUT..], &part[..PART - CUT]].concat();
                &whole
            } else {
                part
            };
            for (out, block) in out.chunks_exact_mut(self.side).zip(part.chunks_exact(16)) {
                (self.read)(u128::from_le_bytes(block.try_into().unwrap_or_default()), out);
            }
        });
        Some(out)
    }
}

/// Samples one behind the other, the least significant bit first.
fn plain<const BITS: u32>(block: u128, out: &mut [u16]) {
    for (v, i) in out.iter_mut().zip(0..) {
        *v = (block >> (i * BITS)) as u16 & ((1 << BITS) - 1);
    }
}

/// Takes bits from the most significant end on. There are never more to take than a block has.
struct Taken {
    block: u128,
    left: u32,
}

impl Taken {
    fn take(&mut self, bits: u32) -> i32 {
        self.left -= bits;
        (self.block >> self.left) as i32 & ((1 << bits) - 1)
    }

    /// How often steps are doubled.
    fn doubled(&mut self) -> u32 {
        [0, 1, 2, 4][self.take(2) as usize]
    }
}

fn older(block: u128, out: &mut [u16]) {
    let mut bits = Taken { block, left: 128 };
    let (mut last, mut begun, mut doubled) = ([0_i32; 2], [false; 2], 0);
    for (i, v) in out.iter_mut().enumerate() {
        if i % 3 == 2 {
            doubled = bits.doubled();
        }
        let (last, begun) = (&mut last[i % 2], &mut begun[i % 2]);
        let number = bits.take(8);
        if *begun {
            if number != 0 {
                let below = *last - (0x80 << doubled);
                // Where that is not to be had, what the steps leave over stays and the rest is counted from nothing.
                let from = if below < 0 || doubled == 4 { below & ((1 << doubled) - 1) } else { below };
                *last = from + (number << doubled);
            }
        } else {
            *begun = number != 0;
            if *begun || i > 11 {
                *last = number << 4 | bits.take(4);
            }
        }
        *v = *last as u16;
    }
}

/// Sizes of the codes of the newer kind, and what is above all levels.
struct Sizes {
    first: u32,
    other: u32,
    most: i32,
    top: u16,
}

const FOURTEEN: Sizes = Sizes { first: 14, other: 10, most: 0xFFFF, top: 0x3FFF };
const TWELVE: Sizes = Sizes { first: 12, other: 8, most: 0x3FFF, top: 0xFFF };

/// What was added to each sample before it was coded.
const RAISED: i32 = 15;

fn newer(block: u128, out: &mut [u16], sizes: &Sizes) {
    let mut bits = Taken { block, left: 128 };
    let (mut last, mut begun, mut doubled) = ([0_i32; 2], [false; 2], 0);
    for (i, v) in out.iter_mut().enumerate() {
        if i % 3 == 2 {
            doubled = bits.doubled();
        }
        let (last, begun) = (&mut last[i % 2], &mut begun[i % 2]);
        let number = bits.take(if i < 2 { sizes.first } else { sizes.other });
        if *begun {
            let under = 1 << (sizes.other - 1) << doubled;
            let from = if doubled < 4 && *last > under { *last - under } else { 0 };
            *last = from + (number << doubled);
        } else if number != 0 {
            (*begun, *last) = (true, number);
        }
        let level = (*last - RAISED).max(0);
        *v = if level > sizes.most { sizes.top } else { level as u16 };
    }
}

/// The sensor's picture of a Panasonic RW2 whose samples stand in blocks that are read here; `None` for all other files.
///
/// # Errors
/// As [`decode`](super::decode).
#[must_use]
pub fn panasonic(file: &[u8]) -> Option<Result<Sensor, Refused>> {
    let root = directories(file).into_iter().next().filter(|_| file.starts_with(b"IIU\0"))?;
    let whole = |tag: u16| root.whole(tag);
    let format = whole(own::FORMAT)?;
    let blocks = Blocks::of(format, whole(own::BITS)?)?;
    let (width, height) = (whole(own::WIDTH)?, whole(own::HEIGHT)?);
    let count = width.checked_mul(height).filter(|n| *n > 0 && width.is_multiple_of(blocks.side))?;
    let [top, left, bottom, right] = own::BORDERS.map(|tag| whole(tag).unwrap_or(0));
    // The first colour of the mosaic's rows, as the tag lists number them.
    let corner = [[0, 1, 1, 2], [1, 0, 2, 1], [1, 2, 0, 1], [2, 1, 1, 0]];
    let sites = *corner.get(whole(own::PATTERN)?.checked_sub(1)?)?;
    let pattern = Pattern::new(2, |x, y| sites[(y + top) % 2 * 2 + (x + left) % 2])?;
    let (black, white) = levels(&root, format, &pattern)?;
    let ends = || Refused::Broken("the file ends before the picture does".into());
    let data = whole(own::DATA).and_then(|at| file.get(at..));
    // More samples than bytes can stand for are not made room for.
    let Some(samples) = data.filter(|data| count / 2 <= data.len()).and_then(|data| blocks.samples(data, count)) else {
        return Some(Err(ends()));
    };
    let sensor = Sensor {
        samples,
        stride: width,
        left,
        top,
        width: right.saturating_sub(left),
        height: bottom.saturating_sub(top),
        channels: 1,
        pattern: Some(pattern),
        black,
        white,
        gains: gains(&root),
        from_srgb: None,
        orientation: whole(tag::ORIENTATION).map_or(0, |o| o as u16),
        exposures: if whole(own::SHOTS).is_some_and(|shots| shots > 0) { 2 } else { 1 },
        coded: None,
        flags: Vec::new(),
    };
    Some(sensor.checked(height))
}

/// Black of the four sites and white.
fn levels(root: &Directory, format: usize, pattern: &Pattern) -> Option<([f32; 4], f32)> {
    // The older kind states black so much lower than it is.
    let lower = if format <= 4 { RAISED as f32 } else { 0.0 };
    let blacks = own::BLACKS.map(|tag| root.number(tag).map(|level| level as f32 + lower));
    let [Some(red), Some(green), Some(blue)] = blacks else { return None };
    let black = std::array::from_fn(|i| [red, green, blue][pattern.colour(i % 2, i / 2)]);
    Some((black, root.number(own::WHITE)? as f32))
}

fn gains(root: &Directory) -> [f32; 3] {
    let stated = own::GAINS.map(|tag| root.number(tag).unwrap_or(0.0));
    let relative = stated.map(|gain| (gain / stated[1]) as f32);
    if relative.iter().all(|gain| (0.05..20.0).contains(gain)) { relative } else { [1.0; 3] }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Twelve bits of the first sample of each colour, then differences: unchanged, up by 2, and down by 2 in steps of 4.
    #[test]
    fn older_blocks_count_on_from_the_last_of_a_colour() {
        let mut block = 0_u128;
        let mut put = |value: u128, bits: u32| block = block << bits | value;
        [(1000, 12), (2000, 12), (0, 2), (0, 8), (130, 8), (128, 8)].iter().for_each(|(v, n)| put(*v, *n));
        for _ in 0..3 {
            [(2, 2), (128, 8), (126, 8), (0, 8)].iter().for_each(|(v, n)| put(*v, *n));
        }
        let mut out = [0; 14];
        older(block, &mut out);
        assert_eq!(out, [1000, 2000, 1000, 2002, 1000, 2002, 992, 2002, 992, 1994, 992, 1994, 984, 1994]);
        // A colour that begins with nothing begins later; at the end it must.
        older(0, &mut out);
        assert_eq!(out, [0; 14]);
        older(u128::MAX, &mut out);
        assert_eq!(out[..2], [4095, 4095]);
    }

    #[test]
    fn newer_blocks_never_fall_below_nothing() {
        let mut out = [1; 11];
        newer(0, &mut out, &FOURTEEN);
        assert_eq!(out, [0; 11]);
        // Seven is coded, which stands for what lies eight below nothing.
        newer(7 << 114 | 7 << 100, &mut out, &FOURTEEN);
        assert_eq!(out[..2], [0, 0]);
    }
}
