//! Pictures of a frame for the page, from pixels to JPEG bytes: thumbnail, overview, crops at 1:1, unsharpened.

use image::imageops;

use super::full::{Full, full};
use super::run::Frame;
use super::sheet::{Sheet, sheet};
use super::spots::spots;
use crate::report::picture::{ONE_TO_ONE, Picture, Pixels, Raster, SMALL, Tone, at_one, data_uri, encode, fit, small};

/// Long side of a thumbnail, px.
const THUMB: u32 = 384;
/// Long side of the picture under the tile map, px.
const OVERVIEW: u32 = 1440;
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

/// Makes the pictures of a frame; `full` asks for the whole picture at 1:1 as well.
#[must_use]
pub fn pictures(frame: &Frame, pixels: &Pixels<'_>, whole: bool) -> Pictures {
    let plane = pixels.plane;
    let (width, height) = (plane.width as u32, plane.height as u32);
    if width == 0 || height == 0 || plane.data.len() < plane.width * plane.height {
        return Pictures::default();
    }
    let tone = Tone::of(plane);
    let overview = small(pixels, &tone, OVERVIEW);
    let (w, h) = fit(width, height, THUMB);
    let thumb = match &overview {
        Raster::Colour(overview) => Raster::Colour(imageops::thumbnail(overview, w, h)),
        Raster::Grey(overview) => Raster::Grey(imageops::thumbnail(overview, w, h)),
    };
    let patches = spots(frame)
        .into_iter()
        .filter(|s| s.region.x + s.region.width <= width && s.region.y + s.region.height <= height)
        .map(|s| (s, at_one(pixels, &tone, s.region)))
        .collect();
    Pictures {
        thumb: encode(&thumb, SMALL),
        sheet: sheet(overview, patches, |raster| encode(raster, ONE_TO_ONE)),
        full: whole.then(|| full(width, height, |r| at_one(pixels, &tone, r))),
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
}
