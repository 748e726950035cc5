//! Damages raw files of every layout and decodes each: no panic, no hang, bounded memory.
//!
//! usage: mutate_raws COUNT [FILE...]     (COUNT mutants, spread over the test raws and the files given, then as
//! many of those in makers' own formats; the seed is fixed; prints what became of them and the slowest)

#[path = "../tests/negatives/mod.rs"]
mod negatives;

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::time::{Duration, Instant};

use negatives::{catalogue, makers};
use tussock::intake::raw::{Refused, dng};
use tussock::output;

/// A decoding that takes longer than this counts as a hang.
const LONGEST: Duration = Duration::from_secs(10);

fn main() {
    let mut arguments = std::env::args().skip(1);
    let count: usize = arguments.next().and_then(|a| a.parse().ok()).unwrap_or(5000);
    let mut files: Vec<(String, Vec<u8>)> = catalogue::every().into_iter().map(|(n, raw)| (n, raw.bytes())).collect();
    files.extend(arguments.map(|f| (f.clone(), std::fs::read(&f).expect("a readable file"))));
    std::panic::set_hook(Box::new(|_| {}));
    // The directory stands at the end of the files that are written here, and at the beginning of others.
    let sound = damage(count, &files, 1500);
    // What is read here of makers' own formats; what their libraries read, a worker process bounds.
    let files: Vec<_> = makers::every().into_iter().map(|made| (made.name, made.bytes)).collect();
    assert!(damage(count, &files, 12_000) & sound, "a mutant broke the decoder");
}

/// Whether no mutant breaks the decoder; the first and last `reach` bytes are damaged most.
fn damage(count: usize, files: &[(String, Vec<u8>)], reach: usize) -> bool {
    let mut state = 0x2545_f491_4f6c_dd1d_u64;
    let mut random = move |below: usize| {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        state as usize % below
    };
    let (mut read, mut unknown, mut broken, mut panicked) = (0, 0, 0, Vec::new());
    let mut slowest = (Duration::ZERO, String::new());
    for number in 0..count {
        let (name, whole) = &files[number % files.len()];
        let mut bytes = whole.clone();
        for _ in 0..=random(5) {
            let near = random(bytes.len().min(reach));
            let at = [near, bytes.len() - 1 - near, random(bytes.len())][random(3)];
            bytes[at] = [0, 0xFF, 0x7F, random(256) as u8, random(256) as u8][random(5)];
        }
        if random(8) == 0 {
            bytes.truncate(random(bytes.len()));
        }
        let started = Instant::now();
        let decoded = || dng::panasonic(&bytes).unwrap_or_else(|| dng::decode(&bytes));
        match catch_unwind(AssertUnwindSafe(decoded)) {
            Ok(Ok(_)) => read += 1,
            Ok(Err(Refused::Unknown(_))) => unknown += 1,
            Ok(Err(Refused::Broken(_) | Refused::Unsound(_))) => broken += 1,
            Err(what) => panicked.push((number, name, what.downcast_ref::<String>().cloned().unwrap_or_default())),
        }
        let took = started.elapsed();
        if took > slowest.0 {
            slowest = (took, name.clone());
        }
    }
    for (number, name, what) in &panicked {
        output::print(&format!("mutant {number} of {name} panicked: {what}\n"));
    }
    let counts = format!("{read} read, {unknown} named as not read, {broken} damaged, {} panicked", panicked.len());
    output::print(&format!(
        "{count} mutants of {} files: {counts}; slowest {} ms ({})\n",
        files.len(),
        slowest.0.as_millis(),
        slowest.1
    ));
    panicked.is_empty() && slowest.0 < LONGEST
}
