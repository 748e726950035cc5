//! Remembered results in a small database: bytes under a key, written as they come, readable after a kill.
//!
//! Every record carries a version and a checksum. A record that fails its checksum, or a database that can't be read,
//! is set aside as a whole under another name, and an empty one begun in its place: results can be had again.

use std::collections::HashMap;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant, SystemTime, UNIX_EPOCH};

use redb::{
    Database, DatabaseError, ReadableDatabase as _, ReadableTable as _, StorageError, TableDefinition, TableError,
};
use thiserror::Error;

use super::guard::guarded;
use super::{reason, say};
use crate::quantity::shown;

/// Identity of a file on disk (path, size, time) to a record with the digest of its content.
const DIGESTS: TableDefinition<&[u8], &[u8]> = TableDefinition::new("digests");
/// Key to a record with remembered bytes.
const RESULTS: TableDefinition<&[u8], &[u8]> = TableDefinition::new("results");

/// Key to when its bytes were last put or asked for, seconds since 1970.
const SEEN: TableDefinition<&[u8], u64> = TableDefinition::new("seen");

/// Length of the file from which the results seen longest ago are forgotten, and the share of it that is kept then, so that it
/// isn't done at every run.
pub(crate) const BOUND: u64 = 8 << 30;
const KEPT: f64 = 0.75;

/// How long results may wait in memory before they are put on disk: a kill loses at most this much work.
const PATIENCE: Duration = Duration::from_secs(2);

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

/// An open store.
pub(crate) struct Store {
    path: PathBuf,
    /// `None` once it was set aside and no other could be begun.
    database: Mutex<Option<Arc<Database>>>,
    waiting: Mutex<Waiting>,
}

#[derive(Default)]
struct Waiting {
    digests: HashMap<Vec<u8>, Key>,
    results: HashMap<Key, Vec<u8>>,
    seen: HashMap<Key, u64>,
    since: Option<Instant>,
}

/// What was found under a key.
enum Found {
    Nothing,
    Bytes(Vec<u8>),
    Damage,
}

impl Store {
    /// Opens or makes the store at `path`; a damaged one is set aside first, which is said on standard error.
    ///
    /// # Errors
    /// [`StoreError::Busy`] where another process has it, [`StoreError::Broken`] otherwise.
    pub(crate) fn open(path: &Path) -> Result<Self, StoreError> {
        if let Some(folder) = path.parent() {
            std::fs::create_dir_all(folder).map_err(|e| StoreError::Broken(reason(&e)))?;
        }
        let database = match database(path) {
            Err(None) => {
                set_aside(path)?;
                database(path).map_err(|e| e.unwrap_or(StoreError::Broken("it is damaged")))?
            }
            other => other.map_err(|e| e.unwrap_or(StoreError::Busy))?,
        };
        let database = Mutex::new(Some(database.into()));
        Ok(Self { path: path.to_owned(), database, waiting: Mutex::default() })
    }

    /// The bytes remembered under a key.
    #[must_use]
    pub(crate) fn get(&self, key: &Key) -> Option<Vec<u8>> {
        if let Some(bytes) = self.waiting().results.get(key) {
            return Some(bytes.clone());
        }
        let found = self.read(RESULTS, key);
        if found.is_some() {
            self.waiting().seen.insert(*key, now());
        }
        found
    }

    /// The digest remembered for a file's identity.
    #[must_use]
    pub(crate) fn digest(&self, identity: &[u8]) -> Option<Key> {
        if let Some(key) = self.waiting().digests.get(identity) {
            return Some(*key);
        }
        self.read(DIGESTS, identity)?.try_into().ok()
    }

    /// Remembers a file's digest.
    pub(crate) fn put_digest(&self, identity: Vec<u8>, digest: Key) {
        self.waiting().digests.insert(identity, digest);
    }

    /// Remembers bytes under a key; on disk within a few seconds, or at [`Store::flush`].
    pub(crate) fn put(&self, key: Key, bytes: Vec<u8>) {
        let mut waiting = self.waiting();
        waiting.results.insert(key, bytes);
        waiting.seen.insert(key, now());
        if waiting.since.get_or_insert_with(Instant::now).elapsed() > PATIENCE {
            self.commit(&mut waiting);
        }
    }

    /// Puts all that waits on disk. What can't be written is forgotten: it can be measured again.
    pub(crate) fn flush(&self) {
        self.commit(&mut self.waiting());
    }

    /// Forgets results that were not asked for since `before` (seconds since 1970), or for which that isn't known, and gives
    /// their room back to the disk; how many bytes the file lost.
    pub(crate) fn forget(&mut self, before: u64) -> u64 {
        self.flush();
        self.forget_where(|_| before)
    }

    /// Forgets what was seen longest ago where the file is longer than `bound`.
    pub(crate) fn keep_to(&mut self, bound: u64) -> u64 {
        self.flush();
        if self.length() <= bound {
            return 0;
        }
        self.forget_where(|ages| {
            // Newest first, until what is kept fills its share of the bound.
            let mut room = (bound as f64 * KEPT) as u64;
            let within = |&&(_, size): &&(u64, u64)| room.checked_sub(size).map(|left| room = left).is_some();
            ages.iter().rev().take_while(within).last().map_or(u64::MAX, |&(seen, _)| seen)
        })
    }

    fn length(&self) -> u64 {
        std::fs::metadata(&self.path).map_or(0, |m| m.len())
    }

    /// Forgets results seen before what `limit` makes of all, in the order in which they were seen, with their sizes.
    fn forget_where(&mut self, limit: impl Fn(&[(u64, u64)]) -> u64) -> u64 {
        let long = self.length();
        let place = self.database.get_mut().unwrap_or_else(PoisonError::into_inner);
        let Some(database) = place.as_mut().and_then(Arc::get_mut) else { return 0 };
        // What can't be forgotten stays, which does no harm.
        let _ = guarded(|| {
            forget(database, &limit)?;
            database.compact().map_err(redb::Error::from)
        });
        long.saturating_sub(self.length())
    }

    fn waiting(&self) -> MutexGuard<'_, Waiting> {
        self.waiting.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn database(&self) -> Option<Arc<Database>> {
        self.database.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }

    fn read(&self, table: TableDefinition<&[u8], &[u8]>, key: &[u8]) -> Option<Vec<u8>> {
        let database = self.database()?;
        let found = guarded(|| found(&database, table, key)).unwrap_or(Found::Damage);
        match found {
            Found::Nothing => None,
            Found::Bytes(bytes) => Some(bytes),
            Found::Damage => {
                self.give_up(database);
                None
            }
        }
    }

    fn commit(&self, waiting: &mut Waiting) {
        let waiting = std::mem::take(waiting);
        // Where the first is damaged, a new one takes its place.
        for _ in 0..2 {
            let Some(database) = self.database() else { return };
            // A full disk must not fail the audit, nor is it damage.
            match guarded(|| write(&database, &waiting)) {
                Err(_) | Ok(Err(redb::Error::Corrupted(_))) => self.give_up(database),
                Ok(_) => return,
            }
        }
    }

    /// Sets a damaged database aside and begins another, unless that has happened meanwhile.
    fn give_up(&self, damaged: Arc<Database>) {
        let mut place = self.database.lock().unwrap_or_else(PoisonError::into_inner);
        if !place.as_ref().is_some_and(|now| Arc::ptr_eq(now, &damaged)) {
            return;
        }
        let old = place.take();
        // Closing a damaged database may fail as reading it did.
        let _ = guarded(|| drop((old, damaged)));
        if set_aside(&self.path).is_ok() {
            *place = database(&self.path).ok().map(Into::into);
        }
    }
}

fn write(database: &Database, waiting: &Waiting) -> Result<(), redb::Error> {
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

/// Seconds since 1970 by the system's clock.
fn now() -> u64 {
    SystemTime::now().duration_since(UNIX_EPOCH).map_or(0, |d| d.as_secs())
}

fn forget(database: &Database, limit: &impl Fn(&[(u64, u64)]) -> u64) -> Result<(), redb::Error> {
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
        let mut old = std::collections::HashSet::new();
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
fn database(path: &Path) -> Result<Database, Option<StoreError>> {
    match std::fs::metadata(path) {
        Ok(found) if !found.is_file() => return Err(Some(StoreError::Broken("something else is in their place"))),
        _ => {}
    }
    let opened = guarded(|| Database::builder().set_cache_size(CACHE).create(path)).map_err(|_| None)?;
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

/// Renames a damaged store, over one that was set aside before, and says so.
fn set_aside(path: &Path) -> Result<(), StoreError> {
    let aside = aside(path);
    std::fs::rename(path, &aside).map_err(|e| StoreError::Broken(reason(&e)))?;
    say(&format!(
        "tussock: the remembered measurements were damaged and are set aside as {}; frames are measured anew",
        shown(&aside)
    ));
    Ok(())
}

/// Where a damaged store goes.
#[must_use]
pub fn aside(path: &Path) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(".damaged");
    name.into()
}

fn found(database: &Database, table: TableDefinition<&[u8], &[u8]>, key: &[u8]) -> Found {
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

/// Version of the records, their first byte.
const VERSION: u8 = 1;
/// Bytes of a record's checksum, which follows.
const CHECK: usize = 16;

/// Version, checksum over key and bytes, bytes.
fn record(key: &[u8], bytes: &[u8]) -> Vec<u8> {
    let mut out = Vec::with_capacity(1 + CHECK + bytes.len());
    out.push(VERSION);
    out.extend_from_slice(&check(key, bytes));
    out.extend_from_slice(bytes);
    out
}

fn check(key: &[u8], bytes: &[u8]) -> [u8; CHECK] {
    let mut hasher = blake3::Hasher::new();
    hasher.update(&(key.len() as u64).to_le_bytes()).update(key).update(bytes);
    let digest = hasher.finalize();
    std::array::from_fn(|i| digest.as_bytes()[i])
}

fn content(key: &[u8], record: &[u8]) -> Found {
    let Some((&version, rest)) = record.split_first() else { return Found::Damage };
    match rest.split_at_checked(CHECK) {
        // What another version of the program wrote is no damage.
        _ if version != VERSION && version < 16 => Found::Nothing,
        Some((sum, bytes)) if version == VERSION && sum == check(key, bytes) => Found::Bytes(bytes.to_vec()),
        _ => Found::Damage,
    }
}

/// The bytes in a record, if they are what was put there under this key.
#[must_use]
pub fn sound(key: &[u8], record: &[u8]) -> Option<Vec<u8>> {
    match content(key, record) {
        Found::Bytes(bytes) => Some(bytes),
        Found::Nothing | Found::Damage => None,
    }
}

impl Drop for Store {
    fn drop(&mut self) {
        self.flush();
        // Damage that nothing has read yet may show when the database is closed.
        let closed = self.database.get_mut().unwrap_or_else(PoisonError::into_inner).take();
        let _ = guarded(|| drop(closed));
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
    fn what_was_not_asked_for_is_forgotten_and_the_rest_kept() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("store.redb");
        let key = |k: u8| [k; 32];
        let mut store = Store::open(&path).unwrap();
        for k in 0..60 {
            store.put(key(k), vec![k; 200_000]);
            store.waiting().seen.insert(key(k), 1000 + u64::from(k));
        }
        // As a store from before the times were kept.
        store.waiting().seen.remove(&key(0));
        store.flush();
        assert!(store.get(&key(7)).is_some(), "asking for it makes it new");
        let long = store.length();
        assert!(store.forget(1030) > 0);
        assert!(store.length() < long * 3 / 4, "{} of {long}", store.length());
        for k in 0..60 {
            let kept = k == 7 || k >= 30;
            assert_eq!(store.get(&key(k)).map(|b| b == vec![k; 200_000]), kept.then_some(true), "{k}");
        }
        // All were just asked for; nothing is older than the others, but the bound holds.
        let bound = store.length() / 2;
        assert_eq!(store.keep_to(u64::MAX), 0);
        for k in 30..60 {
            store.waiting().seen.insert(key(k), 2000 + u64::from(k));
        }
        store.waiting().seen.insert(key(7), 1);
        store.keep_to(bound);
        assert!(store.length() <= bound, "{} of {bound}", store.length());
        assert!(store.get(&key(59)).is_some() && store.get(&key(7)).is_none() && store.get(&key(30)).is_none());
    }

    #[test]
    fn a_file_that_is_no_store_is_set_aside() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("store.redb");
        std::fs::write(&path, vec![1; 5000]).unwrap();
        let store = Store::open(&path).unwrap();
        store.put([1; 32], b"one".to_vec());
        drop(store);
        assert_eq!(std::fs::read(aside(&path)).unwrap(), vec![1; 5000]);
        assert_eq!(Store::open(&path).unwrap().get(&[1; 32]).as_deref(), Some(b"one".as_slice()));
    }

    /// Bytes changed all over the file: what comes back is what was put, or nothing; and the store goes on.
    #[test]
    fn damage_never_misleads_nor_ends_the_program() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("store.redb");
        let key = |i: u8| -> Key { [i; 32] };
        let value = |i: u8| vec![i.wrapping_mul(7); 400 + 60 * usize::from(i)];
        let store = Store::open(&path).unwrap();
        for i in 0..60 {
            store.put(key(i), value(i));
            store.put_digest(vec![i; 80], key(i));
            if i % 20 == 0 {
                store.flush();
            }
        }
        drop(store);
        let sound = std::fs::read(&path).unwrap();
        let mut state = 11_u64;
        let mut random = move |below: usize| {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (state >> 33) as usize % below
        };
        let mut lost = 0;
        for round in 0..210 {
            let mut bytes = sound.clone();
            // The first pages tell where all the others are.
            let reach = if round % 2 == 0 { 8192 } else { bytes.len() };
            for _ in 0..=random(12) {
                bytes[random(reach)] ^= 1 << random(8);
            }
            if round % 10 == 9 {
                bytes.truncate(random(sound.len()));
            }
            std::fs::write(&path, &bytes).unwrap();
            let Ok(store) = Store::open(&path) else { continue };
            for i in 0..60 {
                match store.get(&key(i)) {
                    Some(found) => assert!(found == value(i), "round {round}: another value for {i}"),
                    None => lost += 1,
                }
                assert!(store.digest(&[i; 80]).is_none_or(|found| found == key(i)), "round {round}");
            }
            drop(store);
            // Damage may show as late as when a store is closed; soon there is one that keeps what is put.
            let keeps = (0..3).any(|_| {
                Store::open(&path).unwrap().put(key(99), value(99));
                Store::open(&path).unwrap().get(&key(99)) == Some(value(99))
            });
            assert!(keeps, "round {round}");
        }
        assert!(lost > 0, "the damage did nothing");
    }
}
