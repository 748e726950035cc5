//! Bits: reading of entropy-coded JPEG data (ITU-T T.81): unstuffed bytes, Huffman codes, signed differences.

use super::super::sensor::Refused;

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
    #[inline]
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
        let value = self.take(n) as i32;
        if n > 0 && value < 1 << (n - 1) { value - (1 << n) + 1 } else { value }
    }

    /// Whether more bits were taken than there are.
    pub(super) const fn overrun(&self) -> bool {
        self.at * 8 > self.bytes.len() * 8 + self.count as usize
    }
}

/// Bits that are decoded by one look-up.
const QUICK: u32 = 11;

/// A Huffman table (T.81, annex C and F.2.2.3).
#[derive(Clone)]
pub(super) struct Huffman {
    /// Length and value of the code that each pattern of the next bits begins with; length 0 for longer codes.
    quick: Vec<(u8, u8)>,
    /// Behind the largest code of each length, left-aligned to 16 bits; and the value index of its first code.
    limits: [(u32, usize, u32); 17],
    values: Vec<u8>,
}

impl Huffman {
    /// From the number of codes of each length 1 to 16, and their values in order.
    pub(super) fn new(counts: &[u8], values: &[u8]) -> Result<Self, Refused> {
        let broken = || Refused::Broken("a code table makes no sense".into());
        let mut quick = vec![(0, 0); 1 << QUICK];
        let mut limits = [(0, 0, 0); 17];
        let (mut code, mut index) = (0_u32, 0_usize);
        for length in 1..=16_u32 {
            let first = (index, code);
            for _ in 0..*counts.get(length as usize - 1).ok_or_else(broken)? {
                let value = *values.get(index).ok_or_else(broken)?;
                if code >= 1 << length {
                    return Err(broken());
                }
                if length <= QUICK {
                    let from = (code << (QUICK - length)) as usize;
                    quick[from..from + (1 << (QUICK - length))].fill((length as u8, value));
                }
                (code, index) = (code + 1, index + 1);
            }
            limits[length as usize] = (code << (16 - length), first.0, first.1);
            code <<= 1;
        }
        Ok(Self { quick, limits, values: values[..index].to_vec() })
    }

    /// The value of the next code.
    #[inline]
    pub(super) fn decode(&self, bits: &mut Bits) -> Result<u8, Refused> {
        let next = bits.peek(16);
        let (length, value) = self.quick[(next >> (16 - QUICK)) as usize];
        if length > 0 {
            bits.skip(u32::from(length));
            return Ok(value);
        }
        self.long(next, bits)
    }

    #[cold]
    fn long(&self, next: u32, bits: &mut Bits) -> Result<u8, Refused> {
        for length in QUICK + 1..=16 {
            let (limit, index, first) = self.limits[length as usize];
            if next < limit {
                let value = index + ((next >> (16 - length)) - first) as usize;
                bits.skip(length);
                return self.values.get(value).copied().ok_or_else(no_code);
            }
        }
        Err(no_code())
    }
}

fn no_code() -> Refused {
    Refused::Broken("its compressed data hold a code that does not exist".into())
}
