//! Finds Exif and XMP blocks, and the picture's size, inside the files that carry them.
//!
//! Each reader seeks to what it wants, so that a raw file of 60 MB costs a read of its head.

mod allowance;
mod boxes;
mod ciff;
mod jpeg;
mod jxl;
mod png;
mod riff;
mod tiff;
mod x3f;

use std::io::{Read, Seek, SeekFrom};

use super::crop::Crop;
use super::ifd::Block;
use super::sniff::{Build, Kind};
use allowance::Allowance;

/// What a file carries.
#[derive(Default)]
pub(super) struct Contents {
    /// Block with the main directory (and the Exif directory where it is not apart).
    pub main: Option<Block<'static>>,
    /// The Exif directory where it stands in a block of its own.
    pub exif: Option<Block<'static>>,
    /// The maker note where it stands in a block of its own.
    pub maker: Option<Block<'static>>,
    /// Canon's old heap of records.
    pub ciff: Option<ciff::Heap>,
    /// Sigma's list of properties.
    pub properties: Vec<(String, String)>,
    /// XMP packets.
    pub xmp: Vec<Vec<u8>>,
    /// Stored size in pixels, before orientation.
    pub size: Option<(u32, u32)>,
    /// The part of it that is to be shown, where that isn't all.
    pub shown: Option<Crop>,
    /// Where in a TIFF the directory is that has this size and leads to the picture, if it isn't the first.
    pub directory: Option<u32>,
    /// Whether the picture is sensor data.
    pub raw: bool,
    /// Orientation that the container itself prescribes, as an Exif number.
    pub orientation: Option<u16>,
}

impl Contents {
    /// The XMP packets.
    pub(super) fn packets(&self) -> impl Iterator<Item = &[u8]> {
        self.xmp.iter().map(Vec::as_slice)
    }
}

pub(super) use boxes::{Aperture, Primary, primary_item};
pub(super) use ciff::Heap;

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

/// Reads what a file of this kind carries; parts that are missing or damaged are left out. `None` where the kind has no place
/// for facts that is known here.
pub(super) fn contents(source: &mut impl Source, kind: Kind) -> Option<Contents> {
    let allowance = &mut Allowance::default();
    let mut found = match kind {
        Kind::Jpeg => jpeg::contents(source, 0, allowance),
        Kind::Png => png::contents(source, allowance),
        Kind::WebP => riff::contents(source, allowance),
        Kind::Tiff | Kind::Raw(Build::Tiff(_)) => tiff::contents(source, allowance),
        Kind::Heic | Kind::Avif | Kind::Video => boxes::heif(source, allowance),
        Kind::JpegXl => jxl::contents(source, allowance),
        Kind::Raw(Build::Cr3) => boxes::cr3(source, allowance),
        Kind::Raw(Build::Raf) => tiff::raf(source, allowance),
        Kind::Raw(Build::Crw) => ciff::contents(source, allowance),
        Kind::Raw(Build::X3f) => x3f::contents(source, allowance),
        Kind::Raw(Build::Mrw) => tiff::mrw(source, allowance),
        Kind::Raw(Build::Unmarked) | Kind::Picture(_) | Kind::Document(_) | Kind::Empty | Kind::Unknown => return None,
    };
    found.raw |= matches!(kind, Kind::Raw(_));
    Some(found)
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
