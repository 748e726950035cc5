//! Bits: reading of entropy-coded JPEG data (ITU-T T.81): unstuffed bytes, codes, signed differences.

use super::super::sensor::Refused;
pub(super) use crate::intake::entropy::Table as Codes;
use crate::intake::entropy::{Kind, extended};

/// Entropy-coded data without stuffed bytes, one part for each restart interval (T.81, B.1.1.5 and F.1.2.3).
pub(super) fn intervals(data: &[u8]) -> Vec<Vec<u8>> {
    let mut parts = Vec::new();
    let mut part = Vec::with_capacity(data.len());
    let mut rest = data;
    while let Some(at) = memchr::memchr(0xFF, rest) {
        part.extend_from_slice(&rest[..at]);
        match rest.get(at + 1) {
            Some(0) => part.push(0xFF),
            Some(0xD0..=0xD7) => parts.push(std::mem::take(&mut part)),
            // Fill bytes may stand before a marker.
            Some(0xFF) => {
                rest = &rest[at + 1..];
                continue;
            }
            // Any other marker, or the end, ends the scan.
            _ => {
                parts.push(part);
                return parts;
            }
        }
        rest = &rest[at + 2..];
    }
    part.extend_from_slice(rest);
    parts.push(part);
    parts
}

/// Reads bits, most significant first; behind the end there are zeros, which [`Bits::overrun`] tells.
pub(super) struct Bits<'a> {
    bytes: &'a [u8],
    at: usize,
    held: u64,
    count: u32,
}

impl<'a> Bits<'a> {
    pub(super) const fn new(bytes: &'a [u8]) -> Self {
        Self { bytes, at: 0, held: 0, count: 0 }
    }

    /// Makes at least 32 bits ready.
    #[inline(always)]
    fn fill(&mut self) {
        if self.count >= 32 {
            return;
        }
        if let Some(four) = self.bytes.get(self.at..self.at + 4) {
            let word = u32::from_be_bytes([four[0], four[1], four[2], four[3]]);
            self.held |= u64::from(word) << (32 - self.count);
            self.at += 4;
            self.count += 32;
            return;
        }
        while self.count < 32 {
            let byte = self.bytes.get(self.at).copied().unwrap_or(0);
            self.held |= u64::from(byte) << (56 - self.count);
            self.at += 1;
            self.count += 8;
        }
    }

    /// The next `n` bits without taking them, `n` from 1 to 32.
    #[inline]
    fn peek(&mut self, n: u32) -> u32 {
        self.fill();
        (self.held >> (64 - n)) as u32
    }

    #[inline]
    const fn skip(&mut self, n: u32) {
        self.held <<= n;
        self.count -= n;
    }

    /// The next `n` bits, `n` from 0 to 16.
    #[inline]
    pub(super) fn take(&mut self, n: u32) -> u32 {
        if n == 0 {
            return 0;
        }
        let value = self.peek(n);
        self.skip(n);
        value
    }

    /// A number of `n` bits that is negative where its first bit is 0 (T.81, F.2.2.1, EXTEND).
    #[inline]
    pub(super) fn signed(&mut self, n: u32) -> i32 {
        extended(self.take(n), n)
    }

    /// Whether more bits were taken than there are.
    pub(super) const fn overrun(&self) -> bool {
        self.at * 8 > self.bytes.len() * 8 + self.count as usize
    }

    /// Whole bytes that were not taken.
    pub(super) const fn left(&self) -> usize {
        self.bytes.len().saturating_sub(self.at.saturating_sub(self.count as usize / 8))
    }

    /// What the next code stands for; `None` where there is no such code.
    #[inline(always)]
    pub(super) fn code(&mut self, codes: &Codes) -> Option<u8> {
        let (length, symbol) = codes.look(self.peek(16))?.bare();
        self.skip(length);
        Some(symbol)
    }

    /// The same, where a code that does not exist is what is wrong with the file.
    #[inline]
    pub(super) fn symbol(&mut self, codes: &Codes) -> Result<u8, Refused> {
        self.code(codes).ok_or_else(no_code)
    }
}

/// That data hold a code that does not exist.
pub(super) fn no_code() -> Refused {
    Refused::Broken("its compressed data hold a code that does not exist".into())
}

/// Codes from how many there are of each length, and what they stand for in order.
pub(super) fn codes(counts: &[u8; 16], symbols: &[u8]) -> Result<Codes, Refused> {
    Codes::new(counts, symbols, Kind::Bare).ok_or_else(|| Refused::Broken("a code table makes no sense".into()))
}
