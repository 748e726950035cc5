//! Entropy-coded data of JPEG (ITU-T T.81, annexes C and F): Huffman tables, and the bits of 8-bit pictures.

use super::markers::next_marker;

/// Bits by which a code is looked up at once.
const QUICK: u32 = 11;
/// A run that stands for the end of a block.
pub(super) const END: u8 = 64;

/// A code and, where both fit into the quick bits, the number behind it; all in one number, so that it is fetched at once and kept in
/// a register.
#[derive(Clone, Copy, Default)]
pub(super) struct Entry(u32);

impl Entry {
    /// A code's length, the zeros before the coefficient or [`END`], the bits of the number behind it, and for a bare table what the code
    /// stands for.
    const fn new(length: u32, run: u8, size: u8, value: u8) -> Self {
        Self((value as u32) << 16 | (run as u32) << 9 | (size as u32) << 5 | length)
    }

    /// The same with the number behind it.
    const fn whole(self, number: i32) -> Self {
        Self((number as u32) << 16 | (self.run() as u32) << 9 | (self.taken() + self.size()))
    }

    /// Bits of the code and of the number that is in it; 0 where the code is longer than the quick bits, or there is none.
    const fn taken(self) -> u32 {
        self.0 & 31
    }

    /// Bits of the number that are still to be read.
    pub(super) const fn size(self) -> u32 {
        self.0 >> 5 & 15
    }

    /// Zeros before the coefficient, or [`END`].
    pub(super) const fn run(self) -> u8 {
        (self.0 >> 9 & 127) as u8
    }

    const fn value(self) -> i32 {
        self.0.cast_signed() >> 16
    }

    /// Bits of the code and what a bare table has for it.
    pub(super) const fn bare(self) -> (u32, u8) {
        (self.taken(), self.value() as u8)
    }
}

/// A Huffman table (annex C).
#[derive(Clone)]
pub(super) struct Table {
    quick: Box<[Entry; 1 << QUICK]>,
    /// For each length the first 16 bits beyond its codes, and what added to a code gives its symbol's place.
    limits: [u32; 17],
    places: [i32; 17],
    symbols: Vec<u8>,
    kind: Kind,
}

/// What the symbols of a table stand for.
#[derive(Clone, Copy, Default)]
pub(super) enum Kind {
    /// Sizes of the numbers behind them: differences of means.
    Means,
    /// Zeros before a coefficient and its size, in a sequential scan.
    Others,
    /// Whatever its reader makes of them.
    #[default]
    Bare,
}

impl Table {
    /// From the numbers of codes of each length and their symbols; `None` where they make no sense.
    pub(super) fn new(counts: &[u8; 16], symbols: &[u8], kind: Kind) -> Option<Self> {
        let quick = vec![Entry::default(); 1 << QUICK].into_boxed_slice().try_into().ok()?;
        let mut table = Self { quick, limits: [0; 17], places: [0; 17], symbols: symbols.to_vec(), kind };
        let (mut code, mut place) = (0_u32, 0_i32);
        for length in 1..=16_u32 {
            let count = u32::from(counts[length as usize - 1]);
            table.places[length as usize] = place - code as i32;
            for _ in 0..count {
                if length <= QUICK {
                    table.enter(code, length, *symbols.get(place as usize)?)?;
                }
                code += 1;
                place += 1;
            }
            (code <= 1 << length).then_some(())?;
            table.limits[length as usize] = code << (16 - length);
            code <<= 1;
        }
        Some(table)
    }

    /// What a symbol says, before the number behind it is read.
    fn entry(&self, symbol: u8, length: u32) -> Option<Entry> {
        let (run, size, value) = match (self.kind, symbol >> 4, symbol & 15) {
            (Kind::Bare, ..) => (0, 0, symbol),
            (Kind::Means, 0, size @ 0..=11) => (0, size, 0),
            (Kind::Others, 0, 0) => (END, 0, 0),
            (Kind::Others, 15, 0) => (15, 0, 0),
            (Kind::Others, run, size @ 1..=10) => (run, size, 0),
            _ => return None,
        };
        Some(Entry::new(length, run, size, value))
    }

    fn enter(&mut self, code: u32, length: u32, symbol: u8) -> Option<()> {
        let entry = self.entry(symbol, length)?;
        let free = QUICK - length;
        let size = entry.size();
        for rest in 0..1_u32 << free {
            let fits = (1..=free).contains(&size);
            let entry = if fits { entry.whole(extended(rest >> (free - size), size)) } else { entry };
            *self.quick.get_mut((code << free | rest) as usize)? = entry;
        }
        Some(())
    }

    /// The entry of the code that these 16 bits begin with.
    #[inline(always)]
    pub(super) fn look(&self, next: u32) -> Option<Entry> {
        let entry = *self.quick.get((next >> (16 - QUICK)) as usize)?;
        if entry.taken() == 0 { self.long(next) } else { Some(entry) }
    }

    /// The entry of a code that is longer than the quick bits.
    #[cold]
    fn long(&self, next: u32) -> Option<Entry> {
        let length = (QUICK as usize + 1..=16).find(|&l| next < self.limits[l])?;
        let place = (next >> (16 - length)) as i32 + self.places[length];
        self.entry(*self.symbols.get(usize::try_from(place).ok()?)?, length as u32)
    }
}

/// A number from its bits (F.2.2.1): those of negative ones are counted from the other end.
#[inline(always)]
pub(super) const fn extended(bits: u32, size: u32) -> i32 {
    if size == 0 || bits >> (size - 1) == 1 { bits as i32 } else { bits as i32 - (1 << size) + 1 }
}

/// Entropy-coded bits up to the next marker, the next in the highest place.
///
/// What is rarely done to them is done to a copy: of what no call gets hold of, all is kept in registers.
#[derive(Clone, Copy)]
pub(super) struct Bits<'a> {
    bytes: &'a [u8],
    at: usize,
    buffer: u64,
    /// Below zero where more was taken than there is.
    pub(super) have: i32,
}

impl<'a> Bits<'a> {
    pub(super) const fn new(bytes: &'a [u8]) -> Self {
        Self { bytes, at: 0, buffer: 0, have: 0 }
    }

    /// Makes sure of 32 bits, if there are as many.
    #[inline(always)]
    fn fill(&mut self) {
        if self.have >= 32 {
            return;
        }
        if let Some(&next) = self.bytes.get(self.at..).and_then(|b| b.first_chunk::<8>())
            && self.have >= 0
        {
            let next = u64::from_be_bytes(next);
            // Without a byte of ones there is neither a marker nor stuffing in them.
            let ones = !next;
            if ones.wrapping_sub(0x0101_0101_0101_0101) & next & 0x8080_8080_8080_8080 == 0 {
                self.buffer |= next >> self.have;
                let taken = (63 - self.have) >> 3;
                self.at += taken as usize;
                self.have += 8 * taken;
                return;
            }
        }
        *self = self.filled();
    }

    /// The same with all the bits there is room for, byte by byte.
    #[cold]
    fn filled(mut self) -> Self {
        while (0..=48).contains(&self.have) {
            let Some(&byte) = self.bytes.get(self.at) else { return self };
            if byte == 0xFF {
                if self.bytes.get(self.at + 1) != Some(&0) {
                    return self;
                }
                self.at += 1;
            }
            self.at += 1;
            self.buffer |= u64::from(byte) << (56 - self.have);
            self.have += 8;
        }
        self
    }

    #[inline(always)]
    pub(super) fn skip(&mut self, count: u32) {
        self.buffer <<= count;
        self.have -= count as i32;
    }

    #[inline(always)]
    pub(super) fn entry(&mut self, table: &Table) -> Option<Entry> {
        self.fill();
        let entry = table.look((self.buffer >> 48) as u32)?;
        self.skip(entry.taken());
        Some(entry)
    }

    /// The number of an entry.
    #[inline(always)]
    pub(super) fn number(&mut self, entry: Entry) -> i32 {
        let size = entry.size();
        if size == 0 {
            return entry.value();
        }
        let bits = (self.buffer >> (64 - size)) as u32;
        self.skip(size);
        extended(bits, size)
    }

    /// Bytes that have been passed; where some were stuffed, fewer by as many as wait to be taken.
    pub(super) const fn passed(&self) -> usize {
        let waiting = if self.have > 0 { self.have as usize / 8 } else { 0 };
        self.at.saturating_sub(waiting)
    }

    /// The symbol of the next code of a bare table; `None` where there is none.
    pub(super) fn symbol(&mut self, table: &Table) -> Option<u8> {
        let entry = self.entry(table)?;
        (self.have >= 0).then_some(entry.bare().1)
    }

    /// The next bits, 16 at the most; `None` where there are fewer.
    pub(super) fn take(&mut self, count: u32) -> Option<u32> {
        self.fill();
        let bits = (self.buffer >> 32 >> (32 - count)) as u32;
        self.skip(count);
        (self.have >= 0).then_some(bits)
    }

    /// Passes the restart marker of this number; `None` where another or none comes. What is left of the data before it is
    /// filling.
    pub(super) fn restart(&mut self, number: u8) -> Option<()> {
        while self.bytes.get(self.at..self.at + 2) == Some(&[0xFF, 0xFF]) {
            self.at += 1;
        }
        (self.bytes.get(self.at..self.at + 2)? == [0xFF, 0xD0 + number]).then_some(())?;
        (self.buffer, self.have, self.at) = (0, 0, self.at + 2);
        Some(())
    }

    /// The marker behind the data, of which nothing but filling may be left.
    #[inline(always)]
    pub(super) fn marker(&mut self) -> Option<u8> {
        *self = self.filled();
        (0..8).contains(&self.have).then_some(())?;
        (self.bytes.get(self.at) == Some(&0xFF)).then_some(())?;
        let mut at = self.at;
        let marker = next_marker(self.bytes, &mut at)?;
        (self.buffer, self.have, self.at) = (0, 0, at);
        Some(marker)
    }
}
