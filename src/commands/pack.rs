//! Tile maps, diagnoses and small pictures as bytes: what is the same of every tile once, the rest a column a quantity. Every
//! number comes back to the bit.

use ciborium::{from_reader, into_writer};
use serde::Serialize;
use serde::de::DeserializeOwned;

use crate::diagnose::{Budget, Diagnosis, Standing};
use crate::measure::register::Small;
use crate::measure::{Spread, Tile, TileMap, TileState};
use crate::quantity::Estimate;

const STATES: [TileState; 6] = [
    TileState::Measured,
    TileState::NoDetail,
    TileState::Clipped,
    TileState::Noisy,
    TileState::AtMost,
    TileState::AtLeast,
];
const STANDINGS: [Standing; 6] =
    [Standing::Ground, Standing::Far, Standing::Nearer, Standing::Farther, Standing::SoftContent, Standing::Unmeasured];

/// What is written: columns and other things one behind the other.
#[derive(Default)]
struct Writer(Vec<u8>);

impl Writer {
    fn length(&mut self, n: usize) {
        self.0.extend_from_slice(&(n as u32).to_le_bytes());
    }

    /// Anything else, in a binary form of its own.
    fn other<T: Serialize>(&mut self, thing: &T) -> Option<()> {
        let mut bytes = Vec::new();
        into_writer(thing, &mut bytes).ok()?;
        self.length(bytes.len());
        self.0.extend_from_slice(&bytes);
        Some(())
    }

    /// A column in as few bytes a number as the greatest needs; none where all are alike.
    fn whole(&mut self, values: impl Iterator<Item = u64> + Clone) {
        let Some(first) = values.clone().next() else { return };
        let alike = values.clone().all(|v| v == first);
        let width = match values.clone().max().unwrap_or(0) {
            _ if alike => 0,
            0..=0xFF => 1,
            0x100..=0xFFFF => 2,
            0x1_0000..=0xFFFF_FFFF => 4,
            _ => 8,
        };
        self.0.push(width);
        if alike {
            self.0.extend_from_slice(&first.to_le_bytes());
        } else {
            values.for_each(|v| self.0.extend_from_slice(&v.to_le_bytes()[..usize::from(width)]));
        }
    }

    fn real(&mut self, values: impl Iterator<Item = f64> + Clone) {
        self.whole(values.map(f64::to_bits));
    }

    /// Which of them are there, and those that are.
    fn there<T: Copy>(&mut self, values: impl Iterator<Item = Option<T>> + Clone) -> Vec<T> {
        self.whole(values.clone().map(|v| u64::from(v.is_some())));
        values.flatten().collect()
    }

    fn estimates(&mut self, values: impl Iterator<Item = Estimate> + Clone) {
        self.real(values.clone().map(|e| e.value));
        self.real(values.clone().map(|e| e.sd));
        self.whole(values.map(|e| u64::from(e.n)));
    }
}

/// The same, read back: `None` where the bytes are not what was written.
struct Reader<'a>(&'a [u8]);

impl<'a> Reader<'a> {
    fn take(&mut self, n: usize) -> Option<&'a [u8]> {
        let (bytes, rest) = self.0.split_at_checked(n)?;
        self.0 = rest;
        Some(bytes)
    }

    fn length(&mut self) -> Option<usize> {
        Some(u32::from_le_bytes(self.take(4)?.try_into().ok()?) as usize)
    }

    fn other<T: DeserializeOwned>(&mut self) -> Option<T> {
        let n = self.length()?;
        from_reader(self.take(n)?).ok()
    }

    fn whole(&mut self, n: usize) -> Option<Vec<u64>> {
        if n == 0 {
            return Some(Vec::new());
        }
        let number = |bytes: &[u8]| {
            let mut eight = [0; 8];
            eight[..bytes.len()].copy_from_slice(bytes);
            u64::from_le_bytes(eight)
        };
        Some(match self.take(1)?[0] {
            0 => vec![number(self.take(8)?); n],
            width @ (1 | 2 | 4 | 8) => {
                let width = usize::from(width);
                self.take(n.checked_mul(width)?)?.chunks_exact(width).map(number).collect()
            }
            _ => return None,
        })
    }

    fn small(&mut self, n: usize) -> Option<Vec<u32>> {
        self.whole(n)?.into_iter().map(|v| u32::try_from(v).ok()).collect()
    }

    fn real(&mut self, n: usize) -> Option<Vec<f64>> {
        Some(self.whole(n)?.into_iter().map(f64::from_bits).collect())
    }

    fn one_of<T: Copy>(&mut self, n: usize, all: &[T]) -> Option<Vec<T>> {
        self.whole(n)?.into_iter().map(|v| all.get(v as usize).copied()).collect()
    }

    /// Which are there, filled with what `read` makes of so many.
    fn there<T>(&mut self, n: usize, read: impl FnOnce(&mut Self, usize) -> Option<Vec<T>>) -> Option<Vec<Option<T>>> {
        let there: Vec<bool> = self.whole(n)?.into_iter().map(|v| v == 1).collect();
        let mut values = read(self, there.iter().filter(|t| **t).count())?.into_iter();
        Some(there.into_iter().map(|there| if there { values.next() } else { None }).collect())
    }

    fn estimates(&mut self, n: usize) -> Option<Vec<Estimate>> {
        let (values, sds, counts) = (self.real(n)?, self.real(n)?, self.small(n)?);
        Some(values.into_iter().zip(sds).zip(counts).map(|((value, sd), n)| Estimate { value, sd, n }).collect())
    }
}

/// A tile map as bytes.
pub(super) fn map(map: &TileMap) -> Option<Vec<u8>> {
    let mut head = map.clone();
    let tiles = std::mem::take(&mut head.tiles);
    let mut out = Writer::default();
    out.other(&head)?;
    out.length(tiles.len());
    for of in [|t: &Tile| t.x, |t: &Tile| t.y, |t: &Tile| t.width, |t: &Tile| t.height] {
        out.whole(tiles.iter().map(|t| u64::from(of(t))));
    }
    out.whole(tiles.iter().map(|t| t.state as u64));
    for of in [|t: &Tile| t.contrast, |t: &Tile| t.noise, |t: &Tile| t.level] {
        out.real(tiles.iter().map(of));
    }
    let blurs = out.there(tiles.iter().map(|t| t.blur));
    out.estimates(blurs.iter().copied());
    let alone = out.there(tiles.iter().map(|t| t.alone));
    out.estimates(alone.iter().copied());
    let bounds = out.there(tiles.iter().map(|t| t.bound));
    out.real(bounds.iter().copied());
    let spreads = out.there(tiles.iter().map(|t| t.spread));
    for of in [|s: &Spread| s.xx, |s: &Spread| s.xy, |s: &Spread| s.yy] {
        out.estimates(spreads.iter().map(of));
    }
    Some(out.0)
}

/// The tile map in bytes that [`map`] made.
pub(super) fn map_from(bytes: &[u8]) -> Option<TileMap> {
    let mut from = Reader(bytes);
    let mut map: TileMap = from.other()?;
    let n = from.length()?;
    let [x, y, width, height] = [from.small(n)?, from.small(n)?, from.small(n)?, from.small(n)?];
    let state = from.one_of(n, &STATES)?;
    let [contrast, noise, level] = [from.real(n)?, from.real(n)?, from.real(n)?];
    let blur = from.there(n, Reader::estimates)?;
    let alone = from.there(n, Reader::estimates)?;
    let bound = from.there(n, Reader::real)?;
    let spread = from.there(n, |from, n| {
        let (xx, xy, yy) = (from.estimates(n)?, from.estimates(n)?, from.estimates(n)?);
        Some(xx.into_iter().zip(xy).zip(yy).map(|((xx, xy), yy)| Spread { xx, xy, yy }).collect())
    })?;
    let tile = |i: usize| Tile {
        x: x[i],
        y: y[i],
        width: width[i],
        height: height[i],
        state: state[i],
        contrast: contrast[i],
        noise: noise[i],
        level: level[i],
        blur: blur[i],
        alone: alone[i],
        bound: bound[i],
        spread: spread[i],
    };
    map.tiles = (0..n).map(tile).collect();
    from.0.is_empty().then_some(map)
}

/// A diagnosis as bytes.
pub(super) fn diagnosis(found: &Diagnosis) -> Option<Vec<u8>> {
    let mut head = found.clone();
    let (standing, budgets) = (std::mem::take(&mut head.standing), std::mem::take(&mut head.budgets));
    let mut out = Writer::default();
    out.other(&head)?;
    out.length(standing.len());
    out.whole(standing.iter().map(|s| *s as u64));
    out.length(budgets.len());
    let there = out.there(budgets.iter().copied());
    for of in [|b: &Budget| b.pixel, |b: &Budget| b.total] {
        out.real(there.iter().map(of));
    }
    for of in [|b: &Budget| b.defocus, |b: &Budget| b.lens, |b: &Budget| b.motion] {
        out.estimates(there.iter().map(of));
    }
    let diffraction = out.there(there.iter().map(|b| b.diffraction));
    out.real(diffraction.iter().copied());
    Some(out.0)
}

/// The diagnosis in bytes that [`diagnosis`] made.
pub(super) fn diagnosis_from(bytes: &[u8]) -> Option<Diagnosis> {
    let mut from = Reader(bytes);
    let mut found: Diagnosis = from.other()?;
    let n = from.length()?;
    found.standing = from.one_of(n, &STANDINGS)?;
    let n = from.length()?;
    found.budgets = from.there(n, |from, n| {
        let [pixel, total] = [from.real(n)?, from.real(n)?];
        let [defocus, lens, motion] = [from.estimates(n)?, from.estimates(n)?, from.estimates(n)?];
        let diffraction = from.there(n, Reader::real)?;
        let budget = |i: usize| Budget {
            pixel: pixel[i],
            diffraction: diffraction[i],
            defocus: defocus[i],
            lens: lens[i],
            motion: motion[i],
            total: total[i],
        };
        Some((0..n).map(budget).collect())
    })?;
    from.0.is_empty().then_some(found)
}

/// A small picture as bytes; its levels are whole numbers.
pub(super) fn small(small: &Small) -> Vec<u8> {
    let mut out = Writer::default();
    [small.width, small.height, small.factor, small.data.len()].into_iter().for_each(|n| out.length(n));
    out.whole(small.data.iter().map(|v| (v + Small::BELOW) as u64));
    out.0
}

/// The small picture in bytes that [`small`] made.
pub(super) fn small_from(bytes: &[u8]) -> Option<Small> {
    let mut from = Reader(bytes);
    let [width, height, factor, n] = [from.length()?, from.length()?, from.length()?, from.length()?];
    let data = from.whole(n)?.into_iter().map(|v| v as f32 - Small::BELOW).collect();
    from.0.is_empty().then_some(Small { width, height, factor, data })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn map_of(n: u32) -> TileMap {
        let estimate = |k: u32| Estimate::new(0.5 + 0.01 * f64::from(k), 0.1 / 3.0, k);
        let tiles = (0..n).map(|k| Tile {
            x: 30 * (k % 24),
            y: 31 * (k / 24),
            width: 30,
            height: 31 + k % 2,
            state: STATES[k as usize % 6],
            contrast: f64::from(k) / 3.0,
            noise: -0.0,
            level: 0.5,
            blur: (k % 3 > 0).then(|| estimate(k)),
            alone: (k % 7 == 2).then(|| estimate(k + 1)),
            bound: (k % 5 == 1).then_some(9_007_199_254_740_993.0 / 3.7),
            spread: (k % 3 > 1).then(|| Spread { xx: estimate(k), xy: estimate(2 * k), yy: estimate(70_000 + k) }),
        });
        TileMap {
            width: 720,
            height: 496,
            columns: n.min(24),
            rows: n.div_ceil(24),
            tiles: tiles.collect(),
            common: Some(0.1),
            overshoot: None,
            streak: None,
            clipped_share: 0.25,
            layers: vec![None, Some(0.3)],
            enlarged: true,
            mosaic: true,
        }
    }

    #[test]
    fn a_map_comes_back_to_the_bit_and_damage_is_told() {
        for n in [0, 1, 2, 40] {
            let bytes = map(&map_of(n)).unwrap();
            assert_eq!(map_from(&bytes), Some(map_of(n)), "{n}");
            assert!((0..bytes.len()).all(|cut| map_from(&bytes[..cut]).is_none()), "{n}");
        }
        let odd = Small { width: 3, height: 2, factor: 5, data: vec![-1024.0, 0.0, 1.0, 64_511.0, 7.0, 7.0] };
        assert_eq!(small_from(&small(&odd)), Some(odd));
    }

    #[test]
    fn a_streak_that_was_kept_before_doubles_were_told_is_read() {
        #[derive(Serialize)]
        struct Before {
            length: Estimate,
            angle: Estimate,
        }
        let (length, angle) = (Estimate::new(4.0, 0.3, 60), Estimate::new(0.3, 0.1, 60));
        let mut bytes = Vec::new();
        into_writer(&Before { length, angle }, &mut bytes).unwrap();
        let read: crate::measure::Streak = from_reader(&bytes[..]).unwrap();
        assert_eq!(read, crate::measure::Streak { length, angle, doubled: None });
    }

    #[test]
    fn a_diagnosis_comes_back_to_the_bit_and_a_frame_takes_little_room() {
        let map = map_of(384);
        let found = crate::diagnose::diagnose(&map_of(384), &Default::default(), None, &Default::default());
        let bytes = diagnosis(&found).unwrap();
        assert_eq!(diagnosis_from(&bytes).as_ref(), Some(&found));
        assert!((0..bytes.len()).step_by(7).all(|cut| diagnosis_from(&bytes[..cut]).is_none()));
        assert!(bytes.len() + super::map(&map).unwrap().len() < 64_000);
    }
}
