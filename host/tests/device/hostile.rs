//! Hostile peers: `device` ends within its deadline, in bounded memory, and takes nothing for an answer that is none.

use super::hostile::peers::{Peer, serve};
use stillpoint::store::{Options, Store};

use super::hostile::{MOST_MEMORY, each, run};

fn check(&(name, act): &Peer) {
    let store = std::env::temp_dir().join(format!("stillpoint-{}-{name}-device.store", std::process::id()));
    drop(Store::create(&store, &Options::default()).expect("a store"));
    let stored = store.display().to_string();
    let person = ["--store", &stored, "--who", "M. Ito"];
    for (request, more) in [
        ("identify", &[][..]),
        ("settings 0 window=60", &person),
        ("acknowledge 3", &person),
        ("dump-since 0 0", &[]),
        ("declare 0", &person),
    ] {
        let place = serve(act);
        let arguments = ["device", "--time-out", "0.3", &place];
        let arguments: Vec<&str> =
            arguments.into_iter().chain(request.split(' ')).chain(more.iter().copied()).collect();
        let end = run(name, &arguments, None);
        assert!(end.memory < MOST_MEMORY, "{name}, {request}: {} kB", end.memory);
        // Some report a whole state; nothing that they send is an answer to a request.
        let is_done = request == "identify" && end.status == Some(0);
        assert!(is_done || end.status == Some(1), "{name}, {request}: {end:?}");
        let words = end.err.lines().count() == 1 && end.err.contains("; ") && end.out.is_empty();
        assert!(is_done || words || !more.is_empty(), "{name}, {request}: {end:?}");
    }
    for ending in ["", "-wal", "-shm"] {
        std::fs::remove_file(format!("{stored}{ending}")).ok();
    }
}

#[test]
fn hostile_peers_are_given_up_in_time() {
    each(check);
}
