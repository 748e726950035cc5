//! Sharp scenes of real photographs, with the blur that each place of them still has.

use std::f64::consts::PI;
use std::path::Path;

use anyhow::Context as _;
use fastrand::Rng;
use serde::Deserialize;

use crate::kernel::{even, log_even};

/// One entry of `index.json`.
#[derive(Deserialize)]
pub struct Entry {
    file: String,
    /// Shoot or place.
    pub group: String,
    own_blur_px: f64,
    own_blur_map_px: Vec<Option<f64>>,
    check_blur_px: Option<f64>,
    columns: usize,
    rows: usize,
}

/// Linear luminance (white = 1), row-major.
#[derive(Clone)]
pub struct Picture {
    pub width: usize,
    pub height: usize,
    pub data: Vec<f32>,
}

/// How one picture is laid over another.
#[derive(Clone, Copy, Debug)]
pub enum Mix {
    /// Their light added, so much of the first.
    Blend(f32),
    /// One lit by the other, as by shadows.
    Product,
    /// In turn in strips so wide (px), turned so far (rad), their borders as sharp as pixels are.
    Strips { width: f32, turn: f32 },
}

impl Mix {
    pub fn random(dice: &mut Rng) -> Self {
        match dice.u8(0..3) {
            0 => Self::Blend(even(dice, 0.3, 0.7) as f32),
            1 => Self::Product,
            _ => Self::Strips { width: log_even(dice, 12.0, 200.0) as f32, turn: even(dice, 0.0, PI) as f32 },
        }
    }
}

impl Picture {
    fn mean(&self) -> f32 {
        (self.data.iter().sum::<f32>() / self.data.len() as f32).max(1e-4)
    }

    /// This picture and another laid over each other, which makes textures that neither has; as large as both reach. The other
    /// is made as bright, so that both are seen.
    pub fn over(&self, other: &Self, how: Mix) -> Self {
        let (width, height) = (self.width.min(other.width), self.height.min(other.height));
        let mean = self.mean();
        let gain = mean / other.mean();
        let share = |x: usize, y: usize| match how {
            Mix::Blend(share) => share,
            Mix::Product => 0.0,
            Mix::Strips { width, turn } => {
                let along = (x as f32 * turn.cos() + y as f32 * turn.sin()).rem_euclid(2.0 * width);
                // How far within the strip, and so how much of the pixel it covers.
                (0.5 * width - (along - width).abs() + 0.5).clamp(0.0, 1.0)
            }
        };
        let data = (0..width * height).map(|i| {
            let (x, y) = (i % width, i / width);
            let (a, b) = (self.data[y * self.width + x], gain * other.data[y * other.width + x]);
            match how {
                Mix::Product => a * b / mean,
                _ => share(x, y) * a + (1.0 - share(x, y)) * b,
            }
            .min(1.0)
        });
        Self { width, height, data: data.collect() }
    }

    /// Light raised to a power about its mean.
    pub fn raised(&mut self, power: f32) {
        let mean = self.mean();
        self.data.iter_mut().for_each(|v| *v = (mean * (*v / mean).powf(power)).min(1.0));
    }

    /// The picture averaged over squares of `by` pixels, which is what larger pixels would see: what is left of its own blur
    /// shrinks with it.
    pub fn reduced(&self, by: usize) -> Self {
        let (width, height) = (self.width / by, self.height / by);
        let data = (0..width * height)
            .map(|i| {
                let at = by * (i / width) * self.width + by * (i % width);
                let rows = (0..by).map(|k| self.data[at + k * self.width..][..by].iter().sum::<f32>());
                rows.sum::<f32>() / (by * by) as f32
            })
            .collect();
        Self { width, height, data }
    }
}

/// Part of a scene, and where in it.
pub struct Part {
    pub picture: Picture,
    pub x: usize,
    pub y: usize,
}

/// A sharp scene.
#[derive(Clone)]
pub struct Scene {
    pub picture: Picture,
    /// Gaussian blur of each place, px, the pixel aperture not counted; `None` where it is too soft to serve.
    own: Vec<Option<f64>>,
    columns: usize,
    rows: usize,
}

/// A scene whose check reads wider than this is soft by nature or mislabelled (the folder's README).
const CHECKED: f64 = 0.7;
/// A place is soft if it is so many times as wide as the scene, or wider than this, px.
const SOFTER: f64 = 1.4;
const SOFT: f64 = 0.5;

/// Entries that serve, with the scenes.
pub fn load(folder: &Path) -> anyhow::Result<Vec<(Entry, Scene)>> {
    let text = std::fs::read_to_string(folder.join("index.json")).context("no index.json in the folder of scenes")?;
    let entries: Vec<Entry> = serde_json::from_str(&text)?;
    let sound = entries.into_iter().filter(|e| e.check_blur_px.is_none_or(|b| b <= CHECKED));
    sound
        .filter(|e| folder.join(&e.file).exists())
        .map(|entry| {
            let grey =
                image::ImageReader::open(folder.join(&entry.file))?.with_guessed_format()?.decode()?.into_luma8();
            let (width, height) = (grey.width() as usize, grey.height() as usize);
            let data = grey.into_raw().iter().map(|&v| (f32::from(v) / 255.0).powi(2)).collect();
            let own = entry.own_blur_map_px.iter().map(|own| {
                let own = own.unwrap_or(entry.own_blur_px);
                (own <= SOFTER * entry.own_blur_px && own <= SOFT).then_some(own)
            });
            let own = own.collect();
            let (columns, rows) = (entry.columns, entry.rows);
            Ok((entry, Scene { picture: Picture { width, height, data }, own, columns, rows }))
        })
        .collect()
}

impl Scene {
    /// A picture without any blur of its own.
    pub fn sharp(picture: Picture) -> Self {
        Self { picture, own: vec![Some(0.0)], columns: 1, rows: 1 }
    }

    /// Own blur at a place, px.
    pub fn own(&self, x: f64, y: f64) -> Option<f64> {
        let at = |v: f64, size: usize, n: usize| ((v / size as f64 * n as f64) as usize).min(n - 1);
        let (column, row) = (at(x, self.picture.width, self.columns), at(y, self.picture.height, self.rows));
        self.own.get(row * self.columns + column).copied().flatten()
    }

    /// A part of it, at most so large, its corner at a place given as shares of the room there is.
    pub fn part(&self, most: (usize, usize), place: (f64, f64)) -> Part {
        let Picture { width, height, data } = &self.picture;
        let (w, h) = (most.0.min(*width), most.1.min(*height));
        let at = |room: usize, share: f64| (room as f64 * share) as usize;
        let (x, y) = (at(width - w, place.0), at(height - h, place.1));
        let rows = (y..y + h).flat_map(|row| &data[row * width + x..row * width + x + w]);
        Part { picture: Picture { width: w, height: h, data: rows.copied().collect() }, x, y }
    }

    /// Turned about its diagonal, and mirrored along either axis.
    pub fn turned(&self, diagonal: bool, left: bool, down: bool) -> Self {
        fn moved<T: Copy>(from: &[T], w: usize, h: usize, how: (bool, bool, bool)) -> Vec<T> {
            let (width, height) = if how.0 { (h, w) } else { (w, h) };
            let place = |i: usize| {
                let (mut x, mut y) = (i % width, i / width);
                if how.1 {
                    x = width - 1 - x;
                }
                if how.2 {
                    y = height - 1 - y;
                }
                if how.0 { x * w + y } else { y * w + x }
            };
            (0..width * height).map(|i| from[place(i)]).collect()
        }
        let how = (diagonal, left, down);
        let Picture { width, height, data } = &self.picture;
        let data = moved(data, *width, *height, how);
        let own = moved(&self.own, self.columns, self.rows, how);
        let swap = |a: usize, b: usize| if diagonal { (b, a) } else { (a, b) };
        let ((width, height), (columns, rows)) = (swap(*width, *height), swap(self.columns, self.rows));
        Self { picture: Picture { width, height, data }, own, columns, rows }
    }
}
