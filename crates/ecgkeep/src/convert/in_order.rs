//! Work on all cores, results in the order of the inputs, and never more of them in memory than a few a core.

use std::collections::BTreeMap;
use std::num::NonZero;
use std::sync::{Condvar, Mutex, MutexGuard, PoisonError};
use std::thread;

/// Results that may wait for an earlier one, a core.
const AHEAD: usize = 8;

/// Does `work` on every item on all cores and hands each result to `emit` on this thread, in the order of the items.
pub fn in_order<T: Sync, R: Send>(
    items: &[T],
    work: impl Fn(usize, &T) -> R + Sync,
    mut emit: impl FnMut(usize, R),
) {
    let cores = thread::available_parallelism().map_or(1, NonZero::get).min(items.len());
    let queue = Queue { state: Mutex::default(), changed: Condvar::new(), window: cores * AHEAD };
    thread::scope(|scope| {
        for _ in 0..cores {
            scope.spawn(|| {
                let _notice = Notice(&queue);
                while let Some(index) = queue.take(items.len()) {
                    queue.give(index, work(index, &items[index]));
                }
            });
        }
        for index in 0..items.len() {
            // Without a result a worker has panicked, and the end of the scope says so.
            let Some(result) = queue.wait_for(index) else { break };
            emit(index, result);
        }
    });
}

struct Queue<R> {
    state: Mutex<State<R>>,
    changed: Condvar,
    window: usize,
}

struct State<R> {
    next: usize,
    emitted: usize,
    waiting: BTreeMap<usize, R>,
    panicked: bool,
}

impl<R> Default for State<R> {
    fn default() -> State<R> {
        State { next: 0, emitted: 0, waiting: BTreeMap::new(), panicked: false }
    }
}

impl<R> Queue<R> {
    fn state(&self) -> MutexGuard<'_, State<R>> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The next item, once it is not too far ahead of what was emitted.
    fn take(&self, items: usize) -> Option<usize> {
        let ready = |state: &mut State<R>| {
            state.next < items && state.next >= state.emitted + self.window && !state.panicked
        };
        let mut state = self.changed.wait_while(self.state(), ready).unwrap_or_else(PoisonError::into_inner);
        if state.panicked || state.next >= items {
            return None;
        }
        state.next += 1;
        Some(state.next - 1)
    }

    fn give(&self, index: usize, result: R) {
        self.state().waiting.insert(index, result);
        self.changed.notify_all();
    }

    fn wait_for(&self, index: usize) -> Option<R> {
        let not_yet = |state: &mut State<R>| !state.waiting.contains_key(&index) && !state.panicked;
        let mut state =
            self.changed.wait_while(self.state(), not_yet).unwrap_or_else(PoisonError::into_inner);
        let result = state.waiting.remove(&index);
        state.emitted = index + 1;
        self.changed.notify_all();
        result
    }
}

/// Tells the others when a worker panics, so that nobody waits for its result.
struct Notice<'a, R>(&'a Queue<R>);

impl<R> Drop for Notice<'_, R> {
    fn drop(&mut self) {
        if thread::panicking() {
            self.0.state().panicked = true;
            self.0.changed.notify_all();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::atomic::{AtomicUsize, Ordering};

    #[test]
    fn results_come_in_order_and_few_wait() {
        let (made, mut emitted) = (AtomicUsize::new(0), Vec::new());
        let items: Vec<usize> = (0..500).collect();
        let cores = thread::available_parallelism().unwrap().get();
        in_order(
            &items,
            |index, item| {
                made.fetch_add(1, Ordering::SeqCst);
                (0..(index * 7919) % 97).for_each(|_| thread::yield_now());
                item * 2
            },
            |index, result| {
                let waiting = made.load(Ordering::SeqCst) - index;
                assert!(waiting <= cores * AHEAD + cores + 1, "{waiting} wait");
                emitted.push(result);
            },
        );
        assert_eq!(emitted, items.iter().map(|item| item * 2).collect::<Vec<_>>());
    }

    #[test]
    fn a_panic_ends_it() {
        let run = || in_order(&[1, 2, 3], |_, item| assert_ne!(*item, 2, "two"), |_, ()| ());
        assert!(std::panic::catch_unwind(run).is_err());
    }

    #[test]
    fn nothing_is_done_with_nothing() {
        in_order(&[], |_, (): &()| (), |_, ()| panic!("no item"));
    }
}
