//! Pictures of a frame for the page, from pixels to JPEG bytes: thumbnail, overview, crops at 1:1, unsharpened.

use base64::Engine as _;
use image::{GrayImage, RgbImage, imageops};
use multiversion::multiversion;

use super::encode::{encode, grey, rgb};
use super::full::{Full, full};
use super::sheet::{Picture, Raster, Sheet, sheet};
use super::spots::spots;
use super::{Frame, hue};
use crate::quantity::{Region, srgb};
use crate::shot::{Plane, Tint};

/// Long side of a thumbnail, px.
const THUMB: u32 = 384;
/// Long side of the picture under the tile map, px.
const OVERVIEW: u32 = 1440;
/// JPEG qualities of small pictures, and of what is judged at 1:1.
const SMALL_QUALITY: u8 = 84;
const PATCH_QUALITY: u8 = 93;
/// Up to this many frames the pictures are written into the page itself.
const INLINE_FRAMES: usize = 12;

/// Whether a shoot of this many frames gets its pictures inside the page (one file to send to a friend)
/// rather than in a folder beside it (a page that opens at once).
#[must_use]
pub const fn inline(frames: usize) -> bool {
    frames <= INLINE_FRAMES
}

/// The pictures of one frame.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Pictures {
    /// For the card.
    pub thumb: Picture,
    /// For the tile map and the windows at 1:1.
    pub sheet: Sheet,
    /// The whole picture at 1:1 in tiles, for looking at any place; `None` unless asked.
    pub full: Option<Full>,
}

/// Pixels to make pictures from.
#[derive(Clone, Copy, Debug)]
pub struct Pixels<'a> {
    /// The linear luminance that was measured, upright.
    pub plane: &'a Plane,
    /// The upright picture in colour, where there is one. Crops come from it if it has the plane's size; else their
    /// detail comes from the very samples that were measured, and only their hue from here.
    pub colour: Option<&'a RgbImage>,
    /// Its colours at a coarse step, which are laid over the plane's own samples where there is no `colour`.
    pub tint: Option<&'a Tint>,
}

/// Makes the pictures of a frame; `full` asks for the whole picture at 1:1 as well.
#[must_use]
pub fn pictures(frame: &Frame, pixels: &Pixels<'_>, whole: bool) -> Pictures {
    let plane = pixels.plane;
    let (width, height) = (plane.width as u32, plane.height as u32);
    if width == 0 || height == 0 || plane.data.len() < plane.width * plane.height {
        return Pictures::default();
    }
    let tone = Tone::of(plane);
    let (w, h) = fit(width, height, OVERVIEW);
    let (tw, th) = fit(width, height, THUMB);
    let overview = match (pixels.colour, pixels.tint) {
        (Some(colour), _) => Raster::Colour(imageops::thumbnail(colour, w, h)),
        (None, Some(tint)) => {
            let whole = Region { x: 0, y: 0, width, height };
            Raster::Colour(tinted(&shrunk(plane, &tone, w, h), tint, whole))
        }
        (None, None) => Raster::Grey(shrunk(plane, &tone, w, h)),
    };
    let thumb = match &overview {
        Raster::Colour(overview) => rgb(&imageops::thumbnail(overview, tw, th), SMALL_QUALITY),
        Raster::Grey(overview) => grey(&imageops::thumbnail(overview, tw, th), SMALL_QUALITY),
    };
    let patches = spots(frame)
        .into_iter()
        .filter(|s| s.region.x + s.region.width <= width && s.region.y + s.region.height <= height)
        .map(|s| (s, at_one(pixels, &tone, s.region)))
        .collect();
    Pictures {
        thumb,
        sheet: sheet(overview, patches, |raster| encode(raster, PATCH_QUALITY)),
        full: whole.then(|| full(width, height, |r| at_one(pixels, &tone, r))),
    }
}

/// A region at 1:1, in colour where there is any.
pub(super) fn patch(pixels: &Pixels<'_>, tone: &Tone, r: Region, quality: u8) -> Picture {
    encode(&at_one(pixels, tone, r), quality)
}

fn at_one(pixels: &Pixels<'_>, tone: &Tone, r: Region) -> Raster {
    let plane = pixels.plane;
    let size = (plane.width as u32, plane.height as u32);
    match (pixels.colour, pixels.tint) {
        (Some(colour), _) if colour.dimensions() == size => {
            Raster::Colour(imageops::crop_imm(colour, r.x, r.y, r.width, r.height).to_image())
        }
        (Some(colour), _) => match hue::coloured(plane, colour, r) {
            Some(picture) => Raster::Colour(picture),
            None => Raster::Grey(cropped(plane, tone, r)),
        },
        (None, Some(tint)) => Raster::Colour(tinted(&cropped(plane, tone, r), tint, r)),
        (None, None) => Raster::Grey(cropped(plane, tone, r)),
    }
}

/// Where the page finds a frame's pictures: `data:` URIs, or paths relative to the page.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Links {
    /// Thumbnail.
    pub thumb: Option<String>,
    /// The sheet with the overview and the patches.
    pub sheet: Option<String>,
    /// What lies where on it; without its bytes.
    pub laid: Sheet,
    /// The original itself, where a browser shows it.
    pub full: Option<String>,
    /// The whole picture at 1:1 in tiles.
    pub tiled: Option<String>,
}

impl Pictures {
    /// Everything inside the page.
    #[must_use]
    pub fn inline(&self) -> Links {
        self.links(|_, picture| data_uri("image/jpeg", &picture.jpeg))
    }

    /// Links to the files that [`Pictures::files`] names for the same stem.
    #[must_use]
    pub fn beside(&self, stem: &str) -> Links {
        self.links(|kind, _| format!("pictures/{stem}-{kind}.jpg"))
    }

    /// The files to write, as paths relative to the page with their bytes.
    pub fn files(&self, stem: &str) -> impl Iterator<Item = (String, &[u8])> {
        let each = [("thumb", &self.thumb), ("sheet", &self.sheet.picture)].into_iter();
        each.filter(|(_, p)| !p.jpeg.is_empty())
            .map(move |(kind, picture)| (format!("pictures/{stem}-{kind}.jpg"), picture.jpeg.as_slice()))
    }

    /// The whole picture in tiles alone, which is never written into the page.
    #[must_use]
    pub fn full_file(&self, stem: &str) -> Option<(String, &[u8])> {
        let full = self.full.as_ref()?;
        Some((format!("pictures/{stem}-full.js"), full.script.as_slice()))
    }

    fn links(&self, link: impl Fn(&'static str, &Picture) -> String) -> Links {
        let one = |name, p: &Picture| (!p.jpeg.is_empty()).then(|| link(name, p));
        let Sheet { picture, overview, patches } = &self.sheet;
        let bare = Picture { jpeg: Vec::new(), ..*picture };
        Links {
            thumb: one("thumb", &self.thumb),
            sheet: one("sheet", picture),
            laid: Sheet { picture: bare, overview: *overview, patches: patches.clone() },
            full: None,
            tiled: None,
        }
    }
}

impl Links {
    /// The links with the original found at this relative path (with `/` between folders; `None` or a path that is no plain
    /// relative one leaves it out).
    #[must_use]
    pub fn with_full(mut self, relative: Option<&str>) -> Self {
        self.full = relative.and_then(href);
        self
    }

    /// The links with the whole picture in tiles, as [`Pictures::full_file`] names it for a stem.
    #[must_use]
    pub fn with_tiles(mut self, file: &str) -> Self {
        self.tiled = href(file);
        self
    }
}

/// A relative path as a link: every byte that is not plain is percent-encoded (RFC 3986), so that neither a
/// scheme, nor a query, nor a line break can come of a name. `None` for absolute paths and empty ones.
#[must_use]
pub fn href(relative: &str) -> Option<String> {
    if relative.is_empty() || relative.starts_with(['/', '\\']) || relative.contains('\0') {
        return None;
    }
    let mut out = String::with_capacity(relative.len());
    for byte in relative.bytes() {
        match byte {
            b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' | b'-' | b'.' | b'_' | b'~' | b'/' => out.push(char::from(byte)),
            _ => out.push_str(&format!("%{byte:02X}")),
        }
    }
    Some(out)
}

/// Bytes as a `data:` URI.
pub(super) fn data_uri(kind: &str, bytes: &[u8]) -> String {
    format!("data:{kind};base64,{}", base64::engine::general_purpose::STANDARD.encode(bytes))
}

fn fit(width: u32, height: u32, long: u32) -> (u32, u32) {
    let side = width.max(height);
    if side <= long {
        return (width, height);
    }
    let scaled = |n: u32| (u64::from(n) * u64::from(long)).div_ceil(u64::from(side)).max(1) as u32;
    (scaled(width), scaled(height))
}

/// Linear levels to 8-bit display levels: a gain that brings the brightest hundredth near white, then the
/// sRGB transfer curve (IEC 61966-2-1). No sharpening and no local contrast, which would change what is judged.
pub(super) struct Tone {
    table: Vec<u8>,
}

impl Tone {
    pub(super) fn of(plane: &Plane) -> Self {
        let range = f64::from(plane.range()).max(1.0);
        if plane.rendered {
            return Self::with(plane, 1.0, range);
        }
        let mut histogram = vec![0u32; 65_536];
        // Every 7th sample is plenty for a percentile and shares no factor with common widths.
        for &v in plane.data.iter().step_by(7) {
            histogram[usize::from(v)] += 1;
        }
        let total: u64 = histogram.iter().map(|&n| u64::from(n)).sum();
        let mut above = 0u64;
        let bright = (0..histogram.len())
            .rev()
            .find(|&v| {
                above += u64::from(histogram[v]);
                above * 100 > total
            })
            .unwrap_or(usize::from(plane.white));
        let bright = ((bright as f64 - f64::from(plane.black)) / range).max(1e-3);
        Self::with(plane, (0.85 / bright).clamp(1.0, 64.0), range)
    }

    fn with(plane: &Plane, gain: f64, range: f64) -> Self {
        let table =
            (0..=u16::MAX).map(|v| srgb::f64::byte(gain * (f64::from(v) - f64::from(plane.black)) / range)).collect();
        Self { table }
    }

    fn show(&self, level: u16) -> u8 {
        self.table[usize::from(level)]
    }
}

fn cropped(plane: &Plane, tone: &Tone, r: Region) -> GrayImage {
    GrayImage::from_fn(r.width, r.height, |x, y| {
        image::Luma([tone.show(plane.row((r.y + y) as usize)[(r.x + x) as usize])])
    })
}

/// A grey picture of the whole frame with a long side of so many px.
pub(super) fn overview(plane: &Plane, tone: &Tone, long: u32) -> Picture {
    let (w, h) = fit(plane.width as u32, plane.height as u32, long);
    grey(&shrunk(plane, tone, w, h), SMALL_QUALITY)
}

/// Area average of the linear levels, which is what a smaller sensor would have seen.
fn shrunk(plane: &Plane, tone: &Tone, width: u32, height: u32) -> GrayImage {
    let edge = |i: u32, n: u32, size: usize| (u64::from(i) * size as u64 / u64::from(n)) as usize;
    let mut out = GrayImage::new(width, height);
    let mut columns = vec![0_u32; plane.width];
    for (y, line) in (0..height).zip(out.chunks_exact_mut(width as usize)) {
        let rows = edge(y, height, plane.height)..edge(y + 1, height, plane.height);
        // As many rows of 16 bits as 32 bits hold the sum of; only a picture that is nearly a line has more.
        let step = rows.len().div_ceil(1 << 16).max(1);
        let tall = rows.len().div_ceil(step);
        columns.fill(0);
        for row in rows.step_by(step) {
            add(&mut columns, plane.row(row));
        }
        for (x, level) in (0..width).zip(line) {
            let some = &columns[edge(x, width, plane.width)..edge(x + 1, width, plane.width)];
            let sum: u64 = some.iter().map(|&v| u64::from(v)).sum();
            *level = tone.show(sum.checked_div((some.len() * tall) as u64).unwrap_or(0) as u16);
        }
    }
    out
}

/// A grey picture of a region with the colours there (ITU-T T.871, clause 7).
fn tinted(grey: &GrayImage, tint: &Tint, region: Region) -> RgbImage {
    let (width, height) = grey.dimensions();
    let mut out = RgbImage::new(width, height);
    let (across, down) = (region.width as f32 / width as f32, region.height as f32 / height as f32);
    let mut colours = vec![[0.0_f32; 2]; width as usize];
    let places = tint.across(region.x as f32 + 0.5 * across, across, width as usize);
    let wide = width as usize;
    for (y, (line, grey)) in out.chunks_exact_mut(3 * wide).zip(grey.chunks_exact(wide)).enumerate() {
        let middle = region.y as f32 + (y as f32 + 0.5) * down;
        tint.row(middle, &places, &mut colours);
        paint(line, grey, &colours);
    }
    out
}

/// The colours of a row from its light and its colour differences.
#[multiversion(targets("x86_64+avx2"))]
fn paint(line: &mut [u8], grey: &[u8], differences: &[[f32; 2]]) {
    for ((pixel, &luma), &[cb, cr]) in line.chunks_exact_mut(3).zip(grey).zip(differences) {
        let luma = f32::from(luma) + 0.5;
        pixel[0] = (luma + 1.402 * cr) as u8;
        pixel[1] = (luma - 0.344_136 * cb - 0.714_136 * cr) as u8;
        pixel[2] = (luma + 1.772 * cb) as u8;
    }
}

#[multiversion(targets("x86_64+avx2"))]
fn add(sums: &mut [u32], row: &[u16]) {
    sums.iter_mut().zip(row).for_each(|(sum, &v)| *sum += u32::from(v));
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_can_be_no_more_than_a_relative_path() {
        assert_eq!(href("../moor 1.jpg").as_deref(), Some("../moor%201.jpg"));
        assert_eq!(href("javascript:alert(1)").as_deref(), Some("javascript%3Aalert%281%29"));
        assert_eq!(href("a?b#c\n\"'<").as_deref(), Some("a%3Fb%23c%0A%22%27%3C"));
        assert_eq!(href("/etc/x"), None);
        assert_eq!(href("\\\\server\\x"), None);
        assert_eq!(href(""), None);
    }

    #[test]
    fn small_pictures_keep_their_shape_and_are_never_enlarged() {
        assert_eq!(fit(6000, 4000, 1440), (1440, 960));
        assert_eq!(fit(4000, 6000, 384), (256, 384));
        assert_eq!(fit(100, 50, 384), (100, 50));
        assert_eq!(fit(60_000, 1, 384), (384, 1));
    }
}
