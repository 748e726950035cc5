//! The tables of remembered results in their database: opened, read, written and thinned out.

use std::collections::{HashMap, HashSet};
use std::io::ErrorKind;
use std::path::Path;
use std::time::Instant;

use redb::{
    Database, DatabaseError, ReadableDatabase as _, ReadableTable as _, StorageError, TableDefinition, TableError,
};
use thiserror::Error;

use super::guard::guarded;
use super::reason;
use super::record::{Found, content, record};

/// Identity of a file on disk (path, size, time) to a record with the digest of its content.
pub(super) const DIGESTS: TableDefinition<&[u8], &[u8]> = TableDefinition::new("digests");
/// Key to a record with remembered bytes.
pub(super) const RESULTS: TableDefinition<&[u8], &[u8]> = TableDefinition::new("results");

/// Key to when its bytes were last put or asked for, seconds since 1970.
const SEEN: TableDefinition<&[u8], u64> = TableDefinition::new("seen");

/// Memory for pages of the database, bytes; each page is used about once.
const CACHE: usize = 16 << 20;

/// A 256-bit key.
pub(crate) type Key = [u8; 32];

/// Why there is no store.
#[derive(Debug, Error)]
pub(crate) enum StoreError {
    /// Another process has it open.
    #[error("another tussock is using the remembered measurements")]
    Busy,
    /// Anything else, a clause.
    #[error("the remembered measurements can't be used ({0})")]
    Broken(&'static str),
}

/// What is not on disk yet.
#[derive(Default)]
pub(super) struct Waiting {
    pub(super) digests: HashMap<Vec<u8>, Key>,
    pub(super) results: HashMap<Key, Vec<u8>>,
    pub(super) seen: HashMap<Key, u64>,
    pub(super) since: Option<Instant>,
}

/// Puts what waits into the tables.
pub(super) fn write(database: &Database, waiting: &Waiting) -> Result<(), redb::Error> {
    if waiting.digests.is_empty() && waiting.results.is_empty() && waiting.seen.is_empty() {
        return Ok(());
    }
    let write = database.begin_write()?;
    {
        let mut table = write.open_table(DIGESTS)?;
        for (identity, digest) in &waiting.digests {
            table.insert(identity.as_slice(), record(identity, digest).as_slice())?;
        }
        let mut table = write.open_table(RESULTS)?;
        for (key, bytes) in &waiting.results {
            table.insert(key.as_slice(), record(key, bytes).as_slice())?;
        }
        let mut table = write.open_table(SEEN)?;
        for (key, seen) in &waiting.seen {
            table.insert(key.as_slice(), seen)?;
        }
    }
    write.commit()?;
    Ok(())
}

/// Forgets results seen before what `limit` makes of all, in the order in which they were seen, with their sizes.
pub(super) fn forget(database: &Database, limit: &impl Fn(&[(u64, u64)]) -> u64) -> Result<(), redb::Error> {
    let write = database.begin_write()?;
    {
        let mut seen = write.open_table(SEEN)?;
        let mut results = write.open_table(RESULTS)?;
        let mut ages: Vec<(u64, u64)> = Vec::new();
        for entry in results.iter()? {
            let (key, bytes) = entry?;
            let at = seen.get(key.value())?.map_or(0, |s| s.value());
            // What is longer than a page takes pages of a power of two.
            ages.push((at, (bytes.value().len() as u64).next_power_of_two()));
        }
        ages.sort_unstable();
        let limit = limit(&ages);
        // What the table doesn't know was there before it was.
        let mut old = HashSet::new();
        for entry in results.iter()? {
            let key = entry?.0.value().to_vec();
            if seen.get(key.as_slice())?.is_none_or(|s| s.value() < limit) {
                old.insert(key);
            }
        }
        for key in &old {
            results.remove(key.as_slice())?;
            seen.remove(key.as_slice())?;
        }
    }
    write.commit()?;
    Ok(())
}

/// Opens a database; `Err(None)` where it is damaged.
///
/// The pages of one that was there before are held against their checksums first. The library believes what it reads, and where
/// writing meets damage it may fail once more while it cleans up, which would end the program.
pub(super) fn database(path: &Path) -> Result<Database, Option<StoreError>> {
    match std::fs::metadata(path) {
        Ok(found) if !found.is_file() => return Err(Some(StoreError::Broken("something else is in their place"))),
        _ => {}
    }
    let there = path.exists();
    let opened = guarded(|| {
        let mut database = Database::builder().set_cache_size(CACHE).create(path)?;
        if there {
            database.check_integrity()?;
        }
        Ok(database)
    })
    .map_err(|_| None)?;
    opened.map_err(|error| match error {
        DatabaseError::DatabaseAlreadyOpen => Some(StoreError::Busy),
        DatabaseError::Storage(StorageError::Io(e))
            if !matches!(e.kind(), ErrorKind::InvalidData | ErrorKind::UnexpectedEof | ErrorKind::InvalidInput) =>
        {
            Some(StoreError::Broken(reason(&e)))
        }
        _ => None,
    })
}

/// What a table holds under a key.
pub(super) fn found(database: &Database, table: TableDefinition<&[u8], &[u8]>, key: &[u8]) -> Found {
    let Ok(read) = database.begin_read() else { return Found::Damage };
    let table = match read.open_table(table) {
        Ok(table) => table,
        Err(TableError::TableDoesNotExist(_)) => return Found::Nothing,
        Err(_) => return Found::Damage,
    };
    match table.get(key) {
        Ok(None) => Found::Nothing,
        Ok(Some(value)) => content(key, value.value()),
        Err(StorageError::Io(_)) => Found::Nothing,
        Err(_) => Found::Damage,
    }
}
