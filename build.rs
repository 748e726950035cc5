//! Writes what the program would otherwise have to parse at every start: the table of camera bodies (maker, model, crop
//! factor, aspect ratio or nothing; tabs between them) that `src/intake/bodies.rs` reads, out of the lens-correction database,
//! and the weights that `src/measure/width/network.rs` reads, out of their text.

use std::fmt::Write as _;
use std::path::Path;

fn main() {
    println!("cargo::rerun-if-changed=build.rs");
    let folder = std::env::var_os("OUT_DIR").expect("cargo says where to write");
    let write = |name: &str, content: &[u8]| {
        std::fs::write(Path::new(&folder).join(name), content).expect("what was made can be written");
    };
    write("bodies.tsv", bodies().as_bytes());
    const WEIGHTS: &str = "src/measure/width/weights.txt";
    println!("cargo::rerun-if-changed={WEIGHTS}");
    write("weights.bin", &weights(&std::fs::read_to_string(WEIGHTS).expect("the weights are part of the source")));
}

fn bodies() -> String {
    let database = lensfun::Database::load_bundled().expect("the database that is part of the crate can be read");
    let mut table = String::new();
    for camera in &database.cameras {
        let aspect = camera.aspect_ratio.map(|a| a.to_string()).unwrap_or_default();
        let name = |text: &str| text.replace(['\t', '\n'], " ");
        writeln!(table, "{}\t{}\t{}\t{aspect}", name(&camera.maker), name(&camera.model), camera.crop_factor)
            .expect("a string takes any text");
    }
    table
}

/// Blocks of numbers, each behind how many they are, four bytes a number with the lowest first. In the text lines starting with
/// `#` are remarks, and "name rows columns" is followed by the rows.
fn weights(text: &str) -> Vec<u8> {
    let mut bytes = Vec::new();
    let mut lines = text.lines().filter(|line| !line.starts_with('#'));
    while let Some(head) = lines.next() {
        let rows = head.split_whitespace().nth(1).and_then(|rows| rows.parse().ok()).expect("a block says its rows");
        let numbers: Vec<f32> = lines
            .by_ref()
            .take(rows)
            .flat_map(str::split_whitespace)
            .map(|word| word.parse().expect("a weight is a number"))
            .collect();
        bytes.extend((numbers.len() as u32).to_le_bytes());
        bytes.extend(numbers.iter().flat_map(|number| number.to_le_bytes()));
    }
    bytes
}
