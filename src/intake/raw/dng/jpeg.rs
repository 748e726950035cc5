//! JPEG as raw files hold it: lossless (ITU-T T.81, process 14), and the 8- and 12-bit kinds that lose.

use zune_core::bytestream::ZCursor;
use zune_core::colorspace::ColorSpace;
use zune_core::options::DecoderOptions;
use zune_jpeg::JpegDecoder;

use super::super::sensor::Refused;
use super::bits::{Bits, Huffman, intervals};
use super::dct;

/// Samples of a JPEG, its components side by side.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Samples {
    /// Samples a row: width times components.
    pub row: usize,
    /// Row-major samples.
    pub data: Vec<u16>,
}

/// A component of a frame.
#[derive(Clone, Copy, Debug)]
pub(super) struct Component {
    identifier: u8,
    sampling: u8,
    /// Number of its quantisation table.
    pub quantisation: usize,
    /// Numbers of its Huffman tables for differences (or mean values) and for the other coefficients.
    pub tables: (usize, usize),
}

/// What stands before the entropy-coded data of a JPEG with one scan.
#[derive(Default)]
pub(super) struct Head {
    /// Second byte of the start-of-frame marker.
    frame: u8,
    pub precision: u32,
    pub width: usize,
    pub height: usize,
    pub components: Vec<Component>,
    /// Huffman tables of class 0, then of class 1.
    pub huffman: [Option<Huffman>; 8],
    /// Quantisation tables in zigzag order.
    pub quantisation: [Option<[u16; 64]>; 4],
    /// Units between restart markers; 0 for none.
    pub restart: usize,
    predictor: u8,
    shift: u32,
    /// Where the entropy-coded data begin.
    start: usize,
}

fn broken(why: &str) -> Refused {
    Refused::Broken(why.into())
}

fn unknown(why: &str) -> Refused {
    Refused::Unknown(why.into())
}

/// Decodes a segment. `old` says that codes of 16 bits carry them along, as in DNG before 1.1.
pub(super) fn decode(bytes: &[u8], old: bool) -> Result<Samples, Refused> {
    let head = Head::parse(bytes)?;
    match (head.frame, head.precision) {
        (0xC3, 2..=16) => lossless(&head, &bytes[head.start..], old),
        (0xC0 | 0xC1, 12) => dct::decode(&head, &bytes[head.start..]),
        (0xC0..=0xC2, 8) => eight(bytes, &head),
        _ => Err(unknown("a kind of JPEG compression that is not read here")),
    }
}

impl Head {
    /// Walks the markers up to the first scan (T.81, annex B).
    fn parse(bytes: &[u8]) -> Result<Self, Refused> {
        let mut head = Self::default();
        if !bytes.starts_with(&[0xFF, 0xD8]) {
            return Err(broken("a part of its compressed data is missing"));
        }
        let mut at = 2;
        loop {
            let short = || broken("its compressed data end early");
            while *bytes.get(at).ok_or_else(short)? != 0xFF || *bytes.get(at + 1).ok_or_else(short)? == 0xFF {
                at += 1;
            }
            let marker = bytes[at + 1];
            at += 2;
            if matches!(marker, 0 | 0x01 | 0xD0..=0xD8) {
                continue;
            }
            let length = bytes.get(at..at + 2).map(|b| usize::from(u16::from_be_bytes([b[0], b[1]])));
            let body = length.filter(|n| *n >= 2).and_then(|n| bytes.get(at + 2..at + n)).ok_or_else(short)?;
            at += body.len() + 2;
            match marker {
                0xC4 => head.huffman_tables(body)?,
                0xC0..=0xCF if !matches!(marker, 0xC8 | 0xCC) => head.frame(marker, body)?,
                0xDB => head.quantisation_tables(body)?,
                0xDD => head.restart = body.get(..2).map_or(0, |b| usize::from(u16::from_be_bytes([b[0], b[1]]))),
                0xDA => {
                    head.scan(body)?;
                    head.start = at;
                    return Ok(head);
                }
                _ => {}
            }
        }
    }

    fn frame(&mut self, marker: u8, body: &[u8]) -> Result<(), Refused> {
        let short = || broken("its compressed data have no sound head");
        let fixed = body.get(..6).ok_or_else(short)?;
        self.frame = marker;
        self.precision = u32::from(fixed[0]);
        self.height = usize::from(u16::from_be_bytes([fixed[1], fixed[2]]));
        self.width = usize::from(u16::from_be_bytes([fixed[3], fixed[4]]));
        let list = body.get(6..6 + 3 * usize::from(fixed[5])).ok_or_else(short)?;
        self.components = list
            .chunks_exact(3)
            .map(|c| Component {
                identifier: c[0],
                sampling: c[1],
                quantisation: usize::from(c[2] & 3),
                tables: (0, 0),
            })
            .collect();
        let sound = self.width > 0 && self.height > 0 && (1..=4).contains(&self.components.len());
        if sound { Ok(()) } else { Err(short()) }
    }

    fn huffman_tables(&mut self, mut body: &[u8]) -> Result<(), Refused> {
        while body.len() > 16 {
            let (place, counts) = (usize::from(body[0] >> 4 & 1) * 4 + usize::from(body[0] & 3), &body[1..17]);
            let size = counts.iter().map(|n| usize::from(*n)).sum::<usize>();
            let values = body.get(17..17 + size).ok_or_else(|| broken("a code table makes no sense"))?;
            self.huffman[place] = Some(Huffman::new(counts, values)?);
            body = &body[17 + size..];
        }
        Ok(())
    }

    fn quantisation_tables(&mut self, mut body: &[u8]) -> Result<(), Refused> {
        while let Some((first, rest)) = body.split_first() {
            let wide = usize::from(first >> 4 & 1);
            let values = rest.get(..64 << wide).ok_or_else(|| broken("its compressed data have no sound head"))?;
            let step = |i: usize| match wide {
                1 => u16::from_be_bytes([values[2 * i], values[2 * i + 1]]),
                _ => u16::from(values[i]),
            };
            self.quantisation[usize::from(first & 3)] = Some(std::array::from_fn(step));
            body = &rest[64 << wide..];
        }
        Ok(())
    }

    fn scan(&mut self, body: &[u8]) -> Result<(), Refused> {
        let count = usize::from(body.first().copied().unwrap_or(0));
        let last = body.get(1 + 2 * count..4 + 2 * count);
        let (true, Some(last)) = (count == self.components.len() && count > 0, last) else {
            return Err(broken("its compressed data have no sound head"));
        };
        for pair in body[1..].chunks_exact(2).take(count) {
            // Some writers number components wrongly; then their order counts.
            let place = self.components.iter().position(|c| c.identifier == pair[0]);
            let order = body[1..].chunks_exact(2).position(|p| p == pair).unwrap_or(0);
            let tables = (usize::from(pair[1] >> 4 & 3), usize::from(pair[1] & 3));
            self.components[place.unwrap_or(order)].tables = tables;
        }
        (self.predictor, self.shift) = (last[0], u32::from(last[2] & 15));
        Ok(())
    }

    /// Refuses frames that claim more samples than their data could hold at one bit each.
    pub(super) fn samples(&self, length: usize) -> Result<usize, Refused> {
        let samples = self.width * self.height * self.components.len();
        if samples > length.saturating_mul(64 * 8) {
            return Err(broken("its compressed data end early"));
        }
        Ok(samples)
    }
}

/// Lossless JPEG: each sample is foretold from its neighbours, and what that misses is coded (T.81, annex H).
fn lossless(head: &Head, data: &[u8], old: bool) -> Result<Samples, Refused> {
    if head.components.iter().any(|c| c.sampling != 0x11) {
        return Err(unknown("lossless JPEG compression with colour at half size"));
    }
    if !(1..=7).contains(&head.predictor) || head.shift >= head.precision {
        return Err(unknown("a kind of lossless JPEG compression that is not in the standard"));
    }
    let tables: Option<Vec<&Huffman>> = head.components.iter().map(|c| head.huffman[c.tables.0].as_ref()).collect();
    let tables = tables.ok_or_else(|| broken("a code table is missing"))?;
    let row = head.width * tables.len();
    // Every code takes at least one bit.
    if head.width * head.height * tables.len() > data.len().saturating_mul(8) {
        return Err(broken("its compressed data end early"));
    }
    let mut out = vec![0_u16; row * head.height];
    let rows_apart = if head.restart > 0 { head.restart.div_ceil(head.width) } else { head.height };
    let mut parts = intervals(data).into_iter();
    for piece in out.chunks_mut(row * rows_apart) {
        let part = parts.next().ok_or_else(|| broken("its compressed data end early"))?;
        let mut bits = Bits::new(&part);
        predicted(head, &tables, old, &mut bits, piece)?;
        if bits.overrun() {
            return Err(broken("its compressed data end early"));
        }
    }
    if head.shift > 0 {
        out.iter_mut().for_each(|v| *v <<= head.shift);
    }
    Ok(Samples { row, data: out })
}

/// Decodes the rows of a restart interval.
fn predicted(head: &Head, tables: &[&Huffman], old: bool, bits: &mut Bits, out: &mut [u16]) -> Result<(), Refused> {
    let count = tables.len();
    let row = head.width * count;
    let start = 1_u16 << (head.precision - head.shift - 1);
    let mut difference = |table: &Huffman| -> Result<u16, Refused> {
        let size = u32::from(table.decode(bits)?);
        Ok(match size {
            0..=15 => bits.signed(size) as u16,
            // Half the range, of which no bits follow.
            16 => {
                if old {
                    bits.signed(16);
                }
                0x8000
            }
            _ => return Err(broken("its compressed data hold a code that does not exist")),
        })
    };
    for y in 0..out.len() / row {
        let (above, here) = out[y.saturating_sub(1) * row..].split_at_mut(if y > 0 { row } else { 0 });
        let here = &mut here[..row];
        for (c, table) in tables.iter().enumerate() {
            let foretold = if y > 0 { above[c] } else { start };
            here[c] = foretold.wrapping_add(difference(table)?);
        }
        if y == 0 || head.predictor == 1 {
            for x in (count..row).step_by(count) {
                for (c, table) in tables.iter().enumerate() {
                    here[x + c] = here[x + c - count].wrapping_add(difference(table)?);
                }
            }
            continue;
        }
        for x in (count..row).step_by(count) {
            for (c, table) in tables.iter().enumerate() {
                let at = x + c;
                let (a, b, c) = (i32::from(here[at - count]), i32::from(above[at]), i32::from(above[at - count]));
                // T.81, table H.1.
                let foretold = match head.predictor {
                    2 => b,
                    3 => c,
                    4 => a + b - c,
                    5 => a + ((b - c) >> 1),
                    6 => b + ((a - c) >> 1),
                    _ => (a + b) >> 1,
                };
                here[at] = (foretold as u16).wrapping_add(difference(table)?);
            }
        }
    }
    Ok(())
}

/// Eight-bit JPEG, grey or colour, by zune-jpeg; its codes are not scaled.
fn eight(bytes: &[u8], head: &Head) -> Result<Samples, Refused> {
    let colour = match head.components.len() {
        1 => ColorSpace::Luma,
        3 => ColorSpace::RGB,
        _ => return Err(unknown("lossy JPEG compression of neither one nor three colours")),
    };
    head.samples(bytes.len())?;
    let options = DecoderOptions::default().set_strict_mode(true).jpeg_set_out_colorspace(colour);
    let options = options.set_max_width(usize::from(u16::MAX)).set_max_height(usize::from(u16::MAX));
    let pixels = JpegDecoder::new_with_options(ZCursor::new(bytes), options).decode();
    let pixels = pixels.map_err(|_| broken("its compressed data are damaged"))?;
    Ok(Samples { row: head.width * head.components.len(), data: pixels.into_iter().map(u16::from).collect() })
}
