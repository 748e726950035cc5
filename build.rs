//! Writes the table of camera bodies (maker, model, crop factor, aspect ratio or nothing; tabs between them) that
//! `src/intake/bodies.rs` reads, so that the program need not parse the whole lens-correction database at every start.

use std::fmt::Write as _;
use std::path::PathBuf;

fn main() {
    println!("cargo::rerun-if-changed=build.rs");
    let database = lensfun::Database::load_bundled().expect("the database that is part of the crate can be read");
    let mut table = String::new();
    for camera in &database.cameras {
        let aspect = camera.aspect_ratio.map(|a| a.to_string()).unwrap_or_default();
        let name = |text: &str| text.replace(['\t', '\n'], " ");
        writeln!(table, "{}\t{}\t{}\t{aspect}", name(&camera.maker), name(&camera.model), camera.crop_factor)
            .expect("a string takes any text");
    }
    let folder = PathBuf::from(std::env::var_os("OUT_DIR").expect("cargo says where to write"));
    std::fs::write(folder.join("bodies.tsv"), table).expect("the table can be written");
}
