//! Which files of a folder are new and no longer grow.

use std::collections::{HashMap, HashSet};
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::time::{Duration, Instant, SystemTime};

use notify::event::{AccessKind, AccessMode};
use notify::{EventKind, RecursiveMode, Watcher as _};

use super::PATIENCE;

/// Size and time of a file as it was last seen.
type Stand = (u64, Option<SystemTime>);

/// How long a file must stay as it is before it is looked into.
const SETTLED: Duration = Duration::from_millis(250);

/// A file of the folder.
#[derive(Debug)]
struct Known {
    stand: Stand,
    since: Instant,
    /// Whether it was judged as it stands.
    done: bool,
    /// When it was last handed out without coming to anything.
    tried: Option<Instant>,
}

/// The files of a folder, as they were last seen.
#[derive(Debug)]
pub(super) struct Arrivals {
    known: HashMap<PathBuf, Known>,
}

impl Arrivals {
    /// `skip`: whether what is there already is none of our business.
    pub(super) fn new(skip: bool, list: &[PathBuf]) -> Self {
        let now = Instant::now();
        let known = if skip { list } else { &[] };
        let one = |p: &PathBuf| {
            (p.clone(), Known { stand: stand(p).unwrap_or_default(), since: now, done: true, tried: None })
        };
        Self { known: known.iter().map(one).collect() }
    }

    /// Files that are new or changed and have settled, in the order of the list.
    pub(super) fn ready(&mut self, list: &[PathBuf], now: Instant) -> Vec<PathBuf> {
        let there: HashSet<&PathBuf> = list.iter().collect();
        self.known.retain(|p, _| there.contains(p));
        let mut ready = Vec::new();
        for path in list {
            let Some(stand) = stand(path) else { continue };
            let known = self.known.entry(path.clone()).or_insert(Known { stand, since: now, done: false, tried: None });
            if known.stand != stand {
                *known = Known { stand, since: now, done: false, tried: None };
            }
            let age = now.duration_since(known.since);
            // One that stays empty is looked into as well in the end, so that it is named.
            let settled = age >= SETTLED && (stand.0 > 0 || age >= PATIENCE);
            // A file that wasn't complete is tried again when it has changed, and now and then in case it was held.
            let again = known.tried.is_none_or(|t| now.duration_since(t) >= Duration::from_secs(2));
            if !known.done && settled && again {
                known.tried = Some(now);
                ready.push(path.clone());
            }
        }
        ready
    }

    /// Notes that a file was judged.
    pub(super) fn done(&mut self, path: &Path) {
        if let Some(known) = self.known.get_mut(path) {
            known.done = true;
        }
    }

    /// How long a file has been as it is.
    pub(super) fn age(&self, path: &Path) -> Option<Duration> {
        self.known.get(path).map(|k| k.since.elapsed())
    }

    /// Whether a file is still to be judged.
    pub(super) fn waiting(&self) -> bool {
        self.known.values().any(|k| !k.done)
    }
}

fn stand(path: &Path) -> Option<Stand> {
    let facts = std::fs::metadata(path).ok()?;
    Some((facts.len(), facts.modified().ok()))
}

/// Whether an event may mean a new or longer file; looking into a folder, as done here all the time, is one that doesn't.
fn matters(event: &notify::Event) -> bool {
    match event.kind {
        EventKind::Access(kind) => kind == AccessKind::Close(AccessMode::Write),
        _ => true,
    }
}

/// The system's word that something happened in a folder.
pub(super) struct Signals {
    events: Receiver<()>,
    /// Kept, since it falls silent when dropped; `None` where the system says nothing.
    watcher: Option<notify::RecommendedWatcher>,
}

impl Signals {
    pub(super) fn listen(folder: &Path, recursive: bool, poll: bool) -> Self {
        let (send, events) = channel();
        let mode = if recursive { RecursiveMode::Recursive } else { RecursiveMode::NonRecursive };
        let watcher = (!poll)
            .then(|| {
                let told = move |event: notify::Result<notify::Event>| {
                    if !event.as_ref().map_or(true, matters) {
                        return;
                    }
                    // Nobody waits any more once the watch is over.
                    let _ = send.send(());
                };
                let mut watcher = notify::recommended_watcher(told).ok()?;
                watcher.watch(folder, mode).ok()?;
                Some(watcher)
            })
            .flatten();
        Self { events, watcher }
    }

    /// Whether the system says anything.
    pub(super) const fn heard(&self) -> bool {
        self.watcher.is_some()
    }

    /// Waits until something happened, but no longer than a round.
    pub(super) fn wait(&self, round: Duration) {
        match self.events.recv_timeout(round) {
            // One file makes many events; one look is enough for all that are there.
            Ok(()) => {
                while self.events.try_recv().is_ok() {}
                std::thread::sleep(Duration::from_millis(20));
            }
            Err(RecvTimeoutError::Timeout) => {}
            Err(RecvTimeoutError::Disconnected) => std::thread::sleep(round),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn looking_into_a_folder_wakes_nobody() {
        let folder = tempfile::tempdir().unwrap();
        let signals = Signals::listen(folder.path(), false, false);
        if !signals.heard() {
            // A system without such signals has none to misread.
            return;
        }
        let woken = |by: &dyn Fn()| {
            by();
            signals.events.recv_timeout(Duration::from_millis(500)).is_ok()
        };
        let photo = folder.path().join("a.jpg");
        assert!(woken(&|| std::fs::write(&photo, "new").unwrap()));
        while signals.events.recv_timeout(Duration::from_millis(200)).is_ok() {}
        assert!(!woken(&|| {
            std::fs::read_dir(folder.path()).unwrap().count();
            std::fs::read(&photo).unwrap();
        }));
    }

    #[test]
    fn a_file_is_ready_once_it_no_longer_grows() {
        let folder = tempfile::tempdir().unwrap();
        let (old, new) = (folder.path().join("old.jpg"), folder.path().join("new.jpg"));
        std::fs::write(&old, "there before").unwrap();
        let mut arrivals = Arrivals::new(true, std::slice::from_ref(&old));
        let start = Instant::now();
        let at = |ms: u64| start + Duration::from_millis(ms);
        let list = [new.clone(), old];
        std::fs::write(&new, "").unwrap();
        assert!(arrivals.ready(&list, at(0)).is_empty());
        assert!(arrivals.ready(&list, at(900)).is_empty(), "an empty file is no frame");
        std::fs::write(&new, "half").unwrap();
        assert!(arrivals.ready(&list, at(1000)).is_empty());
        std::fs::write(&new, "half and more").unwrap();
        assert!(arrivals.ready(&list, at(1200)).is_empty());
        assert!(arrivals.ready(&list, at(1300)).is_empty());
        assert_eq!(arrivals.ready(&list, at(1500)), std::slice::from_ref(&new));
        // It came to nothing: tried again after a while, or at once when it has changed.
        assert!(arrivals.ready(&list, at(1600)).is_empty() && arrivals.waiting());
        assert_eq!(arrivals.ready(&list, at(3600)), std::slice::from_ref(&new));
        arrivals.done(&new);
        assert!(arrivals.ready(&list, at(9000)).is_empty() && !arrivals.waiting());
        std::fs::write(&new, "written anew").unwrap();
        assert!(arrivals.ready(&list, at(9100)).is_empty());
        assert_eq!(arrivals.ready(&list, at(9400)), [new]);
    }

    #[test]
    fn a_file_that_stays_empty_is_looked_into_in_the_end() {
        let folder = tempfile::tempdir().unwrap();
        let list = [folder.path().join("empty.jpg")];
        std::fs::write(&list[0], "").unwrap();
        let mut arrivals = Arrivals::new(true, &[]);
        let start = Instant::now();
        assert!(arrivals.ready(&list, start).is_empty());
        assert!(arrivals.ready(&list, start + PATIENCE / 2).is_empty());
        assert_eq!(arrivals.ready(&list, start + PATIENCE), list);
    }
}
