#![allow(clippy::print_stdout)]
use std::path::Path;
use tussock::{intake, measure, optics};
fn main() -> Result<(), Box<dyn std::error::Error>> {
    for file in std::env::args().skip(1) {
        let shot = intake::read(Path::new(&file), &intake::Overrides::default())?;
        let settings = measure::Settings::default().under(shot.capture.lambda_n_px(optics::WAVELENGTH_UM));
        let map = measure::measure(&shot.plane, &settings);
        println!("{file} {}x{}", map.columns, map.rows);
        for y in 0..map.rows as usize {
            let row: Vec<String> = (0..map.columns as usize)
                .map(|x| {
                    let t = &map.tiles[y * map.columns as usize + x];
                    format!("{:3.0}/{:2.0}", 100.0 * t.level, 100.0 * t.contrast)
                })
                .collect();
            println!("{}", row.join(" "));
        }
    }
    Ok(())
}
