//! Renders random landscapes to PNG, for looking at: `cargo run --release --example scenes -- DIR SEED...`

use std::path::PathBuf;

use tussock::simulate::{SceneSpec, landscape, sensor::to_srgb};

fn main() -> anyhow::Result<()> {
    let mut args = std::env::args().skip(1);
    let dir = PathBuf::from(args.next().unwrap_or_else(|| "scenes".into()));
    std::fs::create_dir_all(&dir)?;
    for seed in args.map_while(|a| a.parse::<u64>().ok()) {
        let picture = landscape(&SceneSpec::random(seed, 1200));
        let bytes = (0..picture.luminance.len())
            .flat_map(|i| picture.rgb(i).map(|v| (255.0 * to_srgb(v)).round() as u8))
            .collect();
        let buffer = image::RgbImage::from_raw(picture.width as u32, picture.height as u32, bytes);
        buffer.unwrap_or_default().save(dir.join(format!("scene-{seed}.png")))?;
    }
    Ok(())
}
