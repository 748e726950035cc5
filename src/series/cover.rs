//! The fewest frames that cover every place.

/// Most frames that are searched exhaustively; more are searched greedily. Chosen: no bracket is that long.
const MOST: usize = 64;

/// The smallest set of rows that together cover every column; of sets of one size that with the least cost.
pub(super) fn smallest_cover(sets: &[Vec<bool>], cost: &dyn Fn(&[usize]) -> f64) -> Vec<usize> {
    let columns = sets.first().map_or(0, Vec::len);
    let first = greedy(sets, columns);
    if sets.len() > MOST || first.is_empty() {
        return first;
    }
    let mut search = Search { sets, cost, least: cost(&first), best: first, steps: 0 };
    search.branch(&vec![false; columns], &mut Vec::new());
    search.best
}

fn greedy(sets: &[Vec<bool>], columns: usize) -> Vec<usize> {
    let mut covered = vec![false; columns];
    let mut chosen = Vec::new();
    loop {
        let gain = |k: usize| sets[k].iter().zip(&covered).filter(|(s, c)| **s && !**c).count();
        match (0..sets.len()).max_by_key(|&k| gain(k)).filter(|&k| gain(k) > 0) {
            Some(k) => {
                chosen.push(k);
                for (c, s) in covered.iter_mut().zip(&sets[k]) {
                    *c |= s;
                }
            }
            None => return chosen,
        }
    }
}

/// Branch and bound over the rows.
struct Search<'a> {
    sets: &'a [Vec<bool>],
    cost: &'a dyn Fn(&[usize]) -> f64,
    best: Vec<usize>,
    least: f64,
    steps: u32,
}

/// Branches of the search after which the best so far is taken. Chosen: a moment's work.
const STEPS: u32 = 100_000;

impl Search<'_> {
    /// Branches on the uncovered column that the fewest rows cover; leaves off where the best is beaten already.
    fn branch(&mut self, covered: &[bool], chosen: &mut Vec<usize>) {
        self.steps += 1;
        if self.steps > STEPS {
            return;
        }
        let open = (0..covered.len()).filter(|&c| !covered[c]);
        let Some(column) = open.min_by_key(|&c| self.sets.iter().filter(|s| s[c]).count()) else {
            let cost = (self.cost)(chosen);
            if chosen.len() < self.best.len() || (chosen.len() == self.best.len() && cost < self.least) {
                self.best.clone_from(chosen);
                self.least = cost;
            }
            return;
        };
        if chosen.len() >= self.best.len() {
            return;
        }
        for k in 0..self.sets.len() {
            if self.sets[k][column] {
                let next: Vec<bool> = covered.iter().zip(&self.sets[k]).map(|(c, s)| *c || *s).collect();
                chosen.push(k);
                self.branch(&next, chosen);
                chosen.pop();
            }
        }
    }
}
