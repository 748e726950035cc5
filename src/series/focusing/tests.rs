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
    let mut dice = fastrand::Rng::with_seed(3);
    let width = |i: u32, k: usize| 0.6_f64.hypot(DISC_SIGMA * disc(i, k));
    let truth: Vec<Vec<f64>> = (0..5).map(|k| (0..COLUMNS * ROWS).map(|i| width(i, k)).collect()).collect();
    let mut seen = |w: &f64| Some(Estimate::new(w * (0.95 + 0.1 * dice.f64()), 0.03 * w, 9));
    let sigma = truth.iter().map(|f| f.iter().map(&mut seen).collect()).collect();
    let count = (COLUMNS * ROWS) as usize;
    let apart_sd = truth.iter().map(|f| f.iter().map(|w| 0.03 * w).collect()).collect();
    let from_middle = vec![vec![(0.0, 0.0); count]; 5];
    (Blurs { sigma, apart_sd, from_middle, anchor_sd: vec![0.05; count], moved: vec![0; 5] }, truth)
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
    let all = (0..5).flat_map(|k| (0..tiles().len()).map(move |t| (k, t))).filter(|a| of(a.1));
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
