//! Whether frames are a test series: one subject throughout, and nothing in a frame that is not the lens's.

use crate::measure::TileMap;

/// What is wrong with a frame of a series.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Doubt {
    /// It shows another scene than most of the others.
    OtherScene,
    /// It was shaken.
    Shaken,
    /// It was enlarged after it was taken.
    Enlarged,
    /// Next to nothing of it could be measured.
    Bare,
}

impl Doubt {
    /// The words after a frame's name.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::OtherScene => "shows another scene",
            Self::Shaken => "is shaken",
            Self::Enlarged => "was enlarged",
            Self::Bare => "has next to nothing to measure",
        }
    }
}

/// Correlation of the brightness of two frames' tiles from which they show one scene, and the spread of ln brightness
/// over a frame below which it tells nothing. Chosen: frames of one scene, shifted by a fifth of a tile, correlate by
/// 0.9 and more, those of two hardly ever by a half; a lit wall varies by its lighting and the lens's own falloff only,
/// which is up to two stops at the corners and some 0.4 over the frame (common practice, no published source).
const ALIKE: f64 = 0.6;
const VARIED: f64 = 0.4;
/// Share of a frame's tiles that must be measured. Chosen: a tenth, as the flag for few tiles has it.
const MEASURED: f64 = 0.1;
/// Standard deviations by which a streak must differ from none, and its least length, px. Chosen: beyond chance, and
/// beyond what a pixel hides.
const STREAK: (f64, f64) = (3.0, 1.5);

/// What speaks against each frame as one of a series, with its place in the list.
#[must_use]
pub fn doubts(maps: &[&TileMap]) -> Vec<(usize, Doubt)> {
    let sights: Vec<Sight> = maps.iter().map(|m| Sight::of(m)).collect();
    // The scene of the series is the one that most frames show.
    let company = |i: usize| sights.iter().filter(|other| sights[i].like(other)).count();
    let most = (0..sights.len()).max_by_key(|&i| (company(i), std::cmp::Reverse(i)));
    let mut found = Vec::new();
    for (i, map) in maps.iter().enumerate() {
        let bare = (map.measured().count() as f64) < MEASURED * map.tiles.len() as f64;
        let shaken = map.streak.is_some_and(|s| s.length.value > STREAK.0 * s.length.sd && s.length.value > STREAK.1);
        let other = most.is_some_and(|m| !sights[i].like(&sights[m]));
        let kinds =
            [(other, Doubt::OtherScene), (shaken, Doubt::Shaken), (map.enlarged, Doubt::Enlarged), (bare, Doubt::Bare)];
        found.extend(kinds.into_iter().filter(|k| k.0).map(|k| (i, k.1)));
    }
    found
}

/// How bright the tiles of a frame are, ln, less their mean.
struct Sight {
    grid: (u32, u32),
    light: Vec<f64>,
    spread: f64,
}

impl Sight {
    fn of(map: &TileMap) -> Self {
        let mut light: Vec<f64> = map.tiles.iter().map(|t| t.level.max(1e-3).ln()).collect();
        let n = (light.len() as f64).max(1.0);
        let mean = light.iter().sum::<f64>() / n;
        light.iter_mut().for_each(|v| *v -= mean);
        let spread = (light.iter().map(|v| v * v).sum::<f64>() / n).sqrt();
        Self { grid: (map.columns, map.rows), light, spread }
    }

    /// Whether two frames may show one scene.
    fn like(&self, other: &Self) -> bool {
        if self.grid != other.grid {
            return false;
        }
        if self.spread.max(other.spread) < VARIED {
            return true;
        }
        let product: f64 = self.light.iter().zip(&other.light).map(|(a, b)| a * b).sum();
        product > ALIKE * self.spread * other.spread * self.light.len() as f64
    }
}
