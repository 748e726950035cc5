//! Scan: how far down a JPEG's picture is really coded, by walking its Huffman codes without decoding any pixel.
//!
//! Decoders fill what a cut file lacks with something, and some never tell. Here every block of the first component
//! (luma, or red) is counted in every scan that it needs, as ITU-T T.81 has it: annex F for sequential scans, annex G
//! for progressive ones.

use super::markers::next_marker;

/// Rows of the stored picture, from the top, whose first component is coded to the last bit; `None` where the file is of
/// a kind that is not walked here.
pub(super) fn coded_rows(bytes: &[u8]) -> Option<usize> {
    let mut walk = Walk::default();
    let mut at = 2;
    while let Some(marker) = next_marker(bytes, &mut at) {
        match marker {
            0xD9 | 0xD8 => break,
            0x01 | 0xD0..=0xD7 => continue,
            _ => {}
        }
        let length = usize::from(u16::from_be_bytes(bytes.get(at..at + 2)?.try_into().ok()?)).max(2);
        let Some(body) = bytes.get(at + 2..at + length) else { break };
        match marker {
            0xC0..=0xC2 if walk.frame.is_none() => walk.frame = Some(Frame::new(marker == 0xC2, body)?),
            0xC3 | 0xC5..=0xC7 | 0xC9..=0xCB | 0xCD..=0xCF => return None,
            0xC4 => walk.tables(body),
            0xDD => walk.interval = usize::from(u16::from_be_bytes(body.get(..2)?.try_into().ok()?)),
            0xDA => walk.scan(body, bytes.get(at + length..)?),
            _ => {}
        }
        at += length;
    }
    let frame = walk.frame?;
    Some(frame.complete().min(frame.height))
}

/// Most blocks of a component that are kept account of: those of 600 megapixels.
const MOST_BLOCKS: usize = 600_000_000 / 64;

#[derive(Default)]
struct Walk {
    frame: Option<Frame>,
    /// Huffman tables by class (DC, AC) and number.
    huffman: [[Option<Box<Table>>; 4]; 2],
    /// Units between restart markers; 0 for none.
    interval: usize,
}

/// A component of the frame.
struct Component {
    id: u8,
    h: usize,
    v: usize,
}

struct Frame {
    progressive: bool,
    width: usize,
    height: usize,
    components: Vec<Component>,
    /// Rows coded in the scans so far, for each coefficient of the first component: by bits still missing.
    coefficients: [Progress; 64],
    /// Coefficients that are not zero, a bit each, of the first component's blocks (padded to whole units).
    nonzero: Vec<u64>,
}

/// How far a coefficient has come.
#[derive(Clone, Copy)]
struct Progress {
    /// Bits that no scan has brought yet.
    missing: u8,
    /// Rows of pixels for which all its scans were there.
    rows: usize,
}

/// A Huffman table, indexed by the next 16 bits: length of the code and its symbol.
struct Table(Vec<(u8, u8)>);

impl Table {
    /// From the counts of codes of each length and the symbols (annex C).
    fn new(counts: &[u8], symbols: &[u8]) -> Self {
        let mut entries = vec![(0, 0); 1 << 16];
        let (mut code, mut symbol) = (0_usize, symbols.iter());
        for (length, &count) in (1_u8..).zip(counts) {
            for _ in 0..count {
                let span = 1 << (16 - length);
                let start = code << (16 - length);
                if let (Some(&s), Some(places)) = (symbol.next(), entries.get_mut(start..start + span)) {
                    places.fill((length, s));
                }
                code += 1;
            }
            code <<= 1;
        }
        Self(entries)
    }
}

impl Frame {
    fn new(progressive: bool, body: &[u8]) -> Option<Self> {
        let [precision, h1, h0, w1, w0, count, rest @ ..] = body else { return None };
        let (height, width) =
            (usize::from(u16::from_be_bytes([*h1, *h0])), usize::from(u16::from_be_bytes([*w1, *w0])));
        let components: Vec<Component> = rest
            .chunks_exact(3)
            .take(usize::from(*count))
            .map(|c| Component { id: c[0], h: usize::from(c[1] >> 4), v: usize::from(c[1] & 15) })
            .collect();
        let sound = *precision == 8
            && (1..=4).contains(&components.len())
            && components.iter().all(|c| (1..=4).contains(&c.h) && (1..=4).contains(&c.v))
            && width > 0
            && height > 0;
        // Nothing is there yet: as many bits as there can be are missing.
        let coefficients = [Progress { missing: u8::MAX, rows: usize::MAX }; 64];
        let mut frame = Self { progressive, width, height, components, coefficients, nonzero: Vec::new() };
        if !sound {
            return None;
        }
        if progressive {
            let (wide, high) = frame.units();
            let blocks = wide * high * frame.components[0].h * frame.components[0].v;
            if blocks > MOST_BLOCKS || frame.nonzero.try_reserve_exact(blocks).is_err() {
                return None;
            }
            frame.nonzero.resize(blocks, 0);
        }
        Some(frame)
    }

    fn largest(&self) -> (usize, usize) {
        let most = |of: fn(&Component) -> usize| self.components.iter().map(of).max().unwrap_or(1);
        (most(|c| c.h), most(|c| c.v))
    }

    /// Units (interleaved groups of blocks) across and down.
    fn units(&self) -> (usize, usize) {
        let (h, v) = self.largest();
        (self.width.div_ceil(8 * h), self.height.div_ceil(8 * v))
    }

    /// Blocks of a component across and down where it is in a scan by itself.
    fn blocks(&self, c: &Component) -> (usize, usize) {
        let (h, v) = self.largest();
        ((self.width * c.h).div_ceil(h).div_ceil(8), (self.height * c.v).div_ceil(v).div_ceil(8))
    }

    /// Rows of pixels that all scans of all coefficients have reached.
    fn complete(&self) -> usize {
        let there = |p: &Progress| if p.missing == 0 { p.rows } else { 0 };
        self.coefficients.iter().map(there).min().unwrap_or(0)
    }
}

/// What a scan brings (annex B.2.3).
#[derive(Clone, Copy)]
struct Spectrum {
    first: usize,
    last: usize,
    high: u8,
    low: u8,
}

impl Walk {
    fn tables(&mut self, mut body: &[u8]) {
        while let [class, rest @ ..] = body {
            let Some((counts, after)) = rest.split_at_checked(16) else { return };
            let total = counts.iter().map(|&c| usize::from(c)).sum();
            let Some((symbols, after)) = after.split_at_checked(total) else { return };
            self.huffman[usize::from(class >> 4 & 1)][usize::from(class & 3)] =
                Some(Box::new(Table::new(counts, symbols)));
            body = after;
        }
    }

    /// Walks a scan, if the first component is in it.
    fn scan(&mut self, head: &[u8], data: &[u8]) {
        let Some(frame) = self.frame.as_mut() else { return };
        let [count, rest @ ..] = head else { return };
        let Some((picks, [first, last, approximation, ..])) = rest.split_at_checked(2 * usize::from(*count)) else {
            return;
        };
        // Component by its place in the frame, DC table, AC table.
        let mut parts = Vec::new();
        for pick in picks.chunks_exact(2) {
            let Some(place) = frame.components.iter().position(|c| c.id == pick[0]) else { return };
            parts.push((place, usize::from(pick[1] >> 4 & 3), usize::from(pick[1] & 3)));
        }
        let Some(mine) = parts.iter().position(|p| p.0 == 0) else { return };
        let spectrum = if frame.progressive {
            let (first, last) = (usize::from(*first), usize::from(*last));
            Spectrum { first, last, high: approximation >> 4, low: approximation & 15 }
        } else {
            Spectrum { first: 0, last: 63, high: 0, low: 0 }
        };
        if spectrum.first > spectrum.last
            || spectrum.last > 63
            || frame.progressive && spectrum.first > 0 && parts.len() > 1
        {
            return;
        }
        let mut reader =
            Reader { bits: Bits::new(data), run: 0, spectrum, progressive: frame.progressive, huffman: &self.huffman };
        let alone = parts.len() == 1;
        let (across, down) = if alone { frame.blocks(&frame.components[0]) } else { frame.units() };
        let sampling: Vec<(usize, usize)> =
            parts.iter().map(|p| (frame.components[p.0].h, frame.components[p.0].v)).collect();
        // In memory the first component's blocks lie padded to whole units.
        let stride = frame.units().0 * frame.components[0].h;
        let mut nothing = 0;
        let mut done = 0;
        'units: for unit in 0..across * down {
            if self.interval > 0
                && unit > 0
                && unit % self.interval == 0
                && reader.restart(unit / self.interval - 1).is_none()
            {
                break;
            }
            let (x, y) = (unit % across, unit / across);
            for (k, part) in parts.iter().enumerate() {
                let (h, v) = if alone { (1, 1) } else { sampling[k] };
                for block in 0..h * v {
                    let place = (y * v + block / h) * stride + x * h + block % h;
                    let mask =
                        if k == mine { frame.nonzero.get_mut(place).unwrap_or(&mut nothing) } else { &mut nothing };
                    if reader.block(part.1, part.2, mask).is_none() {
                        break 'units;
                    }
                }
            }
            done = unit + 1;
        }
        let (_, v) = frame.largest();
        // A row of blocks stands for as many rows of pixels as the component is sampled more coarsely.
        let each = if alone { 8 * v / frame.components[0].v } else { 8 * v };
        let rows = if done == across * down { usize::MAX } else { done / across * each };
        for progress in &mut frame.coefficients[spectrum.first..=spectrum.last] {
            let expected = if spectrum.high == 0 { u8::MAX } else { spectrum.high };
            if progress.missing == expected {
                *progress = Progress { missing: spectrum.low, rows: progress.rows.min(rows) };
            }
        }
    }
}

struct Reader<'a> {
    bits: Bits<'a>,
    /// Blocks to come without any coefficient of this scan's.
    run: u32,
    spectrum: Spectrum,
    progressive: bool,
    huffman: &'a [[Option<Box<Table>>; 4]; 2],
}

impl Reader<'_> {
    /// Passes the restart marker that ends the interval of this number.
    fn restart(&mut self, number: usize) -> Option<()> {
        self.run = 0;
        self.bits.restart((number % 8) as u8)
    }

    /// Passes one block; `None` where it isn't there to its end. `mask` has a bit for each coefficient that is not zero.
    fn block(&mut self, dc: usize, ac: usize, mask: &mut u64) -> Option<()> {
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

/// Entropy-coded bits up to the next marker.
struct Bits<'a> {
    bytes: &'a [u8],
    at: usize,
    buffer: u64,
    have: u32,
}

impl<'a> Bits<'a> {
    const fn new(bytes: &'a [u8]) -> Self {
        Self { bytes, at: 0, buffer: 0, have: 0 }
    }

    fn fill(&mut self) {
        while self.have <= 48 {
            let Some(&byte) = self.bytes.get(self.at) else { return };
            if byte == 0xFF {
                // A stuffed zero is data; anything else is a marker, where the data ends.
                if self.bytes.get(self.at + 1) != Some(&0) {
                    return;
                }
                self.at += 1;
            }
            self.at += 1;
            self.buffer = self.buffer << 8 | u64::from(byte);
            self.have += 8;
        }
    }

    fn symbol(&mut self, table: &Table) -> Option<u8> {
        if self.have < 16 {
            self.fill();
        }
        let next = if self.have >= 16 { self.buffer >> (self.have - 16) } else { self.buffer << (16 - self.have) };
        let (length, symbol) = table.0[(next & 0xFFFF) as usize];
        if length == 0 || u32::from(length) > self.have {
            return None;
        }
        self.have -= u32::from(length);
        Some(symbol)
    }

    fn take(&mut self, count: u32) -> Option<u32> {
        if self.have < count {
            self.fill();
        }
        self.have = self.have.checked_sub(count)?;
        Some((self.buffer >> self.have & ((1 << count) - 1)) as u32)
    }

    /// Passes a restart marker of this number; `None` if another marker or none comes.
    fn restart(&mut self, number: u8) -> Option<()> {
        // What is left of the last byte is filling; whole bytes before the marker are none of a block's.
        (self.have, self.buffer) = (0, 0);
        while self.bytes.get(self.at) == Some(&0xFF) && self.bytes.get(self.at + 1) == Some(&0xFF) {
            self.at += 1;
        }
        let found = self.bytes.get(self.at..self.at + 2)?;
        (found == [0xFF, 0xD0 + number]).then_some(())?;
        self.at += 2;
        Some(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fixture(name: &str) -> Vec<u8> {
        std::fs::read(format!("{}/fixtures/jpeg/{name}", env!("CARGO_MANIFEST_DIR"))).unwrap()
    }

    fn height(bytes: &[u8]) -> usize {
        super::super::jpeg::Headers::scan(bytes).size().1
    }

    #[test]
    fn whole_files_are_coded_to_the_last_row() {
        for name in ["baseline.jpg", "cmyk.jpg", "grey.jpg", "progressive.jpg", "restart.jpg"] {
            let bytes = fixture(name);
            assert_eq!(coded_rows(&bytes), Some(height(&bytes)), "{name}");
        }
    }

    /// Cut in the scan and ended properly: rows grow with the bytes kept, and never pass for whole.
    #[test]
    fn a_cut_file_is_coded_as_far_as_it_goes() {
        for name in ["baseline.jpg", "grey.jpg", "restart.jpg", "progressive.jpg"] {
            let bytes = fixture(name);
            let start = bytes.windows(2).position(|w| w == [0xFF, 0xDA]).unwrap() + 16;
            let mut last = 0;
            for cut in (start..bytes.len() - 8).step_by(((bytes.len() - start) / 40).max(1)) {
                let mut half = bytes[..cut].to_vec();
                half.extend([0xFF, 0xD9]);
                let rows = coded_rows(&half).unwrap();
                assert!(rows >= last && rows < height(&bytes), "{name} cut to {cut}: {rows} after {last}");
                last = rows;
            }
            assert!(name == "progressive.jpg" || last * 10 > height(&bytes) * 4, "{name}: {last}");
        }
    }
}
