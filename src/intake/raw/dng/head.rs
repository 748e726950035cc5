//! What stands before the entropy-coded data of a JPEG in a raw file (ITU-T T.81, annex B).

use super::super::sensor::Refused;
use super::bits::{Codes, codes};
use crate::intake::markers::{
    CodeTable, Component, FrameHeader, Segment, code_tables, scan_header, segments, step_tables, word,
};

/// Samples of a JPEG, its components side by side.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Samples {
    /// Samples a row: width times components.
    pub row: usize,
    pub components: usize,
    /// Row-major samples.
    pub data: Vec<u16>,
}

/// A component: its blocks a unit across and down, and the numbers of its tables.
#[derive(Clone, Copy, Debug)]
pub(super) struct Part {
    id: u8,
    pub sampling: (usize, usize),
    /// Of its steps.
    pub steps: usize,
    /// Of its codes for differences (or mean values) and for the other coefficients.
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
    pub parts: Vec<Part>,
    /// Code tables by class and number.
    pub huffman: [[Option<Codes>; 4]; 2],
    /// Tables of steps in zigzag order.
    pub steps: [Option<[u16; 64]>; 4],
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

fn unsound() -> Refused {
    broken("its compressed data have no sound head")
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
        for Segment { marker, body, end } in segments(bytes) {
            match marker {
                0xC4 => head.code_tables(body)?,
                0xC0..=0xCF if !matches!(marker, 0xC8 | 0xCC) => head.frame(marker, body)?,
                0xDB => head.step_tables(body)?,
                0xDD => head.restart = word(body).unwrap_or(0),
                0xDA => {
                    head.scan(body)?;
                    head.start = end;
                    return Ok(head);
                }
                0xD9 => break,
                _ => {}
            }
        }
        Err(broken("its compressed data end early"))
    }

    fn frame(&mut self, marker: u8, body: &[u8]) -> Result<(), Refused> {
        let FrameHeader { precision, width, height, components } = FrameHeader::of(body).ok_or_else(unsound)?;
        (self.frame, self.precision, self.width, self.height) = (marker, u32::from(precision), width, height);
        let part = |c: Component| Part { id: c.id, sampling: (c.h, c.v), steps: c.steps, tables: (0, 0) };
        self.parts = components.into_iter().map(part).collect();
        let sound = width > 0 && height > 0 && (1..=4).contains(&self.parts.len());
        if sound { Ok(()) } else { Err(unsound()) }
    }

    fn code_tables(&mut self, body: &[u8]) -> Result<(), Refused> {
        for table in code_tables(body) {
            let Some(CodeTable { class, number, counts, symbols }) = table else {
                return Err(broken("a code table makes no sense"));
            };
            self.huffman[class & 1][number & 3] = Some(codes(counts, symbols)?);
        }
        Ok(())
    }

    fn step_tables(&mut self, body: &[u8]) -> Result<(), Refused> {
        for table in step_tables(body) {
            let (number, steps) = table.ok_or_else(unsound)?;
            self.steps[number & 3] = Some(steps);
        }
        Ok(())
    }

    fn scan(&mut self, body: &[u8]) -> Result<(), Refused> {
        let (picks, [predictor, _, shift]) =
            scan_header(body).filter(|(picks, _)| picks.len() == self.parts.len()).ok_or_else(unsound)?;
        for (order, pick) in picks.into_iter().enumerate() {
            // Some writers number components wrongly; then their order counts.
            let place = self.parts.iter().position(|p| p.id == pick.id);
            self.parts[place.unwrap_or(order)].tables = (pick.dc, pick.ac);
        }
        (self.predictor, self.shift) = (predictor, u32::from(shift & 15));
        Ok(())
    }

    /// Refuses frames that claim more samples than their data could hold at one bit each.
    pub(super) fn samples(&self, length: usize) -> Result<usize, Refused> {
        let samples = self.width * self.height * self.parts.len();
        if samples > length.saturating_mul(64 * 8) {
            return Err(broken("its compressed data end early"));
        }
        Ok(samples)
    }
}
