//! The whole picture at 1:1, cut into tiles: the page decodes those in sight and no others, however large the picture is.
//!
//! A page opened from disk can read no part of a file, but may load a script; so the tiles of a frame are one script, each tile
//! a JPEG of its own in base64 (RFC 4648), row by row. The script does not say whose they are: who loads it knows.

use std::io::Write as _;

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;

use crate::quantity::Region;
use crate::report::picture::{Raster, encode};

/// Side of a tile, px. A window of the page shows four to six; each is decoded in some milliseconds.
const SIDE: u32 = 512;
/// JPEG quality of a tile.
const QUALITY: u8 = 90;

/// The whole picture in tiles.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Full {
    /// Calls `tussockTiles` with the side of a tile, the width and height of the picture, and the tiles.
    pub script: Vec<u8>,
}

/// Cuts a picture of this size into tiles. `at_one` gives the pixels of a region, so that they are never all there at once.
pub(super) fn full(width: u32, height: u32, at_one: impl Fn(Region) -> Raster) -> Full {
    let mut script = format!("tussockTiles({SIDE},{width},{height},[").into_bytes();
    for y in (0..height).step_by(SIDE as usize) {
        for x in (0..width).step_by(SIDE as usize) {
            let region = Region { x, y, width: SIDE.min(width - x), height: SIDE.min(height - y) };
            let tile = encode(&at_one(region), QUALITY);
            if (x, y) != (0, 0) {
                script.push(b',');
            }
            // Writing to memory can't fail.
            let _ = write!(script, "\n\"{}\"", STANDARD.encode(&tile.jpeg));
        }
    }
    script.extend_from_slice(b"\n]);\n");
    Full { script }
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::GrayImage;

    #[test]
    fn tiles_make_up_the_picture() {
        let (width, height) = (1100, 600);
        let level = |x: u32, y: u32| (40.0 + f64::from(x) / 8.0 + f64::from(y) / 10.0) as u8;
        let made = full(width, height, |r| {
            Raster::Grey(GrayImage::from_fn(r.width, r.height, |x, y| image::Luma([level(r.x + x, r.y + y)])))
        });
        let text = String::from_utf8(made.script).unwrap();
        assert!(text.starts_with("tussockTiles(512,1100,600,[") && text.ends_with("]);\n"));
        let tiles: Vec<&str> = text.split('"').skip(1).step_by(2).collect();
        assert_eq!(tiles.len(), 6);
        for (k, tile) in (0_u32..).zip(tiles) {
            let tile = image::load_from_memory(&STANDARD.decode(tile).unwrap()).unwrap().to_luma8();
            let (left, top) = (k % 3 * SIDE, k / 3 * SIDE);
            assert_eq!(tile.dimensions(), (SIDE.min(width - left), SIDE.min(height - top)));
            for (x, y, pixel) in tile.enumerate_pixels() {
                assert!(pixel.0[0].abs_diff(level(left + x, top + y)) < 4, "tile {k} at {x}, {y}");
            }
        }
    }
}
