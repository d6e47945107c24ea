//! Every command, in every form of its output, with hostile texts in every place.

use std::path::Path;

use serde_json::Value;

use crate::clean::{self, cells, done, run, run_in};
use crate::made::{Folder, HOSTILE, frames, hostile_recording, served, tampered_frames};

/// Whether some text of a JSON line is this one, as it came in.
fn has(lines: &str, wanted: &str) -> bool {
    fn of(value: &Value, wanted: &str) -> bool {
        match value {
            Value::String(text) => text == wanted,
            Value::Array(values) => values.iter().any(|value| of(value, wanted)),
            Value::Object(values) => values.values().any(|value| of(value, wanted)),
            _ => false,
        }
    }
    lines.lines().any(|line| of(&serde_json::from_str(line).expect("JSON"), wanted))
}

#[test]
fn recordings() {
    let folder = Folder::new("recordings");
    let names = ["=before<hostile>\x1b[2J\u{202E}\n\u{9B}.csv", "+after<hostile>\u{2028}\t\u{E0041}.csv"];
    let [before, after] = [(names[0], 0.01), (names[1], 0.02)]
        .map(|(name, constant)| hostile_recording(&folder, name, constant));
    let both = [before.as_str(), after.as_str()];
    let measure = ["measure", &before, "--window", "0.01"];
    for more in
        [&[][..], &["--limit-ms", "60"], &["--command", HOSTILE], &["--time", "9"], &["--unit", HOSTILE]]
    {
        run(&[&measure[..], more].concat());
    }
    assert!(has(&done(&[&measure[..], &["--format", "jsonl"]].concat()), &before));
    cells(&done(&[&measure[..], &["--format", "csv"]].concat()), "measure");
    // Given from within its folder, a name can be a formula.
    let measure_here = ["measure", names[0], names[1], "--window", "0.01", "--format", "csv"];
    assert_eq!(cells(&run_in(folder.as_ref(), &measure_here).0, "measure"), 24, "file and axis of 12 moves");
    for command in [
        &[&["compare"][..], &both, &["--window", "0.01", "--note", HOSTILE]].concat()[..],
        &["window", &before],
        &["explain", &before, "--window", "0.01"],
        &["identify", &before, "--effort", "2"],
    ] {
        run(command);
        run(&[command, &["--format", "json"]].concat());
    }
    for ending in ["svg", "png", "html"] {
        let plot = folder.path(&format!("plot.{ending}"));
        for command in [
            &[&measure[..], &["--plot", &plot]].concat()[..],
            &[&["compare"][..], &both, &["--window", "0.01", "--plot", &plot]].concat(),
        ] {
            done(command);
            clean::file(Path::new(&plot));
        }
        done(&["window", &before, "--plot", &plot]);
    }
    for ending in ["html", "pdf"] {
        let page = folder.path(&format!("page.{ending}"));
        for command in [
            &[&measure[..], &["--limit-ms", "60", "--report", &page]].concat()[..],
            &[&["compare"][..], &both, &["--window", "0.01", "--note", HOSTILE, "--report", &page]].concat(),
            &["window", &before, "--report", &page],
        ] {
            done(command);
            clean::file(Path::new(&page));
        }
    }
}

#[test]
fn a_store() {
    let folder = Folder::new("store");
    let store = folder.path("\x1b[2J\u{202E}\n<hostile>.store");
    let axis = |number: u32| format!("{}{number}", HOSTILE.replace(',', ""));
    let axes = [0, 1, 2].map(axis).join(",");
    let named = ["--store", &store, "--axes", &axes, "--unit", HOSTILE];
    for (frames, forms) in
        [(frames(&folder, 40.0), ["jsonl", "csv"]), (tampered_frames(&folder), ["jsonl", "table"])]
    {
        for form in forms {
            done(&[&["watch", &format!("file:{frames}"), "--format", form], &named[..]].concat());
        }
    }
    let who = ["--store", &store, "--who", HOSTILE];
    done(&[&["note", HOSTILE, "--axis", &axis(1)], &who[..]].concat());
    done(&[&["store", "note", HOSTILE, "--what", HOSTILE], &who[..]].concat());
    done(&[&["store", "shift", HOSTILE], &who[..]].concat());
    done(&["note", "--store", &store, "--list"]);
    let forms = |command: &str| match command {
        "shift" | "explain" => &["table", "json"][..],
        _ => &["table", "jsonl", "csv"],
    };
    for command in ["moves", "alarms", "trend", "shift", "explain"] {
        for form in forms(command) {
            let text = done(&[command, "--store", &store, "--format", form]);
            match *form {
                "csv" => assert!(cells(&text, command) > 0 || command == "trend", "{command}: {text}"),
                "table" => (),
                _ => assert!(has(&text, &axis(1)) || command == "trend", "{command}: {text}"),
            }
        }
        run(&[command, "--store", &store, "--axis", &format!("{HOSTILE}?")]);
        run(&[command, "--store", &store, "--shift", HOSTILE]);
        run(&[command, "--store", &store, "--shift", &format!("{HOSTILE}?")]);
        run(&[command, "--store", &store, "--since", HOSTILE]);
    }
    for ending in ["svg", "png", "html"] {
        let plot = folder.path(&format!("plot.{ending}"));
        done(&["moves", "--store", &store, "--plot", &plot]);
        clean::file(Path::new(&plot));
    }
    for ending in ["html", "pdf"] {
        let page = folder.path(&format!("page.{ending}"));
        done(&["shift", "--store", &store, "--report", &page]);
        clean::file(Path::new(&page));
    }
    for more in [&[][..], &["--summaries"]] {
        let table = folder.path("week.csv");
        done(&[&["store", "export", "--store", &store, &table], more].concat());
        clean::file(Path::new(&table));
    }
    looked_after(&folder, &store);
}

/// The journal, as this program and as any other reads it; and the work on a store.
fn looked_after(folder: &Folder, store: &str) {
    assert!(done(&["store", "journal", "--store", store]).contains("&'"));
    let who = ["--store", store, "--who", HOSTILE];
    done(&["store", "check", "--store", store]);
    let (new, number) = (folder.path("\x1b[2Jnew.store"), "1");
    for work in [&["rebuild"][..], &["retain", "--days", "9"], &["rescue", &new]] {
        run(&[&["store"], work, &who[..]].concat());
    }
    run(&[&["note", "--withdraw", number], &who[..]].concat());
    run(&["compare", "--store", store, "--by-note", "--axis", "1"]);
    let open = rusqlite::Connection::open(store).expect("a store");
    let mut lines = open.prepare("SELECT who || what || text FROM journal").expect("a journal");
    let texts: Vec<String> =
        lines.query_map([], |row| row.get(0)).expect("lines").collect::<Result<_, _>>().expect("texts");
    assert!(texts.len() > 4);
    texts.iter().for_each(|text| clean::text(text, "the journal"));
}

#[test]
fn a_monitor() {
    let folder = Folder::new("monitor");
    let (place, store) = (served(), folder.path("monitor.store"));
    drop(stillpoint::store::Store::create(Path::new(&store), &Default::default()).expect("a store"));
    assert!(done(&["device", &place, "identify"]).contains("board =1<hostile>\u{FFFD}[2J"));
    let long = format!("settings 1 {HOSTILE}=1");
    for request in
        ["settings 1", "settings 1 window=60", "set-clock", "job 7", "acknowledge 9", "declare 1", &long]
    {
        let words: Vec<&str> = request.split(' ').collect();
        run(&[&["device", &place], &words[..], &["--store", &store, "--who", HOSTILE]].concat());
    }
    run(&["watch", HOSTILE]);
    run(&["watch", &format!("serial:{HOSTILE}")]);
    run(&["watch", &format!("file:{HOSTILE}")]);
    run(&["device", HOSTILE, "identify"]);
    run(&["device", &format!("tcp:{HOSTILE}"), "identify"]);
}

#[test]
fn wrong_arguments() {
    let folder = Folder::new("arguments");
    let changes = folder.write("changes.csv", format!("minute,axis,lever,value\n0,{HOSTILE},{HOSTILE},1\n"));
    for arguments in [
        &[HOSTILE][..],
        &["measure", HOSTILE],
        &["measure", "x.csv", "--window", HOSTILE],
        &["measure", "x.csv", "--window", "1", &format!("--{HOSTILE}")],
        &["rehearse", "--hours", HOSTILE],
        &["rehearse", "--wear", HOSTILE],
        &["rehearse", "--hours", "0.001", "--tune", &changes],
        &["store", "check", "--store", HOSTILE],
        &["store", HOSTILE],
        &["store", "export", "--store", HOSTILE, HOSTILE],
        &["moves", "--store", HOSTILE, "--plot", HOSTILE],
        &["shift", "--store", HOSTILE, "--report", HOSTILE],
        &["trend", "--store", HOSTILE, "--interval", HOSTILE],
    ] {
        let (stdout, status) = run(arguments);
        assert!(status != 0 && stdout.is_empty(), "{arguments:?}: {status} {stdout}");
    }
}
