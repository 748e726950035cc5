//! Any bytes as what this program wrote itself: a lens, a store's record, a worker's frame, values typed by hand.
#![no_main]

use libfuzzer_sys::fuzz_target;
use tussock::cli::values;
use tussock::intake::probe;
use tussock::lens::record;
use tussock::output::store;

fuzz_target!(|data: &[u8]| {
    probe::frames(data);
    if data.len() >= 32 {
        assert!(store::sound(&data[..32], &data[32..]).is_none(), "nobody guesses a checksum");
    }
    let Ok(text) = std::str::from_utf8(data) else { return };
    let _ = record::read(text);
    let lengths = [values::length(text).ok(), values::distance(text).ok()];
    let small = [values::focal_mm(text).ok(), values::pitch_um(text).ok()];
    assert!(lengths.into_iter().chain(small).flatten().all(|v| v > 0.0));
    let _ = (values::place(text), values::region(text), values::sharp_for(text), values::sensor(text));
    let _ = (values::f_number(text), values::bytes(text), values::exposure_s(text), values::angle_rad(text));
    let _ = (values::speed_m_s(text), values::crop(text), values::lengths(text), values::focals_mm(text));
});
