//! Remembered measurements: an unchanged file need not be measured again, and an audit that was killed goes on.

use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use anyhow::Context as _;
use etcetera::BaseStrategy as _;
use serde::Serialize;
use serde::de::DeserializeOwned;

use crate::intake;
use crate::output;
use crate::output::store::{BOUND, Key, Store, StoreError};

/// The store of one run, or none.
pub struct Memory {
    store: Option<Store>,
    recipe: Vec<u8>,
    build: String,
}

impl Memory {
    /// A memory that remembers nothing.
    #[must_use]
    pub const fn none() -> Self {
        Self { store: None, recipe: Vec::new(), build: String::new() }
    }

    /// Opens the user's store for results made by `recipe`: whatever changes a result must be part of it.
    /// Where the store can't be had, says so on standard error and goes on without.
    pub(crate) fn open(recipe: &[u8]) -> Self {
        let store = place().map_err(|e| format!("{e:#}")).and_then(|p| patiently(&p).map_err(|e| e.to_string()));
        match store {
            Ok(store) => Self { store: Some(store), recipe: recipe.to_vec(), build: build() },
            Err(why) => {
                output::say(&format!("tussock: {why}; measuring without it"));
                Self::none()
            }
        }
    }

    /// The key for a file's results; `None` without a store or where the file can't be read.
    pub(crate) fn key(&self, path: &Path) -> Option<Key> {
        let store = self.store.as_ref()?;
        let mut hasher = blake3::Hasher::new();
        hasher.update(&self.recipe);
        hasher.update(&digest(store, path)?);
        // Facts may come from a sidecar, whose keywords and edits are no matter; and the report names the file as the user did.
        hasher.update(&intake::told_beside(path));
        hasher.update(path.as_os_str().as_encoded_bytes());
        Some(*hasher.finalize().as_bytes())
    }

    /// Digest of all of a file, as it is remembered; `None` without a store or where the file can't be read.
    pub(crate) fn digest(&self, path: &Path) -> Option<blake3::Hash> {
        digest(self.store.as_ref()?, path).map(blake3::Hash::from_bytes)
    }

    /// The key for what this very program makes of remembered measurements; `None` where there are none.
    ///
    /// Diagnoses and the like have no version of their own: another build of the program makes them anew.
    pub(crate) fn build_key(&self, of: &[Key], what: &str) -> Option<Key> {
        if self.store.is_none() || of.is_empty() {
            return None;
        }
        let mut hasher = blake3::Hasher::new();
        hasher.update(what.as_bytes()).update(b"\0").update(self.build.as_bytes()).update(b"\0");
        of.iter().for_each(|key| {
            hasher.update(key);
        });
        Some(*hasher.finalize().as_bytes())
    }

    /// What is remembered under a key.
    pub(crate) fn recall<T: DeserializeOwned>(&self, key: Option<&Key>) -> Option<T> {
        let bytes = self.store.as_ref()?.get(key?)?;
        ciborium::from_reader(bytes.as_slice()).ok()
    }

    /// The bytes remembered under a key.
    pub(crate) fn recall_bytes(&self, key: Option<&Key>) -> Option<Vec<u8>> {
        self.store.as_ref()?.get(key?)
    }

    /// Remembers bytes, if there is anything to remember them in.
    pub(crate) fn remember_bytes(&self, key: Option<Key>, bytes: impl FnOnce() -> Option<Vec<u8>>) {
        if let (Some(store), Some(key)) = (&self.store, key)
            && let Some(bytes) = bytes()
        {
            store.put(key, bytes);
        }
    }

    /// Remembers a result.
    pub(crate) fn remember<T: Serialize>(&self, key: Option<Key>, result: &T) {
        let mut bytes = Vec::new();
        // In binary, so that a recalled number is the very number that was remembered.
        if let (Some(store), Some(key), Ok(())) = (&self.store, key, ciborium::into_writer(result, &mut bytes)) {
            store.put(key, bytes);
        }
    }
}

impl Drop for Memory {
    fn drop(&mut self) {
        if let Some(store) = &mut self.store {
            store.keep_to(BOUND);
        }
    }
}

/// The user's store, for looking after it; `None` where there is none yet.
///
/// # Errors
/// Where another process has it or it can't be read.
pub(super) fn stored() -> anyhow::Result<Option<Store>> {
    let place = place()?;
    Ok(if place.exists() { Some(patiently(&place)?) } else { None })
}

/// How long to wait for a store that another process has: one that was just killed lets go of it in a moment.
const PATIENCE: Duration = Duration::from_secs(1);

/// Opens a store; waits a little where another process has it.
fn patiently(path: &Path) -> Result<Store, StoreError> {
    let start = Instant::now();
    loop {
        match Store::open(path) {
            Err(StoreError::Busy) if start.elapsed() < PATIENCE => std::thread::sleep(Duration::from_millis(50)),
            answer => return answer,
        }
    }
}

/// What tells this build of the program from another: size and time of its file.
fn build() -> String {
    let file = std::env::current_exe().and_then(|p| p.metadata());
    format!("{:?}", file.map(|f| (f.len(), f.modified().ok())).ok())
}

/// Digest of a file's content, remembered by path, size and time so that an unchanged file is not read again.
fn digest(store: &Store, path: &Path) -> Option<Key> {
    let full = path.canonicalize().ok()?;
    let facts = full.metadata().ok()?;
    let time = facts.modified().ok()?.duration_since(std::time::UNIX_EPOCH).ok()?.as_nanos();
    let mut identity = full.as_os_str().as_encoded_bytes().to_vec();
    identity.extend_from_slice(&facts.len().to_le_bytes());
    identity.extend_from_slice(&time.to_le_bytes());
    if let Some(known) = store.digest(&identity) {
        return Some(known);
    }
    let mut hasher = blake3::Hasher::new();
    hasher.update_reader(std::fs::File::open(&full).ok()?).ok()?;
    let digest = *hasher.finalize().as_bytes();
    store.put_digest(identity, digest);
    Some(digest)
}

/// Where the store lies: the user's cache folder.
///
/// # Errors
/// Where the system names no such folder.
pub(super) fn place() -> anyhow::Result<PathBuf> {
    let folders = etcetera::choose_base_strategy().context("there is no folder for remembered measurements")?;
    Ok(folders.cache_dir().join("tussock").join("measurements.redb"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_store_let_go_of_in_a_moment_is_waited_for() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("store.redb");
        let other = Store::open(&path).unwrap();
        let waiting = std::thread::spawn({
            let path = path.clone();
            move || patiently(&path).is_ok()
        });
        std::thread::sleep(Duration::from_millis(120));
        drop(other);
        assert!(waiting.join().unwrap());
        let held = Store::open(&path).unwrap();
        assert!(matches!(patiently(&path), Err(StoreError::Busy)));
        drop(held);
    }

    #[test]
    fn what_is_recalled_is_what_was_remembered() {
        let folder = tempfile::tempdir().unwrap();
        let store = Store::open(&folder.path().join("store.redb")).unwrap();
        let memory = Memory { store: Some(store), recipe: Vec::new(), build: String::new() };
        let key = Some([5; 32]);
        // The second is one that a careless reader of decimals gets wrong by a unit in the last place.
        let numbers = [0.1_f64 + 0.2, 9_007_199_254_740_993.0 / 3.7, f64::MIN_POSITIVE, -0.0, f64::INFINITY, 1e-310];
        memory.remember(key, &(numbers, Some(f64::NAN), 0.1_f32));
        let (back, nan, single) = memory.recall::<([f64; 6], Option<f64>, f32)>(key.as_ref()).unwrap();
        assert_eq!(back.map(f64::to_bits), numbers.map(f64::to_bits));
        assert!(nan.is_some_and(f64::is_nan) && single == 0.1);
    }

    #[test]
    fn what_one_build_made_is_no_key_without_a_store() {
        assert_eq!(Memory::none().build_key(&[[1; 32]], "diagnosis"), None);
    }
}
