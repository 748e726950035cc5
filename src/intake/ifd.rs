//! Reading image file directories through kamadak-exif, damaged ones too, wherever in a block they start.

use exif::{Context, Exif, Field, In, Tag, Value};

/// No tag of interest has more numbers than this; longer lists are cut so that memory stays bounded.
const MOST_NUMBERS: usize = 8192;

/// A TIFF block with its directories parsed, errors skipped.
pub(super) struct Block {
    exif: Exif,
    /// Whether something could not be parsed (a truncated head, or damage).
    pub partial: bool,
}

impl Block {
    /// Parses a block that starts with a TIFF header; raw formats with a magic number of their own are let in.
    pub(super) fn parse(mut data: Vec<u8>) -> Option<Self> {
        if data.len() < 8 {
            return None;
        }
        // RW2 writes 0x55 and ORF "RO", "RS" or "SR" where TIFF has 42.
        let forty_two: [u8; 2] = match &data[..2] {
            b"II" => [42, 0],
            b"MM" => [0, 42],
            _ => return None,
        };
        data[2..4].copy_from_slice(&forty_two);
        let mut reader = exif::Reader::new();
        reader.continue_on_error(true);
        let mut partial = false;
        let exif = reader.read_raw(data).or_else(|e| e.distill_partial_result(|_| partial = true)).ok()?;
        Some(Self { exif, partial })
    }

    /// Parses `data` with the first directory at `offset`, whatever header it has: the first eight bytes of
    /// a copy are rewritten as a TIFF header that points there.
    pub(super) fn at(data: &[u8], offset: usize, little_endian: bool) -> Option<Self> {
        if offset < 8 || offset >= data.len() {
            return None;
        }
        let mut copy = data.to_vec();
        copy[..8].copy_from_slice(&tiff_header(u32::try_from(offset).ok()?, little_endian));
        Self::parse(copy)
    }

    /// The bytes that offsets inside the block count from.
    pub(super) fn bytes(&self) -> &[u8] {
        self.exif.buf()
    }

    /// Byte order.
    pub(super) fn little_endian(&self) -> bool {
        self.exif.little_endian()
    }

    /// The directory chain's first directory.
    pub(super) fn first(&self) -> Ifd<'_> {
        self.ifd(Context::Tiff, 0)
    }

    /// A directory of the chain.
    pub(super) fn nth(&self, number: u16) -> Ifd<'_> {
        self.ifd(Context::Tiff, number)
    }

    /// The Exif directory.
    pub(super) fn exif(&self) -> Ifd<'_> {
        self.ifd(Context::Exif, 0)
    }

    fn ifd(&self, context: Context, number: u16) -> Ifd<'_> {
        Ifd { block: self, context, number }
    }
}

fn tiff_header(offset: u32, little_endian: bool) -> [u8; 8] {
    let mut header = [0; 8];
    if little_endian {
        header[..4].copy_from_slice(b"II*\0");
        header[4..].copy_from_slice(&offset.to_le_bytes());
    } else {
        header[..4].copy_from_slice(b"MM\0*");
        header[4..].copy_from_slice(&offset.to_be_bytes());
    }
    header
}

/// One directory of a block; values are read when asked for.
#[derive(Clone, Copy)]
pub(super) struct Ifd<'a> {
    block: &'a Block,
    context: Context,
    number: u16,
}

impl<'a> Ifd<'a> {
    /// The block the directory is in.
    pub(super) fn block(self) -> &'a Block {
        self.block
    }

    fn field(self, tag: u16) -> Option<&'a Field> {
        self.block.exif.get_field(Tag(self.context, tag), In(self.number))
    }

    /// Whether the tag is there at all.
    pub(super) fn has(self, tag: u16) -> bool {
        self.field(tag).is_some()
    }

    /// All numbers of a tag as written; a rational with denominator zero is infinite, or NaN where both are zero.
    pub(super) fn numbers(self, tag: u16) -> Vec<f64> {
        let Some(field) = self.field(tag) else { return Vec::new() };
        fn of<T: Copy>(v: &[T], f: impl Fn(T) -> f64) -> Vec<f64> {
            v.iter().take(MOST_NUMBERS).map(|&x| f(x)).collect()
        }
        match &field.value {
            Value::Byte(v) => of(v, f64::from),
            Value::Short(v) => of(v, f64::from),
            Value::Long(v) => of(v, f64::from),
            Value::SByte(v) => of(v, f64::from),
            Value::SShort(v) => of(v, f64::from),
            Value::SLong(v) => of(v, f64::from),
            Value::Float(v) => of(v, f64::from),
            Value::Double(v) => of(v, |x| x),
            Value::Rational(v) => of(v, |r| f64::from(r.num) / f64::from(r.denom)),
            Value::SRational(v) => of(v, |r| f64::from(r.num) / f64::from(r.denom)),
            _ => Vec::new(),
        }
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
        match &self.field(tag)?.value {
            Value::Rational(v) => v.first().map(|r| (r.num, r.denom)),
            _ => None,
        }
    }

    /// The first number of a tag where it is a whole one that fits.
    pub(super) fn whole(self, tag: u16) -> Option<u32> {
        self.field(tag)?.value.get_uint(0)
    }

    /// Text, trimmed of blanks and zero bytes; `None` where nothing is left.
    pub(super) fn text(self, tag: u16) -> Option<String> {
        let bytes = match &self.field(tag)?.value {
            Value::Ascii(v) => v.first()?.as_slice(),
            Value::Byte(v) | Value::Undefined(v, _) => v.split(|b| *b == 0).next()?,
            _ => return None,
        };
        let text = String::from_utf8_lossy(&bytes[..bytes.len().min(1024)]);
        let text: String = text.trim().chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
        let text = text.trim();
        (!text.is_empty()).then(|| text.to_owned())
    }

    /// Bytes of a tag written as bytes.
    pub(super) fn bytes(self, tag: u16) -> Option<&'a [u8]> {
        match &self.field(tag)?.value {
            Value::Byte(v) | Value::Undefined(v, _) => Some(v),
            Value::Ascii(v) if v.len() == 1 => v.first().map(Vec::as_slice),
            _ => None,
        }
    }

    /// Bytes of an undefined-type tag and where in the block they start.
    pub(super) fn undefined(self, tag: u16) -> Option<(&'a [u8], usize)> {
        match &self.field(tag)?.value {
            Value::Undefined(v, offset) => Some((v, *offset as usize)),
            _ => None,
        }
    }

    /// Signed 16-bit words of a tag, whether written as shorts or signed shorts.
    pub(super) fn words(self, tag: u16) -> Option<Vec<i16>> {
        match &self.field(tag)?.value {
            // The bit pattern is what matters: makers write signed words under the unsigned type.
            Value::Short(v) => Some(v.iter().take(MOST_NUMBERS).map(|&w| w.cast_signed()).collect()),
            Value::SShort(v) => Some(v.iter().take(MOST_NUMBERS).copied().collect()),
            Value::Undefined(v, _) => Some(
                v.chunks_exact(2)
                    .take(MOST_NUMBERS)
                    .map(|p| {
                        let pair = [p[0], p[1]];
                        if self.block.little_endian() { i16::from_le_bytes(pair) } else { i16::from_be_bytes(pair) }
                    })
                    .collect(),
            ),
            _ => None,
        }
    }

    /// Where in the block a sub-directory starts, whichever way the maker wrote the pointer.
    pub(super) fn pointer(self, tag: u16) -> Option<usize> {
        match &self.field(tag)?.value {
            Value::Long(v) => v.first().map(|&o| o as usize),
            Value::Undefined(_, offset) => Some(*offset as usize),
            // Type 13, "IFD", is not known to the parser, which tells where the value stands.
            Value::Unknown(13, _, at) => {
                let at = *at as usize;
                let four = <[u8; 4]>::try_from(self.block.bytes().get(at..at + 4)?).ok()?;
                let offset =
                    if self.block.little_endian() { u32::from_le_bytes(four) } else { u32::from_be_bytes(four) };
                Some(offset as usize)
            }
            _ => None,
        }
    }

    /// Parses the sub-directory a tag points at.
    pub(super) fn directory(self, tag: u16) -> Option<Block> {
        Block::at(self.block.bytes(), self.pointer(tag)?, self.block.little_endian())
    }
}
