//! Parts of the picture that are judged as one: their names, and where those lie that follow from the frame alone.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::Region;

/// A part of the frame that is judged as one.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum ZoneName {
    /// The nearest subject that must be sharp.
    Near,
    /// The farthest.
    Far,
    /// The middle of the frame.
    Centre,
    /// Between the middle and the corners; a series has it, the audit of a single frame does not.
    MidFrame,
    /// Corner.
    TopLeft,
    /// Corner.
    TopRight,
    /// Corner.
    BottomLeft,
    /// Corner.
    BottomRight,
    /// The subject of a series whose tiles lie at several depths: what is in focus, unless it was marked.
    Subject,
    /// In such a series what lies at another depth than the subject, but not the farthest from it.
    Beside,
    /// In such a series what lies farthest from the subject in depth.
    Beyond,
    /// In such a series what is soft and changes with no aperture.
    Still,
}

/// Share of the longer side that a corner takes along either side. Chosen: an eighth, two or three of 24 tiles.
pub(crate) const CORNER_SHARE: f64 = 0.13;
/// Half of the centre's width and height, as shares of the picture's. Chosen: the middle third or so.
const CENTRE_SHARE: f64 = 0.15;
/// Where mid-frame begins and ends, as shares of half the diagonal. Chosen: clear of the centre and of the corners.
const MID_FRAME: std::ops::Range<f64> = 0.4..0.65;

impl ZoneName {
    /// Every zone, in the order of output.
    pub const ALL: [Self; 12] = [
        Self::Near,
        Self::Far,
        Self::Centre,
        Self::MidFrame,
        Self::TopLeft,
        Self::TopRight,
        Self::BottomLeft,
        Self::BottomRight,
        Self::Subject,
        Self::Beside,
        Self::Beyond,
        Self::Still,
    ];
    /// Those that a single frame is judged by.
    pub const JUDGED: [Self; 7] =
        [Self::Near, Self::Far, Self::Centre, Self::TopLeft, Self::TopRight, Self::BottomLeft, Self::BottomRight];
    /// The four corners.
    pub(crate) const CORNERS: [Self; 4] = [Self::TopLeft, Self::TopRight, Self::BottomLeft, Self::BottomRight];

    /// The name in machine-readable output.
    #[must_use]
    pub const fn key(self) -> &'static str {
        match self {
            Self::Near => "near",
            Self::Far => "far",
            Self::Centre => "centre",
            Self::MidFrame => "mid_frame",
            Self::TopLeft => "top_left",
            Self::TopRight => "top_right",
            Self::BottomLeft => "bottom_left",
            Self::BottomRight => "bottom_right",
            Self::Subject => "subject",
            Self::Beside => "beside",
            Self::Beyond => "beyond",
            Self::Still => "still",
        }
    }

    /// Whether it is one of the four corners.
    #[must_use]
    pub const fn is_corner(self) -> bool {
        matches!(self, Self::TopLeft | Self::TopRight | Self::BottomLeft | Self::BottomRight)
    }

    /// Whether a place, px, lies in this zone of a picture of this size; never for those that depend on what the
    /// picture shows.
    #[must_use]
    pub fn holds(self, (x, y): (f64, f64), (width, height): (f64, f64)) -> bool {
        let side = CORNER_SHARE * width.max(height);
        let (left, right, top, bottom) = (x < side, x > width - side, y < side, y > height - side);
        let (across, down) = (x - width / 2.0, y - height / 2.0);
        match self {
            Self::Near | Self::Far | Self::Subject | Self::Beside | Self::Beyond | Self::Still => false,
            Self::Centre => across.abs() < CENTRE_SHARE * width && down.abs() < CENTRE_SHARE * height,
            Self::MidFrame => MID_FRAME.contains(&(across.hypot(down) / (width.hypot(height) / 2.0))),
            Self::TopLeft => left && top,
            Self::TopRight => right && top,
            Self::BottomLeft => left && bottom,
            Self::BottomRight => right && bottom,
        }
    }

    /// Indices of the tiles whose middles lie in this zone of a picture of this size.
    #[must_use]
    pub fn tiles(self, tiles: &[Region], width: u32, height: u32) -> Vec<usize> {
        let size = (f64::from(width), f64::from(height));
        (0..tiles.len()).filter(|&i| self.holds(tiles[i].middle(), size)).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_place_lies_in_two_zones_of_the_frame() {
        for (width, height) in [(600.0, 400.0), (400.0, 600.0), (500.0, 500.0)] {
            for i in 0..10_000 {
                let at = (width * (f64::from(i % 100) + 0.5) / 100.0, height * (f64::from(i / 100) + 0.5) / 100.0);
                let of: Vec<_> = ZoneName::ALL.into_iter().filter(|z| z.holds(at, (width, height))).collect();
                assert!(of.len() < 2, "{at:?} of {width} x {height}: {of:?}");
            }
        }
    }
}
