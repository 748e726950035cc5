//! Learns a lens from a series of apertures: `cargo run --example learn_lens -- PICTURE...`, one at each f-number, of one flat
//! or far subject and focused on it. Prints the lens's own blur at the centre and in the worst corner.
#![allow(clippy::print_stdout)]

use std::path::Path;

use tussock::lens::{learn_aperture_series, record};
use tussock::measure::{Settings, TileMap, measure};
use tussock::optics::WAVELENGTH_UM;
use tussock::shot::Capture;
use tussock::{Shot, intake};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut frames: Vec<(TileMap, Capture)> = Vec::new();
    for file in std::env::args().skip(1) {
        let Shot { plane, capture, .. } = intake::read(Path::new(&file), &intake::Overrides::default())?;
        let settings = Settings::default().under(capture.lambda_n_px(WAVELENGTH_UM));
        frames.push((measure(&plane, &settings), capture));
    }
    let pairs: Vec<(&TileMap, &Capture)> = frames.iter().map(|(map, capture)| (map, capture)).collect();
    let lens = learn_aperture_series(&pairs)?;
    println!("{}{}", lens.lens, lens.focal_length_mm.map_or_else(String::new, |f| format!(" at {f:.0} mm")));
    for stop in &lens.entries {
        let at = |column: u32, row: u32| stop.sigma_um[(row * stop.columns + column) as usize];
        let (right, bottom) = (stop.columns - 1, stop.rows - 1);
        let corners = [at(0, 0), at(right, 0), at(0, bottom), at(right, bottom)];
        let worst = corners.into_iter().flatten().max_by(|a, b| a.value.total_cmp(&b.value));
        let shown = |blur: Option<_>| {
            blur.map_or("unknown".into(), |b: tussock::quantity::Estimate| format!("{:.1} um, sd {:.1}", b.value, b.sd))
        };
        println!("f/{}: centre {}, worst corner {}", stop.f_number, shown(at(right / 2, bottom / 2)), shown(worst));
    }
    // The same text that `tussock audit --lens` reads.
    std::fs::write("lens.toml", record::write(&lens, "2026-01-01"))?;
    Ok(())
}
