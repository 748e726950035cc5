//! Any bytes as a file of each kind that is read, whatever they begin with.
#![no_main]

use std::io::Cursor;

use libfuzzer_sys::fuzz_target;
use tussock::intake::{exif, probe};

fuzz_target!(|data: &[u8]| {
    exif::read(&mut Cursor::new(data), None);
    // The first byte chooses a reader that the rest would not have been given.
    if let Some((choice, rest)) = data.split_first() {
        probe::contents(*choice, rest);
    }
});
