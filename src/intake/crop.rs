//! Crop: the part of a stored picture that is to be shown, chosen in the camera or a converter (DNG 1.4, DefaultUserCrop).

use crate::quantity::Point;

/// Edges of the part, in fractions of the picture that the file's own frame leaves.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Crop {
    top: f64,
    left: f64,
    bottom: f64,
    right: f64,
}

impl Default for Crop {
    fn default() -> Self {
        Self { top: 0.0, left: 0.0, bottom: 1.0, right: 1.0 }
    }
}

impl Crop {
    /// From the four numbers of the tag; `None` where they make no sense, or leave nothing out.
    pub(super) fn of(edges: &[f64]) -> Option<Self> {
        let [top, left, bottom, right] = edges.try_into().ok()?;
        let inside = 0.0 <= top && top < bottom && bottom <= 1.0 && 0.0 <= left && left < right && right <= 1.0;
        Some(Self { top, left, bottom, right }).filter(|crop| inside && *crop != Self::default())
    }

    /// First column and row, width and height of the part of a picture of this size, px.
    pub(super) fn part(self, width: usize, height: usize) -> [usize; 4] {
        let along = |from: f64, to: f64, all: usize| {
            let [from, to] = [from, to].map(|at| (at * all as f64).round() as usize);
            (from.min(all.saturating_sub(1)), to.saturating_sub(from).max(1))
        };
        let ((x, width), (y, height)) = (along(self.left, self.right, width), along(self.top, self.bottom, height));
        [x, y, width, height]
    }

    /// A place of the picture in fractions of the part; `None` outside it.
    pub(super) fn point(self, place: Point) -> Option<Point> {
        let along = |at: f64, from: f64, to: f64| (at - from) / (to - from);
        let (x, y) = (along(place.x, self.left, self.right), along(place.y, self.top, self.bottom));
        [x, y].iter().all(|v| (0.0..=1.0).contains(v)).then_some(Point { x, y })
    }
}
