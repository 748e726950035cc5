//! Changes bytes of file heads and reads the facts of each: no panic, no hang, bounded memory.
//!
//! usage: mutate_heads COUNT FILE...     (prints the slowest read of each file; the seed is fixed)

use std::io::Cursor;
use std::time::{Duration, Instant};

use tussock::intake::exif;
use tussock::output;

/// A read that takes longer than this counts as a hang.
const LONGEST: Duration = Duration::from_secs(5);

fn main() {
    let mut arguments = std::env::args().skip(1);
    let count: u32 = arguments.next().and_then(|a| a.parse().ok()).unwrap_or(10_000);
    let mut slow = 0;
    for file in arguments {
        let bytes = std::fs::read(&file).expect("a readable file");
        let mut state = 0x2545_f491_4f6c_dd1d_u64;
        let mut random = move || {
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            state
        };
        let (mut slowest, mut read) = (Duration::ZERO, 0);
        let mut changed = bytes.clone();
        for _ in 0..count {
            changed.copy_from_slice(&bytes);
            // Half the changes fall on the first few kilobytes, where directories stand.
            for _ in 0..1 + random() % 6 {
                let span = if random() & 1 == 0 { changed.len() } else { changed.len().min(4096) };
                let at = random() as usize % span;
                changed[at] = match random() % 4 {
                    0 => 0,
                    1 => 0xff,
                    _ => random() as u8,
                };
            }
            let started = Instant::now();
            read += u32::from(exif::read(&mut Cursor::new(&changed), None).is_some());
            slowest = slowest.max(started.elapsed());
        }
        slow += u32::from(slowest > LONGEST);
        output::print(&format!("{file}: {count} mutations, {read} still known, slowest {} ms\n", slowest.as_millis()));
    }
    assert_eq!(slow, 0, "a read took longer than {LONGEST:?}");
}
