//! Turn: the eight orientations of a picture, and bringing pixels, block grids and patterns upright.

use super::baseline::Colours;
use crate::quantity::Point;
use crate::shot::{JpegBlocks, Mosaic, Tint};

/// How an upright picture is read from a stored one: upright (x, y) is stored (x, y), swapped if `swap`,
/// then counted from the far side where flipped.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Turn {
    swap: bool,
    flip_x: bool,
    flip_y: bool,
}

/// Side of the blocks in which a swapped picture is copied, so that both sides stay in the cache.
const BLOCK: usize = 32;

impl Turn {
    /// From the Exif tag (Exif 2.32, tag 0x0112); anything but 2 to 8 is upright.
    pub(super) const fn from_exif(orientation: u16) -> Self {
        let (swap, flip_x, flip_y) = match orientation {
            2 => (false, true, false),
            3 => (false, true, true),
            4 => (false, false, true),
            5 => (true, false, false),
            6 => (true, false, true),
            7 => (true, true, true),
            8 => (true, true, false),
            _ => (false, false, false),
        };
        Self { swap, flip_x, flip_y }
    }

    /// This, then `quarters` quarter turns clockwise.
    pub(super) const fn then_clockwise(self, quarters: u8) -> Self {
        let mut turn = self;
        let mut left = quarters % 4;
        while left > 0 {
            turn = if turn.swap {
                Self { swap: false, flip_x: !turn.flip_x, flip_y: turn.flip_y }
            } else {
                Self { swap: true, flip_x: turn.flip_x, flip_y: !turn.flip_y }
            };
            left -= 1;
        }
        turn
    }

    /// This, then left and right exchanged, or top and bottom.
    pub(super) const fn then_mirrored(self, left_and_right: bool) -> Self {
        let Self { swap, flip_x, flip_y } = self;
        if swap == left_and_right {
            Self { swap, flip_x, flip_y: !flip_y }
        } else {
            Self { swap, flip_x: !flip_x, flip_y }
        }
    }

    /// The number of the Exif tag that stands for it.
    pub(super) fn exif(self) -> u16 {
        (1..=8).find(|o| Self::from_exif(*o) == self).unwrap_or(1)
    }

    /// Whether the stored picture is upright already.
    pub(super) const fn is_none(self) -> bool {
        !self.swap && !self.flip_x && !self.flip_y
    }

    /// Upright width and height of a stored picture.
    pub(super) const fn size(self, width: usize, height: usize) -> (usize, usize) {
        if self.swap { (height, width) } else { (width, height) }
    }

    /// Stored position of an upright pixel, in a stored picture of that size.
    const fn stored(self, x: usize, y: usize, width: usize, height: usize) -> (usize, usize) {
        let (sx, sy) = if self.swap { (y, x) } else { (x, y) };
        (if self.flip_x { width - 1 - sx } else { sx }, if self.flip_y { height - 1 - sy } else { sy })
    }

    /// Where a point of the stored picture is in the upright one, both in fractions.
    pub(super) fn point(self, Point { x, y }: Point) -> Point {
        let (x, y) = (if self.flip_x { 1.0 - x } else { x }, if self.flip_y { 1.0 - y } else { y });
        if self.swap { Point { x: y, y: x } } else { Point { x, y } }
    }

    /// The upright picture, each sample put through `map` on the way (so that turning costs no extra pass).
    pub(super) fn apply<S: Copy, D: Copy + Default>(
        self,
        stored: &[S],
        width: usize,
        height: usize,
        map: impl Fn(S) -> D,
    ) -> Vec<D> {
        let (w, h) = self.size(width, height);
        let mut out = vec![D::default(); w * h];
        if w == 0 || h == 0 {
            return out;
        }
        if !self.swap {
            for (y, row) in out.chunks_exact_mut(w).enumerate() {
                let (_, sy) = self.stored(0, y, width, height);
                let source = &stored[sy * width..][..width];
                if self.flip_x {
                    row.iter_mut().zip(source.iter().rev()).for_each(|(d, s)| *d = map(*s));
                } else {
                    row.iter_mut().zip(source).for_each(|(d, s)| *d = map(*s));
                }
            }
            return out;
        }
        for y0 in (0..h).step_by(BLOCK) {
            for x0 in (0..w).step_by(BLOCK) {
                for y in y0..h.min(y0 + BLOCK) {
                    // Along an upright row one goes down a stored column, or up.
                    let (sx, sy) = self.stored(x0, y, width, height);
                    let mut at = sy * width + sx;
                    for d in &mut out[y * w..][x0..w.min(x0 + BLOCK)] {
                        *d = map(stored[at]);
                        at = if self.flip_y { at.wrapping_sub(width) } else { at + width };
                    }
                }
            }
        }
        out
    }

    /// Colours of blocks of a stored picture of that size, in upright coordinates; `None` where there are none.
    pub(super) fn tint(self, colours: Colours, (width, height): (usize, usize)) -> Option<Tint> {
        let Colours { columns, block, codes } = colours;
        let rows = codes.len().checked_div(columns).filter(|rows| *rows > 0)?;
        // Where a side is counted from its far end, the blocks' overhang comes first.
        let first = |flipped: bool, length: usize, count: usize, side: usize| {
            if flipped { length as f32 - (count * side) as f32 } else { 0.0 }
        };
        let x = (block.0 as f32, first(self.flip_x, width, columns, block.0));
        let y = (block.1 as f32, first(self.flip_y, height, rows, block.1));
        let (x, y) = if self.swap { (y, x) } else { (x, y) };
        let (upright_columns, upright_rows) = self.size(columns, rows);
        let codes = if self.is_none() { codes } else { self.apply(&codes, columns, rows, |c| c) };
        Some(Tint { columns: upright_columns, rows: upright_rows, cell: (x.0, y.0), origin: (x.1, y.1), codes })
    }

    /// The block grid of a stored JPEG of that size, in upright coordinates.
    pub(super) fn blocks(self, luma_steps: &[u16; 64], width: usize, height: usize) -> JpegBlocks {
        let first_edge = |length: usize, flipped: bool| if flipped { length % 8 } else { 0 };
        let (sx, sy) = (first_edge(width, self.flip_x), first_edge(height, self.flip_y));
        let (x0, y0) = if self.swap { (sy, sx) } else { (sx, sy) };
        let luma_steps = std::array::from_fn(|i| luma_steps[if self.swap { (i % 8) * 8 + i / 8 } else { i }]);
        JpegBlocks { size: 8, x0, y0, luma_steps }
    }

    /// The measured sites of a stored mosaic of that size, in upright coordinates.
    pub(super) fn mosaic(self, mosaic: Mosaic, width: usize, height: usize) -> Mosaic {
        if self.is_none() || width < 6 || height < 6 {
            return mosaic;
        }
        let measured = |x: usize, y: usize| {
            let (sx, sy) = self.stored(x, y, width, height);
            mosaic.measured(sx, sy)
        };
        match mosaic {
            Mosaic::None => Mosaic::None,
            Mosaic::Checkerboard { .. } => Mosaic::Checkerboard { even: measured(0, 0) },
            Mosaic::Six(_) => {
                Mosaic::Six((0..36).filter(|i| measured(i % 6, i / 6)).fold(0, |bits, i| bits | 1_u64 << i))
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The picture of the letter F of the Exif orientation tables: stored forms of one upright picture.
    #[test]
    fn eight_orientations_of_an_f_come_upright() {
        let upright = ["##", "#.", "##", "#.", "#."];
        let stored: [(&[&str], u16); 8] = [
            (&["##", "#.", "##", "#.", "#."], 1),
            (&["##", ".#", "##", ".#", ".#"], 2),
            (&[".#", ".#", "##", ".#", "##"], 3),
            (&["#.", "#.", "##", "#.", "##"], 4),
            (&["#####", "#.#.."], 5),
            (&["#.#..", "#####"], 6),
            (&["..#.#", "#####"], 7),
            (&["#####", "..#.#"], 8),
        ];
        for (rows, orientation) in stored {
            let (w, h) = (rows[0].len(), rows.len());
            let bytes: Vec<u8> = rows.concat().into_bytes();
            let out = Turn::from_exif(orientation).apply(&bytes, w, h, |v| v);
            assert_eq!(String::from_utf8(out).unwrap(), upright.concat(), "orientation {orientation}");
        }
    }

    #[test]
    fn quarter_turns_add_up() {
        for orientation in 1..=8 {
            let turn = Turn::from_exif(orientation);
            assert_eq!(turn.then_clockwise(4), turn);
            let data: Vec<u16> = (0..35 * 50).collect();
            let once = turn.apply(&data, 35, 50, |v| v);
            let (w, h) = turn.size(35, 50);
            let twice = Turn::from_exif(6).apply(&once, w, h, |v| v);
            assert_eq!(turn.then_clockwise(1).apply(&data, 35, 50, |v| v), twice);
        }
    }

    #[test]
    fn mirrors_add_up() {
        for orientation in 1..=8 {
            let turn = Turn::from_exif(orientation);
            assert_eq!(turn.exif(), orientation);
            let data: Vec<u16> = (0..35 * 50).collect();
            let once = turn.apply(&data, 35, 50, |v| v);
            let (w, h) = turn.size(35, 50);
            for (left_and_right, number) in [(true, 2), (false, 4)] {
                let twice = Turn::from_exif(number).apply(&once, w, h, |v| v);
                assert_eq!(turn.then_mirrored(left_and_right).apply(&data, 35, 50, |v| v), twice);
            }
        }
    }

    #[test]
    fn grids_and_patterns_turn_with_the_picture() {
        let (w, h) = (45, 30);
        let steps: [u16; 64] = std::array::from_fn(|i| i as u16 + 1);
        let x_trans = Mosaic::Six((0..36).filter(|i| (i * 7 + i / 5) % 3 == 0).fold(0, |b, i| b | 1_u64 << i));
        for orientation in 1..=8 {
            let turn = Turn::from_exif(orientation);
            // Block edges drawn into the stored picture must be where the turned grid says.
            let edges: Vec<u8> = (0..w * h).map(|i| u8::from(i % w % 8 == 0) | u8::from(i / w % 8 == 0) << 1).collect();
            let (uw, _) = turn.size(w, h);
            let blocks = turn.blocks(&steps, w, h);
            let out = turn.apply(&edges, w, h, |v| v);
            // A flipped edge lies one pixel on, since it is the other side of the pixel that starts a block.
            let (flip_x, flip_y) = if turn.swap { (turn.flip_y, turn.flip_x) } else { (turn.flip_x, turn.flip_y) };
            let x_bit = if turn.swap { 2 } else { 1 };
            for (i, v) in out.iter().enumerate() {
                let (x, y) = (i % uw + usize::from(flip_x), i / uw + usize::from(flip_y));
                assert_eq!(v & x_bit != 0, (x + 8 - blocks.x0).is_multiple_of(8), "orientation {orientation} x {x}");
                assert_eq!(
                    v & (3 - x_bit) != 0,
                    (y + 8 - blocks.y0).is_multiple_of(8),
                    "orientation {orientation} y {y}"
                );
            }
            for mosaic in [Mosaic::Checkerboard { even: true }, Mosaic::Checkerboard { even: false }, x_trans] {
                let sites: Vec<bool> = (0..w * h).map(|i| mosaic.measured(i % w, i / w)).collect();
                let turned = turn.mosaic(mosaic, w, h);
                for (i, site) in turn.apply(&sites, w, h, |v| v).into_iter().enumerate() {
                    assert_eq!(site, turned.measured(i % uw, i / uw), "{mosaic:?} orientation {orientation}");
                }
            }
        }
    }

    #[test]
    fn colours_turn_with_the_picture() {
        // Blocks of 16 by 8 px over 40 by 20, whose codes grow to the right and downwards by their sides.
        let (width, height) = (40, 20);
        let codes = || (0..9_u8).map(|i| [128 + 16 * (i % 3), 128 + 8 * (i / 3)]).collect();
        for orientation in 1..=8 {
            let turn = Turn::from_exif(orientation);
            let tint = turn.tint(Colours { columns: 3, block: (16, 8), codes: codes() }, (width, height)).unwrap();
            let (w, h) = turn.size(width, height);
            for y in 0..h {
                let mut row = vec![[0.0; 2]; w];
                tint.row(y as f32 + 0.5, &tint.across(0.5, 1.0, row.len()), &mut row);
                for (x, found) in row.iter().enumerate() {
                    let (sx, sy) = turn.stored(x, y, width, height);
                    let expected = [sx as f32 + 0.5 - 8.0, sy as f32 + 0.5 - 4.0].map(|v| v.max(0.0));
                    let near = (0..2).all(|k| (found[k] - expected[k].min([32.0, 16.0][k])).abs() < 1e-3);
                    assert!(near, "{orientation}: ({x}, {y}) {found:?} {expected:?}");
                }
            }
        }
        assert!(Turn::default().tint(Colours { columns: 3, block: (8, 8), codes: Vec::new() }, (9, 9)).is_none());
    }
}
