//! Remembered results in a small database: bytes under a key, written as they come, readable after a kill.

use std::collections::HashMap;
use std::path::Path;
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use redb::{Database, DatabaseError, ReadableDatabase as _, TableDefinition};
use thiserror::Error;

/// Identity of a file on disk (path, size, time) to the digest of its content.
const DIGESTS: TableDefinition<&[u8], &[u8]> = TableDefinition::new("digests");
/// Key to remembered bytes.
const RESULTS: TableDefinition<&[u8], &[u8]> = TableDefinition::new("results");

/// How long results may wait in memory before they are put on disk: a kill loses at most this much work.
const PATIENCE: Duration = Duration::from_secs(2);

/// A 256-bit key.
pub type Key = [u8; 32];

/// Why there is no store.
#[derive(Debug, Error)]
pub enum StoreError {
    /// Another process has it open.
    #[error("another tussock is using the remembered measurements")]
    Busy,
    /// Anything else, in the database's words.
    #[error("the remembered measurements can't be used ({0})")]
    Broken(String),
}

/// An open store.
pub struct Store {
    database: Database,
    waiting: Mutex<Waiting>,
}

#[derive(Default)]
struct Waiting {
    digests: HashMap<Vec<u8>, Key>,
    results: HashMap<Key, Vec<u8>>,
    since: Option<Instant>,
}

impl Store {
    /// Opens or makes the store at `path`.
    ///
    /// # Errors
    /// [`StoreError::Busy`] where another process has it, [`StoreError::Broken`] otherwise.
    pub fn open(path: &Path) -> Result<Self, StoreError> {
        if let Some(folder) = path.parent() {
            std::fs::create_dir_all(folder).map_err(|e| StoreError::Broken(e.to_string()))?;
        }
        match Database::create(path) {
            Ok(database) => Ok(Self { database, waiting: Mutex::default() }),
            Err(DatabaseError::DatabaseAlreadyOpen) => Err(StoreError::Busy),
            Err(other) => Err(StoreError::Broken(other.to_string())),
        }
    }

    /// The bytes remembered under a key.
    #[must_use]
    pub fn get(&self, key: &Key) -> Option<Vec<u8>> {
        if let Some(bytes) = self.waiting().results.get(key) {
            return Some(bytes.clone());
        }
        let table = self.database.begin_read().ok()?.open_table(RESULTS).ok()?;
        Some(table.get(key.as_slice()).ok()??.value().to_vec())
    }

    /// The digest remembered for a file's identity.
    #[must_use]
    pub fn digest(&self, identity: &[u8]) -> Option<Key> {
        if let Some(key) = self.waiting().digests.get(identity) {
            return Some(*key);
        }
        let table = self.database.begin_read().ok()?.open_table(DIGESTS).ok()?;
        table.get(identity).ok()??.value().try_into().ok()
    }

    /// Remembers a file's digest.
    pub fn put_digest(&self, identity: Vec<u8>, digest: Key) {
        self.waiting().digests.insert(identity, digest);
    }

    /// Remembers bytes under a key; on disk within a few seconds, or at [`Store::flush`].
    pub fn put(&self, key: Key, bytes: Vec<u8>) {
        let mut waiting = self.waiting();
        waiting.results.insert(key, bytes);
        if waiting.since.get_or_insert_with(Instant::now).elapsed() > PATIENCE {
            self.commit(&mut waiting);
        }
    }

    /// Puts all that waits on disk. What can't be written is forgotten: it can be measured again.
    pub fn flush(&self) {
        self.commit(&mut self.waiting());
    }

    fn waiting(&self) -> MutexGuard<'_, Waiting> {
        self.waiting.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn commit(&self, waiting: &mut Waiting) {
        let Waiting { digests, results, .. } = std::mem::take(waiting);
        if digests.is_empty() && results.is_empty() {
            return;
        }
        // A full disk must not fail the audit.
        let _ = (|| -> Result<(), redb::Error> {
            let write = self.database.begin_write()?;
            {
                let mut table = write.open_table(DIGESTS)?;
                for (identity, digest) in &digests {
                    table.insert(identity.as_slice(), digest.as_slice())?;
                }
                let mut table = write.open_table(RESULTS)?;
                for (key, bytes) in &results {
                    table.insert(key.as_slice(), bytes.as_slice())?;
                }
            }
            write.commit()?;
            Ok(())
        })();
    }
}

impl Drop for Store {
    fn drop(&mut self) {
        self.flush();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_put_is_there_after_reopening() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("deep").join("store.redb");
        let (key, other) = ([7; 32], [8; 32]);
        {
            let store = Store::open(&path).unwrap();
            assert!(matches!(Store::open(&path), Err(StoreError::Busy)));
            store.put(key, b"seven".to_vec());
            store.put_digest(b"file".to_vec(), key);
            assert_eq!(store.get(&key).as_deref(), Some(b"seven".as_slice()));
        }
        let store = Store::open(&path).unwrap();
        assert_eq!(store.get(&key).as_deref(), Some(b"seven".as_slice()));
        assert_eq!(store.digest(b"file"), Some(key));
        assert_eq!(store.get(&other), None);
    }

    #[test]
    fn a_file_that_is_no_store_is_told() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("store.redb");
        std::fs::write(&path, vec![1; 5000]).unwrap();
        assert!(matches!(Store::open(&path), Err(StoreError::Broken(_))));
    }
}
