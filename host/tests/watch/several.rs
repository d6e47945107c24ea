//! Several sources: each on its own, axes named by monitor, a dead one stalls no other.

use super::reconnected::Running;
use super::*;

#[test]
fn sources_are_watched_beside_each_other() {
    let dead = hostile::peers::serve(|victim| victim.stay());
    let flood = hostile::peers::serve(|victim| victim.flood(|_, _| vec![0xFF; 512]));
    let file = std::env::temp_dir().join(format!("stillpoint-{}-sources.csv", std::process::id()));
    let (a, b) = (serve(20.0), serve(20.0));
    let listed = format!(
        "source,device,axis,name,unit,counts_per_unit\n{dead},cell 0,0,x,mm,1000\n{a},cell 1,0,tray,mm,1000\n\
        {flood},cell 9,0,x,mm,1000\n{b},cell 2,0,tray,mm,500\n{b},cell 2,1,dibble,um,1\n"
    );
    std::fs::write(&file, listed).expect("a file is written");
    let watch = Running::new(&["watch", "--sources", &file.display().to_string()]);
    let mut wanted = vec![
        ("cell 1/tray", "mm"),
        ("cell 2/tray", "mm"),
        ("cell 2/dibble", "um"),
        ("cell 1/axis 2", "count"),
    ];
    while !wanted.is_empty() {
        let line: serde_json::Value = serde_json::from_str(&watch.line()).expect("JSON");
        wanted.retain(|(axis, unit)| line["axis"] != *axis || line["unit"] != *unit);
    }
    watch.note("cell 1: ");
    assert_eq!(watch.interrupt().0, Some(0));
    std::fs::remove_file(&file).ok();
}

#[test]
fn sources_among_the_arguments_are_named_by_their_places() {
    let (a, b) = (serve(20.0), serve(20.0));
    let watched = stillpoint(&["watch", &a, &b, "--once", "--axes", "tray"]);
    let lines = text(&watched.stdout);
    assert_eq!(watched.status.code(), Some(1));
    for place in [&a, &b] {
        assert!(lines.contains(&format!("\"axis\":\"{place}/tray\"")), "{place}");
    }
    for (arguments, words) in [
        (&["watch"][..], "SOURCE"),
        (&["watch", &a, &a], "is named twice"),
        (&["watch", &a, "nowhere"], "nowhere: is not a source"),
        (&["watch", &a, "--sources", "cells.csv"], "--sources"),
    ] {
        let refused = stillpoint(arguments);
        assert_eq!(refused.status.code(), Some(2), "{arguments:?}");
        assert!(text(&refused.stderr).contains(words), "{arguments:?}: {}", text(&refused.stderr));
    }
}

/// A monitor with this number that runs for twenty seconds of its own time.
fn serve_number(number: u8) -> String {
    let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
    let place = format!("tcp:{}", listener.local_addr().expect("an address"));
    std::thread::spawn(move || {
        let (mut stream, _) = listener.accept().expect("a client");
        let axes = stillpoint::source::rehearsal::transplanter::axes();
        let machine = Monitor::with_device_number([number; 12], axes, number.into(), 4000, None);
        let (mut monitor, _) = machine.expect("a machine");
        // Identify, which a zero precedes.
        _ = stream.read(&mut [0; 256]);
        let mut bytes = vec![];
        (0..80_000).for_each(|_| _ = monitor.step(&mut bytes));
        monitor.finish(&mut bytes);
        stream.write_all(&bytes).expect("it is heard");
    });
    place
}

#[test]
fn one_store_holds_the_moves_of_all_sources() {
    let store = std::env::temp_dir().join(format!("stillpoint-{}-several.store", std::process::id()));
    let name = store.display().to_string();
    let places = [21, 22, 23].map(serve_number);
    let [a, b, c] = places.each_ref().map(String::as_str);
    let watched = stillpoint(&["watch", a, b, c, "--once", "--store", &name, "--axes", "x,y,z"]);
    assert_eq!(watched.status.code(), Some(1), "all lines end");
    let count = |lines: &str, axis: &str| lines.lines().filter(|line| line.contains(axis)).count();
    let printed = text(&watched.stdout);
    let stored = text(&stillpoint(&["moves", "--store", &name, "--format", "jsonl"]).stdout);
    for place in &places {
        for axis in ["x", "y", "z"] {
            let axis = format!("\"axis\":\"{place}/{axis}\"");
            assert!(count(&printed, &axis) > 10, "{axis}");
            assert_eq!(count(&printed, &axis), count(&stored, &axis), "{axis}");
        }
    }
    let checked = text(&stillpoint(&["store", "check", "--store", &name]).stdout);
    assert!(checked.contains("file: ok"), "{checked}");
    for ending in ["", "-wal", "-shm"] {
        std::fs::remove_file(format!("{name}{ending}")).ok();
    }
}
