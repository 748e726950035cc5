//! Blur against direction: per tile from edges that face several ways, and what is common to the whole frame.

use super::edge::Edge;
use super::tilemap::{Spread, Streak, Tile};
use crate::quantity::{Estimate, PIXEL_SIGMA, TRACK_SIGMA};
use crate::stats::{ranked, upper_median};

/// Fewest edges for a spread, and fewest tiles for a streak. Chosen: readings at least twice the three unknowns of
/// either fit; an edge gives one, a tile two.
const FEWEST_EDGES: usize = 6;
const FEWEST_TILES: usize = 4;
/// Fewest tiles whose agreement is more than chance. Chosen: ten that agree hardly do so by chance.
const MANY_TILES: usize = 10;
/// Mean resultant length of the doubled angles from which edges count as facing one way. Derived: that of directions
/// that scatter by some 20 degrees either way.
const ONE_WAY: f64 = 0.8;
/// Scatter of one edge's width beyond its stated error, as a share of the width. Chosen: what edges of one frame differ
/// by besides their errors.
const CONTENT: f64 = 0.10;

/// Share of what an even track adds along its direction that the sharpest quarter of the tiles must reach for the
/// widths to hold such a track. Set on 31 photographs moved along a track of 4 to 25 px, whose sharpest quarter reads
/// at least 0.4 of it; averaged over directions a track leaves some seven tenths.
pub(crate) const HELD: f64 = 0.33;

/// Share of what a track adds along its direction below which the median tile of a part of the frame, the pixel's own
/// width taken out, shows that this part stood still and what moved is in the scene (grass in wind); and the number of
/// parts, side by side or one above another. Set on the same photographs moved by 4, 6 and 10 px (93): the third that
/// reads narrowest has 0.52 and more in 92 of them.
const STILL: f64 = 0.5;
const PARTS: u32 = 3;

/// Share of what a track adds along its direction that the sharpest tenth of the tiles may have at most, the pixel's own
/// width taken out. Set on 112 pictures drawn out by tracks of 4 to 12 px, which have 0.24 to 1.04: a track is the same all
/// over a frame and leaves less on average than along its own direction; where all of the frame is softer something else
/// softens it, and it may be the texture's own direction that edges show.
const WIDER: f64 = 1.05;

/// Mean square of a tile's edges over the square of its width, which a track leaves alike, below which the edges
/// contradict the width: strokes thinner than the blur have their two sides read as one narrow edge, and where they are
/// foreshortened along one direction alone. Set on tiles of 60 rendered scenes: one in a thousand of 1,389 in still
/// ones lies below, six of 190 in shaken ones.
const ALIKE: f64 = 0.5;

/// Fits sigma^2(t) = xx cos^2 t + 2 xy sin t cos t + yy sin^2 t to a tile's edges; `None` where they face too few
/// ways.
///
/// Squares of widths add exactly for Gaussian parts only; a long track beside a narrow rest makes the mixed
/// directions read a few per cent wide. Edges far above the fit (soft content) lose their weight.
pub(super) fn spread(edges: &[Edge]) -> Option<Spread> {
    if edges.len() < FEWEST_EDGES {
        return None;
    }
    let rows: Vec<([f64; 3], f64, f64)> = edges
        .iter()
        .map(|e| {
            let (s, c) = e.angle.sin_cos();
            let sd = 2.0 * e.sigma * e.sd.hypot(CONTENT * e.sigma);
            ([c * c, 2.0 * s * c, s * s], e.sigma * e.sigma, sd)
        })
        .collect();
    let mut weights: Vec<f64> = rows.iter().map(|r| 1.0 / (r.2 * r.2)).collect();
    // A weak prior (round, as wide as the edges' mean, give or take four times as much: edges along a long streak
    // are the sharp ones and the many) keeps edges that all face one way from making up the rest; what leans on it
    // alone is refused below.
    let mean = rows.iter().map(|r| r.1).sum::<f64>() / rows.len() as f64;
    let prior = 1.0 / (16.0 * mean * mean);
    let mut fit = None;
    for _ in 0..4 {
        let mut a = [[prior, 0.0, 0.0], [0.0, prior, 0.0], [0.0, 0.0, prior]];
        let mut b = [prior * mean, 0.0, prior * mean];
        for ((row, y, _), w) in rows.iter().zip(&weights) {
            for i in 0..3 {
                for j in 0..3 {
                    a[i][j] += w * row[i] * row[j];
                }
                b[i] += w * row[i] * y;
            }
        }
        let inverse = nalgebra::Matrix3::from_fn(|i, j| a[i][j]).try_inverse()?;
        let p = inverse * nalgebra::Vector3::from(b);
        for ((row, y, sd), w) in rows.iter().zip(&mut weights) {
            let z = (y - p[0] * row[0] - p[1] * row[1] - p[2] * row[2]) / sd;
            // Soft content only adds: a stray above loses its weight sooner than one below.
            let limit = if z > 0.0 { 1.0 } else { 2.0 };
            *w = 1.0 / (sd * sd) / (1.0 + (z / limit).powi(2));
        }
        fit = Some((p, inverse));
    }
    let (p, covariance) = fit?;
    let n = edges.len() as u32;
    let part = |i: usize| Estimate::new(p[i], covariance[(i, i)].max(0.0).sqrt(), n);
    let (xx, xy, yy) = (part(0), part(1), part(2));
    // Too few ways faced: one of the parts is mere extrapolation.
    let known = xx.value > 0.0 && yy.value > 0.0 && xx.sd < 0.4 * xx.value && yy.sd < 0.4 * yy.value;
    known.then_some(Spread { xx, xy, yy })
}

/// The direction (radians, modulo pi) that nearly all edges face, if they do.
pub(super) fn one_way(edges: &[Edge]) -> Option<f64> {
    let (x, y) = edges.iter().fold((0.0, 0.0), |(x, y), e| {
        let (s, c) = (2.0 * e.angle).sin_cos();
        (x + c, y + s)
    });
    (x.hypot(y) > ONE_WAY * edges.len() as f64).then(|| 0.5 * y.atan2(x))
}

/// The streak common to a frame, if there is one.
///
/// Each tile's spread gives a vector (xx - yy, 2 xy), which turns twice as fast as the direction it stands for. A
/// lens's own radial or tangential blur turns with the place in the picture and grows with the distance from the
/// middle; a track of the camera is the same everywhere. Both are fitted together, robustly. The limits were set on
/// rendered landscapes: of 323 without a streak, whose content alone makes up to 9 standard deviations, none passes; of
/// 261 others two do, with streaks of 1.2 and 1.6 px.
/// Lengths beyond about 9 px read too short: edges across so long a track are too soft to be taken for edges.
pub(super) fn streak(tiles: &[Tile], width: f64, height: f64) -> Option<Streak> {
    let scale = width.hypot(height) / 2.0;
    let rows: Vec<Row> = tiles.iter().filter_map(|t| Row::of(t, width, height, scale)).collect();
    if rows.len() < FEWEST_TILES {
        return None;
    }
    let mut weights: Vec<f64> = rows.iter().map(|r| 1.0 / (r.sd * r.sd)).collect();
    let mut fit = None;
    for _ in 0..6 {
        // Unknowns: the common vector (a, b) and the radial strength k: p = a + k rp, q = b + k rq.
        let (mut w, mut wp, mut wq, mut wrp, mut wrq, mut wrr, mut wrx) = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0);
        for (r, &v) in rows.iter().zip(&weights) {
            w += v;
            wp += v * r.p;
            wq += v * r.q;
            wrp += v * r.rp;
            wrq += v * r.rq;
            wrr += v * (r.rp * r.rp + r.rq * r.rq);
            wrx += v * (r.rp * r.p + r.rq * r.q);
        }
        // The radial pattern is only told from a streak where tiles lie around the middle; a weak prior keeps it
        // from taking over when they all lie on one side.
        let spare = wrr - (wrp * wrp + wrq * wrq) / w + 0.1 * w;
        let k = (wrx - (wrp * wp + wrq * wq) / w) / spare;
        let (a, b) = ((wp - k * wrp) / w, (wq - k * wrq) / w);
        let mut chi = 0.0;
        for (r, v) in rows.iter().zip(&mut weights) {
            let z2 = ((r.p - a - k * r.rp).powi(2) + (r.q - b - k * r.rq).powi(2)) / (r.sd * r.sd);
            *v = 1.0 / (r.sd * r.sd) / (1.0 + z2 / 4.0);
            chi += z2.min(16.0);
        }
        let excess = (chi / (2.0 * rows.len() as f64)).max(1.0);
        fit = Some((a, b, (excess / w).sqrt()));
    }
    let (a, b, sd) = fit?;
    let long = a.hypot(b);
    // How many tiles point the common way: chance makes half of them.
    let agree = rows.iter().filter(|r| r.p * a + r.q * b > 0.0).count() as f64 / rows.len() as f64;
    let share = long / rows.iter().map(|r| r.trace).sum::<f64>() * rows.len() as f64;
    // Where defocus hides the streak in most of the frame, it still shows in the sharpest quarter.
    let plain = long / ranked(rows.iter().map(|r| r.trace).collect(), 0.25)?;
    let found = (long >= 5.0 * sd && agree >= 0.8 && share >= 0.2)
        || (long >= 10.0 * sd && agree >= 0.7 && plain >= 0.25)
        // A long streak leaves few tiles that tell, but they are of one mind.
        || (long >= 3.5 * sd && agree >= 0.97 && plain >= 0.4 && rows.len() >= MANY_TILES);
    if !found {
        return None;
    }
    let length = long.sqrt() / TRACK_SIGMA;
    if denied(tiles, length) || partly_still(tiles, [width, height], length) {
        return None;
    }
    let n = rows.len() as u32;
    Some(Streak {
        length: Estimate::new(length, (length * sd / (2.0 * long)).hypot(0.06 * length), n),
        angle: Estimate::new(0.5 * b.atan2(a), (0.5 * sd / long).hypot(0.03), n),
        doubled: None,
    })
}

/// Whether the tiles are sharper than an even track of this length leaves them (compression has directions of its own, which
/// edges show and widths don't), or so soft that it can't be what softens them.
fn denied(tiles: &[Tile], length: f64) -> bool {
    let widths = || -> Vec<f64> { tiles.iter().filter_map(|t| Some(t.blur?.value)).collect() };
    let track = TRACK_SIGMA * length;
    widths().len() >= MANY_TILES
        && (ranked(widths(), 0.25).is_some_and(|width| width < HELD * track)
            || ranked(widths(), 0.1).is_some_and(|width| width > PIXEL_SIGMA.hypot(WIDER * track)))
}

/// Whether a third of the frame is sharper than an even track of this length leaves it: a camera's track softens all of the frame.
fn partly_still(tiles: &[Tile], [width, height]: [f64; 2], length: f64) -> bool {
    let still = |part: u32, share: &dyn Fn(&Tile) -> f64| {
        let lies = |t: &&Tile| (share(t) * f64::from(PARTS)) as u32 == part;
        let widths: Vec<f64> = tiles.iter().filter(lies).filter_map(|t| Some(t.blur?.value)).collect();
        // The pixel's own width is there without a track, and adds in squares.
        let least = PIXEL_SIGMA.hypot(STILL * TRACK_SIGMA * length);
        widths.len() >= MANY_TILES && upper_median(widths).is_some_and(|w| w < least)
    };
    (0..PARTS).any(|part| still(part, &|t| t.centre().0 / width) || still(part, &|t| t.centre().1 / height))
}

/// One tile's evidence.
struct Row {
    p: f64,
    q: f64,
    rp: f64,
    rq: f64,
    trace: f64,
    sd: f64,
}

impl Row {
    fn of(tile: &Tile, width: f64, height: f64, scale: f64) -> Option<Self> {
        let s = tile.spread?;
        if s.xx.value + s.yy.value < 2.0 * ALIKE * tile.blur?.value.powi(2) {
            return None;
        }
        let (x, y) = tile.centre();
        let (dx, dy) = ((x - width / 2.0) / scale, (y - height / 2.0) / scale);
        Some(Self {
            p: s.xx.value - s.yy.value,
            q: 2.0 * s.xy.value,
            // Double-angle vector of the radial direction, growing as the square of the distance.
            rp: dx * dx - dy * dy,
            rq: 2.0 * dx * dy,
            trace: s.xx.value + s.yy.value,
            sd: s.xx.sd.hypot(s.yy.sd).max(2.0 * s.xy.sd).max(1e-3),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::super::tilemap::TileState;
    use super::*;

    fn edge(angle: f64, sigma: f64) -> Edge {
        Edge { sigma, sd: 0.02 * sigma, angle, overshoot: None }
    }

    /// Width along `angle` of a round Gaussian of width `base` and a track of length `length` along `along`.
    fn width(base: f64, length: f64, along: f64, angle: f64) -> f64 {
        base.hypot(TRACK_SIGMA * length * (angle - along).cos())
    }

    #[test]
    fn edges_that_all_face_one_way_tell_no_spread() {
        let edges: Vec<Edge> = (0..16).map(|i| edge(0.7 + 1e-4 * f64::from(i), 1.5)).collect();
        assert!(spread(&edges).is_none());
    }

    #[test]
    fn edges_all_round_give_the_spread_back() {
        let edges: Vec<Edge> = (0..12)
            .map(|i| {
                let angle = std::f64::consts::PI * f64::from(i) / 12.0;
                edge(angle, width(0.8, 5.0, 0.4, angle))
            })
            .collect();
        let s = spread(&edges).expect("a spread");
        assert!((s.angle() - 0.4).abs() < 0.02, "{}", s.angle());
        assert!((s.along(0.4_f64.cos(), 0.4_f64.sin()).value - width(0.8, 5.0, 0.0, 0.0)).abs() < 0.03);
    }

    /// One of the tiles of a picture of some columns, 100 px a side, of a width (px), and its edges' mean squares along x and y (px^2) to
    /// within an error.
    fn tile_of(k: u32, columns: u32, width: f64, [xx, yy]: [f64; 2], error: f64) -> Tile {
        let square = |value: f64| Estimate::new(value, error, 12);
        Tile {
            x: 100 * (k % columns),
            y: 100 * (k / columns),
            width: 100,
            height: 100,
            state: TileState::Measured,
            contrast: 0.5,
            noise: 0.0,
            level: 0.5,
            blur: Some(Estimate::new(width, 0.1 * width, 12)),
            alone: None,
            bound: None,
            spread: Some(Spread { xx: square(xx), xy: square(0.0), yy: square(yy) }),
        }
    }

    /// Length of the streak of a picture of 24 such tiles, all alike.
    fn streak_of(width: f64, squares: [f64; 2], error: f64) -> Option<f64> {
        let tiles: Vec<Tile> = (0..24).map(|k| tile_of(k, 6, width, squares, error)).collect();
        streak(&tiles, 600.0, 400.0).map(|s| s.length.value)
    }

    #[test]
    fn tiles_that_are_too_sharp_deny_a_track_that_their_edges_show() {
        let found = |width: f64| streak_of(width, [0.3 + 2.4, 0.3], 0.05);
        // A track of 5 px adds 2.4 px^2 along its direction, and leaves a width of 1.1 px and more over all of them.
        assert!(found(1.2).is_some_and(|length| (length - 5.0).abs() < 0.1), "{:?}", found(1.2));
        assert_eq!(found(0.48), None);
    }

    /// A track adds to the width of a tile what it adds to the mean square of its edges.
    #[test]
    fn edges_much_narrower_than_their_tiles_tell_no_track() {
        let found = |width: f64| streak_of(width, [4.3, 0.9], 0.3);
        // 3.4 px^2 along x, of a track of 5.9 px; with a width of 1.6 px, of 2.6 px^2 as the mean over both directions is, that is one.
        assert!(found(1.6).is_some_and(|length| (length - 5.94).abs() < 0.1), "{:?}", found(1.6));
        // Stones a third as high as wide, 2.6 px out of focus: their upper and lower sides read as one edge.
        assert_eq!(found(2.6), None);
    }

    /// Length of the streak of a picture of 96 tiles of a width whose edges' mean square along x is that along y, 0.3 px^2, and `added`, but
    /// for its upper three rows, which have a width of their own and no edges.
    fn streak_below(upper: f64, width: f64, added: f64) -> Option<f64> {
        let mut tiles: Vec<Tile> = (0..96).map(|k| tile_of(k, 12, width, [0.3 + added, 0.3], 0.05)).collect();
        for tile in tiles.iter_mut().filter(|t| t.y < 300) {
            (tile.blur, tile.spread) = (Some(Estimate::new(upper, 0.1 * upper, 12)), None);
        }
        streak(&tiles, 1200.0, 800.0).map(|s| s.length.value)
    }

    /// Grass that the wind moves by 4 px over two thirds of the picture leaves the third behind it as it was, which a camera's track
    /// doesn't: there a track of 4 px adds 0.9 px in the mean over both directions.
    #[test]
    fn a_third_of_the_frame_that_stood_still_denies_a_track() {
        let found = |upper: f64| streak_below(upper, 1.1, 1.54);
        assert!(found(1.05).is_some_and(|length| (length - 4.0).abs() < 0.1), "{:?}", found(1.05));
        assert_eq!(found(0.5), None);
    }

    /// Of a narrow width the pixel has a good part, which is there without a track: 0.53 px leave 0.43 px for one of 2.9 px, which adds
    /// 0.64 px in the mean over both directions.
    #[test]
    fn the_pixels_own_width_is_no_part_of_a_track() {
        let found = |upper: f64| streak_below(upper, 0.9, 0.828);
        assert!(found(0.75).is_some_and(|length| (length - 2.93).abs() < 0.1), "{:?}", found(0.75));
        assert_eq!(found(0.53), None);
    }

    /// A track of 5 px is 1.55 px wide along its direction and adds 1.1 px in the mean over all; what is wider all over the frame is out of
    /// focus, and its texture has a direction.
    #[test]
    fn a_frame_that_is_softer_all_over_than_its_track_has_none() {
        let found = |width: f64, squares: [f64; 2]| streak_of(width, squares, 0.2);
        let shaken = found(1.5, [3.45, 1.05]);
        assert!(shaken.is_some_and(|length| (length - 5.0).abs() < 0.1), "{shaken:?}");
        assert_eq!(found(1.9, [4.8, 2.4]), None);
    }

    #[test]
    fn edges_that_face_one_way_say_which() {
        let edges: Vec<Edge> = (0..9).map(|i| edge(3.1 + 0.02 * f64::from(i), 1.0)).collect();
        let facing = one_way(&edges).expect("one way");
        assert!((2.0 * (facing - 3.18)).cos() > 0.999, "{facing}");
        let round: Vec<Edge> = (0..9).map(|i| edge(0.35 * f64::from(i), 1.0)).collect();
        assert!(one_way(&round).is_none());
    }
}
