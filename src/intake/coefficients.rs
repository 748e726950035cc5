//! Coefficients: passes the coded blocks of a JPEG's scan (ITU-T T.81, annexes C, F and G) and notes which of their
//! coefficients are not zero, without working out any.

use super::entropy::{Bits, Table};

/// What a scan brings (annex B.2.3).
#[derive(Clone, Copy)]
pub(super) struct Spectrum {
    /// First and last coefficient, in zigzag order.
    pub(super) first: usize,
    pub(super) last: usize,
    /// Bits that were missing before it, and that are missing after it.
    pub(super) high: u8,
    pub(super) low: u8,
}

impl Spectrum {
    /// All of every coefficient, as a sequential scan brings it.
    pub(super) const ALL: Self = Self { first: 0, last: 63, high: 0, low: 0 };
}

/// Huffman tables by class (DC, AC) and number.
pub(super) type Tables = [[Option<Box<Table>>; 4]; 2];

/// Reads the blocks of one scan.
pub(super) struct Reader<'a> {
    bits: Bits<'a>,
    /// Blocks to come without any coefficient of this scan's.
    run: u32,
    spectrum: Spectrum,
    progressive: bool,
    huffman: &'a Tables,
}

impl<'a> Reader<'a> {
    pub(super) const fn new(data: &'a [u8], spectrum: Spectrum, progressive: bool, huffman: &'a Tables) -> Self {
        Self { bits: Bits::new(data), run: 0, spectrum, progressive, huffman }
    }

    /// Passes the restart marker that ends the interval of this number.
    pub(super) fn restart(&mut self, number: usize) -> Option<()> {
        self.run = 0;
        self.bits.restart((number % 8) as u8)
    }

    /// Bytes of the scan that have been passed.
    pub(super) const fn passed(&self) -> usize {
        self.bits.passed()
    }

    /// Passes one block; `None` where it isn't there to its end. `mask` has a bit for each coefficient that is not zero.
    pub(super) fn block(&mut self, dc: usize, ac: usize, mask: &mut u64) -> Option<()> {
        let Spectrum { first, last, high, low: _ } = self.spectrum;
        if !self.progressive {
            self.dc(dc)?;
            return self.ac_first(ac, 1, 63, mask);
        }
        match (first, high) {
            (0, 0) => self.dc(dc),
            (0, _) => self.bits.take(1).map(|_| ()),
            (_, 0) => self.ac_first(ac, first, last, mask),
            _ => self.ac_again(ac, first, last, mask),
        }
    }

    fn dc(&mut self, table: usize) -> Option<()> {
        let size = self.bits.symbol(self.huffman[0][table].as_deref()?)?;
        self.bits.take(u32::from(size).min(16)).map(|_| ())
    }

    /// Coefficients for the first time (F.2.2.2, G.1.2.2).
    fn ac_first(&mut self, table: usize, first: usize, last: usize, mask: &mut u64) -> Option<()> {
        if self.run > 0 {
            self.run -= 1;
            return Some(());
        }
        let table = self.huffman[1][table].as_deref()?;
        let mut k = first;
        while k <= last {
            let symbol = self.bits.symbol(table)?;
            let (zeros, size) = (symbol >> 4, u32::from(symbol & 15));
            match (zeros, size) {
                (15, 0) => k += 16,
                (_, 0) => {
                    if self.progressive {
                        self.run = (1 << zeros) - 1 + self.bits.take(u32::from(zeros))?;
                    }
                    break;
                }
                _ => {
                    k += usize::from(zeros);
                    self.bits.take(size)?;
                    *mask |= 1_u64.checked_shl(k as u32).unwrap_or(0);
                    k += 1;
                }
            }
        }
        Some(())
    }

    /// One more bit of coefficients (G.1.2.3).
    fn ac_again(&mut self, table: usize, first: usize, last: usize, mask: &mut u64) -> Option<()> {
        let table = self.huffman[1][table].as_deref()?;
        let known = *mask;
        let mut k = first;
        if self.run == 0 {
            while k <= last {
                let symbol = self.bits.symbol(table)?;
                let (mut zeros, size) = (symbol >> 4, symbol & 15);
                if size == 0 && zeros < 15 {
                    self.run = (1 << zeros) + self.bits.take(u32::from(zeros))?;
                    break;
                }
                // The new coefficient's sign comes before the corrections of those passed.
                if size != 0 {
                    self.bits.take(1)?;
                }
                while k <= last {
                    if known >> k & 1 == 1 {
                        self.bits.take(1)?;
                    } else if zeros == 0 {
                        if size != 0 {
                            *mask |= 1 << k;
                        }
                        k += 1;
                        break;
                    } else {
                        zeros -= 1;
                    }
                    k += 1;
                }
            }
        }
        if self.run > 0 {
            self.run -= 1;
            let rest = (first..=last).filter(|&i| i >= k && known >> i & 1 == 1).count();
            for _ in 0..rest {
                self.bits.take(1)?;
            }
        }
        Some(())
    }
}
