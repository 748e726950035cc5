//! Any bytes as an XMP packet.
#![no_main]

use libfuzzer_sys::fuzz_target;
use tussock::intake::xmp::Properties;

fuzz_target!(|data: &[u8]| {
    let mut properties = Properties::default();
    properties.add(data);
    properties.number("aux:ApproximateFocusDistance");
});
