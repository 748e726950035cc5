//! Renders landscapes for looking at: `cargo run --release --example scenes -- DIR [shoot | SEED...]`

use std::path::PathBuf;

use tussock::simulate::{SceneSpec, landscape, sensor::to_srgb};

fn main() -> anyhow::Result<()> {
    let mut args = std::env::args().skip(1);
    let dir = PathBuf::from(args.next().unwrap_or_else(|| "scenes".into()));
    std::fs::create_dir_all(&dir)?;
    let mut args = args.peekable();
    if args.next_if(|a| a == "shoot").is_some() {
        let only = args.next();
        for recipe in tussock::simulate::recipes::shoot() {
            if only.as_ref().is_none_or(|o| recipe.file.starts_with(o.as_str())) {
                std::fs::write(dir.join(recipe.file), recipe.bytes()?)?;
            }
        }
        return Ok(());
    }
    for seed in args.map_while(|a| a.parse::<u64>().ok()) {
        let picture = landscape(&SceneSpec::random(seed, 1200));
        let bytes = (0..picture.luminance.len())
            .flat_map(|i| picture.light().rgb(i).map(|v| (255.0 * to_srgb(v)).round() as u8))
            .collect();
        let buffer = image::RgbImage::from_raw(picture.width as u32, picture.height as u32, bytes);
        buffer.unwrap_or_default().save(dir.join(format!("scene-{seed}.png")))?;
    }
    Ok(())
}
