//! Place: where on the sensor a place of an upright picture lies, whichever way the camera was held.

use crate::measure::TileMap;
use crate::shot::Capture;

/// How an upright picture lies on the sensor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Lie {
    /// Size of the upright picture, px.
    size: (f64, f64),
    pitch_mm: f64,
    /// How the picture was stored, as the Exif tag has it.
    turn: u16,
    /// The other way it may have been, where the file doesn't tell.
    or: Option<u16>,
}

impl Lie {
    /// By a frame and its facts; `None` where its pixels have no known size.
    ///
    /// Sensors lie across. A picture that is tall and stored so was turned by whoever saved it, and the camera may have been
    /// held either way.
    pub(crate) fn of(map: &TileMap, capture: &Capture) -> Option<Self> {
        let pitch_um = capture.pixel_pitch_um.as_ref().map(|p| p.value).filter(|p| p.is_finite() && *p > 0.0)?;
        let stored = capture.orientation.as_ref().map_or(1, |o| o.value);
        let (turn, or) = match (map.width < map.height, swaps(stored)) {
            (true, false) => (6, Some(8)),
            (false, true) if map.width > map.height => (1, None),
            _ => (stored, None),
        };
        let size = (f64::from(map.width.max(1)), f64::from(map.height.max(1)));
        Some(Self { size, pitch_mm: pitch_um * 1e-3, turn, or })
    }

    /// Whether the file tells which way the camera was held.
    pub(super) const fn told(&self) -> bool {
        self.or.is_none()
    }

    /// Width and height of the picture on the sensor, mm, the camera held level.
    pub(super) fn frame_mm(&self) -> (f64, f64) {
        let (width, height) = (self.size.0 * self.pitch_mm, self.size.1 * self.pitch_mm);
        if swaps(self.turn) { (height, width) } else { (width, height) }
    }

    /// A place of the upright picture (px from its top-left corner) on the sensor, mm from the picture's middle to the right and
    /// down, the camera held level.
    pub(super) fn on_sensor(&self, at: (f64, f64)) -> (f64, f64) {
        self.turned(at, self.turn)
    }

    /// The same had the camera been held the other way, where the file doesn't tell.
    pub(super) fn or_on_sensor(&self, at: (f64, f64)) -> Option<(f64, f64)> {
        self.or.map(|turn| self.turned(at, turn))
    }

    fn turned(&self, (x, y): (f64, f64), turn: u16) -> (f64, f64) {
        stored(((x - 0.5 * self.size.0) * self.pitch_mm, (y - 0.5 * self.size.1) * self.pitch_mm), turn)
    }
}

/// Whether a stored picture's rows are the upright one's columns.
const fn swaps(orientation: u16) -> bool {
    orientation >= 5
}

/// Where a place of the upright picture, from its middle, is in the stored one (Exif 2.32, tag 0x0112).
fn stored((x, y): (f64, f64), orientation: u16) -> (f64, f64) {
    match orientation {
        2 => (-x, y),
        3 => (-x, -y),
        4 => (x, -y),
        5 => (y, x),
        6 => (y, -x),
        7 => (-y, -x),
        8 => (-y, x),
        _ => (x, y),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shot::{Fact, Source};

    /// The table of Exif 2.32, tag 0x0112: where in the upright picture the stored one's first row and first column lie.
    #[test]
    fn places_are_turned_back_as_the_tag_says() {
        let (top, bottom, left, right) = ((0.0, -1.0), (0.0, 1.0), (-1.0, 0.0), (1.0, 0.0));
        let table = [
            (1, top, left),
            (2, top, right),
            (3, bottom, right),
            (4, bottom, left),
            (5, left, top),
            (6, right, top),
            (7, right, bottom),
            (8, left, bottom),
        ];
        for (orientation, row, column) in table {
            assert_eq!(stored(row, orientation), (0.0, -1.0), "{orientation}");
            assert_eq!(stored(column, orientation), (-1.0, 0.0), "{orientation}");
        }
    }

    #[test]
    fn a_tall_picture_stored_tall_may_have_been_turned_either_way() {
        let lie = |width: u32, height: u32, orientation: Option<u16>| {
            let capture = Capture {
                pixel_pitch_um: Some(Fact::new(6.0, Source::Exif)),
                orientation: orientation.map(|o| Fact::new(o, Source::Exif)),
                ..Capture::default()
            };
            Lie::of(&TileMap { width, height, ..TileMap::default() }, &capture).unwrap()
        };
        // 4000 by 6000 pixels of 6 um; (1000, 500) is 6 mm left of the middle and 15 mm above it.
        let near = |a: (f64, f64), b: (f64, f64)| (a.0 - b.0).hypot(a.1 - b.1) < 1e-9;
        for (orientation, place) in [(Some(6), (-15.0, 6.0)), (Some(8), (15.0, -6.0))] {
            let tall = lie(4000, 6000, orientation);
            assert!(tall.told() && near(tall.frame_mm(), (36.0, 24.0)), "{tall:?}");
            assert!(near(tall.on_sensor((1000.0, 500.0)), place), "{tall:?}");
        }
        for orientation in [None, Some(1)] {
            let tall = lie(4000, 6000, orientation);
            assert!(!tall.told() && near(tall.frame_mm(), (36.0, 24.0)), "{tall:?}");
            assert!(near(tall.or_on_sensor((1000.0, 500.0)).unwrap(), (15.0, -6.0)), "{tall:?}");
        }
        // The camera upside down.
        let wide = lie(6000, 4000, Some(3));
        assert!(wide.told() && near(wide.on_sensor((1000.0, 500.0)), (12.0, 9.0)), "{wide:?}");
        assert!(Lie::of(&TileMap::default(), &Capture::default()).is_none());
    }
}
