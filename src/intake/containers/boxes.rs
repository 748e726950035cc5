//! ISO base media files: HEIF (HEIC, AVIF) items, and the TIFF blocks in Canon's CR3.

use super::{Allowance, Contents, Source, be16, be32};
use crate::intake::ifd::Block;
use crate::intake::turn::Turn;

/// Most bytes of an extent of metadata that are read.
const MOST: usize = 1 << 24;
const MOST_BOXES: usize = 4096;

const CANON: [u8; 16] =
    [0x85, 0xc0, 0xb6, 0x87, 0x82, 0x0f, 0x11, 0xe0, 0x81, 0x11, 0xf4, 0xce, 0x46, 0x2b, 0x6a, 0x48];
const ADOBE_XMP: [u8; 16] =
    [0xbe, 0x7a, 0xcf, 0xcb, 0x97, 0xa9, 0x42, 0xe8, 0x9c, 0x71, 0x99, 0x94, 0x91, 0xe3, 0xaf, 0xac];

/// Boxes inside a slice: name and body each; stops at the first that makes no sense.
fn boxes(bytes: &[u8]) -> impl Iterator<Item = (&[u8], &[u8])> {
    let mut at = 0;
    std::iter::from_fn(move || {
        let size = be32(bytes, at)? as usize;
        let name = bytes.get(at + 4..at + 8)?;
        let (head, size) = match size {
            0 => (8, bytes.len() - at),
            1 => (16, usize::try_from(u64::from(be32(bytes, at + 8)?) << 32 | u64::from(be32(bytes, at + 12)?)).ok()?),
            _ => (8, size),
        };
        if size < head {
            return None;
        }
        let end = at.checked_add(size)?.min(bytes.len());
        let body = bytes.get(at + head..end)?;
        at = end;
        Some((name, body))
    })
    .take(MOST_BOXES)
}

fn child<'a>(bytes: &'a [u8], name: &[u8]) -> Option<&'a [u8]> {
    boxes(bytes).find(|(n, _)| *n == name).map(|(_, body)| body)
}

/// The file-level boxes of interest, one after another, each up to as many bytes as are wanted of it; media data is skipped,
/// not read.
pub(super) fn top_level(
    source: &mut impl Source,
    allowance: &mut Allowance,
    wanted: impl Fn(&[u8]) -> Option<usize>,
    mut take: impl FnMut(&[u8], Vec<u8>, &mut Allowance),
) {
    let mut at = 0_u64;
    for _ in 0..MOST_BOXES {
        let head = source.piece(at, 16);
        let (Some(size), Some(name)) = (be32(&head, 0), head.get(4..8).and_then(|n| n.try_into().ok())) else { break };
        let name: [u8; 4] = name;
        let (header, size) = match size {
            0 => (8, u64::MAX - at),
            1 => match (be32(&head, 8), be32(&head, 12)) {
                (Some(high), Some(low)) => (16, u64::from(high) << 32 | u64::from(low)),
                _ => break,
            },
            n => (8, n.into()),
        };
        if size < header {
            break;
        }
        if let Some(most) = wanted(&name) {
            let body = usize::try_from(size - header).unwrap_or(usize::MAX).min(most);
            let body = allowance.piece(source, at + header, body);
            take(&name, body, allowance);
        }
        let Some(next) = at.checked_add(size) else { break };
        at = next;
    }
}

/// Canon's CR3: main directory, Exif directory and maker note each in a block of its own.
pub(super) fn cr3(source: &mut impl Source, allowance: &mut Allowance) -> Contents {
    let mut found = Contents::default();
    let wanted = |name: &[u8]| matches!(name, b"moov" | b"uuid").then_some(usize::MAX);
    top_level(source, allowance, wanted, |name, body, allowance| match name {
        b"moov" => {
            let canon = boxes(&body).filter(|(n, _)| *n == b"uuid").find_map(|(_, b)| b.strip_prefix(&CANON));
            for (part, block) in canon.into_iter().flat_map(boxes) {
                match part {
                    b"CMT1" => found.main = Block::parse(block.to_vec()),
                    b"CMT2" => found.exif = Block::parse(block.to_vec()),
                    b"CMT3" => found.maker = Block::parse(block.to_vec()),
                    _ => {}
                }
            }
        }
        _ => {
            if let Some(packet) = body.strip_prefix(&ADOBE_XMP) {
                allowance.keep(packet.to_vec(), &mut found.xmp);
            }
        }
    });
    found.size = found
        .main
        .as_ref()
        .and_then(|m| m.first().whole(0x100).zip(m.first().whole(0x101)))
        .filter(|&(w, h)| w > 0 && h > 0);
    found
}

/// The box that describes a file's items.
fn meta(source: &mut impl Source, allowance: &mut Allowance) -> Option<Vec<u8>> {
    let mut found = None;
    top_level(
        source,
        allowance,
        |n| (n == b"meta").then_some(usize::MAX),
        |_, body, _| {
            found.get_or_insert(body);
        },
    );
    found
}

/// HEIF: the Exif item, XMP items, the primary picture's size and turn.
pub(super) fn heif(source: &mut impl Source, allowance: &mut Allowance) -> Contents {
    let mut found = Contents::default();
    let Some(meta) = meta(source, allowance) else { return found };
    // A full box: four bytes of version and flags before the children.
    let meta = meta.get(4..).unwrap_or_default();
    let items = child(meta, b"iinf").map(items).unwrap_or_default();
    let places = child(meta, b"iloc").and_then(places).unwrap_or_default();
    let data = child(meta, b"idat").unwrap_or_default();
    for (id, kind) in items {
        if !matches!(&kind, b"Exif" | b"mime") {
            continue;
        }
        let Some(place) = places.iter().find(|p| p.id == id) else { continue };
        let bytes = place.read(source, data, MOST, allowance.left().min(2 * MOST));
        allowance.spend(bytes.len());
        if &kind == b"Exif" {
            // The payload opens with the distance to the TIFF header.
            let skip = be32(&bytes, 0).map_or(usize::MAX, |n| (n as usize).saturating_add(4));
            found.main = found.main.or_else(|| Block::parse(bytes.get(skip..)?.to_vec()));
        } else if bytes.windows(10).take(4096).any(|w| w == b"<x:xmpmeta" || w == b"<?xpacket ") {
            allowance.keep(bytes, &mut found.xmp);
        }
    }
    if let Some((size, aperture, turn)) = primary(meta) {
        found.size = aperture.map(|a| (a.width as u32, a.height as u32)).or(size);
        // HEIF readers ignore the Exif orientation.
        found.orientation = Some(turn.exif());
    }
    found
}

/// Identifier and type of each item.
fn items(iinf: &[u8]) -> Vec<(u32, [u8; 4])> {
    let start = if iinf.first() == Some(&0) { 6 } else { 8 };
    boxes(iinf.get(start..).unwrap_or_default())
        .filter(|(name, _)| *name == b"infe")
        .filter_map(|(_, body)| {
            let (id, at) = match body.first()? {
                2 => (be16(body, 4)?.into(), 8),
                3 => (be32(body, 4)?, 10),
                _ => return None,
            };
            Some((id, body.get(at..at + 4)?.try_into().ok()?))
        })
        .collect()
}

/// Where an item's bytes are.
struct Place {
    id: u32,
    in_meta: bool,
    extents: Vec<(u64, u64)>,
}

impl Place {
    /// The bytes, `extent_most` of each extent and `most` in all at the most.
    fn read(&self, source: &mut impl Source, data: &[u8], extent_most: usize, most: usize) -> Vec<u8> {
        let mut bytes = Vec::new();
        for &(offset, length) in &self.extents {
            let length = if length == 0 { extent_most } else { usize::try_from(length).unwrap_or(usize::MAX) };
            let length = length.min(extent_most).min(most - bytes.len());
            if length == 0 {
                break;
            }
            if self.in_meta {
                let start = usize::try_from(offset).unwrap_or(usize::MAX).min(data.len());
                bytes.extend_from_slice(&data[start..start.saturating_add(length).min(data.len())]);
            } else {
                bytes.extend(source.piece(offset, length));
            }
        }
        bytes
    }
}

fn places(iloc: &[u8]) -> Option<Vec<Place>> {
    let version = *iloc.first()?;
    let sizes = be16(iloc, 4)?;
    let nibble = |shift: u16| usize::from(sizes >> shift & 0xf);
    let (offset_size, length_size, base_size) = (nibble(12), nibble(8), nibble(4));
    let index_size = if version == 0 { 0 } else { nibble(0) };
    let mut at = 6_usize;
    let mut take = |size: usize| -> Option<u64> {
        let bytes = iloc.get(at..at.checked_add(size)?)?;
        at += size;
        Some(bytes.iter().fold(0, |sum, b| sum << 8 | u64::from(*b)))
    };
    let id_size = if version < 2 { 2 } else { 4 };
    let count = take(id_size)?;
    let mut found = Vec::new();
    for _ in 0..count.min(MOST_BOXES as u64) {
        let Some(id) = take(id_size) else { break };
        let method = if version == 0 { 0 } else { take(2)? & 0xf };
        let (_reference, base, extents) = (take(2)?, take(base_size)?, take(2)?);
        let mut place = Place { id: u32::try_from(id).ok()?, in_meta: method == 1, extents: Vec::new() };
        for _ in 0..extents {
            take(index_size)?;
            let (offset, length) = (take(offset_size)?, take(length_size)?);
            // An item is a handful of extents; more is damage.
            if place.extents.len() < 64 {
                place.extents.push((base.saturating_add(offset), length));
            }
        }
        if method < 2 {
            found.push(place);
        }
    }
    Some(found)
}

/// The coded data of a file's primary item.
pub(crate) struct Primary {
    /// The type of what is coded: `av01`, `hvc1` and so on; of pieces that are all of one type, theirs.
    pub kind: [u8; 4],
    /// The bytes of the picture, or of each piece of a grid, row by row.
    pub pieces: Vec<Vec<u8>>,
    /// Pieces side by side, and the width and height that they make together, px; `None` for a picture of one piece.
    pub grid: Option<(usize, (usize, usize))>,
    /// Its ICC profile.
    pub icc: Option<Vec<u8>>,
    /// The part of what is coded that is the picture, where it is not all.
    pub aperture: Option<Aperture>,
}

/// A part of a coded picture, px.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Aperture {
    pub left: usize,
    pub top: usize,
    pub width: usize,
    pub height: usize,
}

impl Aperture {
    /// From a clean aperture's property and the size of what is coded (ISO/IEC 14496-12, 12.1.4): four fractions, of which the
    /// last two say how far its middle lies from that of the whole. `None` where it reaches beyond the whole.
    fn of(body: &[u8], (width, height): (u32, u32)) -> Option<Self> {
        let signed = |i: usize| be32(body, 4 * i).map(|n| f64::from(n.cast_signed()));
        let part = |i: usize| Some(signed(2 * i)? / signed(2 * i + 1)?).filter(|v| v.is_finite());
        let along = |i: usize, whole: u32| -> Option<(usize, usize)> {
            let size = part(i)?.floor();
            let start = (part(i + 2)? + (f64::from(whole) - size) / 2.0).round();
            let inside = size >= 1.0 && start >= 0.0 && start + size <= f64::from(whole);
            inside.then_some((start as usize, size as usize))
        };
        let ((left, width), (top, height)) = (along(0, width)?, along(1, height)?);
        Some(Self { left, top, width, height })
    }
}

/// The primary item itself, with what is needed to show it. Whatever else the file holds, such as alpha, depth or gain maps
/// and thumbnails, is never touched.
pub(crate) fn primary_item(source: &mut impl Source) -> Option<Primary> {
    let meta = meta(source, &mut Allowance::default())?;
    let meta = meta.get(4..)?;
    let id = primary_id(meta)?;
    let items = child(meta, b"iinf").map(items)?;
    let places = child(meta, b"iloc").and_then(places)?;
    // A picture is as large as it is, but no part of it is larger than the file.
    let whole = usize::try_from(source.length()).unwrap_or(usize::MAX);
    let mut read = |id: u32| {
        let place = places.iter().find(|p| p.id == id)?;
        Some(place.read(source, child(meta, b"idat").unwrap_or_default(), whole, whole))
    };
    let kind = |id: u32| items.iter().find(|(item, _)| *item == id).map(|(_, kind)| *kind);
    let profile = |(name, body): &(&[u8], &[u8])| {
        (*name == b"colr" && (body.starts_with(b"prof") || body.starts_with(b"rICC"))).then(|| body[4..].to_vec())
    };
    let mut icc = properties(meta, id)?.iter().find_map(profile);
    let (_, aperture, _) = primary(meta)?;
    let own = kind(id)?;
    if &own != b"grid" {
        return Some(Primary { kind: own, pieces: vec![read(id)?], grid: None, icc, aperture });
    }
    let ((columns, rows), size) = grid(&read(id)?)?;
    let parts = references(meta, b"dimg", id);
    let first = kind(*parts.first()?)?;
    if parts.len() != columns * rows || parts.iter().any(|part| kind(*part) != Some(first)) {
        return None;
    }
    icc = icc.or_else(|| properties(meta, parts[0])?.iter().find_map(profile));
    let pieces = parts.into_iter().map(&mut read).collect::<Option<Vec<_>>>()?;
    Some(Primary { kind: first, pieces, grid: Some((columns, size)), icc, aperture })
}

/// Columns and rows of a grid, and the width and height that it makes (ISO/IEC 23008-12, 6.6.2.3).
fn grid(item: &[u8]) -> Option<((usize, usize), (usize, usize))> {
    let (wide, rows, columns) = (item.get(1)? & 1 == 1, usize::from(*item.get(2)?) + 1, usize::from(*item.get(3)?) + 1);
    let side = |i: usize| match wide {
        true => be32(item, 4 + 4 * i).map(|n| n as usize),
        false => be16(item, 4 + 2 * i).map(usize::from),
    };
    Some(((columns, rows), (side(0)?, side(1)?)))
}

/// The items that an item refers to in a way, in order (ISO/IEC 14496-12, 8.11.12).
fn references(meta: &[u8], how: &[u8; 4], from: u32) -> Vec<u32> {
    let Some(list) = child(meta, b"iref") else { return Vec::new() };
    let wide = list.first() == Some(&1);
    let id = |body: &[u8], i: usize| if wide { be32(body, 4 * i) } else { be16(body, 2 * i).map(u32::from) };
    let fitting = boxes(list.get(4..).unwrap_or_default()).filter(|(name, _)| name == how);
    let one = |(_, body): (&[u8], &[u8])| {
        let (source, rest) = (id(body, 0)?, body.get(if wide { 4 } else { 2 }..)?);
        let to = rest.get(2..)?;
        (source == from).then(|| (0..usize::from(be16(rest, 0).unwrap_or(0))).map_while(|i| id(to, i)).collect())
    };
    fitting.into_iter().find_map(one).unwrap_or_default()
}

type Size = Option<(u32, u32)>;

fn primary_id(meta: &[u8]) -> Option<u32> {
    let pitm = child(meta, b"pitm")?;
    if pitm.first() == Some(&0) { be16(pitm, 4).map(u32::from) } else { be32(pitm, 4) }
}

/// Name and body of each property of an item.
fn properties(meta: &[u8], id: u32) -> Option<Vec<(&[u8], &[u8])>> {
    let iprp = child(meta, b"iprp")?;
    let all: Vec<_> = boxes(child(iprp, b"ipco")?).collect();
    let ipma = child(iprp, b"ipma")?;
    let (version, wide) = (*ipma.first()?, *ipma.get(3)? & 1 == 1);
    let mut at = 8;
    for _ in 0..be32(ipma, 4)?.min(65_536) {
        let item = if version == 0 { be16(ipma, at)?.into() } else { be32(ipma, at)? };
        at += if version == 0 { 2 } else { 4 };
        let count = usize::from(*ipma.get(at)?);
        at += 1;
        let step = if wide { 2 } else { 1 };
        if item == id {
            let index = |i: usize| {
                let number = if wide { be16(ipma, at + 2 * i)? & 0x7fff } else { u16::from(*ipma.get(at + i)? & 0x7f) };
                usize::from(number).checked_sub(1)
            };
            return (0..count)
                .map(|i| Some(all.get(index(i)?).copied()))
                .collect::<Option<Vec<_>>>()
                .map(|list| list.into_iter().flatten().collect());
        }
        at += count * step;
    }
    None
}

/// Size of the primary item, the part of it that is shown, and how that is turned and mirrored: in the order of its properties
/// (ISO/IEC 23008-12, 6.5.9, 6.5.10 and 6.5.12), of which MIAF has cropping come first and turning next.
fn primary(meta: &[u8]) -> Option<(Size, Option<Aperture>, Turn)> {
    let (mut size, mut aperture, mut turn) = (None, None, Turn::default());
    for (name, body) in properties(meta, primary_id(meta)?)? {
        let first = body.first().copied().unwrap_or(0);
        match name {
            b"ispe" => size = be32(body, 4).zip(be32(body, 8)).filter(|&(w, h)| w > 0 && h > 0),
            b"clap" => aperture = size.and_then(|size| Aperture::of(body, size)),
            // Quarter turns anticlockwise.
            b"irot" => turn = turn.then_clockwise(4 - (first & 3)),
            // 0 exchanges top and bottom, 1 left and right.
            b"imir" => turn = turn.then_mirrored(first & 1 == 1),
            _ => {}
        }
    }
    Some((size, aperture, turn))
}
