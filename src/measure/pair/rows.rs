//! Ring spectra of two frames in one tile, and the logarithms of their ratios by frequency and direction.

use std::cell::OnceCell;
use std::f64::consts::PI;
use std::sync::LazyLock;

use super::{BLOCK, Block, LEVELS, RINGS, SECTORS, TileSpectra};

/// Power spectrum of the blocks of a tile at one level that both frames have: means over them.
struct Rings {
    /// By direction and ring.
    power: [[f64; RINGS]; SECTORS],
    noise: f64,
    level: f64,
    blocks: u32,
}

impl Rings {
    /// Of both frames at a level, over the blocks that both have.
    fn of(a: &TileSpectra, b: &TileSpectra, level: usize) -> Option<(Self, Self)> {
        let (a, b) = (a.levels.get(level)?, b.levels.get(level)?);
        Some((Self::common(a, b)?, Self::common(b, a)?))
    }

    /// Of the blocks of `own` that `other` has too; `None` where there are none.
    fn common(own: &[Option<Block>], other: &[Option<Block>]) -> Option<Self> {
        let mut all = Self { power: [[0.0; RINGS]; SECTORS], noise: 0.0, level: 0.0, blocks: 0 };
        for block in common(own, other) {
            let rings = all.power.as_flattened_mut().iter_mut().zip(block.power.as_flattened());
            rings.for_each(|(sum, power)| *sum += power.get());
            all.noise += block.noise;
            all.level += block.level;
            all.blocks += 1;
        }
        let n = f64::from(all.blocks);
        all.power.as_flattened_mut().iter_mut().chain([&mut all.noise, &mut all.level]).for_each(|sum| *sum /= n);
        (all.blocks > 0).then_some(all)
    }
}

/// Blocks of `own` that `other` has too: what one frame shows beyond its rim, or clips, must not tell for the other.
pub(super) fn common<'a>(own: &'a [Option<Block>], other: &'a [Option<Block>]) -> impl Iterator<Item = &'a Block> {
    own.iter().zip(other).filter(|(_, o)| o.is_some()).filter_map(|(b, _)| b.as_ref())
}

/// One tile of two frames: the spectra of what both have, by level, worked out when they are asked for.
pub(super) struct Both<'a> {
    a: &'a TileSpectra,
    b: &'a TileSpectra,
    /// A guess of the width of the sharper frame, px, and the enlargement of `b` against `a`.
    sharper: f64,
    scale: f64,
    levels: [OnceCell<Option<Level>>; LEVELS],
}

/// One level of a tile of two frames.
pub(super) struct Level {
    /// Mean levels above black.
    pub(super) means: (f64, f64),
    /// All rows there are.
    rows: Vec<Row>,
}

impl<'a> Both<'a> {
    pub(super) fn new(a: &'a TileSpectra, b: &'a TileSpectra, sharper: f64, scale: f64) -> Self {
        Self { a, b, sharper, scale, levels: Default::default() }
    }

    /// `None` where the frames have no block of the level in common.
    pub(super) fn at(&self, level: usize) -> Option<&Level> {
        let found = || {
            let (a, b) = Rings::of(self.a, self.b, level)?;
            let rows = rows(&a, &b, self.sharper / f64::from(1u32 << level), self.scale);
            Some(Level { means: (a.level, b.level), rows })
        };
        self.levels.get(level)?.get_or_init(found).as_ref()
    }

    /// Rows of a level up to a frequency, in cycles a pixel of that level.
    pub(super) fn rows(&self, level: usize, highest: f64) -> Vec<Row> {
        let all = self.at(level).map_or(&[][..], |l| &l.rows);
        all.iter().filter(|r| r.frequency <= highest).copied().collect()
    }

    /// Rows of the coarser levels, below what a level has: frequencies in cycles a pixel of that one.
    pub(super) fn coarser(&self, level: usize) -> Vec<Row> {
        let of = |by: usize| {
            let pixel = f64::from(1u32 << by);
            let around = SECTORS as f64 * (AROUND * by as f64).powi(2);
            let below = |r: &&Row| OF_COARSER.contains(&((r.frequency * BLOCK as f64).round() as usize));
            let at_level = move |r: &Row| Row { frequency: r.frequency / pixel, variance: r.variance + around, ..*r };
            let all = self.at(level + by).map_or(&[][..], |l| &l.rows);
            all.iter().filter(below).map(at_level).collect::<Vec<Row>>()
        };
        (1..=COARSER).flat_map(of).collect()
    }
}

/// The log ratio of two spectra at one frequency in one direction.
#[derive(Clone, Copy)]
pub(super) struct Row {
    /// Cycles a pixel of the level compared at.
    pub(super) frequency: f64,
    /// Cosine and sine of twice the angle of the direction.
    pub(super) direction: (f64, f64),
    pub(super) ratio: f64,
    pub(super) variance: f64,
}

/// Rows of two ring spectra.
///
/// Direction by direction: the mean over a ring would be that of the direction in which the scene has its power, as a
/// wall of bricks has it across its courses, and no lens blurs the same in all.
fn rows(a: &Rings, b: &Rings, sharper: f64, scale: f64) -> Vec<Row> {
    let blocks = f64::from(a.blocks.min(b.blocks));
    let of_sector = |sector: usize| {
        let (sa, sb) = (Signal::new(a, sector), Signal::new(b, sector));
        let double = std::f64::consts::TAU * sector as f64 / SECTORS as f64;
        let row = move |k: usize| {
            let f = k as f64 / BLOCK as f64;
            let (pa, pb) = (sa.at(k)?, sb.at(k)?);
            // A frame enlarged by s shows the scene's power at s times the frequency, times s squared. The slope is
            // the scene's own: that of the blur stays where it is.
            let scene_slope = pa.slope + 8.0 * (PI * sharper * f).powi(2);
            let ratio = 0.5 * ((pb.power / pa.power).ln() - (2.0 + scene_slope) * scale.ln());
            // Half-overlapping Hann blocks count for about two thirds of their number; a ring holds pi k modes.
            let modes = (PI * k as f64 * blocks * 0.65).max(1.0);
            // Noise of the log ratio: noise against signal in both frames, and what the windows don't share.
            let own = |s: &Mode| (2.0 * s.noise_share + s.noise_share.powi(2)) / modes;
            let variance = 0.25 * (own(&pa) + own(&pb)) + 2e-4 / modes.min(400.0) + 0.006f64.powi(2);
            // One direction of a ring holds a part of its modes.
            let variance = SECTORS as f64 * variance;
            Some(Row { frequency: f, direction: (double.cos(), double.sin()), ratio, variance })
        };
        (FROM..RINGS - FROM).filter_map(row)
    };
    (0..SECTORS).flat_map(of_sector).collect()
}

/// First ring that is looked at; as many are left out at the end. Chosen: above what the window mixes.
const FROM: usize = 3;
/// Rings of a coarser level that say how contrast goes where blur takes little, how many such levels; and how much more
/// (log ratio, per level) the wider surroundings they show differ between the frames. Chosen: an octave a level.
const OF_COARSER: std::ops::Range<usize> = FROM..2 * FROM;
const COARSER: usize = 1;
const AROUND: f64 = 0.008;

/// Variance of the Hann window's power spectrum along either axis, in squared modes: it mixes neighbouring modes, which
/// raises a falling power P by this times the Laplacian of P, halved. Derived: a third, since a sixth of a mode's power
/// goes to either neighbour.
const MIXING: f64 = 1.0 / 3.0;

/// Noise-free ring powers of one direction and their slopes.
struct Signal<'a> {
    power: &'a [f64; RINGS],
    noise: f64,
    logs: [f64; RINGS],
}

struct Mode {
    power: f64,
    /// d ln P / d ln k.
    slope: f64,
    /// Noise power over signal power.
    noise_share: f64,
}

impl<'a> Signal<'a> {
    fn new(rings: &'a Rings, sector: usize) -> Self {
        let (power, noise) = (&rings.power[sector], rings.noise);
        Self { power, noise, logs: power.map(|p| (p - noise).max(0.05 * noise).max(1e-6).ln()) }
    }

    /// Signal at ring `k`, the window's mixing of modes taken out; `None` where noise is as strong.
    fn at(&self, k: usize) -> Option<Mode> {
        let signal = self.power[k] - self.noise;
        if signal < self.noise.max(1e-6) {
            return None;
        }
        let parabola = &PARABOLAS[k];
        let logs = &self.logs[parabola.first..];
        let of = |weights: &[f64; WIDEST]| weights.iter().zip(logs).map(|(w, l)| w * l).sum::<f64>();
        let (slope, bend) = (of(&parabola.slope), of(&parabola.bend));
        // Laplacian of P over P, in two dimensions: (slope^2 + bend) / k^2.
        let raised = (slope * slope + bend) * MIXING / 2.0 / (k * k) as f64;
        let power = signal / (1.0 + raised.clamp(-0.3, 1.0));
        Some(Mode { power, slope, noise_share: self.noise / signal })
    }
}

/// Most rings that a parabola is fitted to. Chosen: as many as one takes in a noisy spectrum.
const WIDEST: usize = 7;

/// Slope and curvature of ln P over ln k at a ring as weighted sums of the logarithms of the rings about it: those of the
/// parabola through five to seven rings by least squares.
#[derive(Clone, Copy, Default)]
struct Parabola {
    first: usize,
    slope: [f64; WIDEST],
    bend: [f64; WIDEST],
}

static PARABOLAS: LazyLock<[Parabola; RINGS]> = LazyLock::new(|| std::array::from_fn(Parabola::about));

impl Parabola {
    fn about(k: usize) -> Self {
        if k == 0 {
            return Self::default();
        }
        let reach = if k < 6 { 2 } else { 3 };
        let (first, last) = (k - reach.min(k - 1), (k + reach).min(RINGS - 1));
        let row = |j: usize| {
            let x = (j as f64 / k as f64).ln();
            nalgebra::Vector3::new(1.0, x, x * x)
        };
        let normal: nalgebra::Matrix3<f64> = (first..=last).map(|j| row(j) * row(j).transpose()).sum();
        let inverse = normal.try_inverse().unwrap_or_default();
        let mut found = Self { first, ..Self::default() };
        for j in first..=last {
            let weights = inverse * row(j);
            (found.slope[j - first], found.bend[j - first]) = (weights[1], 2.0 * weights[2]);
        }
        found
    }
}
