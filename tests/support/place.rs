//! A place of its own for a test of the whole program: photographs, reports, the user's folders.
#![allow(dead_code, missing_docs)] // Shared by several tests, each of which uses a part of it.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

/// A place of its own for a test: photographs, report, the user's folders.
pub struct Place(pub tempfile::TempDir);

impl Place {
    pub fn new() -> Self {
        let place = Self(tempfile::tempdir().unwrap());
        fs::create_dir(place.path("photos")).unwrap();
        place
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    pub fn photo(&self, name: &str, bytes: &[u8]) -> PathBuf {
        let path = self.path("photos").join(name);
        fs::write(&path, bytes).unwrap();
        path
    }

    pub fn command(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_tussock"));
        command
            .args(arguments)
            .current_dir(self.0.path())
            .env("HOME", self.path("home"))
            .env("XDG_CACHE_HOME", self.path("cache"))
            .env("XDG_CONFIG_HOME", self.path("config"))
            .env_remove("RUST_BACKTRACE")
            .stdin(Stdio::null());
        command
    }

    pub fn run(&self, arguments: &[&str]) -> Output {
        self.command(arguments).output().unwrap()
    }

    pub fn json(&self, report: &str) -> serde_json::Value {
        serde_json::from_slice(&fs::read(self.path(report).join("audit.json")).unwrap()).unwrap()
    }
}

/// What a command said on standard error.
pub fn said(output: &Output) -> String {
    String::from_utf8(output.stderr.clone()).expect("sentences are text")
}

/// Every file below a folder with its content, every link with where it leads.
pub fn contents(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut found = BTreeMap::new();
    for entry in fs::read_dir(folder).unwrap().map(|e| e.unwrap()) {
        let path = entry.path();
        match entry.file_type().unwrap() {
            kind if kind.is_dir() => found.extend(contents(&path)),
            kind if kind.is_file() => drop(found.insert(path.clone(), fs::read(&path).unwrap())),
            _ => drop(
                found.insert(path.clone(), path.read_link().unwrap_or_default().into_os_string().into_encoded_bytes()),
            ),
        }
    }
    found
}
