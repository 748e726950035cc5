//! Measures one picture: `cargo run --example measure_picture -- PICTURE`.
#![allow(clippy::print_stdout)]

use std::path::Path;

use tussock::{diagnose, intake, measure, optics, quantity::Intent};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let file = std::env::args().nth(1).ok_or("name a picture")?;
    let shot = intake::read(Path::new(&file), &intake::Overrides::default())?;
    let settings = measure::Settings::default().under(shot.capture.lambda_n_px(optics::WAVELENGTH_UM));
    let map = measure::measure(&shot.plane, &settings);
    let found = diagnose::diagnose(&map, &shot.capture, None, &Intent::default());
    println!("{file}: {} tiles, permitted blur {:.2} px", map.tiles.len(), found.permitted_px);
    for zone in &found.zones {
        if let Some(blur) = zone.optical_px {
            let answer = zone.answer.judgement.word();
            println!("{:12} {:.2} px, sd {:.2} px: {answer}", zone.name.key(), blur.value, blur.sd);
        }
    }
    println!("{}, with probability {:.2}", found.verdict.cause.word(), found.verdict.confidence);
    Ok(())
}
