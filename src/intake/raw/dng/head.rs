//! What stands before the entropy-coded data of a JPEG in a raw file (ITU-T T.81, annex B).

use super::super::sensor::Refused;
use super::bits::Huffman;

/// Samples of a JPEG, its components side by side.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Samples {
    /// Samples a row: width times components.
    pub row: usize,
    pub components: usize,
    /// Row-major samples.
    pub data: Vec<u16>,
}

/// A component of a frame.
#[derive(Clone, Copy, Debug)]
pub(super) struct Component {
    identifier: u8,
    pub sampling: u8,
    /// Number of its quantisation table.
    pub quantisation: usize,
    /// Numbers of its Huffman tables for differences (or mean values) and for the other coefficients.
    pub tables: (usize, usize),
}

/// What stands before the entropy-coded data of a JPEG with one scan.
#[derive(Default)]
pub(super) struct Head {
    /// Second byte of the start-of-frame marker.
    pub frame: u8,
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
    pub predictor: u8,
    pub shift: u32,
    /// Where the entropy-coded data begin.
    pub start: usize,
}

pub(super) fn broken(why: &str) -> Refused {
    Refused::Broken(why.into())
}

pub(super) fn unknown(why: &str) -> Refused {
    Refused::Unknown(why.into())
}

impl Head {
    /// Walks the markers up to the first scan (T.81, annex B).
    pub(super) fn parse(bytes: &[u8]) -> Result<Self, Refused> {
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
