//! Levels: linearisation, black and white of stored samples, and the white balance (DNG 1.7, chapter 5).

use rayon::prelude::*;

use super::layout::Layout;
use super::opcodes::Curve;
use super::segments::Samples;
use super::tags::{Directory, tag};
use crate::intake::crop::Crop;

/// Rectangle of stored samples.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Area {
    pub left: usize,
    pub top: usize,
    pub width: usize,
    pub height: usize,
}

impl Area {
    /// From top, left, bottom and right, where it lies inside the picture.
    fn of(edges: &[f64], layout: &Layout) -> Option<Self> {
        let [top, left, bottom, right] = edges.try_into().ok()?;
        let inside = 0.0 <= top && top < bottom && bottom <= layout.height as f64;
        let inside = inside && 0.0 <= left && left < right && right <= layout.width as f64;
        let size = |from: f64, to: f64| (to - from) as usize;
        inside.then(|| Self {
            left: left as usize,
            top: top as usize,
            width: size(left, right),
            height: size(top, bottom),
        })
    }

    /// From left, top, width and height, where it lies inside the picture.
    pub(super) fn inside([left, top, width, height]: [usize; 4], layout: &Layout) -> Option<Self> {
        let fits =
            |from: usize, size: usize, all: usize| size > 0 && from.checked_add(size).is_some_and(|end| end <= all);
        let fits = fits(left, width, layout.width) && fits(top, height, layout.height);
        fits.then_some(Self { left, top, width, height })
    }

    /// The part of the sensor that light falls on.
    pub(super) fn active(directory: &Directory, layout: &Layout) -> Self {
        let whole = Self { left: 0, top: 0, width: layout.width, height: layout.height };
        Self::of(&directory.numbers(tag::ACTIVE_AREA), layout).unwrap_or(whole)
    }

    /// What is to be shown of this active area: the default crop inside it, and of that the part that was chosen in the camera or
    /// a converter, such as one of another shape; the area itself where none is stated, or one that does not fit.
    pub(super) fn cropped(self, directory: &Directory) -> Self {
        let crop = self.default_crop(directory);
        let Some(shown) = Crop::of(&directory.numbers(tag::DEFAULT_USER_CROP)) else { return crop };
        let [x, y, width, height] = shown.part(crop.width, crop.height);
        Self { left: crop.left + x, top: crop.top + y, width, height }
    }

    /// The default crop inside this active area.
    fn default_crop(self, directory: &Directory) -> Self {
        let (origin, size) = (directory.numbers(tag::DEFAULT_CROP_ORIGIN), directory.numbers(tag::DEFAULT_CROP_SIZE));
        let ([x, y], [width, height]) = (&origin[..], &size[..]) else { return self };
        let (x, y, width, height) = (x.round(), y.round(), width.floor(), height.floor());
        let fits = x >= 0.0 && y >= 0.0 && width >= 1.0 && height >= 1.0;
        if !(fits && x + width <= self.width as f64 && y + height <= self.height as f64) {
            return self;
        }
        Self {
            left: self.left + x as usize,
            top: self.top + y as usize,
            width: width as usize,
            height: height as usize,
        }
    }
}

/// Replaces stored codes by what the table says they stand for, the last entry standing for all above.
pub(super) fn linearise(directory: &Directory, samples: &mut Samples) -> Option<f32> {
    let table: Vec<u16> = directory.numbers(tag::LINEARIZATION_TABLE).into_iter().map(|v| v as u16).collect();
    let (Some(last), Samples::Whole(samples)) = (table.last().copied(), samples) else { return None };
    samples.par_iter_mut().for_each(|v| *v = table.get(usize::from(*v)).copied().unwrap_or(last));
    table.iter().max().map(|v| f32::from(*v))
}

/// Black levels of all sites.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Black {
    /// Rows and columns after which levels repeat, from the active area's corner on.
    repeat: (usize, usize),
    /// Levels, row-major, channels side by side.
    levels: Vec<f32>,
    channels: usize,
    /// What is added in each column and each row of the active area.
    columns: Vec<f32>,
    rows: Vec<f32>,
}

impl Black {
    /// As the tags state it, or a maker's own do for the four sites; where they don't, the middle value of masked pixels,
    /// else 0.
    pub(super) fn of(
        directory: &Directory,
        layout: &Layout,
        samples: &Samples,
        active: Area,
        own: Option<[f32; 4]>,
    ) -> Self {
        let numbers = |t| directory.numbers(t).into_iter().map(|v| v as f32).collect::<Vec<_>>();
        let repeat = match directory.numbers(tag::BLACK_LEVEL_REPEAT_DIM)[..] {
            [rows, columns] if (1.0..=16.0).contains(&rows) && (1.0..=16.0).contains(&columns) => {
                (rows as usize, columns as usize)
            }
            _ => (1, 1),
        };
        let (mut repeat, channels) = (repeat, layout.channels);
        let mut levels = numbers(tag::BLACK_LEVEL);
        if let (Some(own), 1) = (own, channels) {
            (levels, repeat) = (own.to_vec(), (2, 2));
        } else if levels.is_empty() {
            (levels, repeat) = masked(directory, layout, samples, active).unwrap_or((vec![0.0; channels], (1, 1)));
        } else if levels.len() < repeat.0 * repeat.1 * channels {
            (levels, repeat) = (vec![levels[0]; channels], (1, 1));
        }
        let along = |t, length: usize| Some(numbers(t)).filter(|v| v.len() == length).unwrap_or_default();
        let columns = along(tag::BLACK_LEVEL_DELTA_H, active.width);
        let rows = along(tag::BLACK_LEVEL_DELTA_V, active.height);
        Self { repeat, levels, channels, columns, rows }
    }

    /// Level at a place of the active area.
    pub(super) fn at(&self, x: usize, y: usize, channel: usize) -> f32 {
        let site = y % self.repeat.0 * self.repeat.1 + x % self.repeat.1;
        let along = |list: &[f32], i: usize| list.get(i).copied().unwrap_or(0.0);
        self.levels[site * self.channels + channel] + along(&self.columns, x) + along(&self.rows, y)
    }

    /// Whether four levels, those of a 2 x 2 pattern or of up to four channels, say all of it.
    pub(super) fn is_simple(&self, mosaic: Option<usize>) -> bool {
        let even = self.levels.chunks_exact(self.channels).all(|site| site == &self.levels[..self.channels]);
        let short = 2 % self.repeat.0 == 0 && 2 % self.repeat.1 == 0;
        self.columns.is_empty() && self.rows.is_empty() && (even || short && mosaic == Some(2))
    }

    /// The highest of the levels that repeat.
    fn highest(&self) -> f32 {
        self.levels.iter().copied().fold(0.0, f32::max)
    }

    /// Lifts samples of the active area so that one level holds for all of them; returns it.
    pub(super) fn levelled(&self, samples: &mut Samples, layout: &Layout, active: Area) -> f32 {
        let level = self.highest().round();
        let row = layout.width * layout.channels;
        let lift = |x: usize, y: usize, c: usize| level - self.at(x, y, c);
        let span = active.left * layout.channels..(active.left + active.width) * layout.channels;
        match samples {
            Samples::Whole(all) => {
                let rows = all.par_chunks_exact_mut(row).skip(active.top).take(active.height);
                rows.enumerate().for_each(|(y, line)| {
                    for (i, v) in line[span.clone()].iter_mut().enumerate() {
                        *v = (f32::from(*v) + lift(i / layout.channels, y, i % layout.channels)).round() as u16;
                    }
                });
            }
            Samples::Float(all) => {
                let rows = all.par_chunks_exact_mut(row).skip(active.top).take(active.height);
                rows.enumerate().for_each(|(y, line)| {
                    for (i, v) in line[span.clone()].iter_mut().enumerate() {
                        *v += lift(i / layout.channels, y, i % layout.channels);
                    }
                });
            }
        }
        level
    }
}

/// Middle values of the masked pixels of each of 2 x 2 sites, where areas are stated and the samples are a mosaic's.
fn masked(
    directory: &Directory,
    layout: &Layout,
    samples: &Samples,
    active: Area,
) -> Option<(Vec<f32>, (usize, usize))> {
    let Samples::Whole(samples) = samples else { return None };
    if layout.channels != 1 {
        return None;
    }
    // How often each value occurs at each of the four sites.
    let mut found: [Vec<u32>; 4] = std::array::from_fn(|_| vec![0; 1 << 16]);
    let areas = directory.numbers(tag::MASKED_AREAS);
    // They don't overlap, and so are no larger together than what is stored.
    let mut left = layout.width * layout.height;
    for area in areas.chunks_exact(4).filter_map(|a| Area::of(a, layout)) {
        let Some(rest) = left.checked_sub(area.width * area.height) else { break };
        left = rest;
        for y in area.top..area.top + area.height {
            for x in area.left..area.left + area.width {
                // Sites count from the active area's corner, on both sides of it.
                let site = (y + active.top) % 2 * 2 + (x + active.left) % 2;
                found[site][usize::from(samples[y * layout.width + x])] += 1;
            }
        }
    }
    let levels: Option<Vec<f32>> = found
        .iter()
        .map(|counts| {
            let count: u32 = counts.iter().sum();
            let mut below = 0;
            let middle = counts.iter().position(|n| {
                below += n;
                below > count / 2
            });
            middle.filter(|_| count >= 64).map(|level| level as f32)
        })
        .collect();
    Some((levels?, (2, 2)))
}

/// White level of the channel that counts most: green's where there are several.
pub(super) fn white(directory: &Directory, layout: &Layout, table: Option<f32>) -> f32 {
    let stated = directory.numbers(tag::WHITE_LEVEL);
    let stated = if layout.channels >= 3 { stated.get(1).or(stated.first()) } else { stated.first() };
    let full = if layout.float { 1.0 } else { ((1_u64 << layout.precision) - 1) as f32 };
    stated.map(|v| *v as f32).filter(|v| v.is_finite() && *v > 0.0).or(table).unwrap_or(full)
}

/// Brings the samples of an area through curves. `levels` gives the values that 0 and 1 stand for at a site of a 2 x 2
/// pattern and a channel; afterwards they are 0 and 65535 everywhere.
pub(super) fn bend(
    samples: &mut [u16],
    layout: &Layout,
    area: Area,
    curves: &[Curve],
    levels: impl Fn(usize, usize, usize) -> (f32, f32) + Sync,
) {
    let channels = layout.channels;
    // Curves over a part of the picture are no linearisation, and are left out.
    let curves: Vec<&Curve> = curves.iter().filter(|c| c.spans(area.width, area.height)).collect();
    let middle = ((area.width / 2) & !1, (area.height / 2) & !1);
    let table = |place: usize| -> Vec<u16> {
        let (x, y, c) = (place / channels % 2, place / channels / 2, place % channels);
        let wanted = curves.iter().filter(|k| k.covers(middle.0 + x, middle.1 + y, c));
        let (black, white) = levels(x, y, c);
        let bent = |code: u16| {
            let share = f64::from((f32::from(code) - black) / (white - black)).clamp(0.0, 1.0);
            // Cut, not rounded, as other readers do, so that samples can be compared.
            (wanted.clone().fold(share, |v, k| k.at(v)) * 65535.0) as u16
        };
        (0..=u16::MAX).map(bent).collect()
    };
    let tables: Vec<Vec<u16>> = (0..4 * channels).map(table).collect();
    let rows = samples.par_chunks_exact_mut(layout.width * channels).skip(area.top).take(area.height);
    rows.enumerate().for_each(|(y, row)| {
        let row = &mut row[area.left * channels..][..area.width * channels];
        for (i, v) in row.iter_mut().enumerate() {
            *v = tables[y % 2 * 2 * channels + i % (2 * channels)][usize::from(*v)];
        }
    });
}

/// Gains of red, green and blue that make the light of the scene neutral, from AsShotNeutral or AsShotWhiteXY.
pub(super) fn gains(root: &Directory) -> [f32; 3] {
    let neutral = root.numbers(tag::AS_SHOT_NEUTRAL);
    let neutral = match neutral[..] {
        [r, g, b, ..] => Some([r, g, b]),
        _ => neutral_of_white(root),
    };
    let Some(neutral) = neutral else { return [1.0; 3] };
    let gain = |c: usize| (neutral[1] / neutral[c]) as f32;
    std::array::from_fn(|c| Some(gain(c)).filter(|g| g.is_finite() && (0.05..20.0).contains(g)).unwrap_or(1.0))
}

/// The camera's colours from XYZ, for daylight, where the file has a matrix of three colours.
pub(super) fn colours(root: &Directory) -> Option<[[f32; 3]; 3]> {
    let matrix = matrix(root)?;
    Some(std::array::from_fn(|r| std::array::from_fn(|c| matrix[3 * r + c] as f32)))
}

fn matrix(root: &Directory) -> Option<[f64; 9]> {
    let second = root.numbers(tag::COLOR_MATRIX_2);
    let matrix = if second.len() == 9 { second } else { root.numbers(tag::COLOR_MATRIX_1) };
    matrix.try_into().ok()
}

/// What the camera records of a neutral surface in light of a stated chromaticity: the colour matrix for daylight
/// (the second of two) times its XYZ values, times the analogue gains (DNG 1.7, chapter 6).
fn neutral_of_white(root: &Directory) -> Option<[f64; 3]> {
    let [x, y] = root.numbers(tag::AS_SHOT_WHITE_XY).try_into().ok()?;
    let matrix = matrix(root).filter(|_| y > 0.0)?;
    let light = [x / y, 1.0, (1.0 - x - y) / y];
    let balance = root.numbers(tag::ANALOG_BALANCE);
    let gain = |c: usize| balance.get(c).copied().unwrap_or(1.0);
    Some(std::array::from_fn(|c| gain(c) * (0..3).map(|i| matrix[3 * c + i] * light[i]).sum::<f64>()))
}
