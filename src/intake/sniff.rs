//! Sniff: what kind of file this is, by its content; the name only settles what content leaves open.

use std::io::{self, Read, Seek, SeekFrom};
use std::path::Path;

/// What a file is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    Jpeg,
    Png,
    Tiff,
    WebP,
    /// A camera raw file, including DNG, and how it is built.
    Raw(Build),
    /// JPEG XL, bare or in its container.
    JpegXl,
    /// HEIF with AV1 inside.
    Avif,
    /// HEIF with HEVC inside.
    Heic,
    /// Boxes of the ISO base media format with no picture in them that is read here.
    Video,
    /// A picture of a known kind that is not read here: its name.
    Picture(&'static str),
    /// A document of a known kind that is no picture: its name.
    Document(&'static str),
    /// No content at all.
    Empty,
    /// Content of no known kind.
    Unknown,
}

/// How a camera raw file is built, which says where its facts lie.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Build {
    /// On TIFF; where with a magic number of a maker's own, what such a file is called.
    Tiff(Option<&'static str>),
    /// Canon's since 2018, on boxes of the ISO base media format.
    Cr3,
    /// Canon's before 2005.
    Crw,
    /// Fujifilm's.
    Raf,
    /// Minolta's.
    Mrw,
    /// Sigma's.
    X3f,
    /// Known by its name alone.
    Unmarked,
}

impl Build {
    /// What a raw file built so is called, with its article, where its first bytes tell.
    pub(super) const fn name(self) -> Option<&'static str> {
        match self {
            Self::Tiff(name) => name,
            Self::Cr3 => Some("a Canon raw file (CR3)"),
            Self::Crw => Some("a Canon raw file (CRW)"),
            Self::Raf => Some("a Fujifilm raw file (RAF)"),
            Self::Mrw => Some("a Minolta raw file (MRW)"),
            Self::X3f => Some("a Sigma raw file (X3F)"),
            Self::Unmarked => None,
        }
    }
}

/// The signatures of all kinds: where in a file one stands, its bytes, and the kind; the first that fits counts.
const SIGNATURES: &[(usize, &[u8], Kind)] = &[
    (0, b"\xff\xd8\xff", Kind::Jpeg),
    (0, b"\x89PNG\r\n\x1a\n", Kind::Png),
    (8, b"WEBP", Kind::WebP),
    (0, b"FUJIFILMCCD-RAW", Kind::Raw(Build::Raf)),
    (6, b"HEAPCCDR", Kind::Raw(Build::Crw)),
    (0, b"FOVb", Kind::Raw(Build::X3f)),
    (0, b"\0MRM", Kind::Raw(Build::Mrw)),
    (0, b"IIRO", Kind::Raw(Build::Tiff(Some("an Olympus raw file (ORF)")))),
    (0, b"IIRS", Kind::Raw(Build::Tiff(Some("an Olympus raw file (ORF)")))),
    (0, b"IISR", Kind::Raw(Build::Tiff(None))),
    (0, b"MMOR", Kind::Raw(Build::Tiff(Some("an Olympus raw file (ORF)")))),
    (0, b"IIU\0", Kind::Raw(Build::Tiff(Some("a Panasonic raw file (RW2)")))),
    (8, b"IIII", Kind::Raw(Build::Tiff(Some("a Phase One raw file (IIQ)")))),
    (8, b"MMMM", Kind::Raw(Build::Tiff(Some("a Phase One raw file (IIQ)")))),
    (8, b"CR\x02", Kind::Raw(Build::Tiff(Some("a Canon raw file (CR2)")))),
    (0, b"II*\0", Kind::Tiff),
    (0, b"MM\0*", Kind::Tiff),
    (0, b"II+\0", Kind::Tiff),
    (0, b"MM\0+", Kind::Tiff),
    (4, b"ftypcrx ", Kind::Raw(Build::Cr3)),
    (4, b"ftypheic", Kind::Heic),
    (4, b"ftypheix", Kind::Heic),
    (4, b"ftypheim", Kind::Heic),
    (4, b"ftypheis", Kind::Heic),
    (4, b"ftyphevc", Kind::Heic),
    (4, b"ftypmif1", Kind::Heic),
    (4, b"ftypmsf1", Kind::Heic),
    (4, b"ftypavif", Kind::Avif),
    (4, b"ftypavis", Kind::Avif),
    (4, b"ftyp", Kind::Video),
    (0, b"\xff\x0a", Kind::JpegXl),
    (4, b"JXL ", Kind::JpegXl),
    (0, b"GIF8", Kind::Picture("a GIF picture")),
    (0, b"BM", Kind::Picture("a BMP picture")),
    (0, b"8BPS", Kind::Picture("a layered editor's document (PSD)")),
    (4, b"jP  ", Kind::Picture("a JPEG 2000 picture")),
    (0, b"\xff\x4f\xff\x51", Kind::Picture("a JPEG 2000 picture")),
    (0, b"%PDF", Kind::Document("a PDF document")),
    (0, b"<?xml", Kind::Document("a text file with settings or metadata (XML)")),
    (0, b"<x:xmpmeta", Kind::Document("a text file with settings or metadata (XML)")),
];

/// Bytes at the beginning of a file that [`begins`] wants to see.
pub(super) const HEAD: usize = 64;

/// Extensions of camera raw files, lower case.
pub(super) const RAW_EXTENSIONS: &[&str] = &[
    "3fr", "arw", "cr2", "cr3", "crw", "dcr", "dcs", "dng", "erf", "fff", "gpr", "iiq", "k25", "kdc", "mef", "mos",
    "mrw", "nef", "nrw", "orf", "ori", "pef", "raf", "raw", "rw2", "rwl", "sr2", "srf", "srw", "x3f",
];

/// Extensions of rendered photographs, lower case.
pub(super) const RENDERED_EXTENSIONS: &[&str] =
    &["avif", "heic", "heif", "hif", "jfif", "jpe", "jpeg", "jpg", "jxl", "png", "tif", "tiff", "webp"];

/// The extension in lower case; empty where there is none.
pub(super) fn extension(path: &Path) -> String {
    path.extension().map(|e| e.to_string_lossy().to_ascii_lowercase()).unwrap_or_default()
}

/// The kind of file that begins so. Raw files that begin as any TIFF does are told apart by [`kind`] only.
pub(super) fn begins(head: &[u8]) -> Kind {
    let fits = |(at, magic, _): &&(usize, &[u8], Kind)| head.get(*at..).is_some_and(|h| h.starts_with(magic));
    match SIGNATURES.iter().find(fits) {
        _ if head.is_empty() => Kind::Empty,
        Some((_, _, Kind::WebP)) if !head.starts_with(b"RIFF") => Kind::Unknown,
        Some((_, _, kind)) => *kind,
        None => Kind::Unknown,
    }
}

/// All kinds that have a signature, for the fuzzers.
pub(super) fn kinds() -> Vec<Kind> {
    SIGNATURES.iter().map(|(_, _, kind)| *kind).collect()
}

/// Looks at the beginning of a file (and, for TIFF, at its directories).
///
/// # Errors
/// Where reading fails for other reasons than the end of the file.
pub(super) fn kind<R: Read + Seek>(reader: &mut R, path: &Path) -> io::Result<Kind> {
    let mut head = Vec::with_capacity(HEAD);
    reader.by_ref().take(HEAD as u64).read_to_end(&mut head)?;
    let named_raw = RAW_EXTENSIONS.contains(&extension(path).as_str());
    Ok(match begins(&head) {
        Kind::Tiff => {
            let found = directories(reader)?;
            if named_raw || found.dng || found.raw { Kind::Raw(Build::Tiff(None)) } else { Kind::Tiff }
        }
        // A few old raw files have no magic bytes of their own.
        Kind::Unknown if named_raw && head.iter().any(|b| *b != 0) => Kind::Raw(Build::Unmarked),
        kind => kind,
    })
}

/// What the directories of a TIFF say about its kind.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Directories {
    /// It is a DNG.
    pub dng: bool,
    /// A directory holds a colour filter array or linear raw samples.
    pub raw: bool,
    /// A directory is compressed as VC-5 (SMPTE ST 2073), as action cameras' raw files are.
    pub vc5: bool,
    /// A directory is compressed in Nikon's codes or Sony's blocks.
    pub coded: bool,
    /// It has Panasonic's magic number.
    pub panasonic: bool,
}

/// Most directories to look at in a TIFF; files have a handful.
const MAX_DIRECTORIES: usize = 32;

/// Looks through all directories of a TIFF; the reader may stand anywhere.
///
/// # Errors
/// Where reading fails for other reasons than the end of the file.
pub(super) fn directories<R: Read + Seek>(reader: &mut R) -> io::Result<Directories> {
    let mut found = Directories::default();
    let Some(mut head) = read_at(reader, 0, 8)? else { return Ok(found) };
    let little = head.starts_with(b"II");
    let number = |bytes: &[u8]| {
        let join = |sum: u64, b: &u8| sum << 8 | u64::from(*b);
        if little { bytes.iter().rev().fold(0, join) } else { bytes.iter().fold(0, join) }
    };
    let big = number(&head[2..4]) == 43;
    if !big && number(&head[2..4]) != 42 {
        found.panasonic = head.starts_with(b"IIU\0");
        return Ok(found);
    }
    // Bytes of a directory's count, of an entry, and of its values where they stand in it: BigTIFF's are wider.
    let (counted, size, inside) = if big { (8, 20, 8) } else { (2, 12, 4) };
    if big {
        let Some(rest) = read_at(reader, 8, 8)? else { return Ok(found) };
        head = rest;
    }
    let mut waiting = vec![number(&head[head.len() - inside..])];
    let mut seen = Vec::new();
    while let Some(offset) = waiting.pop() {
        if offset == 0 || seen.contains(&offset) || seen.len() >= MAX_DIRECTORIES {
            continue;
        }
        seen.push(offset);
        let Some(count) = read_at(reader, offset, counted)?.map(|b| number(&b)) else { continue };
        let Some(entries_size) = u16::try_from(count).ok().map(|n| usize::from(n) * size) else { continue };
        let start = offset.saturating_add(counted as u64);
        let Some(entries) = read_at(reader, start, entries_size)? else { continue };
        for entry in entries.chunks_exact(size) {
            let (tag, kind, n) = (number(&entry[..2]), number(&entry[2..4]), number(&entry[4..size - inside]));
            let value = &entry[size - inside..];
            let (short, place) = (number(&value[..2]), number(value));
            let word = if matches!(kind, 16 | 18) { 8 } else { 4 };
            match tag {
                // DNGVersion.
                0xC612 => found.dng = true,
                // PhotometricInterpretation: colour filter array, linear raw.
                0x0106 if kind == 3 && matches!(short, 32803 | 34892) => found.raw = true,
                // Compression.
                0x0103 if kind == 3 && short == 9 => found.vc5 = true,
                0x0103 if kind == 3 && matches!(short, 32_767 | 34_713) => found.coded = true,
                // SubIFDs.
                0x014A if matches!(kind, 4 | 13 | 16 | 18) && n > 0 && n <= 16 => {
                    let length = word * n as usize;
                    let list =
                        if length <= inside { Some(value[..length].to_vec()) } else { read_at(reader, place, length)? };
                    waiting.extend(list.iter().flat_map(|list| list.chunks_exact(word)).map(number));
                }
                _ => {}
            }
        }
        if let Some(next) = read_at(reader, start.saturating_add(entries_size as u64), inside)? {
            waiting.push(number(&next));
        }
    }
    Ok(found)
}

/// `size` bytes at `offset`; `None` where the file is shorter.
fn read_at<R: Read + Seek>(reader: &mut R, offset: u64, size: usize) -> io::Result<Option<Vec<u8>>> {
    if i64::try_from(offset).is_err() {
        // Farther than any file reaches.
        return Ok(None);
    }
    reader.seek(SeekFrom::Start(offset))?;
    let mut bytes = Vec::with_capacity(size);
    reader.by_ref().take(size as u64).read_to_end(&mut bytes)?;
    Ok((bytes.len() == size).then_some(bytes))
}

#[cfg(test)]
mod tests {
    use std::io::Cursor;

    use super::*;

    fn of(bytes: &[u8], name: &str) -> Kind {
        kind(&mut Cursor::new(bytes), Path::new(name)).unwrap()
    }

    #[test]
    fn content_counts_before_the_name() {
        assert_eq!(of(b"\xff\xd8\xff\xe1", "a.png"), Kind::Jpeg);
        assert_eq!(of(b"\x89PNG\r\n\x1a\n", "a.jpg"), Kind::Png);
        assert_eq!(of(b"", "a.jpg"), Kind::Empty);
        assert_eq!(of(b"hello there", "a.jpg"), Kind::Unknown);
        assert_eq!(of(b"\0\0\0\x18ftypcrx \0\0\0\x01", "a.cr3"), Kind::Raw(Build::Cr3));
        assert_eq!(of(b"\0\0\0\x18ftypheic\0\0\0\x01", "a.jpg"), Kind::Heic);
        assert_eq!(of(b"\0\0\0\x18ftypqt  \0\0\0\x01", "a.mov"), Kind::Video);
        assert_eq!(of(&[0; 200], "a.arw"), Kind::Unknown);
    }

    #[test]
    fn a_tiff_with_a_filter_array_is_raw() {
        let tiff = |photometric: u8, magic: u8| {
            let mut b = vec![b'I', b'I', magic, 0, 8, 0, 0, 0, 1, 0, 6, 1, 3, 0, 1, 0, 0, 0];
            b.extend([photometric, if photometric == 0x23 { 0x80 } else { 0 }, 0, 0]);
            b.extend([0, 0, 0, 0]);
            b
        };
        assert_eq!(of(&tiff(0x23, 42), "a.tif"), Kind::Raw(Build::Tiff(None)));
        assert_eq!(of(&tiff(2, 42), "a.tif"), Kind::Tiff);
        assert_eq!(of(&tiff(2, 42), "a.nef"), Kind::Raw(Build::Tiff(None)));
        assert_eq!(of(&tiff(2, 43), "a.tif"), Kind::Tiff);
        // BigTIFF: offsets and counts of eight bytes (the libtiff project's "BigTIFF Design").
        let big = |photometric: u8| {
            let mut b = b"II+\0\x08\0\0\0\x10\0\0\0\0\0\0\0\x01\0\0\0\0\0\0\0\x06\x01\x03\0\x01\0\0\0\0\0\0\0".to_vec();
            b.extend([photometric, if photometric == 0x23 { 0x80 } else { 0 }, 0, 0, 0, 0, 0, 0]);
            b.extend([0; 8]);
            b
        };
        assert_eq!(of(&big(0x23), "a.tif"), Kind::Raw(Build::Tiff(None)));
        assert_eq!(of(&big(2), "a.tif"), Kind::Tiff);
        let mut far = big(0x23);
        far[8..16].fill(0xFF);
        assert_eq!(of(&far, "a.tif"), Kind::Tiff);
        for cut in 4..60 {
            of(&big(0x23)[..cut.min(52)], "a.tif");
        }
        for cut in 4..30 {
            of(&tiff(0x23, 42)[..cut.min(26)], "a.tif");
        }
    }

    #[test]
    fn a_directory_that_points_at_itself_ends() {
        let looped = [b'I', b'I', 42, 0, 8, 0, 0, 0, 0, 0, 8, 0, 0, 0];
        assert_eq!(of(&looped, "a.tif"), Kind::Tiff);
    }
}
