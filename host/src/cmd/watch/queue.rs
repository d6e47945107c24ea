//! In: what the threads of the sources find. Out: the same in one queue, which is short: a thread waits until there is room.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};

use crate::error::Error;
use crate::report::move_report::MoveReport;

/// Items that wait to be printed.
const WAITING: usize = 256;

/// Something to be printed.
pub(super) enum Item {
    Move(Box<MoveReport>),
    Note(String),
    /// The store has changed.
    Stored,
    /// A source is watched no more.
    Done(Result<(), Error>),
    /// A person interrupts.
    Interrupt,
}

/// The end of the queue for the threads.
#[derive(Clone)]
pub(super) struct Queue {
    items: SyncSender<Item>,
    stop: Arc<AtomicBool>,
}

/// The two ends of a new queue.
pub(super) fn new() -> (Queue, Receiver<Item>) {
    let (items, waiting) = sync_channel(WAITING);
    (Queue { items, stop: Arc::default() }, waiting)
}

impl Queue {
    /// Adds an item. When nobody prints any more, all stop.
    pub(super) fn push(&self, item: Item) {
        if self.items.send(item).is_err() {
            self.stop();
        }
    }

    /// All sources are to end.
    pub(super) fn stop(&self) {
        self.stop.store(true, Ordering::Relaxed);
    }

    /// Whether they are.
    pub(super) fn is_stopped(&self) -> bool {
        self.stop.load(Ordering::Relaxed)
    }
}
