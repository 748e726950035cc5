//! Negative: raw files of every layout that the DNG specification (1.7) knows, with samples chosen by the test.

use super::directory::{Order, Values, append, link};
use super::lossless::{self, Lossless};

/// Samples to be written.
#[derive(Clone, Debug, PartialEq)]
pub enum Levels {
    /// Whole numbers of up to 32 bits.
    Whole(Vec<u32>),
    /// Floating-point numbers.
    Float(Vec<f32>),
}

/// Strips or tiles.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cut {
    /// Strips of so many rows.
    Strips(usize),
    /// Tiles of a width and a height.
    Tiles(usize, usize),
}

/// A strip's or tile's samples for an encoder from elsewhere.
#[derive(Clone, Copy, Debug)]
pub struct Part<'a> {
    /// Width, px.
    pub width: usize,
    /// Samples a pixel.
    pub channels: usize,
    /// Row-major samples, channels side by side.
    pub samples: &'a [u32],
}

/// How strips and tiles are compressed.
#[derive(Clone, Copy, Debug)]
pub enum Coding {
    /// Not at all.
    Plain,
    /// Zlib, with the number of a predictor.
    Deflate(u16),
    /// Lossless JPEG.
    Lossless(Lossless),
    /// By an encoder from elsewhere; the number is TIFF's for its compression.
    By(u16, fn(Part) -> Vec<u8>),
}

/// What the samples are.
#[derive(Clone, Debug, PartialEq)]
pub enum Meaning {
    /// A mosaic with the side of its pattern and its colours, 0 red, 1 green, 2 blue.
    Mosaic(usize, Vec<u8>),
    /// Full colour, or grey where there is one channel.
    Linear,
}

/// A raw file to be written.
#[derive(Clone, Debug)]
pub struct Negative {
    /// Width, px.
    pub width: usize,
    /// Height, px.
    pub height: usize,
    /// Samples a pixel.
    pub channels: usize,
    /// Bits a sample: 1 to 32, or 16, 24 and 32 for floating-point numbers.
    pub bits: usize,
    /// Row-major samples, channels side by side.
    pub levels: Levels,
    /// What they are.
    pub meaning: Meaning,
    /// Byte order.
    pub order: Order,
    /// Strips or tiles.
    pub cut: Cut,
    /// Compression.
    pub coding: Coding,
    /// Whether each channel is stored by itself.
    pub planar: bool,
    /// Fields that rows and columns are sorted into.
    pub fields: (usize, usize),
    /// Rows and columns of blocks that a tile's pixels are stored in.
    pub block: (usize, usize),
    /// More tags of the picture's directory; they go over those that are written anyway.
    pub tags: Vec<(u16, Values)>,
    /// The samples of a second exposure, which follows in a directory like the first.
    pub twin: Option<Levels>,
    /// A JPEG of a small picture, which then comes first, with the sensor's picture in a directory below.
    pub preview: Option<Vec<u8>>,
}

impl Negative {
    /// A mosaic of a picture's size with every level of its bits in play, uncompressed, in one strip.
    #[must_use]
    pub fn mosaic(width: usize, height: usize, bits: usize) -> Self {
        let top = u32::MAX >> (32 - bits);
        Self {
            width,
            height,
            channels: 1,
            bits,
            levels: Levels::Whole((0..width * height).map(|i| scattered(i) & top).collect()),
            meaning: Meaning::Mosaic(2, vec![0, 1, 1, 2]),
            order: Order::Little,
            cut: Cut::Strips(height),
            coding: Coding::Plain,
            planar: false,
            fields: (1, 1),
            block: (1, 1),
            tags: Vec::new(),
            twin: None,
            preview: None,
        }
    }

    /// The same in full colour.
    #[must_use]
    pub fn linear(width: usize, height: usize, bits: usize) -> Self {
        let mut negative = Self { channels: 3, meaning: Meaning::Linear, ..Self::mosaic(width, height, bits) };
        let top = u32::MAX >> (32 - bits);
        negative.levels = Levels::Whole((0..3 * width * height).map(|i| scattered(i) & top).collect());
        negative
    }

    /// The same with floating-point numbers from 0 to 1 that are exact in 16 bits already.
    #[must_use]
    pub fn floating(mut self, bits: usize) -> Self {
        let count = self.width * self.height * self.channels;
        self.levels = Levels::Float((0..count).map(|i| (scattered(i) & 0x3FF) as f32 / 1024.0).collect());
        self.bits = bits;
        self
    }

    /// The file's bytes.
    #[must_use]
    pub fn bytes(&self) -> Vec<u8> {
        let mut out = self.order.header();
        let (offsets, counts) = self.segments(&mut out);
        let mut tags = self.description(offsets, counts);
        let first = match &self.preview {
            None => {
                tags.extend(head());
                tags.extend(self.tags.clone());
                append(&mut out, self.order, &tags)
            }
            Some(jpeg) => {
                tags.extend(self.tags.clone());
                let below = append(&mut out, self.order, &tags);
                let at = out.len() as u32;
                out.extend(jpeg);
                let mut tags = head();
                tags.extend(small(jpeg, at));
                tags.push((330, Values::Longs(vec![below])));
                append(&mut out, self.order, &tags)
            }
        };
        out[4..8].copy_from_slice(&self.order.long(first));
        if let Some(levels) = &self.twin {
            let twin = Self { levels: levels.clone(), twin: None, ..self.clone() };
            let (offsets, counts) = twin.segments(&mut out);
            let second = append(&mut out, self.order, &twin.description(offsets, counts));
            link(&mut out, self.order, first, second);
        }
        out
    }

    /// The tags that every picture has.
    fn description(&self, offsets: Vec<u32>, counts: Vec<u32>) -> Vec<(u16, Values)> {
        let short = |v: usize| Values::Shorts(vec![v as u16]);
        let long = |v: usize| Values::Longs(vec![v as u32]);
        let number = match self.coding {
            Coding::Plain => 1,
            Coding::Deflate(_) => 8,
            Coding::Lossless(_) => 7,
            Coding::By(number, _) => usize::from(number),
        };
        let photometric = if self.meaning == Meaning::Linear { 34_892 } else { 32_803 };
        let mut tags = vec![
            (254, long(0)),
            (256, long(self.width)),
            (257, long(self.height)),
            (258, Values::Shorts(vec![self.bits as u16; self.channels])),
            (259, short(number)),
            (262, short(photometric)),
            (277, short(self.channels)),
            (284, short(if self.planar { 2 } else { 1 })),
        ];
        match self.cut {
            Cut::Strips(rows) => {
                tags.extend([(278, long(rows)), (273, Values::Longs(offsets)), (279, Values::Longs(counts))]);
            }
            Cut::Tiles(width, height) => tags.extend([
                (322, long(width)),
                (323, long(height)),
                (324, Values::Longs(offsets)),
                (325, Values::Longs(counts)),
            ]),
        }
        if let Coding::Deflate(predictor) = self.coding {
            tags.push((317, short(predictor.into())));
        }
        if matches!(self.levels, Levels::Float(_)) {
            tags.push((339, Values::Shorts(vec![3; self.channels])));
        }
        if let Meaning::Mosaic(side, colours) = &self.meaning {
            tags.push((33_421, Values::Shorts(vec![*side as u16; 2])));
            tags.push((33_422, Values::Bytes(colours.clone())));
        }
        if self.fields != (1, 1) {
            tags.extend([(50_975, short(self.fields.0)), (52_547, short(self.fields.1))]);
        }
        if self.block != (1, 1) {
            tags.push((50_974, Values::Shorts(vec![self.block.0 as u16, self.block.1 as u16])));
        }
        tags
    }

    /// Appends all strips or tiles; returns where they stand and how long they are.
    fn segments(&self, out: &mut Vec<u8>) -> (Vec<u32>, Vec<u32>) {
        let (width, height, tiled) = match self.cut {
            Cut::Strips(rows) => (self.width, rows, false),
            Cut::Tiles(width, height) => (width, height, true),
        };
        let (mut offsets, mut counts) = (Vec::new(), Vec::new());
        for plane in 0..if self.planar { self.channels } else { 1 } {
            for top in (0..self.height).step_by(height) {
                let rows = if tiled { height } else { height.min(self.height - top) };
                for left in (0..self.width).step_by(width) {
                    let bytes = self.segment((left, top), (width, rows), plane);
                    out.resize(out.len().next_multiple_of(2), 0);
                    offsets.push(out.len() as u32);
                    counts.push(bytes.len() as u32);
                    out.extend(bytes);
                }
            }
        }
        (offsets, counts)
    }

    /// The stored pixel whose channels begin at the index returned; those outside the picture repeat its edge.
    fn place(&self, x: usize, y: usize) -> usize {
        let field = |at: usize, count: usize, fields: usize| {
            if fields == 1 {
                return at;
            }
            (0..fields).flat_map(|f| (f..count).step_by(fields)).nth(at).unwrap_or(at)
        };
        let (x, y) = (x.min(self.width - 1), y.min(self.height - 1));
        let (x, y) = (field(x, self.width, self.fields.1), field(y, self.height, self.fields.0));
        (y * self.width + x) * self.channels
    }

    fn segment(&self, corner: (usize, usize), size: (usize, usize), plane: usize) -> Vec<u8> {
        let channels = if self.planar { plane..plane + 1 } else { 0..self.channels };
        let count = channels.len();
        let mut places = Vec::with_capacity(size.0 * size.1 * count);
        for i in 0..size.0 * size.1 {
            // Blocks stand one behind the other, each with its pixels row by row.
            let (block, inside) = (i / (self.block.0 * self.block.1), i % (self.block.0 * self.block.1));
            let across = size.0 / self.block.1;
            let x = block % across * self.block.1 + inside % self.block.1;
            let y = block / across * self.block.0 + inside / self.block.1;
            let first = self.place(corner.0 + x, corner.1 + y);
            places.extend(channels.clone().map(|c| first + c));
        }
        let row = size.0 * count;
        match &self.levels {
            Levels::Whole(levels) => {
                let samples: Vec<u32> = places.iter().map(|i| levels[*i]).collect();
                self.whole(&samples, row, count)
            }
            Levels::Float(levels) => {
                let patterns: Vec<u32> = places.iter().map(|i| pattern(levels[*i], self.bits)).collect();
                self.float(&patterns, row, count)
            }
        }
    }

    fn whole(&self, samples: &[u32], row: usize, count: usize) -> Vec<u8> {
        match self.coding {
            Coding::Plain => samples.chunks(row).flat_map(|r| packed(r, self.bits, self.order)).collect(),
            Coding::Lossless(how) => {
                let narrow: Vec<u16> = samples.iter().map(|v| *v as u16).collect();
                lossless::encode(&narrow, row, self.bits.max(2) as u32, how)
            }
            Coding::By(_, encode) => encode(Part { width: row / count, channels: count, samples }),
            Coding::Deflate(predictor) => {
                let apart = match predictor {
                    2 => count,
                    34_892 => 2 * count,
                    34_893 => 4 * count,
                    _ => row,
                };
                let top = u32::MAX >> (32 - self.bits);
                let differences = |r: &[u32]| -> Vec<u32> {
                    (0..row).map(|x| if x < apart { r[x] } else { r[x].wrapping_sub(r[x - apart]) & top }).collect()
                };
                deflated(samples.chunks(row).flat_map(|r| packed(&differences(r), self.bits, self.order)).collect())
            }
        }
    }

    fn float(&self, patterns: &[u32], row: usize, count: usize) -> Vec<u8> {
        let plain = || patterns.chunks(row).flat_map(|r| packed(r, self.bits, self.order));
        let apart = match self.coding {
            Coding::Deflate(3) => count,
            Coding::Deflate(34_894) => 2 * count,
            Coding::Deflate(34_895) => 4 * count,
            Coding::Deflate(_) => return deflated(plain().collect()),
            _ => return plain().collect(),
        };
        let width = self.bits / 8;
        let mut out = Vec::new();
        for r in patterns.chunks(row) {
            let bytes: Vec<u8> =
                (0..width).flat_map(|b| r.iter().map(move |v| (v >> (8 * (width - 1 - b))) as u8)).collect();
            let before = |x: usize| if x < apart { 0 } else { bytes[x - apart] };
            out.extend((0..bytes.len()).map(|x| bytes[x].wrapping_sub(before(x))));
        }
        deflated(out)
    }
}

/// Neighbours that have nothing to do with each other: the golden ratio's multiples, well mixed (Knuth, 6.4).
pub fn scattered(i: usize) -> u32 {
    let mixed = (i as u32).wrapping_mul(2_654_435_761);
    mixed ^ mixed >> 15
}

/// Tags of the first directory.
fn head() -> Vec<(u16, Values)> {
    let tenths = [10, 0, 0, 0, 10, 0, 0, 0, 10].map(|n| (n, 10)).to_vec();
    vec![
        (271, Values::Text("Example".into())),
        (272, Values::Text("Example N1".into())),
        (274, Values::Shorts(vec![1])),
        (50_706, Values::Bytes(vec![1, 7, 0, 0])),
        (50_707, Values::Bytes(vec![1, 1, 0, 0])),
        (50_708, Values::Text("Example N1".into())),
        (50_721, Values::SignedRatios(tenths)),
        (50_728, Values::Ratios(vec![(1, 2), (1, 1), (2, 3)])),
        (50_778, Values::Shorts(vec![21])),
    ]
}

/// Tags of a JPEG that stands in front of the picture; its size is in its frame header.
fn small(jpeg: &[u8], at: u32) -> Vec<(u16, Values)> {
    let frame = jpeg.windows(2).position(|w| w[0] == 0xFF && matches!(w[1], 0xC0 | 0xC2)).unwrap_or(0);
    let side = |i: usize| jpeg.get(frame + i..frame + i + 2).map_or(0, |b| u16::from_be_bytes([b[0], b[1]]));
    vec![
        (254, Values::Longs(vec![1])),
        (256, Values::Longs(vec![side(7).into()])),
        (257, Values::Longs(vec![side(5).into()])),
        (258, Values::Shorts(vec![8; 3])),
        (259, Values::Shorts(vec![7])),
        (262, Values::Shorts(vec![6])),
        (273, Values::Longs(vec![at])),
        (277, Values::Shorts(vec![3])),
        (278, Values::Longs(vec![side(5).into()])),
        (279, Values::Longs(vec![jpeg.len() as u32])),
    ]
}

/// A row's bytes: whole bytes in the file's order, other numbers of bits one behind the other.
fn packed(row: &[u32], bits: usize, order: Order) -> Vec<u8> {
    if bits.is_multiple_of(8) {
        let skip = 4 - bits / 8;
        return row
            .iter()
            .flat_map(|v| match order {
                Order::Little => v.to_le_bytes()[..4 - skip].to_vec(),
                Order::Big => v.to_be_bytes()[skip..].to_vec(),
            })
            .collect();
    }
    let mut out = vec![0_u8; (row.len() * bits).div_ceil(8)];
    for (i, v) in row.iter().enumerate() {
        for b in 0..bits {
            let at = i * bits + b;
            out[at / 8] |= ((v >> (bits - 1 - b) & 1) as u8) << (7 - at % 8);
        }
    }
    out
}

/// The pattern of a number from 0 to below 2 that 10 bits of mantissa hold exactly.
fn pattern(value: f32, bits: usize) -> u32 {
    let whole = value.to_bits();
    if bits == 32 || value == 0.0 {
        return if value == 0.0 { 0 } else { whole };
    }
    let (exponent_bits, mantissa_bits) = if bits == 16 { (5, 10) } else { (7, 16) };
    let exponent = (whole >> 23) as i32 - 127 + (1 << (exponent_bits - 1)) - 1;
    (exponent as u32) << mantissa_bits | (whole & 0x7F_FFFF) >> (23 - mantissa_bits)
}

fn deflated(bytes: Vec<u8>) -> Vec<u8> {
    miniz_oxide::deflate::compress_to_vec_zlib(&bytes, 6)
}
