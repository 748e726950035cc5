//! Headers: what the markers of a JPEG say of its picture, without decoding it (ITU-T T.81, annex B).

use super::markers::{next_marker, zigzag};

/// What the headers of a JPEG say.
#[derive(Debug, Default)]
pub(super) struct Headers {
    pub(super) width: usize,
    pub(super) height: usize,
    pub(super) precision: u8,
    /// The last byte of the start-of-frame marker: 0xC0 baseline, 0xC2 progressive, others not read here.
    pub(super) frame: u8,
    /// Table number of the first component, which is luma.
    luma_table: usize,
    /// Quantisation tables in zigzag order.
    tables: [Option<[u16; 64]>; 4],
    /// The Exif block: a TIFF structure.
    exif: Option<std::ops::Range<usize>>,
    /// Where the picture ends, behind its end-of-image marker; `None` where that is missing.
    end: Option<usize>,
    /// Scans, of which a progressive picture has several.
    scans: usize,
}

impl Headers {
    /// Walks the markers of the first picture in `bytes` (ITU-T T.81, annex B); stops where they stop making sense.
    pub(super) fn scan(bytes: &[u8]) -> Self {
        let mut headers = Self::default();
        let mut at = 2;
        while let Some(marker) = next_marker(bytes, &mut at) {
            match marker {
                0xD9 => {
                    headers.end = Some(at);
                    break;
                }
                0x01 | 0xD0..=0xD7 => continue,
                // A second picture begins before the first has ended.
                0xD8 => break,
                _ => {}
            }
            let Some(length) = bytes.get(at..at + 2).map(|b| usize::from(u16::from_be_bytes([b[0], b[1]]))) else {
                break;
            };
            let Some(body) = bytes.get(at + 2..at + length.max(2)) else { break };
            match marker {
                0xDA => headers.scans += 1,
                0xDB => headers.quantisation(body),
                0xC0..=0xCF if !matches!(marker, 0xC4 | 0xC8 | 0xCC) && body.len() >= 9 && headers.width == 0 => {
                    headers.frame = marker;
                    headers.precision = body[0];
                    headers.height = usize::from(u16::from_be_bytes([body[1], body[2]]));
                    headers.width = usize::from(u16::from_be_bytes([body[3], body[4]]));
                    headers.luma_table = usize::from(body[8] & 3);
                }
                0xE1 if body.starts_with(b"Exif\0\0") && headers.exif.is_none() => {
                    headers.exif = Some(at + 8..at + length);
                }
                _ => {}
            }
            at += length.max(2);
        }
        headers
    }

    fn quantisation(&mut self, mut body: &[u8]) {
        while let Some((&first, rest)) = body.split_first() {
            let (wide, table) = (usize::from(first >> 4 & 1), usize::from(first & 3));
            let size = 64 << wide;
            let Some(values) = rest.get(..size) else { return };
            self.tables[table] = Some(std::array::from_fn(|i| {
                if wide == 1 { u16::from_be_bytes([values[2 * i], values[2 * i + 1]]) } else { u16::from(values[i]) }
            }));
            body = &rest[size..];
        }
    }

    /// Luma quantisation steps in row-major order of the stored picture.
    pub(super) fn luma_steps(&self) -> Option<[u16; 64]> {
        let table = self.tables[self.luma_table]?;
        Some(zigzag().map(|position| table[position]))
    }

    /// Width and height of the stored picture.
    pub(super) const fn size(&self) -> (usize, usize) {
        (self.width, self.height)
    }

    /// Length of the picture from its first marker on.
    pub(super) fn end(&self) -> usize {
        self.end.unwrap_or(0)
    }

    /// Whether decoding takes so much memory or time that it is left to a worker.
    pub(super) fn heavy(&self) -> bool {
        let pixels = self.width * self.height;
        pixels > HEAVY_PIXELS || self.scans > HEAVY_SCANS || self.frame == 0xC2 && pixels > HEAVY_PIXELS / 4
    }

    /// Whether these are the headers of a picture that is there to its end and can be decoded here.
    pub(super) fn is_whole_picture(&self) -> bool {
        self.width > 0 && self.precision == 8 && matches!(self.frame, 0xC0..=0xC2) && self.end.is_some()
    }

    /// The Exif block of the file these headers come from.
    pub(super) fn exif_block<'a>(&self, bytes: &'a [u8]) -> Option<&'a [u8]> {
        bytes.get(self.exif.clone()?)
    }
}

/// Pixels from which a picture is heavy (a progressive one from a quarter of them: all its coefficients are held at once),
/// and scans, each of which may go over the whole picture; encoders write about ten.
const HEAVY_PIXELS: usize = 100_000_000;
const HEAVY_SCANS: usize = 32;
