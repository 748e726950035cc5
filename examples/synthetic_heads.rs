//! Writes the heads that the tests read into a folder, for reading them with another library.
//!
//! usage: synthetic_heads FOLDER

#[path = "../tests/heads/mod.rs"]
mod heads;

fn main() {
    let folder = std::path::PathBuf::from(std::env::args().nth(1).expect("a folder to write into"));
    std::fs::create_dir_all(&folder).expect("a folder that can be made");
    for (name, bytes) in heads::makers::all() {
        std::fs::write(folder.join(name), bytes).expect("a file that can be written");
    }
}
