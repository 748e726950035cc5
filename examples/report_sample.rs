//! Writes a report of hand-written frames: `cargo run --example report_sample -- DIR [FRAMES]`.
//!
//! The browser tests use it where a shoot of a given size is needed without measuring one; the pictures are
//! drawn here as grey noise of the blur that the numbers say.

#[path = "../tests/report/shoot.rs"]
mod shoot;

use std::path::PathBuf;

use anyhow::Context as _;
use tussock::report::{self, Pixels};
use tussock::shot::{Mosaic, Plane};

fn main() -> anyhow::Result<()> {
    let mut args = std::env::args_os().skip(1);
    let folder = PathBuf::from(args.next().context("usage: report_sample DIR [FRAMES]")?);
    let count = match args.next() {
        Some(n) => n.to_str().and_then(|n| n.parse().ok()).context("FRAMES is not a number")?,
        None => 8,
    };
    // Frames are told one by one, as an audit does: thousands of tile maps would fill the memory.
    let mut run = shoot::shoot(0);
    run.groups = scenes(count);
    let large = !report::inline(count);
    let mut beside = Vec::<(String, Vec<u8>)>::new();
    let (mut links, mut drawn, mut views) = (Vec::new(), Vec::<report::Pictures>::new(), Vec::new());
    for i in 0..count {
        let mut frame = shoot::nth(i, &run.intent);
        frame.group = run.groups.iter().position(|g| g.frames.contains(&i)).filter(|_| i < 2 || i % 10 < 2);
        // A large shoot repeats the pictures of the first eight frames.
        let stem = format!("{:04}", i % 8 + 1);
        if drawn.len() < 8 {
            let plane = draw(&frame.map);
            let pictures = report::pictures(&frame, &Pixels { plane: &plane, colour: None, tint: None }, i < 2);
            for (name, bytes) in pictures.files(&stem).filter(|_| large).chain(pictures.full_file(&stem)) {
                tussock::output::replace(&folder.join(name), bytes)?;
            }
            drawn.push(pictures);
        }
        let pictures = &drawn[i % drawn.len()];
        let link = if large { pictures.beside(&stem) } else { pictures.inline() };
        links.push(match pictures.full_file(&stem) {
            Some((name, _)) => link.with_tiles(&name),
            None => link,
        });
        let mut view = report::told(&frame, i, None, &run);
        // Tiles and charts of so many that a test finds some everywhere.
        if large && (i < 200 || i % 100 >= 96) {
            let (name, bytes) = report::companion(i, &view);
            match beside.last_mut() {
                Some((same, all)) if *same == name => all.extend(bytes),
                _ => beside.push((name, bytes)),
            }
        }
        if large {
            view.tiles = Vec::new();
        }
        views.push(view);
    }
    let view = report::assembled(views, &run);
    for (name, bytes) in beside {
        tussock::output::replace(&folder.join(name), &bytes)?;
    }
    for (name, bytes) in report::parts(&view, &links) {
        tussock::output::replace(&folder.join(name), &bytes)?;
    }
    tussock::output::replace(&folder.join("index.html"), report::html(&view, &links).as_bytes())?;
    tussock::output::replace(&folder.join("audit.json"), &report::json(&view))?;
    tussock::output::replace(&folder.join("audit.csv"), &report::csv(&view))?;
    if count < 100 {
        tussock::output::print(&report::text(&view, 100));
    }
    Ok(())
}

/// Pairs of frames at two apertures: the first two, and in a large shoot more all along.
fn scenes(count: usize) -> Vec<report::GroupView> {
    let pair = |first: usize| {
        let files = [first, first + 1].map(shoot::name);
        let group = shoot::two_apertures([&files[0], &files[1]], "f/11 is the better of two.");
        report::group(vec![first, first + 1], vec![first, first + 1], group)
    };
    let most = if report::inline(count) { count.min(2) } else { count };
    (0..most.saturating_sub(1)).step_by(10).map(pair).collect()
}

/// Grey texture under a pale sky, each tile smoothed to about its blur by repeated neighbour averages.
fn draw(map: &tussock::TileMap) -> Plane {
    let (width, height) = (map.width as usize, map.height as usize);
    let mut data = vec![0u16; width * height];
    let hash = |x: usize, y: usize| {
        let mut h = (x as u32).wrapping_mul(0x9E37_79B1) ^ (y as u32).wrapping_mul(0x85EB_CA77);
        h ^= h >> 15;
        h = h.wrapping_mul(0x2C1B_3C6D);
        f64::from(h >> 16) / 65_536.0
    };
    let value = |x: f64, y: f64| {
        let (ix, iy) = (x.floor(), y.floor());
        let (fx, fy) = (x - ix, y - iy);
        let at = |dx: f64, dy: f64| hash((ix + dx) as usize, (iy + dy) as usize);
        let top = at(0.0, 0.0) * (1.0 - fx) + at(1.0, 0.0) * fx;
        let low = at(0.0, 1.0) * (1.0 - fx) + at(1.0, 1.0) * fx;
        top * (1.0 - fy) + low * fy
    };
    for tile in &map.tiles {
        let blur = tile.blur.map_or(8.0, |b| b.value);
        for y in tile.y..tile.y + tile.height {
            for x in tile.x..tile.x + tile.width {
                let (fx, fy) = (f64::from(x), f64::from(y));
                let down = fy / f64::from(map.height);
                let far = down < 0.38 + 0.04 * (fx / 700.0).sin();
                let coarse = value(fx / 90.0, fy / 60.0);
                let fine = value(fx / (1.2 * blur), fy / (1.2 * blur));
                let level = if far && down < 0.33 + 0.05 * (fx / 900.0).sin() {
                    0.62 - 0.3 * down
                } else if far {
                    0.16 + 0.08 * coarse + 0.05 * fine
                } else {
                    0.08 + 0.12 * coarse + 0.22 * fine * (0.4 + down)
                };
                data[y as usize * width + x as usize] = 512 + (level * 60_000.0) as u16;
            }
        }
    }
    Plane {
        width,
        height,
        data,
        black: 512,
        white: 60_512,
        saturation: 60_512,
        mosaic: Mosaic::None,
        jpeg: None,
        rendered: true,
    }
}
