//! Nikon's codes: samples as they lie after a list of levels, each coded as what its forerunner of the same colour misses.
//!
//! The list stands in the maker note; the six tables of codes are constants of the format that the maker does not publish, and
//! that every reader of these files has.

use super::super::sensor::Refused;
use super::bits::{Bits, Codes, codes, no_code};
use super::layout::{Compression, Layout};
use super::makers::Note;
use super::tags::unsigned;

/// Tags of the maker note: the list in its newer and its older place.
const LISTS: [u16; 2] = [0x96, 0x8c];
/// What kind of data the file has.
const KIND: u16 = 0x93;
/// Where newer bodies say it, among other things.
const NEWER: u16 = 0x51;

/// How many codes there are of each length, and the sizes that they stand for: in the lower four bits how many are kept, in
/// the upper ones how many below them are left out.
type Table = (&'static [u8], &'static [u8]);

// The last of its codes is never written.
const LOSSY_12: Table = (&[0, 1, 5, 1, 1, 1, 1, 1, 1, 2], &[5, 4, 3, 6, 2, 7, 1, 0, 8, 9, 11, 10, 12, 0]);
const COARSER_12: Table =
    (&[0, 1, 5, 1, 1, 1, 1, 1, 1, 2], &[0x36, 0x55, 0x35, 0x25, 0x15, 5, 4, 3, 2, 1, 0, 11, 12, 12]);
const LOSSLESS_12: Table = (&[0, 1, 4, 2, 3, 1, 2], &[5, 4, 6, 3, 7, 2, 8, 1, 9, 0, 10, 11, 12]);
const LOSSY_14: Table = (&[0, 1, 4, 3, 1, 1, 1, 1, 1, 2], &[5, 6, 4, 7, 8, 3, 9, 2, 1, 0, 10, 11, 12, 13, 14]);
const COARSER_14: Table =
    (&[0, 1, 5, 1, 1, 1, 1, 1, 1, 1, 2], &[8, 0x57, 0x47, 0x37, 0x27, 7, 6, 5, 4, 3, 2, 1, 0, 13, 14]);
const LOSSLESS_14: Table = (&[0, 1, 4, 2, 2, 3, 1, 2], &[7, 6, 8, 5, 9, 4, 10, 3, 11, 12, 2, 0, 1, 13, 14]);

/// What the list says of the codes.
struct Coded {
    /// What the first samples of an even and an odd row are foretold from.
    first: [[i32; 2]; 2],
    /// What a code's place stands for.
    levels: Vec<u16>,
    table: Table,
    /// The row from which a coarser table counts.
    coarser: Option<(usize, Table)>,
}

impl Coded {
    fn of(list: &[u8], little: bool, bits: usize) -> Result<Self, Refused> {
        let short = || Refused::Broken("the list that its codes refer to is cut off".into());
        let [major, minor, ..] = *list else { return Err(short()) };
        let start = if major == 0x49 || minor == 0x58 { 2112 } else { 2 };
        let number = |i: usize| {
            let at = start + 2 * i;
            list.get(at..at + 2).map(|b| unsigned(b, little) as u16).ok_or_else(short)
        };
        let numbers = |count: usize| (0..count).map(|i| number(5 + i)).collect::<Result<Vec<u16>, Refused>>();
        let first = [[number(0)?, number(1)?], [number(2)?, number(3)?]].map(|row| row.map(i32::from));
        let lossless = major == 0x46;
        let (table, coarser) = match (lossless, bits) {
            (true, 14) => (LOSSLESS_14, COARSER_14),
            (true, 12) => (LOSSLESS_12, COARSER_12),
            (false, 14) => (LOSSY_14, COARSER_14),
            (false, 12) => (LOSSY_12, COARSER_12),
            _ => return Err(Refused::Unknown(format!("codes of {bits} bits"))),
        };
        if lossless {
            return Ok(Self { first, levels: (0..1 << bits).collect(), table, coarser: None });
        }
        let count = usize::from(number(4)?);
        // Files of the later kind say 14 bits and have places of 12.
        let places = 1_usize << if (major, minor) == (0x44, 0x40) { bits - 2 } else { bits };
        let step = places / count.saturating_sub(1).max(1);
        if major == 0x44 && matches!(minor, 0x20 | 0x40) && count > 1 && step > 0 {
            let levels = between(&numbers(count)?, step, places);
            let row = list.get(562..564).map_or(0, |b| unsigned(b, little) as usize);
            return Ok(Self { first, levels, table, coarser: (row > 0).then_some((row, coarser)) });
        }
        if !(1..=0x4001).contains(&count) {
            return Err(Refused::Unknown("codes of a kind that is not described".into()));
        }
        Ok(Self { first, levels: numbers(count)?, table, coarser: None })
    }

    fn decode(&self, layout: &Layout, data: &[u8]) -> Result<Vec<u16>, Refused> {
        let mut table = codes_of(self.table)?;
        let mut bits = Bits::new(data);
        let mut out = vec![0_u16; layout.width * layout.height];
        let mut first = self.first;
        let last = self.levels.len() as i32 - 1;
        for (y, row) in out.chunks_exact_mut(layout.width).enumerate() {
            if let Some((from, coarser)) = self.coarser
                && from == y
            {
                table = codes_of(coarser)?;
            }
            let above = &mut first[y % 2];
            for (x, v) in row.iter_mut().enumerate().take(2) {
                above[x] = above[x].wrapping_add(missed(&table, &mut bits).ok_or_else(no_code)?);
                *v = self.levels[above[x].clamp(0, last) as usize];
            }
            let mut before = *above;
            for pair in row[2.min(layout.width)..].chunks_mut(2) {
                for (v, before) in pair.iter_mut().zip(&mut before) {
                    *before = before.wrapping_add(missed(&table, &mut bits).ok_or_else(no_code)?);
                    *v = self.levels[(*before).clamp(0, last) as usize];
                }
            }
        }
        if bits.overrun() {
            return Err(Refused::Broken("the file ends before the picture does".into()));
        }
        Ok(out)
    }
}

fn codes_of((counts, values): Table) -> Result<Codes, Refused> {
    let mut padded = [0; 16];
    padded[..counts.len()].copy_from_slice(counts);
    codes(&padded, values)
}

/// What a sample differs by from what is foretold; `None` where there is no such code.
#[inline(always)]
fn missed(table: &Codes, bits: &mut Bits) -> Option<i32> {
    let code = u32::from(bits.code(table)?);
    let (kept, left_out) = (code & 15, code >> 4);
    if left_out == 0 {
        return Some(bits.signed(kept));
    }
    // The middle of a step; the first bit tells the sign.
    let (size, step) = (kept + left_out, bits.take(kept) as i32);
    let value = (step << left_out) + (1 << (left_out - 1));
    Some(if step >> (kept - 1) == 0 { value - (1 << size) } else { value })
}

/// Levels on straight lines between points that lie `step` places apart.
fn between(points: &[u16], step: usize, places: usize) -> Vec<u16> {
    let point = |i: usize| usize::from(points[i.min(points.len() - 1)]);
    let level = |i: usize| {
        let (from, part) = (i / step, i % step);
        ((point(from) * (step - part) + point(from + 1) * part) / step) as u16
    };
    (0..places).map(level).collect()
}

/// What kind of data the maker note says that a file has; newer bodies say it in another place. `None` where it is silent.
fn stated(note: &Note) -> Option<u16> {
    let newer = note.directory().raw(NEWER).and_then(|bytes| bytes.get(10..12));
    match newer {
        Some(bytes) => Some(unsigned(bytes, note.directory().little) as u16),
        None => note.directory().whole(KIND).map(|kind| kind as u16),
    }
}

/// Whether data of Nikon's number are of its high-efficiency kind, which is not described publicly.
pub(super) fn is_efficient(note: &Note) -> bool {
    matches!(stated(note), Some(13 | 14))
}

/// Whether data of Nikon's number are codes: the number also stands over samples that are plainly packed.
pub(super) fn is_coded(note: &Note, layout: &Layout) -> bool {
    let packed = layout.width * layout.height * layout.precision / 8;
    let length = layout.length();
    let plain = length.checked_sub(packed).is_some_and(|over| over % layout.height == 0 && over / layout.height < 16);
    let other = plain || [2, 3].iter().any(|bytes| length == layout.width * layout.height * bytes);
    let list = LISTS.into_iter().any(|tag| note.directory().has(tag));
    list && !other && matches!(stated(note), None | Some(1 | 3 | 4))
}

/// Takes data of Nikon's number for what they are: codes, or samples that are plainly packed.
pub(super) fn settle(layout: &mut Layout, note: &Note) -> Result<(), Refused> {
    if layout.compression != Compression::Nikon || is_coded(note, layout) {
        return Ok(());
    }
    if is_efficient(note) {
        return Err(Refused::Unknown("Nikon's high-efficiency compression".into()));
    }
    if layout.length() != layout.width * layout.height * layout.bits / 8 {
        return Err(Refused::Unknown("compressed data of the maker's of another kind".into()));
    }
    layout.compression = Compression::None;
    Ok(())
}

/// Samples of a picture in Nikon's codes. Strips lie one behind the other, and codes run on from one to the next.
pub(super) fn samples(layout: &Layout, note: Option<&Note>, file: &[u8]) -> Result<Vec<u16>, Refused> {
    let missing = || Refused::Broken("the list that its codes refer to is missing".into());
    let note = note.ok_or_else(missing)?;
    let list = LISTS.into_iter().find_map(|tag| note.directory().raw(tag)).ok_or_else(missing)?;
    let coded = Coded::of(list, note.directory().little, layout.bits)?;
    let length = layout.length();
    let start = layout.places.first().map_or(0, |(at, _)| *at);
    let data = file.get(start..).ok_or_else(|| Refused::Broken("the file ends before the picture does".into()))?;
    coded.decode(layout, &data[..length.min(data.len())])
}
