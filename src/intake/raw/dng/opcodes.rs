//! Opcodes: what a DNG asks readers to do to its samples (DNG 1.7, chapter 7): curves are applied, moves are named.

use super::tags::{Directory, tag, unsigned};

/// A curve over an area of samples, from and to the range 0 to 1.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Curve {
    /// Top, left, bottom, right.
    area: [usize; 4],
    /// First channel and how many.
    planes: (usize, usize),
    /// Rows and columns from one sample to the next.
    pitch: (usize, usize),
    shape: Shape,
}

#[derive(Clone, Debug, PartialEq)]
enum Shape {
    /// Values for the numbers 0 to 65535, the last one for all above.
    Table(Vec<f32>),
    /// Coefficients, the constant first.
    Polynomial(Vec<f64>),
}

impl Curve {
    /// Whether it changes the sample at a place of a channel.
    pub(super) fn covers(&self, x: usize, y: usize, channel: usize) -> bool {
        let [top, left, bottom, right] = self.area;
        (top..bottom).contains(&y)
            && (left..right).contains(&x)
            && (y - top).is_multiple_of(self.pitch.0)
            && (x - left).is_multiple_of(self.pitch.1)
            && (self.planes.0..self.planes.0 + self.planes.1).contains(&channel)
    }

    /// Whether it is for the whole of a picture, or for each second row or column of it.
    pub(super) fn spans(&self, width: usize, height: usize) -> bool {
        let [top, left, bottom, right] = self.area;
        top < 2 && left < 2 && bottom + 2 > height && right + 2 > width && self.pitch.0 <= 2 && self.pitch.1 <= 2
    }

    /// Its value, kept within 0 and 1.
    pub(super) fn at(&self, v: f64) -> f64 {
        let value = match &self.shape {
            Shape::Table(table) => {
                let index = (v.clamp(0.0, 1.0) * 65535.0).round() as usize;
                f64::from(table[index.min(table.len() - 1)])
            }
            Shape::Polynomial(coefficients) => coefficients.iter().rev().fold(0.0, |sum, c| sum * v + c),
        };
        value.clamp(0.0, 1.0)
    }
}

/// What the lists of a directory ask for.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Opcodes {
    /// Curves on samples as stored.
    pub first: Vec<Curve>,
    /// Curves on samples from black to white.
    pub second: Vec<Curve>,
    /// Whether pixels are to be moved: a correction of distortion or lateral colour.
    pub moves: bool,
}

impl Opcodes {
    /// Reads the three lists; what can't be read is left out.
    pub(super) fn of(directory: &Directory) -> Self {
        let mut found = Self::default();
        for (list, number) in [(tag::OPCODE_LIST_1, 1), (tag::OPCODE_LIST_2, 2), (tag::OPCODE_LIST_3, 3)] {
            for (kind, data) in directory.raw(list).map(codes).unwrap_or_default() {
                match (kind, number) {
                    // WarpRectilinear, WarpFisheye, WarpRectilinear2.
                    (1 | 2 | 14, _) => found.moves = true,
                    (7 | 8, 1) => found.first.extend(curve(kind, data)),
                    (7 | 8, 2) => found.second.extend(curve(kind, data)),
                    _ => {}
                }
            }
        }
        found
    }
}

/// Identifier and data of each opcode in a list; numbers are big-endian whatever the file's order.
fn codes(list: &[u8]) -> Vec<(u32, &[u8])> {
    let word = |at: usize| list.get(at..at + 4).map(|b| unsigned(b, false) as u32);
    let mut found = Vec::new();
    let mut at = 4;
    for _ in 0..word(0).unwrap_or(0).min(1000) {
        let (Some(kind), Some(length)) = (word(at), word(at + 12)) else { break };
        let Some(data) = list.get(at + 16..(at + 16).saturating_add(length as usize)) else { break };
        found.push((kind, data));
        at += 16 + data.len();
    }
    found
}

/// MapTable (7) or MapPolynomial (8).
fn curve(kind: u32, data: &[u8]) -> Option<Curve> {
    let word = |i: usize| data.get(4 * i..4 * i + 4).map(|b| unsigned(b, false) as usize);
    let area = [word(0)?, word(1)?, word(2)?, word(3)?];
    let (planes, pitch, count) = ((word(4)?, word(5)?), (word(6)?.max(1), word(7)?.max(1)), word(8)?);
    let rest = &data[36..];
    let shape = if kind == 7 {
        let table: Vec<f32> =
            rest.chunks_exact(2).take(count).map(|b| f32::from(u16::from_be_bytes([b[0], b[1]])) / 65535.0).collect();
        if table.is_empty() {
            return None;
        }
        Shape::Table(table)
    } else {
        let coefficients: Vec<f64> =
            rest.chunks_exact(8).take(count.min(8) + 1).map(|b| f64::from_bits(unsigned(b, false))).collect();
        if coefficients.is_empty() || !coefficients.iter().all(|c| c.is_finite()) {
            return None;
        }
        Shape::Polynomial(coefficients)
    };
    Some(Curve { area, planes, pitch, shape })
}
