//! TIFF and the raw formats built on it (CR2, NEF, ARW, DNG, PEF, SRW, ORF, RW2), and Fujifilm's RAF.

use super::{Allowance, Contents, Source, be16, be32, jpeg};
use crate::intake::crop::Crop;
use crate::intake::ifd::{Block, Ifd, first_directory};

/// Reads to try, each larger than the last: the head of a raw file holds its directories, but some files
/// put them, or a long maker note, farther back.
const HEADS: [usize; 3] = [1 << 20, 1 << 23, 1 << 26];

const SUB_IFDS: u16 = 0x14a;
const XMP: u16 = 0x2bc;
const DNG_VERSION: u16 = 0xc612;

/// Reads the directories.
pub(super) fn contents(source: &mut impl Source, allowance: &mut Allowance) -> Contents {
    let length = source.length();
    let mut found = Contents::default();
    let head = source.piece(0, 16);
    // CR2 has its name after the header; RW2 and ORF have magic numbers of their own.
    let canon = head.get(8..10) == Some(b"CR");
    let other = !matches!(head.get(2..4), Some([42 | 43, 0] | [0, 42 | 43]));
    for (i, &size) in HEADS.iter().enumerate() {
        let bytes = behind(source, &head, length).unwrap_or_else(|| source.piece(0, size));
        let whole = bytes.len() as u64 >= length || i + 1 == HEADS.len();
        let Some(block) = Block::parse(bytes) else { return found };
        if block.partial && !whole && !enough(&block) {
            continue;
        }
        found = of_block(block, allowance);
        break;
    }
    found.raw |= canon || other;
    if canon {
        // The sensor picture's directory states no size; the first one is a preview's.
        found.size = None;
    }
    found
}

/// For a file whose first directory stands behind its pixels, as many editors write TIFF: the whole file, or
/// where that is very long a block of its length in which all but both ends is zero, which the system need
/// not back with memory.
fn behind(source: &mut impl Source, head: &[u8], length: u64) -> Option<Vec<u8>> {
    const WHOLE: usize = 1 << 28;
    const LONGEST: u64 = 1 << 31;
    const AROUND: usize = 1 << 20;
    let offset = first_directory(head)?;
    if offset < HEADS[0] || offset as u64 >= length || length > LONGEST {
        return None;
    }
    let size = usize::try_from(length).ok()?;
    if size <= WHOLE {
        return Some(source.piece(0, size));
    }
    let mut block = vec![0; size];
    for (start, size) in [(0, AROUND), (offset - AROUND, 4 * AROUND)] {
        let piece = source.piece(start as u64, size.min(block.len() - start));
        block[start..start + piece.len()].copy_from_slice(&piece);
    }
    Some(block)
}

/// Whether the head held all that matters although something was cut off.
fn enough(block: &Block<'_>) -> bool {
    block.first().has(0x10f) && block.exif().has(0x829a) && block.exif().has(0x927c)
}

fn of_block(block: Block<'static>, allowance: &mut Allowance) -> Contents {
    let mut found = Contents::default();
    if let Some(packet) = block.first().bytes(XMP) {
        let packet = packet[..packet.len().min(allowance.left())].to_vec();
        allowance.spend(packet.len());
        allowance.keep(packet, &mut found.xmp);
    }
    // Panasonic keeps sensor borders in its own tags and the full Exif in an embedded JPEG.
    let first = block.first();
    if let (Some(top), Some(left), Some(bottom), Some(right)) =
        (first.whole(4), first.whole(5), first.whole(6), first.whole(7))
        && !first.has(0x100)
    {
        found.size = right.checked_sub(left).zip(bottom.checked_sub(top)).filter(|&(w, h)| w > 0 && h > 0);
    } else {
        let (best, raw) = largest(&block);
        (found.size, found.raw, found.shown) = (best.size, raw, best.shown);
        found.directory = best.start.filter(|at| Some(*at) != block.start(0)).and_then(|at| u32::try_from(at).ok());
        found.orientation = best.orientation.filter(|_| !raw);
    }
    found.raw |= first.has(DNG_VERSION);
    if let Some((bytes, _)) = first.undefined(0x2e) {
        let inner = jpeg::contents(&mut std::io::Cursor::new(bytes), 0, allowance);
        if inner.main.is_some() {
            found.xmp.extend(inner.xmp);
            found.main = inner.main;
            // The orientation in the outer directory is the one raw decoders use; both agree in practice.
            return found;
        }
    }
    found.main = Some(block);
    found
}

/// A directory's picture.
#[derive(Default)]
struct Picture {
    size: Option<(u32, u32)>,
    start: Option<usize>,
    orientation: Option<u16>,
    shown: Option<Crop>,
}

impl Picture {
    fn area(&self) -> u64 {
        self.size.map_or(0, |(w, h)| u64::from(w) * u64::from(h))
    }
}

/// The largest full-resolution picture among the directories, and whether any is sensor data.
fn largest(block: &Block<'_>) -> (Picture, bool) {
    let (mut best, mut raw) = (Picture::default(), false);
    let mut consider = |ifd: Ifd<'_>, start: Option<usize>| {
        // Bit 0 of NewSubfileType marks a reduced picture, bit 2 a mask.
        if ifd.whole(0xfe).is_some_and(|kind| kind & 0b101 != 0) {
            return;
        }
        // Photometric interpretations: colour filter array, linear raw.
        raw |= matches!(ifd.whole(0x106), Some(32_803 | 34_892));
        let stored = ifd.whole(0x100).zip(ifd.whole(0x101)).filter(|&(w, h)| w > 0 && h > 0);
        // DNG's DefaultCropSize and ARW's SonyRawImageSize leave out the sensor's border.
        let cropped = [0xc620, 0x7038].into_iter().find_map(|tag| match ifd.numbers(tag)[..] {
            [w, h] if w >= 1.0 && h >= 1.0 && w < 1e6 && h < 1e6 => Some((w as u32, h as u32)),
            _ => None,
        });
        let size = match (stored, cropped) {
            (Some((w, h)), Some((cw, ch))) if cw <= w && ch <= h => Some((cw, ch)),
            (stored, _) => stored,
        };
        let orientation = ifd.whole(0x112).and_then(|o| u16::try_from(o).ok()).filter(|o| (1..=8).contains(o));
        // DefaultUserCrop.
        let shown = Crop::of(&ifd.numbers(0xc7b5));
        let here = Picture { size, start, orientation, shown };
        if here.area() > best.area() {
            best = here;
        }
    };
    for number in 0..4 {
        consider(block.nth(number), block.start(number));
    }
    for offset in block.first().numbers(SUB_IFDS).into_iter().take(8) {
        let offset = offset as usize;
        if let Some(sub) = block.directory(offset) {
            consider(sub.first(), Some(offset));
        }
    }
    (best, raw)
}

/// Fujifilm's RAF: a JPEG with the full Exif at the offset in bytes 84 to 87, sizes in a list of records.
pub(super) fn raf(source: &mut impl Source, allowance: &mut Allowance) -> Contents {
    let head = source.piece(0, 108);
    let Some(start) = be32(&head, 84) else { return Contents::default() };
    let mut found = jpeg::contents(source, start.into(), allowance);
    found.size = be32(&head, 92).and_then(|at| raf_size(source, at.into())).or(found.size);
    found
}

/// The cropped raw size out of RAF's records: a count, then tag, length and big-endian data for each.
fn raf_size(source: &mut impl Source, start: u64) -> Option<(u32, u32)> {
    let records = source.piece(start, 1 << 16);
    let count = be32(&records, 0)?;
    let mut at = 4;
    for _ in 0..count.min(256) {
        let tag = be16(&records, at)?;
        let length = usize::from(be16(&records, at + 2)?);
        if tag == 0x111 && length >= 4 {
            let (height, width) = (be16(&records, at + 4)?, be16(&records, at + 6)?);
            return (width > 0 && height > 0).then(|| (width.into(), height.into()));
        }
        at += 4 + length;
    }
    None
}

/// Minolta's MRW: named blocks, of which one is a TIFF block and one states the size.
pub(super) fn mrw(source: &mut impl Source, allowance: &mut Allowance) -> Contents {
    let mut found = Contents::default();
    let mut at = 8_u64;
    for _ in 0..16 {
        let head = source.piece(at, 8);
        let (Some(name), Some(length)) = (head.get(..4), be32(&head, 4)) else { break };
        match name {
            b"\0PRD" => {
                let bytes = source.piece(at + 8, 24);
                let (height, width) = (be16(&bytes, 12), be16(&bytes, 14));
                found.size = width.zip(height).filter(|&(w, h)| w > 0 && h > 0).map(|(w, h)| (w.into(), h.into()));
            }
            b"\0TTW" => found.main = Block::parse(allowance.piece(source, at + 8, length as usize)),
            b"\0WBG" | b"\0RIF" | b"\0PAD" => {}
            _ => break,
        }
        at += 8 + u64::from(length);
    }
    found
}
