//! Runs one task a frame on a few threads within a memory budget; results keep the order of the frames.

use std::num::NonZero;
use std::sync::{Condvar, Mutex, PoisonError};

/// How much of the machine one run may take.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Budget {
    /// Frames in flight at once.
    pub threads: usize,
    /// Bytes that the frames in flight may need together; a single frame beyond it runs alone.
    pub bytes: u64,
}

impl Budget {
    /// A budget from what the user asked for, else all threads and half of the free memory.
    pub(crate) fn new(jobs: Option<usize>, memory: Option<u64>) -> Self {
        Self {
            threads: jobs.unwrap_or_else(|| std::thread::available_parallelism().map_or(1, NonZero::get)).max(1),
            bytes: memory.unwrap_or_else(|| free_memory() / 2),
        }
    }
}

/// Bytes of memory that can be had without swapping, within the limits of address space and data set to this process; 4 GiB where the
/// system doesn't say. What a control group, such as a container's, allows is not asked.
fn free_memory() -> u64 {
    let said = std::fs::read_to_string("/proc/meminfo").ok().and_then(|text| {
        let line = text.lines().find_map(|l| l.strip_prefix("MemAvailable:"))?;
        line.trim().trim_end_matches("kB").trim().parse::<u64>().ok()
    });
    let free = said.map_or(4 << 30, |kib| kib * 1024);
    #[cfg(unix)]
    let free = {
        use rustix::process::{Resource, getrlimit};
        let limits = [Resource::As, Resource::Data].map(|r| getrlimit(r).current);
        limits.into_iter().flatten().fold(free, u64::min)
    };
    free
}

/// Runs `work` so that what it does in parallel keeps to a number of threads.
pub(crate) fn on_threads<R: Send>(threads: usize, work: impl FnOnce() -> R + Send) -> R {
    match rayon::ThreadPoolBuilder::new().num_threads(threads).build() {
        Ok(pool) => pool.install(work),
        // Without threads of its own it runs on those that all share.
        Err(_) => work(),
    }
}

struct Queue {
    next: usize,
    used: u64,
}

/// Runs `work` on every item; `need` says how many bytes an item will take, `done` is told of each result
/// as it comes (from one thread at a time, in no fixed order). The results come back in the order of the items.
///
/// Once `stop` says so no further item is begun; those that were not are missing from the results.
///
/// Items start in order, so a large frame waits for room and those after it wait behind it: nothing starves.
pub(crate) fn run<T: Sync, R: Send>(
    items: &[T],
    budget: Budget,
    need: impl Fn(&T) -> u64 + Sync,
    work: impl Fn(&T) -> R + Sync,
    done: impl FnMut(usize, &R) + Send,
    stop: impl Fn() -> bool + Sync,
) -> Vec<R> {
    let queue = Mutex::new(Queue { next: 0, used: 0 });
    let room = Condvar::new();
    let turn = Mutex::new(());
    let results: Mutex<(Vec<Option<R>>, _)> = Mutex::new((items.iter().map(|_| None).collect(), done));
    let take = || {
        // One worker at a time waits for room, which keeps the order of the items.
        let _turn = turn.lock().unwrap_or_else(PoisonError::into_inner);
        let index = queue.lock().unwrap_or_else(PoisonError::into_inner).next;
        let item = items.get(index)?;
        let bytes = need(item);
        let state = queue.lock().unwrap_or_else(PoisonError::into_inner);
        let mut state = room
            .wait_while(state, |s| s.used > 0 && s.used + bytes > budget.bytes)
            .unwrap_or_else(PoisonError::into_inner);
        if stop() {
            return None;
        }
        state.used += bytes;
        state.next += 1;
        Some((index, item, bytes))
    };
    let workers = budget.threads.min(items.len()).max(1);
    // Frames run beside each other; only where they are fewer than the threads is one worked on by several.
    let inner = budget.threads / workers;
    std::thread::scope(|scope| {
        for _ in 0..workers {
            scope.spawn(|| {
                let pool = rayon::ThreadPoolBuilder::new().num_threads(inner).build().ok();
                while let Some((index, item, bytes)) = take() {
                    let result = match &pool {
                        Some(pool) => pool.install(|| work(item)),
                        None => work(item),
                    };
                    queue.lock().unwrap_or_else(PoisonError::into_inner).used -= bytes;
                    room.notify_all();
                    let mut results = results.lock().unwrap_or_else(PoisonError::into_inner);
                    let (slots, done) = &mut *results;
                    done(index, &result);
                    slots[index] = Some(result);
                }
            });
        }
    });
    let (slots, _) = results.into_inner().unwrap_or_else(PoisonError::into_inner);
    slots.into_iter().flatten().collect()
}

#[cfg(test)]
mod tests {
    use std::sync::atomic::{AtomicU64, Ordering::SeqCst};

    use super::*;

    #[test]
    fn results_keep_their_order_and_memory_its_bound() {
        let items: Vec<u64> = (0..200).map(|i| if i % 50 == 7 { 95 } else { 10 + i % 7 }).collect();
        let (used, most) = (AtomicU64::new(0), AtomicU64::new(0));
        let mut told = 0;
        let results = run(
            &items,
            Budget { threads: 8, bytes: 100 },
            |&bytes| bytes,
            |&bytes| {
                let now = used.fetch_add(bytes, SeqCst) + bytes;
                most.fetch_max(now, SeqCst);
                std::thread::yield_now();
                used.fetch_sub(bytes, SeqCst);
                bytes * 2
            },
            |_, _| told += 1,
            || false,
        );
        assert_eq!(results, items.iter().map(|b| b * 2).collect::<Vec<_>>());
        assert_eq!(told, items.len());
        assert!(most.load(SeqCst) <= 100, "{} bytes in flight", most.load(SeqCst));
    }

    #[test]
    fn a_frame_larger_than_the_budget_still_runs() {
        let results = run(&[500, 1], Budget { threads: 2, bytes: 100 }, |&b| b, |&b| b, |_, _| {}, || false);
        assert_eq!(results, [500, 1]);
    }

    #[test]
    fn items_in_hand_are_finished_when_somebody_asks_to_stop() {
        let asked = std::sync::atomic::AtomicBool::new(false);
        let budget = Budget { threads: 3, bytes: 100 };
        let work = |&item: &usize| {
            asked.fetch_or(item == 10, SeqCst);
            item
        };
        let items: Vec<usize> = (0..1000).collect();
        let results = run(&items, budget, |_| 1, work, |_, _| {}, || asked.load(SeqCst));
        assert!(results.len() >= 11 && results.len() < 1000, "{}", results.len());
        assert!(results.contains(&10) && results.is_sorted());
    }
}
