//! Any bytes as a JPEG, a TIFF's directories, an embedded preview and an ICC profile.
#![no_main]

use libfuzzer_sys::fuzz_target;
use tussock::intake::probe;

fuzz_target!(|data: &[u8]| {
    probe::jpeg(data);
    probe::kind(data);
    probe::icc(data);
});
