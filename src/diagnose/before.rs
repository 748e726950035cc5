//! Things that stand before the scene at the lower edge and fill only a part of it: a rock in one corner, a post, a bush at the
//! side. The ground beside them is sharp, so that the model of the frame takes them for soft content.

use super::evidence::{APART, Evidence, Sample};
use super::foreground::{FAR_OUT, ONE_BLUR, Told};
use crate::measure::TileMap;
use crate::stats::{scatter, upper_median};

/// Difference of ln width up to which neighbouring tiles are of one thing, and a tile's stated error (ln) up to which it counts.
/// Chosen: three times the scatter of one blur; twice the error that shows its shape.
const LINKED: f64 = 0.2;
const TOLD: f64 = 2.0 * ONE_BLUR.1;
/// Least share of the picture's tiles. Chosen: half of the picture's height by a column in 24, as a post has.
const LEAST: f64 = 0.02;
/// Median of the stated errors (ln) up to which they show the blur's shape: a few tiles more than in [`ONE_BLUR`] lie across its
/// outline. Chosen: a quarter more than there.
const SHAPED: f64 = 1.25 * ONE_BLUR.1;
/// Columns beside the group within which the ground is looked for. Chosen: the outline takes one or two.
const BESIDE: usize = 3;
/// Fewest ends of rows beside which the ground is sharper, as a share of its rows and at the least. Chosen: a thing at the side of the
/// picture has one in most rows, one in the middle two.
const SHARPER: (f64, usize) = (0.4, 2);
/// Share of its tiles that the model must leave unexplained. Chosen: most of them.
const UNEXPLAINED: f64 = 0.6;

/// What is told of the ends of a group's rows.
#[derive(Clone, Copy, Default)]
struct Ends {
    /// The ground beside it is sharper, softer, or neither.
    sharper: usize,
    softer: usize,
    alike: usize,
}

/// The softest thing that stands at the lower edge before ground which is sharp beside it, and its tiles.
///
/// Ground at one height of the picture lies about equally far away, so that what is softer there by one and the same blur, whatever
/// it shows, stands nearer and is out of focus (the blur of a thin lens hangs on distance alone); what is soft of itself differs
/// from tile to tile ([`ONE_BLUR`]) or has lost its contrast. `credible`: of each tile whether the model explains it; `beyond`: whole
/// width, px, from which a place is beyond the permitted blur. Biased towards silence: a thing of two depths has no one blur.
pub(super) fn thing(map: &TileMap, e: &Evidence, credible: &[Option<f64>], beyond: f64) -> Option<(Told, Vec<u32>)> {
    let widths: Vec<Option<(f64, f64)>> =
        map.tiles.iter().map(|t| t.by_itself().map(|b| (b.value.ln(), b.sd / b.value))).collect();
    let soft = |i: usize| {
        let (y, sd) = widths[i]?;
        (y > beyond.ln() && sd < TOLD && map.tiles[i].contrast > FAR_OUT.1).then_some(y)
    };
    let soft: Vec<Option<f64>> = (0..widths.len()).map(soft).collect();
    let stands = |tiles: &Vec<usize>| {
        let y = upper_median(tiles.iter().filter_map(|&i| soft[i]).collect())?;
        let off: Vec<f64> = tiles.iter().filter_map(|&i| Some(soft[i]? - y)).collect();
        let unexplained = tiles.iter().filter(|&&i| credible[i].is_none_or(|c| c < 0.5)).count();
        let error = upper_median(tiles.iter().filter_map(|&i| Some(widths[i]?.1)).collect())?;
        let reaches = tiles.iter().any(|&i| i / map.columns as usize + 2 >= map.rows as usize);
        let one = scatter(&off)? <= ONE_BLUR.0 && error <= SHAPED;
        let before = reaches && unexplained as f64 >= UNEXPLAINED * tiles.len() as f64;
        (one && before && beside_sharper(map, &widths, tiles, y)).then_some(y)
    };
    let groups = groups(map, &soft).into_iter().filter(|g| g.len() as f64 >= LEAST * map.tiles.len() as f64);
    let softest = groups.filter_map(|g| Some((stands(&g)?, g))).max_by(|a, b| a.0.total_cmp(&b.0));
    let (ln_width, tiles) = softest?;
    let inside: Vec<&Sample> = e.samples.iter().filter(|s| tiles.contains(&s.index)).collect();
    let n = inside.len() as f64;
    let middle = |of: fn(&Sample) -> f64| inside.iter().map(|s| of(s)).sum::<f64>() / n;
    let place = Sample::place(middle(|s| s.u), middle(|s| s.v), inside.first()?.learned);
    let mut tiles: Vec<u32> = tiles.into_iter().map(|i| i as u32).collect();
    tiles.sort_unstable();
    Some((Told { place, ln_width, sd: ERROR, used: n, side: 1.0 }, tiles))
}

/// Spread of the width told, ln. Chosen: what tiles of one texture have in common, as a soft band has it.
const ERROR: f64 = 0.1;

/// Soft tiles that touch, along a side or at a corner, and are about as soft.
fn groups(map: &TileMap, soft: &[Option<f64>]) -> Vec<Vec<usize>> {
    let (columns, rows) = (map.columns as usize, map.rows as usize);
    let mut taken = vec![false; soft.len()];
    let mut groups = Vec::new();
    for first in (0..soft.len()).filter(|&i| soft[i].is_some()) {
        if std::mem::replace(&mut taken[first], true) {
            continue;
        }
        let mut group = vec![first];
        let mut next = 0;
        while let Some(&i) = group.get(next) {
            next += 1;
            let (x, y) = (i % columns, i / columns);
            for other in (y.saturating_sub(1)..(y + 2).min(rows))
                .flat_map(|b| (x.saturating_sub(1)..(x + 2).min(columns)).map(move |a| b * columns + a))
            {
                let linked = soft[i].zip(soft[other]).is_some_and(|(a, b)| (a - b).abs() < LINKED);
                if linked && !std::mem::replace(&mut taken[other], true) {
                    group.push(other);
                }
            }
        }
        groups.push(group);
    }
    groups
}

/// Whether the ground beside a group of tiles, row by row, is sharper by far than the group's ln width.
fn beside_sharper(map: &TileMap, widths: &[Option<(f64, f64)>], tiles: &[usize], ln_width: f64) -> bool {
    let columns = map.columns as usize;
    let mut sums = Ends::default();
    let mut rows = 0;
    for row in 0..map.rows as usize {
        let xs = || tiles.iter().filter(|&&i| i / columns == row).map(|&i| i % columns);
        let (Some(left), Some(right)) = (xs().min(), xs().max()) else { continue };
        rows += 1;
        let apart = |x: usize| {
            let less = ln_width - widths[row * columns + x]?.0;
            (less.abs() > APART.ln()).then_some(less > 0.0)
        };
        // Where the picture ends there is nothing to be told from.
        let sides = [
            ((left.saturating_sub(BESIDE)..left).rev().find_map(apart), left >= BESIDE),
            ((right + 1..(right + 1 + BESIDE).min(columns)).find_map(apart), right + BESIDE < columns),
        ];
        for (side, whole) in sides {
            match side {
                Some(true) => sums.sharper += 1,
                Some(false) => sums.softer += 1,
                None => sums.alike += usize::from(whole),
            }
        }
    }
    let least = (SHARPER.0 * f64::from(rows)).max(SHARPER.1 as f64);
    sums.sharper as f64 >= least && sums.sharper >= sums.softer + sums.alike
}
