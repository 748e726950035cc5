//! Headers: what the markers of a JPEG say of its picture, without decoding it (ITU-T T.81, annex B).

use super::markers::{FrameHeader, Segment, data_end, filled, segments, step_tables, zigzag};

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
    /// Where what there is of a picture without an end leaves off, if a scan has begun.
    torn: Option<usize>,
}

impl Headers {
    /// Walks the markers of the first picture in `bytes` (ITU-T T.81, annex B); stops where they stop making sense.
    pub(super) fn scan(bytes: &[u8]) -> Self {
        let mut headers = Self::default();
        let mut last = 0;
        for Segment { marker, body, end } in segments(bytes) {
            last = end;
            match marker {
                0xD9 => {
                    headers.end = Some(end);
                    break;
                }
                0xDA => headers.scans += 1,
                0xDB => {
                    for (number, steps) in step_tables(body).flatten() {
                        headers.tables[number & 3] = Some(steps);
                    }
                }
                0xC0..=0xCF if !matches!(marker, 0xC4 | 0xC8 | 0xCC) && headers.width == 0 => {
                    headers.frame(marker, body)
                }
                0xE1 if body.starts_with(b"Exif\0\0") && headers.exif.is_none() => {
                    headers.exif = Some(end - body.len() + 6..end);
                }
                _ => {}
            }
        }
        if headers.end.is_none() && headers.scans > 0 {
            let end = data_end(bytes, last);
            headers.torn = Some(end - filled(&bytes[last..end]));
        }
        headers
    }

    /// Scans a file's bytes, which get the end of their picture where it is missing: so that what is there can be decoded.
    pub(super) fn scan_and_close(bytes: &mut Vec<u8>) -> Self {
        let headers = Self::scan(bytes);
        let Some(end) = headers.torn else { return headers };
        bytes.truncate(end);
        bytes.extend([0xFF, 0xD9]);
        Self::scan(bytes)
    }

    fn frame(&mut self, marker: u8, body: &[u8]) {
        let Some(FrameHeader { precision, width, height, components }) = FrameHeader::of(body) else { return };
        if let Some(first) = components.first() {
            (self.frame, self.precision, self.width, self.height) = (marker, precision, width, height);
            self.luma_table = first.steps;
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
