//! Measured tiles eight at a time, number by number, so that wide registers take what a fit sums over all of them.

use super::evidence::Sample;

/// Number of tiles taken at a time. Derived: the widest registers hold as many numbers.
pub(super) const EIGHT: usize = 8;
/// One number of each of them.
pub(super) type Lane = [f64; EIGHT];

/// What a fit knows of eight tiles, as a [`Sample`] says it of one.
#[derive(Clone, Debug)]
pub(super) struct Tiles {
    pub u: Lane,
    pub v: Lane,
    pub r: Lane,
    pub ln_r: Lane,
    pub learned_square: Lane,
    pub y: Lane,
    pub sd: Lane,
    pub say: Lane,
}

impl Tiles {
    /// All tiles; where the last are fewer than eight, the very last is there again without a say.
    pub(super) fn of(samples: &[Sample]) -> Vec<Self> {
        let eight = |some: &[Sample]| {
            let lane = |of: fn(&Sample) -> f64| std::array::from_fn(|k| of(&some[k.min(some.len() - 1)]));
            let mut tiles = Self {
                u: lane(|s| s.u),
                v: lane(|s| s.v),
                r: lane(|s| s.r),
                ln_r: lane(|s| s.ln_r),
                learned_square: lane(|s| s.learned_square),
                y: lane(|s| s.y),
                sd: lane(|s| s.sd),
                say: lane(|s| s.say),
            };
            tiles.say[some.len()..].fill(0.0);
            tiles
        };
        samples.chunks(EIGHT).map(eight).collect()
    }
}
