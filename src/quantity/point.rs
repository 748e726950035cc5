//! Places in the upright picture.

use serde::{Deserialize, Serialize};

/// A place as fractions of the upright picture: (0, 0) is its top-left corner, (1, 1) its bottom-right.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, schemars::JsonSchema)]
pub struct Point {
    /// Fraction of the width, from the left.
    pub x: f64,
    /// Fraction of the height, from the top.
    pub y: f64,
}

/// A place as the user marks it: fractions, or pixels that become fractions once a picture's size is known.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub enum Place {
    /// Fractions of the picture.
    Fractions(Point),
    /// Pixels of the upright picture.
    Pixels {
        /// From the left.
        x: f64,
        /// From the top.
        y: f64,
    },
}

impl Place {
    /// The place as fractions of a picture of this size; `None` where it lies outside.
    pub(crate) fn in_picture(self, width: u32, height: u32) -> Option<Point> {
        let point = match self {
            Self::Fractions(p) => p,
            Self::Pixels { x, y } => Point { x: x / f64::from(width), y: y / f64::from(height) },
        };
        ((0.0..=1.0).contains(&point.x) && (0.0..=1.0).contains(&point.y)).then_some(point)
    }
}

/// A rectangle in whole pixels of the upright picture, origin at the top-left pixel's corner.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Region {
    /// Left edge.
    pub x: u32,
    /// Top edge.
    pub y: u32,
    /// Width in pixels.
    pub width: u32,
    /// Height in pixels.
    pub height: u32,
}

impl Region {
    /// Its middle, px.
    #[must_use]
    pub fn middle(&self) -> (f64, f64) {
        let half = |start: u32, length: u32| f64::from(start) + f64::from(length) / 2.0;
        (half(self.x, self.width), half(self.y, self.height))
    }
}
