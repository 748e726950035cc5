//! Layout: how a directory's samples are stored, and which directory of a file holds the picture itself.

use super::super::sensor::Refused;
use super::tags::{Directory, tag};
use crate::intake::rendered::MAX_PIXELS;

/// Compression by its number in TIFF and DNG 1.7.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Compression {
    None,
    /// Lossless or not: the data themselves tell.
    Jpeg,
    Deflate,
    JpegXl,
    /// Nikon's own codes.
    Nikon,
    /// Sony's blocks.
    Sony,
}

impl Compression {
    fn of(directory: &Directory) -> Result<Self, Refused> {
        match directory.whole(tag::COMPRESSION).unwrap_or(1) {
            1 => Ok(Self::None),
            7 | 34_892 => Ok(Self::Jpeg),
            8 | 32_946 => Ok(Self::Deflate),
            52_546 => Ok(Self::JpegXl),
            34_713 => Ok(Self::Nikon),
            32_767 => Ok(Self::Sony),
            _ => Err(Refused::Unknown("data compressed in a way that the standard does not name".into())),
        }
    }

    /// How many times smaller it can make samples of so many bits: not at all, 1032 times (deflate), to a bit for each block of
    /// 64 (JPEG), and to what no photograph comes down to.
    const fn most(self, bits: usize) -> usize {
        match self {
            Self::None | Self::Sony => 1,
            // The shortest code has two bits.
            Self::Nikon => bits.div_ceil(2),
            Self::Deflate => 1032,
            Self::Jpeg => 64 * bits,
            Self::JpegXl => 20_000,
        }
    }
}

/// Two numbers from 1 on; 1 and 1 where others are stated, or none.
const fn pair(numbers: &[f64]) -> (usize, usize) {
    match *numbers {
        [rows, columns] if rows >= 1.0 && columns >= 1.0 => (rows as usize, columns as usize),
        _ => (1, 1),
    }
}

/// Offset and length of the segments needed, by the tags of either; `None` where there are fewer.
fn places(directory: &Directory, tags: (u16, u16), needed: usize, length: usize) -> Option<Vec<(usize, usize)>> {
    let (offsets, counts) = (directory.numbers(tags.0), directory.numbers(tags.1));
    // A single segment of unstated length reaches to the end of the file at most.
    let count = |i: usize| counts.get(i).map_or(length as f64 - offsets[i], |n| *n);
    (offsets.len() >= needed).then(|| (0..needed).map(|i| (offsets[i] as usize, count(i).max(0.0) as usize)).collect())
}

/// Samples a pixel, bits a sample, and whether samples are floating-point numbers.
fn samples(directory: &Directory) -> Result<(usize, usize, bool), Refused> {
    let whole = |t| directory.whole(t).unwrap_or(1);
    let (channels, all) = (whole(tag::SAMPLES_PER_PIXEL), directory.numbers(tag::BITS_PER_SAMPLE));
    let bits = all.first().map_or(1, |b| *b as usize);
    if bits == 0 || channels == 0 || all.iter().any(|b| *b != bits as f64) {
        return Err(contradicts_itself());
    }
    let float = match whole(tag::SAMPLE_FORMAT) {
        1 => false,
        3 => true,
        _ => return Err(Refused::Unknown("signed samples".into())),
    };
    if !(if float { matches!(bits, 16 | 24 | 32) } else { bits <= 32 }) {
        return Err(Refused::Unknown(format!("samples of {bits} bits")));
    }
    if channels > 4 {
        return Err(Refused::Unknown(format!("{channels} samples at each pixel")));
    }
    Ok((channels, bits, float))
}

/// Why a directory that can't be true is refused.
fn contradicts_itself() -> Refused {
    Refused::Broken("its description of the picture contradicts itself".into())
}

/// How the samples of one directory are stored.
#[derive(Clone, Debug)]
pub(super) struct Layout {
    pub width: usize,
    pub height: usize,
    /// Samples a pixel.
    pub channels: usize,
    /// Bits that a sample is stored in.
    pub bits: usize,
    /// Bits that it has.
    pub precision: usize,
    /// Whether samples of no whole number of bytes begin with their least significant bit.
    pub reversed: bool,
    /// Whether samples are floating-point numbers.
    pub float: bool,
    pub compression: Compression,
    pub predictor: usize,
    /// Whether each channel is stored by itself.
    pub planar: bool,
    /// Width and height of a strip or tile.
    pub segment: (usize, usize),
    /// Whether the segments are tiles, which are whole at the picture's right and lower edges too.
    pub tiled: bool,
    /// Offset and length of each segment.
    pub places: Vec<(usize, usize)>,
    /// Rows and columns of the blocks that the pixels of a tile are ordered in.
    pub block: (usize, usize),
    /// Number of fields that rows, and columns, are sorted into.
    pub fields: (usize, usize),
    /// Whether a JPEG of four components holds the four sites of a mosaic, and so two rows in each of its own.
    pub quads: bool,
    /// Whether numbers are written with the least significant byte first.
    pub little: bool,
}

/// Colour filter array, linear raw, and grey, as PhotometricInterpretation numbers them.
pub(super) const CFA: usize = 32_803;
pub(super) const LINEAR: usize = 34_892;
pub(super) const GREY: usize = 1;

fn photometric(directory: &Directory) -> usize {
    directory.whole(tag::PHOTOMETRIC).unwrap_or(0)
}

fn area(directory: &Directory) -> usize {
    let side = |t| directory.whole(t).unwrap_or(0);
    side(tag::IMAGE_WIDTH).saturating_mul(side(tag::IMAGE_LENGTH))
}

/// The directory that holds the sensor's picture, and how many of its size and kind the file has.
///
/// Reduced pictures, masks and depth maps are marked as such in NewSubfileType; so are pictures "enhanced" from the
/// sensor's, which count only where the sensor's is not there.
pub(super) fn main<'a, 'b>(all: &'b [Directory<'a>], dng: bool) -> Option<(&'b Directory<'a>, usize)> {
    let kind = |d: &Directory| d.whole(tag::NEW_SUBFILE_TYPE).unwrap_or(0);
    let raw = |d: &&Directory| {
        let grey = dng && photometric(d) == GREY && d.number(tag::BITS_PER_SAMPLE).is_some_and(|bits| bits > 8.0);
        (matches!(photometric(d), CFA | LINEAR) || grey) && area(d) > 0
    };
    for wanted in [0, 16] {
        let fitting: Vec<_> = all.iter().filter(raw).filter(|d| kind(d) == wanted).collect();
        let largest = fitting.iter().map(|d| area(d)).max().unwrap_or(0);
        if let Some(first) = fitting.iter().find(|d| area(d) == largest) {
            let alike = fitting.iter().filter(|d| area(d) == largest && photometric(d) == photometric(first));
            return Some((first, alike.count()));
        }
    }
    None
}

/// What a compression is called, for people.
pub(super) fn compression_name(number: usize) -> Option<&'static str> {
    Some(match number {
        1 => "no compression",
        7 => "JPEG compression",
        8 | 32_946 => "deflate compression",
        9 => "VC-5 compression",
        32_767 | 34_713 => "compression of the maker's own",
        34_892 => "lossy JPEG compression",
        52_546 => "JPEG XL compression",
        _ => return None,
    })
}

impl Layout {
    /// From a directory's tags; refuses what contradicts itself, or what the file of `length` bytes can't hold.
    pub(super) fn of(directory: &Directory, length: usize) -> Result<Self, Refused> {
        let compression = Compression::of(directory)?;
        let whole = |t, otherwise| directory.whole(t).unwrap_or(otherwise);
        let (width, height) = (whole(tag::IMAGE_WIDTH, 0), whole(tag::IMAGE_LENGTH, 0));
        if !width.checked_mul(height).is_some_and(|n| (1..=MAX_PIXELS).contains(&n)) {
            return Err(contradicts_itself());
        }
        let (channels, bits, float) = samples(directory)?;
        let tiled = directory.has(tag::TILE_OFFSETS);
        let (segment, tags) = if tiled {
            let size = (whole(tag::TILE_WIDTH, 0), whole(tag::TILE_LENGTH, 0));
            (size, (tag::TILE_OFFSETS, tag::TILE_BYTE_COUNTS))
        } else {
            let size = (width, whole(tag::ROWS_PER_STRIP, height).min(height));
            (size, (tag::STRIP_OFFSETS, tag::STRIP_BYTE_COUNTS))
        };
        if segment.0 == 0 || segment.1 == 0 || segment.0.checked_mul(segment.1).is_none_or(|n| n > MAX_PIXELS) {
            return Err(contradicts_itself());
        }
        let planar = channels > 1 && whole(tag::PLANAR_CONFIGURATION, 1) == 2;
        let needed = width.div_ceil(segment.0) * height.div_ceil(segment.1) * if planar { channels } else { 1 };
        let bytes = width * height * channels * bits / 8;
        if bytes / compression.most(bits) > length {
            return Err(Refused::Broken("the file ends before the picture does".into()));
        }
        let places = places(directory, tags, needed, length).ok_or_else(contradicts_itself)?;
        let fields = (whole(tag::ROW_INTERLEAVE_FACTOR, 1).max(1), whole(tag::COLUMN_INTERLEAVE_FACTOR, 1).max(1));
        Ok(Self {
            width,
            height,
            channels,
            bits,
            precision: bits,
            reversed: false,
            float,
            compression,
            predictor: whole(tag::PREDICTOR, 1),
            planar,
            segment,
            tiled,
            places,
            block: pair(&directory.numbers(tag::SUB_TILE_BLOCK_SIZE)),
            fields,
            quads: false,
            little: directory.little,
        })
    }

    /// Bytes of all segments.
    pub(super) fn length(&self) -> usize {
        self.places.iter().map(|(_, n)| *n).fold(0, usize::saturating_add)
    }

    /// What the makers' own formats do otherwise than DNG: samples of 10 to 14 bits may stand in two bytes each, JPEGs of four
    /// components hold two rows, and `nikon` packs bits in the order of the file's bytes.
    pub(super) fn own(&mut self, nikon: bool) {
        if self.compression == Compression::None && (9..16).contains(&self.bits) {
            if self.length() >= self.width * self.height * self.channels * 2 {
                self.bits = 16;
            }
            self.reversed = nikon && self.little;
        }
        self.quads = true;
    }

    /// Channels in one segment.
    pub(super) const fn segment_channels(&self) -> usize {
        if self.planar { 1 } else { self.channels }
    }

    /// Segments side by side.
    pub(super) const fn across(&self) -> usize {
        self.width.div_ceil(self.segment.0)
    }

    /// Rows that the segments of a row of segments hold.
    pub(super) fn rows(&self, segment_row: usize) -> usize {
        if self.tiled { self.segment.1 } else { self.segment.1.min(self.height - segment_row * self.segment.1) }
    }
}
