//! A shift, rotation and scale, and its robust fit to matched patches.

/// A similarity about a centre: q = centre + shift + scale * R(angle) * (p - centre), px, angle from +x towards +y.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Similarity {
    /// The centre that rotation and scale leave where it is, px.
    pub centre: (f64, f64),
    /// Shift, px.
    pub shift: (f64, f64),
    /// Enlargement of the second frame against the first.
    pub scale: f64,
    /// Rotation, radians.
    pub angle: f64,
}

impl Similarity {
    /// The map that leaves every place where it is.
    #[must_use]
    pub const fn still() -> Self {
        Self { centre: (0.0, 0.0), shift: (0.0, 0.0), scale: 1.0, angle: 0.0 }
    }

    /// Where a place of the first frame lies in the second, px.
    #[must_use]
    pub fn apply(&self, x: f64, y: f64) -> (f64, f64) {
        let (dx, dy) = (x - self.centre.0, y - self.centre.1);
        let (c, s) = (self.scale * self.angle.cos(), self.scale * self.angle.sin());
        (self.centre.0 + self.shift.0 + c * dx - s * dy, self.centre.1 + self.shift.1 + s * dx + c * dy)
    }

    /// This map, then another of what it maps to.
    #[must_use]
    pub fn then(&self, next: &Self) -> Self {
        let (x, y) = self.apply(self.centre.0, self.centre.1);
        let (x, y) = next.apply(x, y);
        let shift = (x - self.centre.0, y - self.centre.1);
        Self { centre: self.centre, shift, scale: self.scale * next.scale, angle: self.angle + next.angle }
    }
}

/// A patch of the first frame and where it was found in the second, px.
#[derive(Clone, Copy, Debug)]
pub(super) struct Pair {
    pub(super) from: (f64, f64),
    pub(super) to: (f64, f64),
    /// How much its position counts.
    pub(super) weight: f64,
}

/// Fits a similarity to pairs: starts from the best-supported shift near `start`, then Tukey's biweight with the
/// given scale (px). Returns the map and how many pairs lie within `tolerance` of it; `None` below four.
pub(super) fn fit(pairs: &[Pair], start: Similarity, tolerance: f64) -> Option<(Similarity, usize)> {
    let offset = |map: &Similarity, p: &Pair| {
        let (x, y) = map.apply(p.from.0, p.from.1);
        (p.to.0 - x, p.to.1 - y)
    };
    let offsets: Vec<(f64, f64)> = pairs.iter().map(|p| offset(&start, p)).collect();
    // The offset with most others near it survives any minority of wrong matches.
    let support = |o: &(f64, f64)| offsets.iter().filter(|q| (q.0 - o.0).hypot(q.1 - o.1) < 2.0 * tolerance).count();
    let best = offsets.iter().max_by_key(|o| support(o))?;
    let mut map = Similarity { shift: (start.shift.0 + best.0, start.shift.1 + best.1), ..start };
    let mut reach = 3.0 * tolerance;
    for _ in 0..8 {
        let mut normal = nalgebra::Matrix4::<f64>::zeros();
        let mut right = nalgebra::Vector4::<f64>::zeros();
        let mut used = 0;
        for pair in pairs {
            let (ox, oy) = offset(&map, pair);
            let t = ox.hypot(oy) / reach;
            if t >= 1.0 {
                continue;
            }
            used += 1;
            let weight = pair.weight * (1.0 - t * t).powi(2);
            let (dx, dy) = (pair.from.0 - map.centre.0, pair.from.1 - map.centre.1);
            // Unknowns: shift x, shift y, a = s cos t - 1 and b = s sin t, about the identity.
            for (row, seen) in [
                (nalgebra::Vector4::new(1.0, 0.0, dx, -dy), pair.to.0 - pair.from.0),
                (nalgebra::Vector4::new(0.0, 1.0, dy, dx), pair.to.1 - pair.from.1),
            ] {
                normal += weight * row * row.transpose();
                right += weight * row * seen;
            }
        }
        if used < 4 {
            return None;
        }
        let solved = normal.cholesky()?.solve(&right);
        let (c, s) = (1.0 + solved[2], solved[3]);
        map = Similarity { shift: (solved[0], solved[1]), scale: c.hypot(s), angle: s.atan2(c), ..map };
        reach = (0.7 * reach).max(tolerance);
    }
    let kept = pairs
        .iter()
        .filter(|p| {
            let (x, y) = offset(&map, p);
            x.hypot(y) < tolerance
        })
        .count();
    // Frames of one scene differ by a little; a wilder map is a chance alignment.
    (kept >= 4 && (0.9..1.1).contains(&map.scale) && map.angle.abs() < 0.1).then_some((map, kept))
}
