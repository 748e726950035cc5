//! The tables: verdicts, blur and distances against the truth.

use std::time::Instant;

use tussock::diagnose::{Cause, Diagnosis, diagnose};
use tussock::quantity::{Distance, Flag};
use tussock::shot::{Capture, Fact, Source};

use crate::truth::Truth;
use crate::{Kept, Measured, scene};

/// Edges of the bins of stated confidence.
const BINS: [f64; 6] = [0.0, 0.7, 0.8, 0.9, 0.95, 0.98];

/// Factor within which two causes do about the same.
const ALIKE: f64 = 1.3;

pub fn judge(all: &[(Kept, Measured)], verbose: bool) -> anyhow::Result<()> {
    let mut clear = Count::default();
    let mut every = Count::default();
    let mut hidden = Count::default();
    let mut bins = [(0u32, 0.0, 0u32); 6];
    let mut lists: [List; 13] = [
        List::new("near-zone optical blur against the ground in the lowest eighth, relative"),
        List::new("far-zone optical blur against the ridges, relative"),
        List::new("near-zone whole blur against the ground in the lowest eighth, relative"),
        List::new("far-zone whole blur against the ridges, relative"),
        List::new("1/focus less the truth, over 1/near"),
        List::new("near distance against the nearest ground in the picture, relative"),
        List::new("single tiles against their true widths, in stated sd"),
        List::new("  tiles below 0.5 px"),
        List::new("  tiles of 0.5 to 1 px"),
        List::new("  tiles of 1 to 2 px"),
        List::new("  tiles of 2 to 3 px"),
        List::new("  tiles beyond 3 px"),
        List::new("tiles read together with their neighbours, against their true widths, in stated sd"),
    ];
    let (mut false_contradictions, mut found_contradictions, mut asked) = (0, 0, 0);
    let mut told = [Told::default(); 2];
    let mut time = 0.0;
    let mut swapped = 0;
    for (kept, measured) in all {
        let truth = &kept.truth;
        let intent = scene::intent(kept.disc_px);
        let start = Instant::now();
        let d = diagnose(&measured.map, &measured.capture, None, &intent);
        time += start.elapsed().as_secs_f64();
        let causes = truth.causes();
        let seen = truth.near_seen >= 0.2 && truth.far_seen;
        let named = d.verdict.cause != Cause::CannotTell;
        // Of two causes that do about the same either may be named.
        let right = causes.as_ref().is_some_and(|c| match c.first() {
            None => d.verdict.cause == Cause::SharpThroughout,
            Some(first) => c.iter().any(|c| c.0 == d.verdict.cause && c.1 * ALIKE >= first.1),
        });
        let among = right || causes.as_ref().is_some_and(|c| c.iter().any(|c| c.0 == d.verdict.cause));
        let strongest = causes.as_ref().and_then(|c| c.first()).map(|c| c.0);
        swapped += u32::from(seen && truth.is_clear() && right && strongest.is_some_and(|c| c != d.verdict.cause));
        if seen && named && causes.is_some() {
            let bin = BINS.iter().rposition(|&e| d.verdict.confidence >= e).unwrap_or(0);
            bins[bin].0 += 1;
            bins[bin].1 += d.verdict.confidence;
            bins[bin].2 += u32::from(right);
        }
        let sure = named && d.verdict.confidence >= 0.9;
        if !seen {
            hidden.add(right, among, named, sure);
        } else if causes.is_some() {
            every.add(right, among, named, sure);
            if truth.is_clear() {
                clear.add(right, among, named, sure);
            }
        }
        errors(&mut lists, &d, kept, measured);
        if seen {
            let deep = (truth.nearest.disc_px - truth.far.disc_px).abs() >= DEEP;
            told[0].add(d.implied.focus_m.is_some(), deep);
            told[1].add(d.implied.near_m.is_some(), deep);
        }
        if seen && truth.motion_px < 0.5 * truth.permitted_px {
            let with = |metres: f64| Capture {
                focus_distance_m: Some(Fact::new(Distance::from_metres(metres), Source::MakerNote)),
                ..measured.capture.clone()
            };
            let flagged = |metres: f64| {
                diagnose(&measured.map, &with(metres), None, &intent).flags.contains(&Flag::FocusDistanceContradicted)
            };
            asked += 1;
            false_contradictions += u32::from(flagged(truth.focus_m));
            found_contradictions +=
                u32::from(flagged(truth.focus_m * if truth.focus_m > 3.0 * truth.nearest_m { 0.25 } else { 4.0 }));
        }
        let wrong = named && !right && causes.is_some();
        let missed = seen && truth.is_clear() && !right;
        if verbose && (wrong || missed) {
            tell(kept, &d, truth, causes.as_deref());
        }
    }
    println!("{} pictures, {:.1} ms a frame", all.len(), 1e3 * time / all.len().max(1) as f64);
    clear.print("clear (every decisive blur beyond 1.3 or within 0.7 times the permitted), near and far shown");
    println!("  in {swapped} of those right, the stronger of two causes within {ALIKE} of each other was named second");
    every.print("all with near and far shown");
    hidden.print("near all water, or the far scene lost in haze");
    println!("confidence  verdicts  mean stated  right");
    for ((n, sum, ok), from) in bins.into_iter().zip(BINS) {
        println!("from {from:.2}  {n:8}  {:.3}  {:.3}", sum / f64::from(n.max(1)), f64::from(ok) / f64::from(n.max(1)));
    }
    for list in &mut lists {
        list.print();
    }
    for (told, what) in told.iter().zip(["focus distance", "near distance"]) {
        println!(
            "{what} told in {} of {}, in {} of the {} whose ends lie {DEEP} px of disc apart",
            told.all.0, told.all.1, told.deep.0, told.deep.1
        );
    }
    println!(
        "focus distance recorded right: {false_contradictions} of {asked} contradicted; four times off: {found_contradictions} of {asked}"
    );
    Ok(())
}

fn errors(lists: &mut [List; 13], d: &Diagnosis, kept: &Kept, measured: &Measured) {
    let truth = &kept.truth;
    let seen = [truth.near_seen >= 0.2, truth.far_seen];
    for k in 0..2 {
        let spot = [&truth.near, &truth.far][k];
        // A disc under many waves of defocus may hold half contrast up to no frequency the integral reaches.
        if let (true, Some(e)) = (seen[k] && spot.optical_px < 100.0, d.zones[k].optical_px) {
            lists[k].add(e.value / spot.optical_px - 1.0, e.sd / spot.optical_px);
        }
        if let (true, Some(e)) = (seen[k] && spot.whole_px < 100.0, d.zones[k].blur_px) {
            lists[2 + k].add(e.value / spot.whole_px - 1.0, e.sd / spot.whole_px);
        }
    }
    if seen == [true; 2] {
        let n = truth.nearest_m;
        if let Some(f) = d.implied.focus_m {
            lists[4].add((1.0 / f.value - 1.0 / truth.focus_m) * n, (1.0 / f.low - 1.0 / f.value) * n);
        }
        if let Some(f) = d.implied.near_m {
            lists[5].add((f.value / n - 1.0).min(9.0), (f.value / f.low - 1.0).min(9.0));
        }
    }
    for (tile, t) in measured.map.tiles.iter().zip(&truth.tiles) {
        if let (Some(b), true) = (tile.blur, t.3 > 0.8 && t.2 < 1.1 * t.1) {
            if tile.alone.is_some() {
                lists[12].add(b.value / t.0 - 1.0, b.sd / t.0);
                continue;
            }
            let wide = [0.5, 1.0, 2.0, 3.0].iter().filter(|&&w| t.0 >= w).count();
            for list in [6, 7 + wide] {
                lists[list].add(b.value / t.0 - 1.0, b.sd / t.0);
            }
        }
    }
}

fn tell(kept: &Kept, d: &Diagnosis, t: &Truth, causes: Option<&[(Cause, f64)]>) {
    println!(
        "{} {}truth {causes:.2?} said {:?} {:.2} {:?} also {:?} | near {} of {:.2} far {} of {:.2} P {:.2} | diff {:.2} mot {:.2} askew {:.2} | disc {:.1} {:.1} lens {:.2} {:.2} seen {:.1} {} | {} | w {:.2?} fit {:?}",
        kept.seed,
        if t.is_clear() { "CLEAR " } else { "" },
        d.verdict.cause,
        d.verdict.confidence,
        d.verdict.unsettled,
        d.verdict.also,
        d.near().optical_px.map_or("-".into(), |e| format!("{:.2}±{:.2}", e.value, e.sd)),
        t.near.optical_px,
        d.far().optical_px.map_or("-".into(), |e| format!("{:.2}±{:.2}", e.value, e.sd)),
        t.far.optical_px,
        t.permitted_px,
        t.diffraction_px,
        t.motion_px,
        t.askew_px,
        t.near.disc_px,
        t.far.disc_px,
        t.near.lens_px,
        t.far.lens_px,
        t.near_seen,
        t.far_seen,
        t.note,
        &d.verdict.weights[..d.verdict.weights.len().min(3)],
        d.model.as_ref().map(|m| (
            m.disc_far_px.value,
            m.disc_down_px.value,
            m.horizon,
            m.disc_right_px.value,
            m.lens_corner_px.value,
            m.chi_square
        ))
    );
}

/// Difference of the discs at the nearest ground and the far scene, px, from which blur tells distances.
const DEEP: f64 = 4.0;

/// In how many scenes a distance was told, of how many: of all, and of those with depth enough.
#[derive(Clone, Copy, Default)]
struct Told {
    all: (u32, u32),
    deep: (u32, u32),
}

impl Told {
    fn add(&mut self, told: bool, deep: bool) {
        self.all = (self.all.0 + u32::from(told), self.all.1 + 1);
        if deep {
            self.deep = (self.deep.0 + u32::from(told), self.deep.1 + 1);
        }
    }
}

/// Verdicts of one kind of scene.
#[derive(Default)]
struct Count {
    all: u32,
    right: u32,
    among: u32,
    open: u32,
    sure: u32,
    sure_wrong: u32,
}

impl Count {
    fn add(&mut self, right: bool, among: bool, named: bool, sure: bool) {
        self.all += 1;
        self.right += u32::from(right);
        self.among += u32::from(among);
        self.open += u32::from(!named);
        self.sure += u32::from(sure);
        self.sure_wrong += u32::from(sure && !right);
    }

    fn print(&self, what: &str) {
        let share = |n: u32| 100.0 * f64::from(n) / f64::from(self.all.max(1));
        println!(
            "{what}: {} scenes, cause right {} ({:.1} %), one of the true causes {} , left open {}; of {} given with confidence >= 0.9, {} wrong",
            self.all,
            self.right,
            share(self.right),
            self.among,
            self.open,
            self.sure,
            self.sure_wrong
        );
    }
}

/// Errors with their stated standard deviations.
struct List {
    name: &'static str,
    errors: Vec<(f64, f64)>,
}

impl List {
    const fn new(name: &'static str) -> Self {
        Self { name, errors: Vec::new() }
    }

    fn add(&mut self, error: f64, sd: f64) {
        self.errors.push((error, sd));
    }

    fn print(&mut self) {
        self.errors.sort_by(|a, b| a.0.total_cmp(&b.0));
        let n = self.errors.len();
        if n == 0 {
            return;
        }
        let at = |q: f64| self.errors[((n - 1) as f64 * q) as usize].0;
        let mut sizes: Vec<f64> = self.errors.iter().map(|e| e.0.abs()).collect();
        sizes.sort_by(f64::total_cmp);
        let within = |k: f64| 100.0 * self.errors.iter().filter(|e| e.0.abs() <= k * e.1).count() as f64 / n as f64;
        println!(
            "{}: n {n}, median |error| {:.3}, median {:+.3}, 16 to 84 % {:+.3} to {:+.3}, 2.5 to 97.5 % {:+.3} to {:+.3}; within 1 sd {:.0} %, 2 sd {:.0} %",
            self.name,
            sizes[n / 2],
            at(0.5),
            at(0.16),
            at(0.84),
            at(0.025),
            at(0.975),
            within(1.0),
            within(2.0)
        );
    }
}
