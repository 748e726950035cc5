//! Remembered results in a small database: bytes under a key, written as they come, readable after a kill.
//!
//! Every record carries a version and a checksum. A record that fails its checksum, or a database that can't be read,
//! is set aside as a whole under another name, and an empty one begun in its place: results can be had again.

use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant, SystemTime, UNIX_EPOCH};

use redb::{Database, TableDefinition};

use super::guard::guarded;
use super::record::Found;
pub use super::record::sound;
use super::tables::{DIGESTS, RESULTS, Waiting, database, forget, found, write};
pub(crate) use super::tables::{Key, StoreError};
use super::{reason, say};
use crate::quantity::shown;

/// Length of the file from which the results seen longest ago are forgotten, and the share of it that is kept then, so that it
/// isn't done at every run.
pub(crate) const BOUND: u64 = 8 << 30;
const KEPT: f64 = 0.75;

/// How long results may wait in memory before they are put on disk: a kill loses at most this much work.
const PATIENCE: Duration = Duration::from_secs(2);

/// An open store.
pub(crate) struct Store {
    path: PathBuf,
    /// `None` once it was set aside and no other could be begun.
    database: Mutex<Option<Arc<Database>>>,
    waiting: Mutex<Waiting>,
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

/// Seconds since 1970 by the system's clock.
fn now() -> u64 {
    SystemTime::now().duration_since(UNIX_EPOCH).map_or(0, |d| d.as_secs())
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
pub(crate) fn aside(path: &Path) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(".damaged");
    name.into()
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
