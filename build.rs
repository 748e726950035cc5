//! Writes what the program would else have to parse at every start: the table of camera bodies (maker, model, crop factor,
//! aspect ratio or nothing; tabs between them) that `src/intake/bodies.rs` reads from the lens-correction database, and the
//! numbers of `src/measure/width/weights.txt` as 32-bit floats, smallest byte first.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};

const WEIGHTS: &str = "src/measure/width/weights.txt";

fn main() {
    println!("cargo::rerun-if-changed=build.rs");
    println!("cargo::rerun-if-changed={WEIGHTS}");
    let folder = PathBuf::from(std::env::var_os("OUT_DIR").expect("cargo says where to write"));
    bodies(&folder);
    weights(&folder);
}

/// Lines starting with `#` are remarks; "name rows columns" is followed by the rows. Of each part the two sizes are written, then
/// its numbers.
fn weights(folder: &Path) {
    let text = std::fs::read_to_string(WEIGHTS).expect("the weights are part of the crate");
    let number = |word: &str| word.parse::<f32>().expect("weights are numbers").to_le_bytes();
    let mut bytes = Vec::new();
    for line in text.lines().filter(|l| !l.starts_with('#')) {
        // A line of numbers has no name before them.
        let named = line.starts_with(|c: char| c.is_ascii_lowercase());
        bytes.extend(line.split_whitespace().skip(usize::from(named)).flat_map(number));
    }
    std::fs::write(folder.join("weights.bin"), bytes).expect("the weights can be written");
}

fn bodies(folder: &Path) {
    let database = lensfun::Database::load_bundled().expect("the database that is part of the crate can be read");
    let mut table = String::new();
    for camera in &database.cameras {
        let aspect = camera.aspect_ratio.map(|a| a.to_string()).unwrap_or_default();
        let name = |text: &str| text.replace(['\t', '\n'], " ");
        writeln!(table, "{}\t{}\t{}\t{aspect}", name(&camera.maker), name(&camera.model), camera.crop_factor)
            .expect("a string takes any text");
    }
    std::fs::write(folder.join("bodies.tsv"), table).expect("the table can be written");
}
