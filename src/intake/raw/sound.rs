//! Sound: what decodes "successfully" but can't be a photograph is refused; levels that are plainly wrong are mended.

use super::sensor::{Refused, Sensor};
use crate::quantity::Flag;

/// Samples in a row that no light gives where a part of a picture is missing. Derived: files are kept in sectors of 512
/// bytes at the least, which hold 255 whole samples of two bytes, or more smaller ones.
const HOLE: usize = 255;

/// Black level, in the sensor's units, from which on rows of zeros are no noise. Chosen: no more than a body of 12 bits
/// writes for its black level, and far above its noise.
const NOISE_BELOW: f32 = 15.0;

impl Sensor {
    /// Refuses what decoded "successfully" but can't be a photograph; mends a white level that is plainly too low.
    pub(super) fn checked(mut self, full_height: usize) -> Result<Self, Refused> {
        let broken = |why: &'static str| Err(Refused::Unsound(why));
        let fits = self.left + self.width <= self.stride
            && self.top + self.height <= full_height
            && self.samples.len() >= self.stride * full_height * self.channels;
        if !fits || self.width < 16 || self.height < 16 || self.channels == 0 {
            return broken("the picture's size contradicts its data");
        }
        if !(self.black.iter().all(|b| b.is_finite() && *b >= 0.0) && self.white.is_finite()) {
            return broken("its black and white levels make no sense");
        }
        let highest_black = self.black.iter().copied().fold(0.0, f32::max);
        if highest_black + 1.0 >= self.white || self.white > 65535.0 {
            return broken("its black and white levels make no sense");
        }
        let (mut low, mut high, mut over, mut count) = (u16::MAX, 0, 0_usize, 0_usize);
        let limit = self.white + 0.05 * (self.white - highest_black);
        for y in (0..self.height).step_by(7) {
            for v in self.row(y).iter().copied() {
                low = low.min(v);
                high = high.max(v);
                over += usize::from(f32::from(v) > limit);
                count += 1;
            }
        }
        if low == high {
            return broken("there is no picture in it, only one value throughout");
        }
        if f32::from(high) <= highest_black {
            return broken("no sample is brighter than its black level");
        }
        let sound = self.sound_rows(highest_black);
        if 10 * sound < self.height {
            return broken("the file ends before the picture does");
        }
        if self.has_hole(sound) {
            return broken("a part of its data is missing");
        }
        if over * 20 > count {
            self.white = f32::from(high);
        }
        if sound == self.height {
            self.lift(low);
        } else {
            self.whiten(sound);
        }
        Ok(self)
    }

    /// Rows from the top that are there: a decoder that runs out of data, or a copy that was cut, leaves the rest empty, and the
    /// row before it perhaps in part.
    fn sound_rows(&self, black: f32) -> usize {
        let empty = |y: &usize| {
            let row = self.row(*y);
            f32::from(row[0]) <= black && row.iter().all(|v| *v == row[0])
        };
        let tail = (0..self.height).rev().take_while(empty).count();
        if tail >= 4.max(self.height / 100) { (self.height - tail).saturating_sub(1) } else { self.height }
    }

    /// Makes the rows from one on white, where nothing is measured.
    fn whiten(&mut self, sound: usize) {
        let white = self.white.min(65535.0).ceil() as u16;
        let length = self.width * self.channels;
        for y in sound..self.height {
            let from = ((self.top + y) * self.stride + self.left) * self.channels;
            self.samples[from..from + length].fill(white);
        }
        self.coded = Some(sound as f64 / self.height as f64);
        self.flags.push(Flag::Truncated);
    }

    /// Whether a part of the picture's first rows is what no light and no noise gives: one value far below black or above white, sample after
    /// sample, as a card or a copy fills in what it hasn't got. Rows at the upper edge may be the sensor's border.
    fn has_hole(&self, rows: usize) -> bool {
        let black = self.black.iter().copied().fold(f32::INFINITY, f32::min);
        let none = |v: u16| v == 0 && black >= NOISE_BELOW || v == u16::MAX && self.white < 0.5 * f32::from(u16::MAX);
        let length = HOLE.min(self.width * self.channels);
        let holed = |y: &usize| {
            let row = self.row(*y);
            // A run of that length lies over one of these places.
            let within = |at: usize| {
                let here = row[at];
                let reach = |side: &mut dyn Iterator<Item = &u16>| side.take_while(|v| **v == here).count();
                none(here) && reach(&mut row[at..].iter()) + reach(&mut row[..at].iter().rev()) >= length
            };
            (length - 1..row.len()).step_by(length).any(within)
        };
        (0..rows).skip_while(holed).any(|y| holed(&y))
    }

    /// Mends black levels that are plainly too high: noise lies below black, but no twentieth of the picture by a twentieth of
    /// the range.
    fn lift(&mut self, low: u16) {
        let black = self.black.iter().copied().fold(f32::INFINITY, f32::min);
        let limit = black - 0.05 * (self.white - black);
        let (mut under, mut count) = (0_usize, 0_usize);
        for y in (0..self.height).step_by(7) {
            under += self.row(y).iter().filter(|v| f32::from(**v) < limit).count();
            count += self.width * self.channels;
        }
        if under * 20 > count {
            self.black = self.black.map(|level| level - black + f32::from(low));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::sensor::Pattern;
    use super::*;

    fn sensor() -> Sensor {
        Sensor {
            samples: (0..32 * 32).map(|i| (i * 7 % 1000) as u16).collect(),
            stride: 32,
            left: 0,
            top: 0,
            width: 32,
            height: 32,
            channels: 1,
            pattern: Pattern::new(2, |x, y| x % 2 + y % 2),
            black: [64.0; 4],
            white: 1023.0,
            gains: [2.0, 1.0, 1.5],
            from_srgb: None,
            orientation: 1,
            exposures: 1,
            coded: None,
            flags: Vec::new(),
        }
    }

    #[test]
    fn nonsense_is_refused() {
        assert!(sensor().checked(32).is_ok());
        let bad = |change: fn(&mut Sensor)| {
            let mut s = sensor();
            change(&mut s);
            matches!(s.checked(32), Err(Refused::Unsound(_)))
        };
        assert!(bad(|s| s.white = 64.0), "black above white");
        assert!(bad(|s| s.black[2] = f32::NAN));
        assert!(bad(|s| s.samples.fill(500)), "constant");
        assert!(bad(|s| s.samples.truncate(1000)));
        assert!(bad(|s| s.width = 40));
        assert!(bad(|s| s.samples[3 * 32..].fill(0)), "ends at once");
    }

    /// As of a JPEG, what is there is measured; white is what is measured nowhere.
    #[test]
    fn of_one_that_ends_early_the_rest_is_white_and_told() {
        for (end, part) in [(28 * 32, 0), (20 * 32, 17)] {
            let mut s = sensor();
            s.samples[end - part..].fill(0);
            let rows = end / 32 - 1;
            let cut = s.checked(32).unwrap();
            assert_eq!(cut.coded, Some(rows as f64 / 32.0));
            assert!(cut.flags.contains(&Flag::Truncated));
            assert_eq!(cut.samples[..rows * 32], sensor().samples[..rows * 32]);
            assert!(cut.samples[rows * 32..].iter().all(|v| *v == 1023));
        }
        assert_eq!(sensor().checked(32).unwrap().coded, None);
    }

    #[test]
    fn a_white_level_far_too_low_is_mended() {
        let mut s = sensor();
        s.white = 200.0;
        assert!((900.0..=999.0).contains(&s.checked(32).unwrap().white));
    }

    #[test]
    fn a_black_level_far_too_high_is_mended() {
        let mut s = sensor();
        s.black = [400.0, 410.0, 400.0, 400.0];
        assert_eq!(s.checked(32).unwrap().black, [0.0, 10.0, 0.0, 0.0]);
        // Noise below black is none of that.
        let mut s = sensor();
        s.black = [20.0; 4];
        assert_eq!(s.checked(32).unwrap().black, [20.0; 4]);
    }

    /// Sectors of 512 bytes are 256 samples of two bytes.
    #[test]
    fn what_a_card_has_lost_is_no_picture() {
        let wide = || Sensor {
            samples: (0..3000 * 40).map(|i| 70 + (i * 7919 % 900) as u16).collect(),
            stride: 3000,
            width: 3000,
            height: 40,
            ..sensor()
        };
        assert!(wide().checked(40).is_ok());
        for (from, fill) in [(3000 * 20 + 700, 0), (3000 * 20 + 700, u16::MAX), (3000 * 20 + 2800, 0), (3000 * 39, 0)] {
            let mut s = wide();
            s.samples[from..from + 456].fill(fill);
            assert!(matches!(s.checked(40), Err(Refused::Unsound(_))), "{from} {fill}");
        }
        // Where black is nothing, nothing may be dark ground; what is white may be as long as it likes; and borders are no holes.
        let mut s = Sensor { black: [0.0; 4], ..wide() };
        s.samples[60_000..60_456].fill(0);
        assert!(s.checked(40).is_ok());
        let mut s = wide();
        s.samples[60_000..66_000].fill(1023);
        assert!(s.checked(40).is_ok());
        let mut s = wide();
        s.samples[..9000].fill(0);
        assert!(s.checked(40).is_ok());
    }
}
