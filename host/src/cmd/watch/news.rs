//! In: what the threads of the sources have to tell. Out: the same in one queue, which is short: who tells more than is
//! printed waits.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};

use crate::error::Error;
use crate::report::move_report::MoveReport;

/// News that wait to be printed.
const WAITING: usize = 256;

/// Something to be printed.
pub(super) enum News {
    Move(Box<MoveReport>),
    Note(String),
    /// The store has changed.
    Stored,
    /// A source is watched no more.
    Done(Result<(), Error>),
    /// A person interrupts.
    Interrupt,
}

/// One end of the queue.
#[derive(Clone)]
pub(super) struct Teller {
    news: SyncSender<News>,
    stop: Arc<AtomicBool>,
}

/// The queue, and the end for those who tell.
pub(super) fn queue() -> (Teller, Receiver<News>) {
    let (news, queue) = sync_channel(WAITING);
    (Teller { news, stop: Arc::default() }, queue)
}

impl Teller {
    /// Queues news. When nobody prints any more, all stop.
    pub(super) fn tell(&self, news: News) {
        if self.news.send(news).is_err() {
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
