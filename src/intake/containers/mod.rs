//! Finds Exif and XMP blocks, and the picture's size, inside the files that carry them.
//!
//! Each reader seeks to what it wants, so that a raw file of 60 MB costs a read of its head.

mod boxes;
mod ciff;
mod jpeg;
mod jxl;
mod png;
mod riff;
mod tiff;
mod x3f;

use std::io::{Read, Seek, SeekFrom};

use super::ifd::Block;

/// The kind of file, told by its first bytes, never by its name.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// JPEG.
    Jpeg,
    /// PNG.
    Png,
    /// WebP.
    WebP,
    /// TIFF, and raw files built on it.
    Tiff,
    /// HEIF family: HEIC, AVIF.
    Heif,
    /// JPEG XL, bare or in boxes.
    JpegXl,
    /// Canon raw since 2018.
    Cr3,
    /// Fujifilm raw.
    Raf,
    /// Canon raw before 2005.
    Crw,
    /// Sigma raw.
    X3f,
    /// Minolta raw.
    Mrw,
}

impl Kind {
    /// Every kind.
    pub const ALL: &'static [Self] = &[
        Self::Jpeg,
        Self::Png,
        Self::WebP,
        Self::Tiff,
        Self::Heif,
        Self::JpegXl,
        Self::Cr3,
        Self::Raf,
        Self::Crw,
        Self::X3f,
        Self::Mrw,
    ];
}

/// What a file carries.
#[derive(Default)]
pub struct Contents {
    /// Block with the main directory (and the Exif directory where it is not apart).
    pub main: Option<Block>,
    /// The Exif directory where it stands in a block of its own.
    pub exif: Option<Block>,
    /// The maker note where it stands in a block of its own.
    pub maker: Option<Block>,
    /// Canon's old heap of records.
    pub ciff: Option<ciff::Heap>,
    /// Sigma's list of properties.
    pub properties: Vec<(String, String)>,
    /// XMP packets.
    pub xmp: Vec<Vec<u8>>,
    /// Stored size in pixels, before orientation.
    pub size: Option<(u32, u32)>,
    /// Whether the picture is sensor data.
    pub raw: bool,
    /// Orientation that the container itself prescribes, as an Exif number.
    pub orientation: Option<u16>,
}

pub use boxes::{Primary, primary_item};
pub use ciff::Heap;

/// A reader that can seek; what the containers are read from.
pub trait Source: Read + Seek {
    /// Total length in bytes.
    fn length(&mut self) -> u64 {
        self.seek(SeekFrom::End(0)).unwrap_or(0)
    }

    /// Up to `length` bytes at `offset`: fewer at the end of the file, none on an error.
    fn piece(&mut self, offset: u64, length: usize) -> Vec<u8> {
        let mut bytes = Vec::new();
        if self.seek(SeekFrom::Start(offset)).is_ok() {
            // What could be read before an error is as good as a truncated file.
            let _ = self.take(length as u64).read_to_end(&mut bytes);
        }
        bytes
    }
}

impl<T: Read + Seek> Source for T {}

/// The kind of file that starts with these bytes.
#[must_use]
pub fn kind(head: &[u8]) -> Option<Kind> {
    let at = |i: usize, magic: &[u8]| head.get(i..i + magic.len()) == Some(magic);
    Some(if at(0, &[0xff, 0xd8]) {
        Kind::Jpeg
    } else if at(0, b"\x89PNG\r\n\x1a\n") {
        Kind::Png
    } else if at(0, b"RIFF") && at(8, b"WEBP") {
        Kind::WebP
    } else if at(0, b"FUJIFILMCCD-RAW") {
        Kind::Raf
    } else if at(6, b"HEAPCCDR") {
        Kind::Crw
    } else if at(0, b"FOVb") {
        Kind::X3f
    } else if at(0, b"\0MRM") {
        Kind::Mrw
    } else if at(0, b"\xff\x0a") || at(4, b"JXL ") {
        Kind::JpegXl
    } else if at(4, b"ftypcrx ") {
        Kind::Cr3
    } else if at(4, b"ftyp") {
        Kind::Heif
    } else if [&b"II*\0"[..], b"MM\0*", b"IIU\0", b"IIRO", b"IIRS", b"MMOR", b"IISR"].iter().any(|m| at(0, m)) {
        Kind::Tiff
    } else {
        return None;
    })
}

/// Reads what a file of this kind carries; parts that are missing or damaged are left out.
pub fn contents(source: &mut impl Source, kind: Kind) -> Contents {
    let mut found = match kind {
        Kind::Jpeg => jpeg::contents(source, 0),
        Kind::Png => png::contents(source),
        Kind::WebP => riff::contents(source),
        Kind::Tiff => tiff::contents(source),
        Kind::Heif => boxes::heif(source),
        Kind::JpegXl => jxl::contents(source),
        Kind::Cr3 => boxes::cr3(source),
        Kind::Raf => tiff::raf(source),
        Kind::Crw => ciff::contents(source),
        Kind::X3f => x3f::contents(source),
        Kind::Mrw => tiff::mrw(source),
    };
    found.raw |= matches!(kind, Kind::Cr3 | Kind::Raf | Kind::Crw | Kind::X3f | Kind::Mrw);
    found
}

/// Big-endian number at `at`.
pub(super) fn be32(bytes: &[u8], at: usize) -> Option<u32> {
    bytes.get(at..at.checked_add(4)?).and_then(|b| b.try_into().ok()).map(u32::from_be_bytes)
}

/// Little-endian number at `at`.
pub(super) fn le32(bytes: &[u8], at: usize) -> Option<u32> {
    bytes.get(at..at.checked_add(4)?).and_then(|b| b.try_into().ok()).map(u32::from_le_bytes)
}

/// Big-endian short at `at`.
pub(super) fn be16(bytes: &[u8], at: usize) -> Option<u16> {
    bytes.get(at..at.checked_add(2)?).and_then(|b| b.try_into().ok()).map(u16::from_be_bytes)
}

/// Little-endian short at `at`.
pub(super) fn le16(bytes: &[u8], at: usize) -> Option<u16> {
    bytes.get(at..at.checked_add(2)?).and_then(|b| b.try_into().ok()).map(u16::from_le_bytes)
}
