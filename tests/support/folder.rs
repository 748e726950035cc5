//! A folder of files for one test.

use std::path::PathBuf;

/// A folder that lasts as long as the test.
pub struct Place(pub tempfile::TempDir);

impl Place {
    pub fn new() -> Self {
        Self(tempfile::tempdir().unwrap())
    }

    pub fn file(&self, name: &str, bytes: &[u8]) -> PathBuf {
        let path = self.0.path().join(name);
        std::fs::write(&path, bytes).unwrap();
        path
    }
}
