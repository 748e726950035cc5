//! Accuracy of relative blur from pairs of rendered frames, of the answers over rendered series and brackets, of
//! grouping, and of lens baselines.
//!
//! Prints the figures of docs/accuracy.md, pairs of frames and series: `cargo run --release --example series_accuracy --
//! pairs|apertures|brackets|groups|lens|handheld|close|joined [SEED]`. The environment variables COUNT (cases), FROM (the first of them)
//! and LONG (px) change how much is rendered; KEEP names a folder where rendered frames are kept for the next run,
//! since rendering takes most of the time; VERBOSE says more. For brackets and handheld, BEYOND is by how many hundredths of the
//! scene's depth the focus reaches beyond either end. For close, REDUCE (by how much), SHARPEN and CURVE
//! (hundredths) and QUALITY (JPEG) export the frames first.

#![allow(clippy::print_stdout, clippy::print_stderr, reason = "a program that prints a table and its progress")]

mod brackets;
mod export;
mod groups;
mod handheld;
mod lens;
mod pairs;
#[path = "../../tests/support/patches.rs"]
mod patches;
mod scenes;
mod series;

/// Prints the table asked for.
pub fn main() {
    let which = std::env::args().nth(1).unwrap_or_else(|| "pairs".into());
    let seed: u64 = std::env::args().nth(2).and_then(|s| s.parse().ok()).unwrap_or(1);
    match which.as_str() {
        "pairs" => pairs::pairs(seed),
        "apertures" => series::apertures(seed),
        "brackets" => brackets::brackets(seed),
        "groups" => groups::groups(seed),
        "lens" => lens::lens(seed),
        "handheld" => handheld::brackets(seed),
        "close" => handheld::apertures(seed),
        "joined" => handheld::joined(seed),
        other => eprintln!("pairs, apertures, brackets, groups, lens, handheld, close or joined, not {other}"),
    }
}

/// A repeatable uniform deviate, 0 to 1.
fn even(state: &mut u64) -> f64 {
    *state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
    (*state >> 11) as f64 / (1u64 << 53) as f64
}

fn number(name: &str, usual: usize) -> usize {
    std::env::var(name).ok().and_then(|c| c.parse().ok()).unwrap_or(usual)
}

fn median_abs(values: &[f64]) -> f64 {
    let mut a: Vec<f64> = values.iter().map(|e| e.abs()).collect();
    a.sort_by(f64::total_cmp);
    a.get(a.len() / 2).copied().unwrap_or(f64::NAN)
}

fn share_within(values: &[f64], bar: f64) -> f64 {
    100.0 * values.iter().filter(|e| e.abs() <= bar).count() as f64 / values.len().max(1) as f64
}
