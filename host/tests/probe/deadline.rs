//! In: a test that waits for others. Out: the same test, which fails where it would wait for ever.

use std::panic::resume_unwind;
use std::sync::mpsc::{RecvTimeoutError, channel};
use std::thread::spawn;
use std::time::Duration;

/// Dozens of times what the slowest of these tests takes in a debug build on two busy cores.
const PATIENCE: Duration = Duration::from_secs(120);

/// Runs a test on a thread of its own; reads that never return can be given up in no other way.
#[track_caller]
pub(crate) fn in_time(test: impl FnOnce() + Send + 'static) {
    within(PATIENCE, test);
}

#[track_caller]
fn within(patience: Duration, test: impl FnOnce() + Send + 'static) {
    let (done, told) = channel();
    let thread = spawn(move || {
        test();
        done.send(())
    });
    assert_ne!(
        told.recv_timeout(patience),
        Err(RecvTimeoutError::Timeout),
        "still waiting after {patience:?}"
    );
    if let Err(failed) = thread.join() {
        resume_unwind(failed);
    }
}

/// What becomes of a test: its own message, if it has one.
fn check(patience: Duration, test: fn(), expected: Option<&str>) {
    let failed = std::panic::catch_unwind(|| within(patience, test)).err();
    let words = failed.map(|words| match words.downcast::<String>() {
        Ok(words) => *words,
        Err(words) => (*words.downcast::<&str>().expect("words")).to_owned(),
    });
    let fits = match (&words, expected) {
        (Some(words), Some(expected)) => words.contains(expected),
        (words, expected) => words.is_none() && expected.is_none(),
    };
    assert!(fits, "{words:?}, expected {expected:?}");
}

#[test]
fn a_test_that_waits_for_ever_fails_and_others_end_as_they_do() {
    let short = Duration::from_millis(50);
    check(PATIENCE, || (), None);
    check(PATIENCE, || panic!("its own words"), Some("its own words"));
    check(
        short,
        || loop {
            std::thread::park()
        },
        Some("still waiting after 50ms"),
    );
}
