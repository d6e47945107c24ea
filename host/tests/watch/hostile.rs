//! Hostile peers: `watch` ends when the line does or a person interrupts, in bounded memory and with few lines of notes.

use std::time::Duration;

use super::hostile::peers::{Peer, serve};
use super::hostile::{MOST_MEMORY, each, run};

/// Lines of notes: a hundred in ten seconds, and what sums up the rest.
const MOST_LINES: usize = 500;

fn check(&(name, act): &Peer) {
    // Without `--once` it goes on, and a person interrupts it; with `--once` the line ends it or the person does.
    for (form, more, statuses) in [
        ("--format=jsonl", "--once", [Some(0), Some(1)]),
        ("--format=table", "--unit=mm", [Some(0), Some(0)]),
    ] {
        let store =
            std::env::temp_dir().join(format!("stillpoint-{}-{name}{more}.store", std::process::id()));
        let store_name = store.display().to_string();
        let place = serve(act);
        let arguments = ["watch", &place, "--time-out", "1", form, more, "--store", &store_name];
        let end = run(name, &arguments, Some(Duration::from_secs(3)));
        for ending in ["", "-wal", "-shm"] {
            std::fs::remove_file(format!("{store_name}{ending}")).ok();
        }
        assert!(end.memory < MOST_MEMORY, "{name}: {} kB", end.memory);
        assert!(statuses.contains(&end.status), "{name}: {end:?}");
        assert!(
            end.err.lines().count() < MOST_LINES,
            "{name}: {} lines: {}",
            end.err.lines().count(),
            end.err
        );
        // A status that tells failure comes with a word.
        let says_why = end.err.lines().any(|line| line.starts_with("stillpoint: ") && line.contains("; "));
        assert_eq!(end.status == Some(1), says_why, "{name}: {end:?}");
    }
}

#[test]
fn hostile_peers_are_borne() {
    each(check);
}
