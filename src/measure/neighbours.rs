//! Reads tiles together with their neighbours that have detail and a width of their own, but one too uncertain to be told.
//!
//! Depth and lens change slowly from tile to tile but for silhouettes, so that told neighbours say about what a tile must show. It
//! is an empirical-Bayes step (Efron & Morris 1973, with neighbours in place of the grand mean) in ln width. The tile's own word a,
//! with the standard deviation s, is what its patches say once the expectation of the fit is taken out again ([`Reading`]).
//! The neighbours say m, their weighted mean, with the variance
//!
//! v = S^2 (1 + 1 / n) + COMMON e^2,
//!
//! where S^2 is how widely n of them scatter (so what each of them errs by for itself, what slopes, and what a silhouette among them
//! keeps apart), pulled towards the frame's usual as three more would, and e their usual stated error. Either the tile shows the same
//! surface, and both are pooled by 1 / s^2 and 1 / v; or, with the probability [`OTHER`] beforehand, it shows another one, and its own reading stands
//! as it was. How far the two are apart says which is likelier. What is told is mean and standard deviation of both together, so
//! that a tile that disagrees with its neighbours, or they with each other, stays as uncertain as they are apart.
//!
//! Tiles that are told already are never changed.

use super::tile::WIDEST;
use super::tilemap::{Tile, TileState};
use super::width::{COMMON, EXPECTED, KNOWN, Reading, UNSEEN};
use crate::quantity::Estimate;
use crate::stats::{median, normal_density};

/// Standard deviation of ln width up to which a tile is read together with its neighbours; beyond, next to nothing of
/// the width is its own. Set on the tiles of rendered landscapes whose true widths are known (`landscape_accuracy`).
const UNCERTAIN: f64 = 0.5;
/// How many columns and rows away a neighbour may lie. Chosen: tiles two away scatter as those beside do.
const REACH: usize = 2;
/// Fewest told neighbours (those with a width) that are needed. Chosen: fewer hardly show how widely they scatter.
const LEAST: usize = 5;
/// Share of the neighbours with detail that must be told: where fewer are, the place tells no widths as a rule (cloud, water,
/// snow), and those that are told there were picked by chance. Set on rendered landscapes and on the skies of ../shared/photos.
const MOST: f64 = 0.5;
/// Prior probability that a tile shows another surface than its neighbours. Chosen: three times what is found in 31
/// pictures of ../shared, where 2.6 % of the uncertain tiles have a width that their neighbours have not.
const OTHER: f64 = 0.1;
/// How many neighbours the frame's usual scatter counts for. Chosen: half of [`LEAST`], rounded up.
const USUAL_COUNTS: f64 = 3.0;
/// Scatter of ln width among neighbours where a frame has too few told tiles to say, and how many such tiles are
/// enough. Set on 31 pictures of ../shared, half of which scatter more.
const USUAL: f64 = 0.07;
const ENOUGH: usize = 8;

/// ln of a tile's told width, its standard deviation, and how many patches it rests on.
type Told = (f64, f64, u32);

/// The tiles up to [`REACH`] columns and rows away from tile `i` of so many, row-major.
pub(super) fn beside(count: usize, columns: usize, i: usize) -> impl Iterator<Item = usize> {
    let (x, y) = (i % columns, i / columns);
    let rows = y.saturating_sub(REACH)..(y + REACH + 1).min(count / columns);
    let across = x.saturating_sub(REACH)..(x + REACH + 1).min(columns);
    rows.flat_map(move |row| across.clone().map(move |column| row * columns + column)).filter(move |&k| k != i)
}

/// Whether a tile lies between told ones: two that touch it on opposite sides, and most of the neighbours that have detail. What is
/// told on one side alone says nothing of where its surface ends: a sky would be given the width of the trees below.
fn lies_between(told: &[Option<Told>], tiles: &[Tile], columns: usize, i: usize) -> bool {
    let (x, y) = (i % columns, i / columns);
    let is_told = |dx: isize, dy: isize| {
        let (column, row) = (x.checked_add_signed(dx), y.checked_add_signed(dy));
        let at = column.zip(row).filter(|&(column, _)| column < columns);
        at.and_then(|(column, row)| told.get(row * columns + column)).is_some_and(Option::is_some)
    };
    let opposite = [(1, 0), (0, 1), (1, 1), (1, -1)].into_iter().any(|(dx, dy)| is_told(dx, dy) && is_told(-dx, -dy));
    let detailed = |t: &Tile| matches!(t.state, TileState::Measured | TileState::AtMost | TileState::AtLeast);
    let (mut some, mut all) = (0.0, 0.0);
    for k in beside(tiles.len(), columns, i).filter(|&k| detailed(&tiles[k])) {
        some += f64::from(u8::from(told[k].is_some()));
        all += 1.0;
    }
    opposite && some >= MOST * all
}

/// What the told neighbours of a tile say of it.
struct Around {
    /// Weighted mean of their ln widths.
    mean: f64,
    /// Their variance about it, and their mean squared stated error.
    scatter: f64,
    error: f64,
    count: f64,
    patches: u32,
}

impl Around {
    /// `None` where fewer than [`LEAST`] are told. `usual` is the frame's usual variance among neighbours.
    fn of(told: &[Option<Told>], columns: usize, i: usize, usual: f64) -> Option<Self> {
        let neighbours: Vec<Told> = beside(told.len(), columns, i).filter_map(|k| told[k]).collect();
        if neighbours.len() < LEAST {
            return None;
        }
        let count = neighbours.len() as f64;
        let weight = |sd: f64| 1.0 / (sd * sd + usual).max(f64::MIN_POSITIVE);
        let total: f64 = neighbours.iter().map(|n| weight(n.1)).sum();
        let mean = neighbours.iter().map(|n| weight(n.1) * n.0).sum::<f64>() / total;
        let square = neighbours.iter().map(|n| weight(n.1) * (n.0 - mean).powi(2)).sum::<f64>() / total;
        Some(Self {
            mean,
            scatter: square * count / (count - 1.0),
            error: neighbours.iter().map(|n| n.1 * n.1).sum::<f64>() / count,
            count,
            patches: neighbours.iter().map(|n| n.2).fold(0, u32::saturating_add),
        })
    }

    /// Variance of what they foretell of the tile, where the frame's neighbours scatter by `usual` as a rule.
    fn variance(&self, usual: f64) -> f64 {
        let free = self.count - 1.0;
        let scatter = (USUAL_COUNTS * usual + free * self.scatter) / (USUAL_COUNTS + free);
        scatter * (1.0 + 1.0 / self.count) + COMMON * self.error
    }
}

/// Gives those tiles a number that their neighbours help to. The row-major `readings` are what the tiles' own patches said.
pub(super) fn complete(columns: usize, readings: &[Reading], tiles: &mut [Tile]) {
    if columns == 0 || readings.len() != tiles.len() {
        return;
    }
    let told: Vec<Option<Told>> = tiles.iter().map(|t| t.blur.map(|b| (b.value.ln(), b.sd / b.value, b.n))).collect();
    let usual = usual(&told, columns);
    let open = |t: &Tile| matches!(t.state, TileState::AtMost | TileState::AtLeast);
    let between: Vec<usize> =
        (0..tiles.len()).filter(|&i| open(&tiles[i]) && lies_between(&told, tiles, columns, i)).collect();
    for i in between {
        let (tile, reading) = (&mut tiles[i], &readings[i]);
        let own = reading.width.filter(|w| (KNOWN..UNCERTAIN).contains(&w.1) && w.0.exp() < WIDEST);
        let Some((own, around)) = own.zip(Around::of(&told, columns, i, usual)) else { continue };
        let Some(word) = reading.word else { continue };
        let (log, sd) = together((own.0, own.1), word, &around, usual);
        let width = log.exp();
        if sd < KNOWN && width < WIDEST {
            tile.state = TileState::Measured;
            tile.blur = Some(Estimate::new(width, width * sd, own.2.saturating_add(around.patches)));
            tile.alone = Some(Estimate::new(word.0.exp(), word.0.exp() * word.1, own.2));
            tile.bound = None;
        }
    }
}

/// Usual variance of ln width among the neighbours of a frame's told tiles.
fn usual(told: &[Option<Told>], columns: usize) -> f64 {
    let scatters: Vec<f64> = (0..told.len())
        .filter(|&i| told[i].is_some())
        .filter_map(|i| Some(Around::of(told, columns, i, 0.0)?.scatter))
        .collect();
    median(&scatters).filter(|_| scatters.len() >= ENOUGH).unwrap_or(USUAL * USUAL)
}

/// ln width and its standard deviation of a tile and its neighbours together, from the tile's own reading, its word without the
/// expectation of the fit, and what they say.
fn together(own: (f64, f64), word: (f64, f64), around: &Around, usual: f64) -> (f64, f64) {
    let (square, foretold) = (word.1 * word.1, around.variance(usual));
    let weight = foretold / (square + foretold);
    let same = weight * word.0 + (1.0 - weight) * around.mean;
    // The tile's error and theirs have the picture's in common.
    let shared = COMMON * (square * around.error).sqrt();
    let variance =
        weight * weight * square + (1.0 - weight) * (1.0 - weight) * foretold + 2.0 * weight * (1.0 - weight) * shared;
    let likelihood = |from: f64, variance: f64| normal_density(word.0 - from, (square + variance).sqrt());
    let (alike, unlike) =
        ((1.0 - OTHER) * likelihood(around.mean, foretold), OTHER * likelihood(EXPECTED, UNSEEN * UNSEEN));
    let other = unlike / (alike + unlike).max(f64::MIN_POSITIVE);
    let mean = other * own.0 + (1.0 - other) * same;
    let spread = other * (own.1 * own.1 + (own.0 - mean).powi(2)) + (1.0 - other) * (variance + (same - mean).powi(2));
    (mean, spread.sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::Dice;

    const COLUMNS: usize = 12;

    /// A map of 12 x 8 tiles of these ln widths, each read with the error that `sd` says; where that is too large to be told the tile
    /// has a bound only.
    fn map(log: impl Fn(usize, usize) -> f64, sd: impl Fn(usize, usize) -> f64) -> (Vec<Reading>, Vec<Tile>) {
        (0..8 * COLUMNS)
            .map(|i| {
                let (x, y) = (i % COLUMNS, i / COLUMNS);
                let (log, sd) = (log(x, y), sd(x, y));
                let told = sd < KNOWN;
                let tile = Tile {
                    x: 100 * x as u32,
                    y: 100 * y as u32,
                    width: 100,
                    height: 100,
                    state: if told { TileState::Measured } else { TileState::AtLeast },
                    contrast: 0.3,
                    noise: 0.0,
                    level: 0.5,
                    blur: told.then(|| Estimate::new(log.exp(), log.exp() * sd, 1)),
                    alone: None,
                    bound: (!told).then(|| (log - 1.645 * sd).exp()),
                    spread: None,
                };
                (Reading::of_test(log, sd), tile)
            })
            .unzip()
    }

    fn completed(readings: &[Reading], tiles: &[Tile]) -> Vec<Tile> {
        let mut all = tiles.to_vec();
        complete(COLUMNS, readings, &mut all);
        all
    }

    #[test]
    fn a_word_and_the_expectation_together_are_what_was_read() {
        let (log, sd) = (-0.4, 0.4);
        let (word, own) = Reading::of_test(log, sd).word.expect("a word");
        // The mean of two normal laws is weighted by their inverse variances, which add (Gauss 1809).
        let (a, b) = (own.powi(-2), UNSEEN.powi(-2));
        assert!(((word * a + EXPECTED * b) / (a + b) - log).abs() < 1e-12 && ((a + b).powf(-0.5) - sd).abs() < 1e-12);
        assert!(Reading::of_test(0.4, UNSEEN).word.is_none() && Reading::default().word.is_none());
    }

    #[test]
    fn an_uncertain_tile_among_told_ones_gets_a_width_that_says_so() {
        let lone = |x, y| if (x, y) == (5, 4) { 0.4 } else { 0.1 };
        // Widths that grow downwards, as on ground; what the lone tile reads is 30 % off.
        let slope = |y: usize| 0.05 * y as f64;
        let (readings, tiles) = map(|x, y| slope(y) + if (x, y) == (5, 4) { 0.3 } else { 0.0 }, lone);
        let i = 4 * COLUMNS + 5;
        let all = completed(&readings, &tiles);
        let (tile, blur) = (&all[i], all[i].blur.expect("a width"));
        assert_eq!((tile.state, tile.bound), (TileState::Measured, None));
        assert!((blur.value.ln() - slope(4)).abs() < 0.1, "{blur:?}");
        let sd = blur.sd / blur.value;
        assert!(sd > 0.1 * COMMON.sqrt() && sd < KNOWN && blur.n == 25, "{blur:?}");
        let alone = tile.alone.expect("its own word");
        assert!(alone.sd / alone.value > 0.4 && tile.by_itself().is_none() && tile.own() == Some(alone));
        // What is too uncertain, too wide for the estimator, clipped or without detail stays what it is.
        let (mut unseen, mut wide, mut clipped) = (readings.clone(), readings.clone(), tiles.clone());
        unseen[i].width = Some((0.3, 0.55, 1));
        wide[i].width = Some((WIDEST.ln() + 0.1, 0.3, 1));
        clipped[i].state = TileState::Clipped;
        for (readings, tiles) in [(&unseen, &tiles), (&wide, &tiles), (&readings, &clipped)] {
            assert_eq!(completed(readings, tiles), *tiles);
        }
        let mut few = tiles;
        few.iter_mut().filter(|t| t.x != 300 || t.y == 400).for_each(|t| t.blur = None);
        assert!(completed(&readings, &few).iter().all(|t| t.alone.is_none()));
    }

    /// A near thing, 2.5 times as blurred, before a sharp scene: the border tiles of either side that read as their own side does,
    /// however roughly, are told near its width or not at all.
    #[test]
    fn widths_are_not_carried_over_a_silhouette() {
        let edge = 6;
        let side = |x: usize| if x < edge { -0.4 } else { -0.4 + 2.5f64.ln() };
        let rough = |x: usize, y: usize| if (5..=6).contains(&x) && y % 2 == 1 { 0.35 } else { 0.08 };
        let (readings, tiles) = map(|x, _| side(x), rough);
        let all = completed(&readings, &tiles);
        for (k, tile) in all.iter().enumerate().filter(|(k, _)| rough(k % COLUMNS, k / COLUMNS) > KNOWN) {
            if let Some(b) = tile.blur {
                let off = b.value.ln() - side(k % COLUMNS);
                assert!(off.abs() < 2.0 * b.sd / b.value, "tile {k}: {off}");
            }
        }
        // A thing of one tile before the scene reads 2.5 to 4 times as wide as all round it: no width of the scene's is put on it.
        for times in [2.5f64, 4.0] {
            let thing = |x, y| (x, y) == (8, 3);
            let (readings, tiles) = map(
                |x, y| if thing(x, y) { times.ln() - 0.4 } else { -0.4 },
                |x, y| if thing(x, y) { 0.35 } else { 0.08 },
            );
            assert_eq!(completed(&readings, &tiles), tiles, "{times}");
        }
    }

    /// Told trees below a sky, whose tiles read something, but roughly; and a few told tiles in a place where most are not.
    #[test]
    fn what_lies_beyond_or_amid_the_untold_is_not_told_either() {
        let (readings, tiles) = map(|_, _| 0.0, |_, y| if y < 4 { 0.3 } else { 0.08 });
        assert_eq!(completed(&readings, &tiles), tiles);
        let (readings, tiles) = map(|_, _| 0.0, |x, y| if (x + 2 * y) % 3 == 0 { 0.08 } else { 0.3 });
        assert_eq!(completed(&readings, &tiles), tiles);
    }

    #[test]
    fn what_is_told_stays_as_it_is_and_errors_hold() {
        let (mut within, mut count, mut open) = (0, 0, 0);
        for seed in 0..20 {
            let mut dice = Dice::new(seed);
            let mut truths = Vec::new();
            let mut drawn: Vec<(f64, f64)> = Vec::new();
            for i in 0..8 * COLUMNS {
                let (x, y) = (i % COLUMNS, i / COLUMNS);
                // Ground that gets softer downwards before a thing twice as soft at the left.
                let truth = -0.5 + 0.06 * y as f64 + if x < 3 { 0.7 } else { 0.0 };
                let sd = if dice.uniform() < 0.3 { 0.25 + 0.25 * dice.uniform() } else { 0.05 + 0.1 * dice.uniform() };
                let word = (sd.powi(-2) - UNSEEN.powi(-2)).powf(-0.5);
                let read = truth + word * dice.normal();
                drawn.push(((read * word.powi(-2) + EXPECTED * UNSEEN.powi(-2)) * sd * sd, sd));
                truths.push(truth);
            }
            let at = |x: usize, y: usize| drawn[y * COLUMNS + x];
            let (readings, tiles) = map(|x, y| at(x, y).0, |x, y| at(x, y).1);
            for ((before, after), truth) in tiles.iter().zip(completed(&readings, &tiles)).zip(truths) {
                if before.blur.is_some() {
                    assert_eq!(*before, after);
                    continue;
                }
                open += 1;
                if let Some(b) = after.blur {
                    count += 1;
                    within += u32::from((b.value.ln() - truth).abs() < 2.0 * b.sd / b.value);
                }
            }
        }
        assert!(2 * count > open && 10 * within > 9 * count, "{within} of {count} within two, of {open} open ones");
    }

    #[test]
    fn odd_maps_are_left_alone() {
        let (readings, tiles) = map(|_, _| 0.0, |_, _| 0.4);
        assert_eq!(completed(&readings, &tiles), tiles, "none told");
        assert_eq!(completed(&readings[1..], &tiles), tiles, "too few readings");
        let mut one = tiles[..1].to_vec();
        complete(1, &readings[..1], &mut one);
        complete(0, &[], &mut []);
        assert_eq!(one, tiles[..1]);
    }
}
