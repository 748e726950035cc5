//! Tests of the fit of a bracket.

use super::*;
use crate::quantity::{DISC_SIGMA, Estimate};

const COLUMNS: u32 = 12;
const ROWS: u32 = 8;

fn tiles() -> Vec<Region> {
    (0..COLUMNS * ROWS)
        .map(|i| Region { x: 50 * (i % COLUMNS), y: 50 * (i / COLUMNS), width: 50, height: 50 })
        .collect()
}

/// Blurs of five frames, from the disc (px) at tile i of frame k, by the root of the sum of squares, each off by up
/// to a twentieth; and the widths before that.
fn blurs(disc: impl Fn(u32, usize) -> f64) -> (Blurs, Vec<Vec<f64>>) {
    blurs_of(5, disc)
}

/// The same of any number of frames.
fn blurs_of(frames: usize, disc: impl Fn(u32, usize) -> f64) -> (Blurs, Vec<Vec<f64>>) {
    let mut dice = fastrand::Rng::with_seed(3);
    let width = |i: u32, k: usize| 0.6_f64.hypot(DISC_SIGMA * disc(i, k));
    let truth: Vec<Vec<f64>> = (0..frames).map(|k| (0..COLUMNS * ROWS).map(|i| width(i, k)).collect()).collect();
    let mut seen = |w: &f64| Some(Estimate::new(w * (0.95 + 0.1 * dice.f64()), 0.03 * w, 9));
    let sigma = truth.iter().map(|f| f.iter().map(&mut seen).collect()).collect();
    let count = (COLUMNS * ROWS) as usize;
    let apart_sd = truth.iter().map(|f| f.iter().map(|w| 0.03 * w).collect()).collect();
    let from_middle = vec![vec![(0.0, 0.0); count]; frames];
    let at_least = vec![vec![false; count]; frames];
    (Blurs { sigma, apart_sd, from_middle, at_least, anchor_sd: vec![0.05; count], moved: vec![0; frames] }, truth)
}

#[test]
fn one_model_of_all_frames_is_nearer_the_truth_than_each_width() {
    // Level ground whose far end is in focus in the first frame and whose near end in the last.
    let row = |i: u32| f64::from(i / COLUMNS) / f64::from(ROWS - 1);
    let (blurs, truth) = blurs(|i, k| 8.0 * row(i) - 2.0 * k as f64);
    let found = focusing(&blurs, &tiles(), None).expect("a bracket");
    let error = |width: &dyn Fn(usize, usize) -> f64| {
        let all = (0..5).flat_map(|k| (0..tiles().len()).map(move |t| (k, t)));
        let squares: Vec<f64> = all.map(|(k, t)| (width(k, t) / truth[k][t]).ln().powi(2)).collect();
        (squares.iter().sum::<f64>() / squares.len() as f64).sqrt()
    };
    let before = error(&|k, t| blurs.sigma[k][t].map_or(f64::NAN, |e| e.value));
    let after = error(&|k, t| found.sigma[k][t].unwrap_or(f64::NAN));
    assert!(after < 0.7 * before, "{after} after, {before} before");
}

/// Root mean square of the logarithms of found over true widths among tiles.
fn error(found: &Widths, truth: &[Vec<f64>], of: impl Fn(usize) -> bool) -> f64 {
    let all = (0..truth.len()).flat_map(|k| (0..tiles().len()).map(move |t| (k, t))).filter(|a| of(a.1));
    let squares: Vec<f64> =
        all.map(|(k, t)| (found.sigma[k][t].unwrap_or(f64::NAN) / truth[k][t]).ln().powi(2)).collect();
    (squares.iter().sum::<f64>() / squares.len() as f64).sqrt()
}

#[test]
fn the_lowest_row_is_told_from_what_lies_above_its_middle() {
    let disc = |row: f64, k: usize| 8.0 * row / f64::from(ROWS - 1) - 2.0 * k as f64;
    let bottom = |i: u32| i / COLUMNS == ROWS - 1;
    // Compared 0.4 tiles above their middles.
    let (mut blurs, _) = blurs(|i, k| disc(f64::from(i / COLUMNS) - if bottom(i) && k != 4 { 0.4 } else { 0.0 }, k));
    let truth: Vec<Vec<f64>> = (0..5)
        .map(|k| (0..COLUMNS * ROWS).map(|i| 0.6_f64.hypot(DISC_SIGMA * disc(f64::from(i / COLUMNS), k))).collect())
        .collect();
    let near = |t: usize| bottom(t as u32);
    let unaware = error(&focusing(&blurs, &tiles(), None).expect("a bracket"), &truth, near);
    for k in 0..4 {
        for t in (0..tiles().len()).filter(|&t| near(t)) {
            blurs.from_middle[k][t] = (0.0, -20.0);
        }
    }
    let aware = error(&focusing(&blurs, &tiles(), None).expect("a bracket"), &truth, near);
    assert!(aware < 0.6 * unaware && aware < 0.03, "{aware} for {unaware}");
}

#[test]
fn a_decentred_lens_is_followed() {
    // Softness grows from a point on the left by 0.5 px^2 to the right.
    let soft = |i: u32| (0.16 + 0.5 * (f64::from(i % COLUMNS) / f64::from(COLUMNS - 1)).powi(3)).sqrt();
    let width = |i: u32, k: usize| soft(i).hypot(DISC_SIGMA * (8.0 * f64::from(i / COLUMNS) / 7.0 - 2.0 * k as f64));
    let (mut blurs, _) = blurs(|_, _| 0.0);
    let truth: Vec<Vec<f64>> = (0..5).map(|k| (0..COLUMNS * ROWS).map(|i| width(i, k).hypot(0.3)).collect()).collect();
    for (seen, truth) in blurs.sigma.iter_mut().zip(&truth) {
        for (seen, truth) in seen.iter_mut().zip(truth) {
            *seen = Some(Estimate::new(*truth, 0.03 * truth, 9));
        }
    }
    let found = focusing(&blurs, &tiles(), None).expect("a bracket");
    assert!(error(&found, &truth, |_| true) < 0.03, "{}", error(&found, &truth, |_| true));
}

#[test]
fn clouds_are_not_judged() {
    let (mut blurs, _) = blurs(|i, k| 8.0 * f64::from(i / COLUMNS) / f64::from(ROWS - 1) - 2.0 * k as f64);
    for (k, frame) in blurs.sigma.iter_mut().enumerate() {
        // As blurred in every frame.
        frame[5] = Some(Estimate::new([2.9, 2.1, 3.1, 1.9, 2.8][k], 0.1, 9));
    }
    let found = focusing(&blurs, &tiles(), None).expect("a bracket");
    assert!(found.sigma.iter().all(|f| f[5].is_none() && f[6].is_some()));
}

#[test]
fn frames_that_differ_in_something_else_are_no_bracket() {
    // Movement here and there, no focus.
    let (blurs, _) = blurs(|i, k| 9.0 * f64::from((i * 7 + 13 * k as u32 * (i + 3)) % 11) / 11.0);
    assert!(focusing(&blurs, &tiles(), None).is_none());
}

#[test]
fn two_frames_are_too_few() {
    let (mut blurs, _) = blurs(|i, k| f64::from(i / COLUMNS) - 2.0 * k as f64);
    blurs.sigma.truncate(2);
    assert!(focusing(&blurs, &tiles(), None).is_none());
}

#[test]
fn a_shaken_frame_within_a_bracket_is_told_and_no_frame_of_a_clean_one() {
    // Level ground; the third frame's squared widths are all larger by those of a track, as far as defocus leaves that to be seen.
    let row = |i: u32| f64::from(i / COLUMNS) / f64::from(ROWS - 1);
    let (clean, _) = blurs(|i, k| 12.0 * row(i) - 3.0 * k as f64);
    assert_eq!(softened(&clean, &tiles(), None), []);
    let mut shaken = clean;
    for e in shaken.sigma[2].iter_mut().flatten() {
        e.value = e.value.hypot(1.2);
    }
    let found = softened(&shaken, &tiles(), None);
    assert_eq!(found.iter().map(|s| s.frame).collect::<Vec<_>>(), [2], "{found:?}");
    assert!(found[0].by_sd > 3.0, "{found:?}");
}

/// Where a tile of level ground under a sky of two rows lies, px of disc, `span` from the horizon to the lower edge.
fn ground(i: u32, span: f64) -> f64 {
    span * (f64::from(i / COLUMNS) - 1.0).max(0.0) / f64::from(ROWS - 2)
}

/// Has clouds in the two uppermost rows, which a file keeps so little of that they read alike in every frame.
fn clouded(blurs: &mut Blurs) {
    for frame in &mut blurs.sigma {
        frame[..2 * COLUMNS as usize].fill(Some(Estimate::new(0.75, 0.03, 9)));
    }
}

#[test]
fn clouds_that_read_alike_in_all_frames_do_not_lead_the_fit_astray() {
    let (mut blurs, truth) = blurs_of(6, |i, k| ground(i, 25.0) - 5.0 * k as f64);
    clouded(&mut blurs);
    let below = |t: usize| t >= 2 * COLUMNS as usize;
    let found = focusing(&blurs, &tiles(), None).expect("a bracket");
    assert!(error(&found, &truth, below) < 0.03, "{}", error(&found, &truth, below));
    let focus: Vec<f64> = found.depth.expect("places").focus.into_iter().flatten().collect();
    let step = |w: &[f64]| (w[1] - w[0]).abs();
    assert!(focus.windows(2).all(|w| (step(w) - 5.0).abs() < 0.5), "{focus:?}");
}

#[test]
fn least_widths_bound_the_fit_and_no_more() {
    // At the lower edge, where only small blocks fit, what is wider than 3.5 px reads 3.5.
    let (mut blurs, truth) = blurs_of(6, |i, k| ground(i, 25.0) - 5.0 * k as f64);
    let near = |t: usize| t as u32 / COLUMNS >= ROWS - 2;
    for (k, frame) in blurs.sigma.iter_mut().enumerate() {
        for (t, e) in frame.iter_mut().enumerate().filter(|(t, _)| near(*t)) {
            if let Some(e) = e.as_mut().filter(|e| e.value > 3.5) {
                e.value = 3.5;
                blurs.at_least[k][t] = true;
            }
        }
    }
    let told = error(&focusing(&blurs, &tiles(), None).expect("a bracket"), &truth, near);
    blurs.at_least.iter_mut().for_each(|f| f.fill(false));
    let heard = error(&focusing(&blurs, &tiles(), None).expect("a bracket"), &truth, near);
    // Heard as measured the lower edge may have no places at all.
    assert!(told < 0.03 && (heard.is_nan() || told < 0.5 * heard), "{told} for {heard}");
}

#[test]
fn two_shaken_frames_of_seven_are_told_and_no_sound_one() {
    // Tracks of 5 and 6 px: a uniform one of length l has the variance l^2 / 12 along it, half of that in the mean over directions.
    let (clean, _) = blurs_of(7, |i, k| ground(i, 24.0) - 4.0 * k as f64);
    assert_eq!(softened(&clean, &tiles(), None), []);
    let mut shaken = clean;
    clouded(&mut shaken);
    for (k, track) in [(2, 5.0_f64), (4, 6.0)] {
        for e in shaken.sigma[k].iter_mut().flatten() {
            e.value = e.value.hypot(track / 24.0_f64.sqrt());
        }
    }
    let found = softened(&shaken, &tiles(), None);
    assert_eq!(found.iter().map(|s| s.frame).collect::<Vec<_>>(), [2, 4], "{found:?}");
}

#[test]
fn a_disc_beyond_the_table_adds_its_own_square() {
    // What is far out of focus is as wide as its disc alone: 0.2658 times it.
    let table = Table::new(None);
    for disc in [39.0, 41.0, 60.0, 80.0] {
        let width = table.square(disc, 0.16).sqrt();
        assert!((width / (DISC_SIGMA * disc) - 1.0).abs() < 0.01, "{width} for a disc of {disc}");
    }
}

#[test]
fn a_shaken_frame_at_an_end_leaves_the_sound_ones_unnamed() {
    let (clean, _) = blurs_of(7, |i, k| 24.0 * f64::from(i / COLUMNS) / f64::from(ROWS - 1) - 4.0 * k as f64);
    for k in 0..7 {
        let mut shaken = clean.clone();
        for e in shaken.sigma[k].iter_mut().flatten() {
            e.value = e.value.hypot(1.2);
        }
        let found: Vec<usize> = softened(&shaken, &tiles(), None).iter().map(|s| s.frame).collect();
        // Those at the ends can't be told.
        assert_eq!(found, if k == 0 || k == 6 { vec![] } else { vec![k] }, "{k} shaken");
    }
}

#[test]
fn the_first_frame_is_not_called_shaken_for_a_far_layer_that_only_it_shows_in_focus() {
    // Three rows at one distance; the discs of the ground below are read too small, as those of tiles that reach over several distances.
    let row = |i: u32| (f64::from(i / COLUMNS) - 2.0).max(0.0) / 5.0;
    for short in [0.04, 0.08, 0.12] {
        let (mut blurs, _) = blurs_of(8, |i, k| {
            let disc = 28.0 * row(i) - 4.0 * k as f64;
            if i < 3 * COLUMNS { disc } else { disc * (1.0 - short) }
        });
        assert_eq!(softened(&blurs, &tiles(), None), [], "short by {short}");
        // Nor where frames are counted from the other end.
        blurs.sigma.reverse();
        assert_eq!(softened(&blurs, &tiles(), None), [], "short by {short}");
    }
}
