//! Reading image file directories, damaged ones too, wherever in a block they start; values are read where they stand.

use std::borrow::Cow;
use std::collections::{HashMap, HashSet};

/// No tag of interest has more numbers than this; longer lists are cut so that memory stays bounded.
const MOST_NUMBERS: usize = 8192;

/// Most directories in a chain; a file with more is damaged.
const MOST_DIRECTORIES: u16 = 8;

/// A TIFF block with its directories found, errors skipped. What is found in a block that is held already borrows it.
pub(super) struct Block<'d> {
    data: Cow<'d, [u8]>,
    order: Order,
    entries: HashMap<(Kind, u16, u16), Entry>,
    /// Where the directories of the chain start.
    starts: Vec<usize>,
    /// Whether something could not be read (a truncated head, or damage).
    pub partial: bool,
}

/// How a block's numbers and directories are written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Order {
    little_endian: bool,
    /// Whether counts and offsets have eight bytes (BigTIFF) instead of four.
    big: bool,
}

impl Order {
    /// Bytes of a directory's own count, of an entry, and of its values where they stand in it.
    const fn sizes(self) -> (usize, usize, usize) {
        if self.big { (8, 20, 8) } else { (2, 12, 4) }
    }

    /// A count or an offset.
    fn place(self, bytes: &[u8], at: usize) -> Option<usize> {
        if self.big { wide(bytes, at, self.little_endian) } else { long(bytes, at, self.little_endian).map(u64::from) }
            .and_then(|n| usize::try_from(n).ok())
    }
}

/// What a directory is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
enum Kind {
    /// One of the chain.
    Picture,
    Exif,
    /// Positions and interoperability, of which nothing is read.
    Other,
}

/// Where a tag's values stand.
#[derive(Clone, Copy, Debug)]
struct Entry {
    /// Their type (TIFF 6.0, section 2).
    kind: u16,
    count: usize,
    at: usize,
}

/// Bytes of one value of a type (TIFF 6.0, section 2; BigTIFF's 16 to 18); 0 for types that are not known here.
const fn width(kind: u16) -> usize {
    match kind {
        1 | 2 | 6 | 7 => 1,
        3 | 8 => 2,
        4 | 9 | 11 => 4,
        5 | 10 | 12 | 16..=18 => 8,
        _ => 0,
    }
}

fn short(bytes: &[u8], at: usize, little_endian: bool) -> Option<u16> {
    let two = <[u8; 2]>::try_from(bytes.get(at..at.checked_add(2)?)?).ok()?;
    Some(if little_endian { u16::from_le_bytes(two) } else { u16::from_be_bytes(two) })
}

fn long(bytes: &[u8], at: usize, little_endian: bool) -> Option<u32> {
    let four = <[u8; 4]>::try_from(bytes.get(at..at.checked_add(4)?)?).ok()?;
    Some(if little_endian { u32::from_le_bytes(four) } else { u32::from_be_bytes(four) })
}

fn wide(bytes: &[u8], at: usize, little_endian: bool) -> Option<u64> {
    let eight = <[u8; 8]>::try_from(bytes.get(at..at.checked_add(8)?)?).ok()?;
    Some(if little_endian { u64::from_le_bytes(eight) } else { u64::from_be_bytes(eight) })
}

/// Walks directories; what makes no sense is passed over and remembered.
struct Walk<'d> {
    data: &'d [u8],
    order: Order,
    entries: HashMap<(Kind, u16, u16), Entry>,
    starts: Vec<usize>,
    seen: HashSet<usize>,
    partial: bool,
}

impl Walk<'_> {
    /// The chain of directories from one on.
    fn chain(&mut self, mut offset: usize) {
        while offset != 0 {
            let number = self.starts.len() as u16;
            let next = if number < MOST_DIRECTORIES { self.directory(offset, Kind::Picture, number) } else { None };
            let Some(next) = next else {
                self.partial = true;
                return;
            };
            offset = next;
        }
    }

    /// Notes the entries of a directory and of those below it; where the next one of its chain starts. `None` where it is not
    /// there to its end, or was there before.
    fn directory(&mut self, offset: usize, kind: Kind, number: u16) -> Option<usize> {
        let (head, size, _) = self.order.sizes();
        let count = if self.order.big {
            self.order.place(self.data, offset)?
        } else {
            usize::from(short(self.data, offset, self.order.little_endian)?)
        };
        self.seen.insert(offset).then_some(())?;
        if kind == Kind::Picture {
            self.starts.push(offset);
        }
        let mut at = offset + head;
        for _ in 0..count {
            self.data.get(at..at.checked_add(size)?)?;
            match self.entry(at) {
                Some((tag, entry)) => self.note(kind, number, tag, entry),
                None => self.partial = true,
            }
            at += size;
        }
        self.order.place(self.data, at)
    }

    /// The entry at a place; `None` where its values are not in the block.
    fn entry(&self, at: usize) -> Option<(u16, Entry)> {
        let (little_endian, (_, size, inside)) = (self.order.little_endian, self.order.sizes());
        let kind = short(self.data, at + 2, little_endian)?;
        let count = self.order.place(self.data, at + 4)?;
        let length = width(kind).checked_mul(count)?;
        let here = at + size - inside;
        let place = if length <= inside { here } else { self.order.place(self.data, here)? };
        self.data.get(place..place.checked_add(length)?)?;
        Some((short(self.data, at, little_endian)?, Entry { kind, count, at: place }))
    }

    fn note(&mut self, kind: Kind, number: u16, tag: u16, entry: Entry) {
        let below = match (kind, tag) {
            (Kind::Picture, 0x8769) => Kind::Exif,
            (Kind::Picture, 0x8825) | (Kind::Exif, 0xa005) => Kind::Other,
            (Kind::Other, _) => return,
            _ => {
                self.entries.insert((kind, number, tag), entry);
                return;
            }
        };
        let offset = whole(self.data, entry, self.order.little_endian).map(|o| o as usize);
        // A directory below another is the only one of its chain.
        if offset.and_then(|o| self.directory(o, below, number)) != Some(0) {
            self.partial = true;
        }
    }
}

/// The first number of an entry where it is a whole one that is not negative.
fn whole(data: &[u8], entry: Entry, little_endian: bool) -> Option<u32> {
    match entry.kind {
        _ if entry.count == 0 => None,
        1 => data.get(entry.at).map(|b| u32::from(*b)),
        3 => short(data, entry.at, little_endian).map(u32::from),
        4 => long(data, entry.at, little_endian),
        16 | 18 => wide(data, entry.at, little_endian).and_then(|n| u32::try_from(n).ok()),
        _ => None,
    }
}

/// How what follows a TIFF header is written, and where its first directory is; BigTIFF, whose magic number is 43, tells in two
/// more words that its offsets have eight bytes.
pub(super) fn first_directory(head: &[u8]) -> Option<usize> {
    header(head).map(|(_, first)| first)
}

fn header(head: &[u8]) -> Option<(Order, usize)> {
    let little_endian = match head.get(..2)? {
        b"II" => true,
        b"MM" => false,
        _ => return None,
    };
    let big = short(head, 2, little_endian) == Some(43) && short(head, 4, little_endian) == Some(8);
    let order = Order { little_endian, big };
    Some((order, order.place(head, if big { 8 } else { 4 })?))
}

impl<'d> Block<'d> {
    /// Parses a block that starts with a TIFF header, BigTIFF's too; raw formats with a magic number of their own are let in.
    pub(super) fn parse(data: impl Into<Cow<'d, [u8]>>) -> Option<Self> {
        let data = data.into();
        let (order, first) = header(&data)?;
        Some(Self::walked(data, first, order))
    }

    /// Parses `data` with the first directory of a plain TIFF at `offset`, whatever header it has.
    pub(super) fn at(data: &'d [u8], offset: usize, little_endian: bool) -> Option<Self> {
        Self::below(data, offset, Order { little_endian, big: false })
    }

    fn below(data: &'d [u8], offset: usize, order: Order) -> Option<Self> {
        (offset >= 8 && offset < data.len()).then(|| Self::walked(Cow::Borrowed(data), offset, order))
    }

    fn walked(data: Cow<'d, [u8]>, first: usize, order: Order) -> Self {
        let (entries, starts, seen) = (HashMap::new(), Vec::new(), HashSet::new());
        let mut walk = Walk { data: &data, order, entries, starts, seen, partial: false };
        walk.chain(first);
        let Walk { entries, starts, partial, .. } = walk;
        Self { data, order, entries, starts, partial }
    }

    /// Parses the directory at a place of this block, written as this block is.
    pub(super) fn directory(&self, offset: usize) -> Option<Block<'_>> {
        Block::below(&self.data, offset, self.order)
    }

    /// The bytes that offsets inside the block count from.
    pub(super) fn bytes(&self) -> &[u8] {
        &self.data
    }

    /// Byte order.
    pub(super) const fn little_endian(&self) -> bool {
        self.order.little_endian
    }

    /// The directory chain's first directory.
    pub(super) fn first(&self) -> Ifd<'_> {
        self.nth(0)
    }

    /// A directory of the chain.
    pub(super) fn nth(&self, number: u16) -> Ifd<'_> {
        Ifd { block: self, kind: Kind::Picture, number }
    }

    /// Where a directory of the chain starts.
    pub(super) fn start(&self, number: u16) -> Option<usize> {
        self.starts.get(usize::from(number)).copied()
    }

    /// The Exif directory.
    pub(super) fn exif(&self) -> Ifd<'_> {
        Ifd { block: self, kind: Kind::Exif, number: 0 }
    }
}

/// One directory of a block; values are read when asked for.
#[derive(Clone, Copy)]
pub(super) struct Ifd<'a> {
    block: &'a Block<'a>,
    kind: Kind,
    number: u16,
}

impl<'a> Ifd<'a> {
    /// The block the directory is in.
    pub(super) const fn block(self) -> &'a Block<'a> {
        self.block
    }

    fn entry(self, tag: u16) -> Option<Entry> {
        self.block.entries.get(&(self.kind, self.number, tag)).copied()
    }

    /// An entry of one of these types, and the bytes of its values.
    fn values(self, tag: u16, kinds: &[u16]) -> Option<(Entry, &'a [u8])> {
        let entry = self.entry(tag).filter(|e| kinds.contains(&e.kind))?;
        Some((entry, self.block.data.get(entry.at..entry.at + entry.count * width(entry.kind))?))
    }

    /// Whether the tag is there at all.
    pub(super) fn has(self, tag: u16) -> bool {
        self.entry(tag).is_some()
    }

    /// All numbers of a tag as written; a rational with denominator zero is infinite, or NaN where both are zero.
    pub(super) fn numbers(self, tag: u16) -> Vec<f64> {
        let Some((entry, bytes)) = self.values(tag, &[1, 3, 4, 5, 6, 8, 9, 10, 11, 12, 16, 17, 18]) else {
            return Vec::new();
        };
        let little_endian = self.block.order.little_endian;
        bytes.chunks_exact(width(entry.kind)).take(MOST_NUMBERS).map(|v| number(v, entry.kind, little_endian)).collect()
    }

    /// The first number of a tag.
    pub(super) fn number(self, tag: u16) -> Option<f64> {
        self.numbers(tag).first().copied()
    }

    /// The first number of a tag where it is positive and finite.
    pub(super) fn positive(self, tag: u16) -> Option<f64> {
        self.number(tag).filter(|v| v.is_finite() && *v > 0.0)
    }

    /// Numerator and denominator of the first rational.
    pub(super) fn rational(self, tag: u16) -> Option<(u32, u32)> {
        let (_, bytes) = self.values(tag, &[5])?;
        long(bytes, 0, self.block.order.little_endian).zip(long(bytes, 4, self.block.order.little_endian))
    }

    /// The first number of a tag where it is a whole one that fits.
    pub(super) fn whole(self, tag: u16) -> Option<u32> {
        whole(&self.block.data, self.entry(tag)?, self.block.order.little_endian)
    }

    /// Text, trimmed of blanks and zero bytes; `None` where nothing is left.
    pub(super) fn text(self, tag: u16) -> Option<String> {
        let bytes = self.values(tag, &[1, 2, 7])?.1.split(|b| *b == 0).next()?;
        let text = String::from_utf8_lossy(&bytes[..bytes.len().min(1024)]);
        let text: String = text.trim().chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
        let text = text.trim();
        (!text.is_empty()).then(|| text.to_owned())
    }

    /// Bytes of a tag written as bytes, or as one text.
    pub(super) fn bytes(self, tag: u16) -> Option<&'a [u8]> {
        let (entry, bytes) = self.values(tag, &[1, 2, 7])?;
        if entry.kind != 2 {
            return Some(bytes);
        }
        let text = bytes.strip_suffix(&[0]).unwrap_or(bytes);
        (!bytes.is_empty() && !text.contains(&0)).then_some(text)
    }

    /// Bytes of an undefined-type tag and where in the block they start.
    pub(super) fn undefined(self, tag: u16) -> Option<(&'a [u8], usize)> {
        self.values(tag, &[7]).map(|(entry, bytes)| (bytes, entry.at))
    }

    /// Signed 16-bit words of a tag, whether written as shorts, signed shorts or bytes of no type.
    pub(super) fn words(self, tag: u16) -> Option<Vec<i16>> {
        let (_, bytes) = self.values(tag, &[3, 7, 8])?;
        // The bit pattern is what matters: makers write signed words under the unsigned type.
        let word = |pair: &[u8]| short(pair, 0, self.block.order.little_endian).map(u16::cast_signed);
        bytes.chunks_exact(2).take(MOST_NUMBERS).map(word).collect()
    }

    /// Where in the block a sub-directory starts, whichever way the maker wrote the pointer.
    pub(super) fn pointer(self, tag: u16) -> Option<usize> {
        let entry = self.entry(tag)?;
        match entry.kind {
            4 | 16 => self.whole(tag).map(|o| o as usize),
            7 => Some(entry.at),
            // "IFD", of which one is of interest: its values are no numbers to anybody else.
            18 => self.whole(tag).map(|o| o as usize),
            13 => long(&self.block.data, entry.at, self.block.order.little_endian).map(|o| o as usize),
            _ => None,
        }
    }

    /// Parses the sub-directory a tag points at.
    pub(super) fn directory(self, tag: u16) -> Option<Block<'a>> {
        self.block.directory(self.pointer(tag)?)
    }
}

/// A value of a numeric type.
fn number(value: &[u8], kind: u16, little_endian: bool) -> f64 {
    let half = |at: usize| short(value, at, little_endian).unwrap_or(0);
    let word = |at: usize| long(value, at, little_endian).unwrap_or(0);
    let signed = |at: usize| f64::from(word(at).cast_signed());
    match kind {
        3 => f64::from(half(0)),
        4 => f64::from(word(0)),
        5 => f64::from(word(0)) / f64::from(word(4)),
        6 => f64::from(value[0].cast_signed()),
        8 => f64::from(half(0).cast_signed()),
        9 => signed(0),
        10 => signed(0) / signed(4),
        11 => f64::from(f32::from_bits(word(0))),
        12 => f64::from_bits(wide(value, 0, little_endian).unwrap_or(0)),
        16 | 18 => wide(value, 0, little_endian).unwrap_or(0) as f64,
        17 => wide(value, 0, little_endian).unwrap_or(0).cast_signed() as f64,
        _ => f64::from(value[0]),
    }
}

#[cfg(test)]
mod tests {
    use exif::{Context, Tag, Value};

    use super::*;

    fn heads() -> Vec<Vec<u8>> {
        let place = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/heads");
        let files = std::fs::read_dir(place).unwrap().map(|f| std::fs::read(f.unwrap().path()).unwrap());
        files.filter(|b| b.starts_with(b"II*\0") || b.starts_with(b"MM\0*")).collect()
    }

    /// Every tag of real heads, whole and cut, against an independent library.
    #[test]
    fn directories_are_what_another_library_finds() {
        let mut compared = 0;
        let heads = heads();
        for bytes in heads.iter().flat_map(|b| [&b[..], &b[..b.len() / 2], &b[..b.len() / 9]]) {
            let mut reader = exif::Reader::new();
            reader.continue_on_error(true);
            let mut partial = false;
            let theirs =
                reader.read_raw(bytes.to_vec()).or_else(|e| e.distill_partial_result(|_| partial = true)).unwrap();
            let block = Block::parse(bytes).unwrap();
            assert_eq!(block.partial, partial);
            let mut count = 0;
            for field in theirs.fields() {
                let Tag(context, tag) = field.tag;
                let kind = match context {
                    Context::Tiff => Kind::Picture,
                    Context::Exif => Kind::Exif,
                    _ => continue,
                };
                count += 1;
                let ifd = Ifd { block: &block, kind, number: field.ifd_num.index() };
                assert!(ifd.has(tag), "{:?}", field.tag);
                assert_eq!(ifd.whole(tag), field.value.get_uint(0), "{:?}", field.tag);
                match &field.value {
                    Value::Rational(v) => assert_eq!(ifd.rational(tag), v.first().map(|r| (r.num, r.denom))),
                    Value::SRational(v) => assert_eq!(ifd.numbers(tag).len(), v.len()),
                    Value::SShort(v) => assert_eq!(ifd.words(tag).as_ref(), Some(v)),
                    Value::Undefined(v, at) => assert_eq!(ifd.undefined(tag), Some((&v[..], *at as usize))),
                    Value::Ascii(v) if v.len() == 1 => assert_eq!(ifd.bytes(tag), Some(&v[0][..])),
                    Value::Byte(v) => assert_eq!(ifd.bytes(tag), Some(&v[..])),
                    value => assert_eq!(ifd.number(tag), value.get_uint(0).map(f64::from), "{:?}", field.tag),
                }
            }
            assert_eq!(block.entries.len(), count);
            compared += count;
        }
        assert!(heads.len() >= 3 && compared > 200, "{} {compared}", heads.len());
    }

    /// BigTIFF (the libtiff project's "BigTIFF Design"): the same tags in directories of wider entries, numbers in both orders.
    #[test]
    fn directories_of_bigtiff_are_read_alike() {
        for little in [true, false] {
            let put = |out: &mut Vec<u8>, n: u64, size: usize| {
                let bytes = n.to_le_bytes();
                if little { out.extend(&bytes[..size]) } else { out.extend(bytes[..size].iter().rev()) }
            };
            let mut bytes = if little { b"II".to_vec() } else { b"MM".to_vec() };
            [(43, 2), (8, 2), (0, 2), (16, 8), (4, 8)].into_iter().for_each(|(n, size)| put(&mut bytes, n, size));
            let mut entry = |tag: u64, kind: u64, count: u64, value: u64, size: usize| {
                [(tag, 2), (kind, 2), (count, 8)].into_iter().for_each(|(n, size)| put(&mut bytes, n, size));
                let end = bytes.len() + 8;
                put(&mut bytes, value, size);
                bytes.resize(end, 0);
            };
            entry(0x100, 3, 1, 640, 2);
            entry(0x101, 16, 1, 480, 8);
            entry(0x14A, 18, 1, 112, 8);
            entry(0x8769, 16, 1, 148, 8);
            put(&mut bytes, 0, 8);
            assert_eq!(bytes.len(), 112);
            // Below: one entry each, f/8 as a rational that stands in its entry.
            for (tag, kind, parts) in [(0x100, 4, vec![(321, 4), (0, 4)]), (0x829D, 5, vec![(80, 4), (10, 4)])] {
                let head = [(1, 8), (tag, 2), (kind, 2), (1, 8)];
                head.into_iter().for_each(|(n, size)| put(&mut bytes, n, size));
                parts.into_iter().for_each(|(n, size)| put(&mut bytes, n, size));
                put(&mut bytes, 0, 8);
            }
            let block = Block::parse(bytes).unwrap();
            assert!(!block.partial);
            assert_eq!((block.first().whole(0x100), block.first().whole(0x101)), (Some(640), Some(480)));
            assert_eq!(block.exif().number(0x829D), Some(8.0));
            assert_eq!(block.first().directory(0x14A).unwrap().first().whole(0x100), Some(321));
            assert_eq!(block.first().numbers(0x14A), [112.0]);
        }
    }

    /// A file may be as long as its offsets reach, and lead to as many directories.
    #[test]
    fn what_is_below_a_block_is_no_copy_of_it() {
        let mut bytes = b"II*\0\x08\0\0\0\x01\0\x4A\x01\x04\0\x01\0\0\0\x1A\0\0\0\0\0\0\0".to_vec();
        bytes.extend(b"\x01\0\0\x01\x03\0\x01\0\0\0\x07\0\0\0\0\0\0\0");
        let block = Block::parse(bytes).unwrap();
        let below = block.first().directory(0x14A).unwrap();
        assert_eq!(below.first().whole(0x100), Some(7));
        assert!(std::ptr::eq(below.bytes(), block.bytes()));
    }
}
