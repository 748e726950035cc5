//! What a bracket's fit rests on: the squared widths of its tiles, and squared widths by disc and softness.

use super::{FEWEST, SCATTER};
use crate::optics::blur::{Parts, sigma_px};
use crate::quantity::{DISC_SIGMA, Region};
use crate::series::Blurs;

/// A tile's width in one frame.
#[derive(Clone, Copy)]
pub(super) struct Point {
    /// Place among the compared frames.
    pub frame: usize,
    /// Squared width, px^2.
    pub square: f64,
    /// Sd of the logarithm of the width.
    pub sd: f64,
    /// Middle of what was compared from that of the tile, tiles.
    pub off: (f64, f64),
    /// Whether it may be wider than that.
    pub at_least: bool,
}

impl Point {
    /// Logarithm of its width over a modelled square's; `None` where it is a least width and the model is wider, which it bears out.
    pub(super) fn beyond(&self, model: f64) -> Option<f64> {
        let log = 0.5 * (self.square / model).ln();
        (!self.at_least || log > 0.0).then_some(log)
    }
}

/// One tile in the frames that show it; squares in px^2.
pub(super) struct TileData {
    /// Its place in the list of tiles.
    pub tile: usize,
    /// Place in the picture from its middle, half widths and half heights.
    pub at: (f64, f64),
    /// Its widths in the frames.
    pub points: Vec<Point>,
    /// The frame, among the compared ones, that the others were compared with.
    pub sharpest: Option<usize>,
    /// Sd of the squares that its frames share.
    pub shared: f64,
}

/// A bracket as the fit sees it.
pub(super) struct Data {
    /// Frames that were compared, by their place among all.
    pub frames: Vec<usize>,
    /// How many frames there are.
    pub all: usize,
    /// How many tiles there are.
    pub count: usize,
    /// Tiles along a row of the picture.
    pub columns: usize,
    /// Tiles seen in two frames or more.
    pub tiles: Vec<TileData>,
}

impl Data {
    /// Gathers what was compared; `None` where that is too little.
    pub(super) fn new(blurs: &Blurs, tiles: &[Region]) -> Option<Self> {
        let frames: Vec<usize> =
            (0..blurs.sigma.len()).filter(|&k| blurs.sigma[k].iter().flatten().count() > 0).collect();
        let (right, bottom) = tiles.iter().fold((0, 0), |m, t| (m.0.max(t.x + t.width), m.1.max(t.y + t.height)));
        let (w, h) = (f64::from(right), f64::from(bottom));
        let usable: Vec<TileData> = (0..tiles.len())
            .filter_map(|t| {
                let r = tiles[t];
                let (x, y) = r.middle();
                let (x, y) = (x - w / 2.0, y - h / 2.0);
                let points: Vec<Point> = frames
                    .iter()
                    .enumerate()
                    .filter_map(|(i, &k)| {
                        let e = blurs.sigma[k][t]?;
                        let sd = blurs.apart_sd[k][t].hypot(SCATTER * e.value);
                        let off = blurs.from_middle[k][t];
                        let off = (off.0 / f64::from(r.width.max(1)), off.1 / f64::from(r.height.max(1)));
                        let at_least = blurs.at_least[k][t];
                        Some(Point { frame: i, square: e.value * e.value, sd: sd / e.value, off, at_least })
                    })
                    .collect();
                // What all others are compared with has no error of its own.
                let sharpest = frames.iter().position(|&k| blurs.sigma[k][t].is_some() && blurs.apart_sd[k][t] == 0.0);
                let least = blurs.least(t);
                let shared = 2.0 * least * blurs.anchor_sd[t].max(0.02 * least);
                let at = (2.0 * x / w, 2.0 * y / h);
                (points.len() >= 2).then_some(TileData { tile: t, at, points, sharpest, shared })
            })
            .collect();
        (frames.len() >= FEWEST.0 && usable.len() >= FEWEST.1).then_some(Self {
            all: blurs.sigma.len(),
            count: tiles.len(),
            columns: tiles.iter().take_while(|t| t.y == tiles[0].y).count().max(1),
            frames,
            tiles: usable,
        })
    }
}

/// Squared width by disc and by squared softness of the lens, tabulated.
pub(super) struct Table {
    rows: Vec<Vec<f64>>,
}

/// Steps of the table in the disc and in the lens's softness, px. Derived: a twentieth of a pixel of blur, a fifth of
/// the scatter where discs are seen.
const DISC_STEP: f64 = 0.2;
const LENS_STEP: f64 = 0.1;

impl Table {
    /// At a wavelength times f-number over the pixel pitch, where known.
    pub(super) fn new(lambda_n_px: Option<f64>) -> Self {
        let row = |i: usize| {
            let lens_px = LENS_STEP * i as f64;
            (0..=200)
                .map(|j| {
                    let disc_px = DISC_STEP * j as f64;
                    sigma_px(&Parts { lambda_n_px, disc_px, lens_px, pixel: true, ..Parts::default() }).powi(2)
                })
                .collect()
        };
        Self { rows: (0..=24).map(row).collect() }
    }

    /// Squared width, px^2, for a disc in px and a squared softness in px^2 (at most the table's). Beyond the table a disc adds its own
    /// square.
    pub(super) fn square(&self, disc: f64, lens_squared: f64) -> f64 {
        let end = DISC_STEP * (self.rows[0].len() - 1) as f64;
        let beyond = DISC_SIGMA.powi(2) * (disc * disc - end * end).max(0.0);
        let along = |row: &[f64]| {
            let x = (disc.abs() / DISC_STEP).min(row.len() as f64 - 1.000_001);
            let j = x as usize;
            row[j] + (x - j as f64) * (row[j + 1] - row[j]) + beyond
        };
        // Linear in the square of the softness, as the square of the width nearly is.
        let lens = lens_squared.max(0.0).sqrt().min(LENS_STEP * (self.rows.len() as f64 - 1.000_001));
        let i = (lens / LENS_STEP) as usize;
        let (low, high) = ((LENS_STEP * i as f64).powi(2), (LENS_STEP * (i + 1) as f64).powi(2));
        let (a, b) = (along(&self.rows[i]), along(&self.rows[i + 1]));
        a + (lens * lens - low) / (high - low) * (b - a)
    }
}
