//! Scan: how far down a JPEG's picture is really coded, by walking its Huffman codes without decoding any pixel.
//!
//! Decoders fill what a cut file lacks with something, and some never tell. Here every block of the first component
//! (luma, or red) is counted in every scan that it needs, as ITU-T T.81 has it: annex F for sequential scans, annex G
//! for progressive ones. Zeros that a copy or a card filled in are codes, too; blocks made of them don't count, nor do those
//! behind them, which lie elsewhere than they should.

use super::coefficients::{Reader, Spectrum, Tables};
use super::entropy::{Kind, Table};
use super::markers::{
    Component, FrameHeader, Pick, Segment, code_tables, data_end, filled, hole, scan_header, segments, word,
};

/// Rows of the stored picture, from the top, whose first component is coded to the last bit; `None` where the file is of
/// a kind that is not walked here.
pub(super) fn coded_rows(bytes: &[u8]) -> Option<usize> {
    let mut walk = Walk::default();
    for Segment { marker, body, end } in segments(bytes) {
        match marker {
            0xD9 => break,
            0xC0..=0xC2 if walk.frame.is_none() => walk.frame = Some(Frame::new(marker == 0xC2, body)?),
            0xC3 | 0xC5..=0xC7 | 0xC9..=0xCB | 0xCD..=0xCF => return None,
            0xC4 => walk.tables(body),
            0xDD => walk.interval = word(body)?,
            0xDA => walk.scan(body, bytes.get(end..hole(bytes, end..data_end(bytes, end)).unwrap_or(bytes.len()))?),
            _ => {}
        }
    }
    let frame = walk.frame?;
    Some(frame.complete().min(frame.height))
}

/// Where the first hole in the coded data is.
pub(super) fn first_hole(bytes: &[u8]) -> Option<usize> {
    let scans = segments(bytes).take_while(|s| s.marker != 0xD9).filter(|s| s.marker == 0xDA);
    scans.into_iter().find_map(|s| hole(bytes, s.end..data_end(bytes, s.end)))
}

/// Most blocks of a component that are kept account of: those of 600 megapixels.
const MOST_BLOCKS: usize = 600_000_000 / 64;

#[derive(Default)]
struct Walk {
    frame: Option<Frame>,
    huffman: Tables,
    /// Units between restart markers; 0 for none.
    interval: usize,
}

/// A component in a scan: its place in the frame, and the numbers of its tables.
struct Part {
    component: usize,
    dc: usize,
    ac: usize,
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

impl Frame {
    fn new(progressive: bool, body: &[u8]) -> Option<Self> {
        let FrameHeader { precision, width, height, components } = FrameHeader::of(body)?;
        let sound = precision == 8
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

    /// What a scan's header says: the components in it, and what of them it brings; `None` where it makes no sense.
    fn parts(&self, head: &[u8]) -> Option<(Vec<Part>, Spectrum)> {
        let (picks, [first, last, approximation]) = scan_header(head)?;
        let part = |Pick { id, dc, ac }: Pick| {
            let component = self.components.iter().position(|c| c.id == id)?;
            Some(Part { component, dc, ac })
        };
        let parts: Vec<Part> = picks.into_iter().map(part).collect::<Option<_>>()?;
        if !self.progressive {
            return Some((parts, Spectrum::ALL));
        }
        let (first, last) = (usize::from(first), usize::from(last));
        let sound = first <= last && last <= 63 && (first == 0 || parts.len() == 1);
        sound.then_some((parts, Spectrum { first, last, high: approximation >> 4, low: approximation & 15 }))
    }

    /// Takes note that a scan brought its part of the first component down to this row.
    fn reached(&mut self, spectrum: Spectrum, rows: usize) {
        for progress in &mut self.coefficients[spectrum.first..=spectrum.last] {
            let expected = if spectrum.high == 0 { u8::MAX } else { spectrum.high };
            if progress.missing == expected {
                *progress = Progress { missing: spectrum.low, rows: progress.rows.min(rows) };
            }
        }
    }

    /// Rows of pixels that all scans of all coefficients have reached.
    fn complete(&self) -> usize {
        let there = |p: &Progress| if p.missing == 0 { p.rows } else { 0 };
        self.coefficients.iter().map(there).min().unwrap_or(0)
    }
}

impl Walk {
    fn tables(&mut self, body: &[u8]) {
        for table in code_tables(body).flatten() {
            let codes = Table::new(table.counts, table.symbols, Kind::Bare);
            self.huffman[table.class & 1][table.number & 3] = codes.map(Box::new);
        }
    }

    /// Walks a scan, if the first component is in it.
    fn scan(&mut self, head: &[u8], data: &[u8]) {
        let Some(frame) = self.frame.as_mut() else { return };
        let Some((parts, spectrum)) = frame.parts(head) else { return };
        let Some(mine) = parts.iter().position(|p| p.component == 0) else { return };
        let alone = parts.len() == 1;
        let (across, down) = if alone { frame.blocks(&frame.components[0]) } else { frame.units() };
        let sampling: Vec<(usize, usize)> = parts
            .iter()
            .map(|p| &frame.components[p.component])
            .map(|c| if alone { (1, 1) } else { (c.h, c.v) })
            .collect();
        // In memory the first component's blocks lie padded to whole units.
        let stride = frame.units().0 * frame.components[0].h;
        let data = &data[..data_end(data, 0)];
        let real = data.len() - filled(data);
        let mut reader = Reader::new(data, spectrum, frame.progressive, &self.huffman);
        let mut nothing = 0;
        let (mut done, mut sound) = (0, 0);
        'units: for unit in 0..across * down {
            let due = self.interval > 0 && unit > 0 && unit % self.interval == 0;
            if due && reader.restart(unit / self.interval - 1).is_none() {
                break;
            }
            let (x, y) = (unit % across, unit / across);
            for (k, (part, &(h, v))) in parts.iter().zip(&sampling).enumerate() {
                for block in 0..h * v {
                    let place = (y * v + block / h) * stride + x * h + block % h;
                    let mask =
                        if k == mine { frame.nonzero.get_mut(place).unwrap_or(&mut nothing) } else { &mut nothing };
                    if reader.block(part.dc, part.ac, mask).is_none() {
                        break 'units;
                    }
                }
            }
            done = unit + 1;
            if reader.passed() <= real {
                sound = done;
            }
        }
        // Flat ground may be coded in nothing but zeros, but then these end with the picture.
        if done < across * down || reader.passed() < data.len() {
            done = sound;
        }
        let (_, v) = frame.largest();
        // A row of blocks stands for as many rows of pixels as the component is sampled more coarsely.
        let each = if alone { 8 * v / frame.components[0].v } else { 8 * v };
        frame.reached(spectrum, if done == across * down { usize::MAX } else { done / across * each });
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fixture(name: &str) -> Vec<u8> {
        std::fs::read(format!("{}/fixtures/jpeg/{name}", env!("CARGO_MANIFEST_DIR"))).unwrap()
    }

    fn height(bytes: &[u8]) -> usize {
        super::super::headers::Headers::scan(bytes).size().1
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
