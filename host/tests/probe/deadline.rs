//! In: a test that waits for other threads. Out: the same test, which fails instead of waiting for ever.

use std::panic::resume_unwind;
use std::sync::mpsc::{RecvTimeoutError, channel};
use std::thread::spawn;
use std::time::Duration;

/// Dozens of times the duration of the slowest of these tests in a debug build on two busy cores.
const TIME_OUT: Duration = Duration::from_secs(120);

/// Runs a test on its own thread, because a read that never returns can only be abandoned with its thread.
#[track_caller]
pub(crate) fn in_time(test: impl FnOnce() + Send + 'static) {
    within(TIME_OUT, test);
}

#[track_caller]
fn within(time_out: Duration, test: impl FnOnce() + Send + 'static) {
    let (done, signal) = channel();
    let thread = spawn(move || {
        test();
        done.send(())
    });
    assert_ne!(
        signal.recv_timeout(time_out),
        Err(RecvTimeoutError::Timeout),
        "still waiting after {time_out:?}"
    );
    if let Err(failed) = thread.join() {
        resume_unwind(failed);
    }
}

/// Checks the panic message of a test, if it panics.
fn check(time_out: Duration, test: fn(), expected: Option<&str>) {
    let failed = std::panic::catch_unwind(|| within(time_out, test)).err();
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
    check(TIME_OUT, || (), None);
    check(TIME_OUT, || panic!("its own words"), Some("its own words"));
    check(
        short,
        || loop {
            std::thread::park()
        },
        Some("still waiting after 50ms"),
    );
}
