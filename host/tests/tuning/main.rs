//! In: an afternoon at a machine, rehearsed, through the built `stillpoint`. Out: whether notes, ladders and the running
//! table do what their manuals say.

mod ladder;
mod live;
mod notes;
#[path = "../program/mod.rs"]
mod program;

use std::path::PathBuf;
use std::process::{Command, Output};
use std::sync::LazyLock;

use program::{done, stillpoint};
use serde_json::Value;

/// A folder for one test; goes when the test is over.
struct Folder(PathBuf);

impl Folder {
    fn new(test: &str) -> Folder {
        let path = std::env::temp_dir().join(format!("stillpoint-tuning-{}-{test}", std::process::id()));
        std::fs::create_dir_all(&path).expect("a folder for the test");
        Folder(path)
    }

    fn path(&self, name: &str) -> String {
        self.0.join(name).display().to_string()
    }

    /// Writes a file and returns its path.
    fn write(&self, name: &str, text: &str) -> String {
        std::fs::write(self.0.join(name), text).expect("a file for the test");
        self.path(name)
    }

    /// A copy of a rehearsed store, to write to.
    fn copy(&self, rehearsed: &Rehearsed) -> String {
        std::fs::copy(&rehearsed.store, self.0.join("copy.store")).expect("a copy");
        self.path("copy.store")
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        std::fs::remove_dir_all(&self.0).ok();
    }
}

const AXIS: &str = "dibble";

/// Three tunings of the dibble, 25 s each: 89, 46 and 6 ms.
const TUNINGS: &str = "minute,axis,lever,value\n0,dibble,friction,10\n0,dibble,integral,0\n\
    0,dibble,position gain,40\n0,dibble,velocity feedforward,80\n\
    0.4217,dibble,position gain,60\n0.84,dibble,velocity feedforward,100\n";
/// When its changes are made: after a stop that has settled, before the next move. Unit: s
const CHANGES: [f64; 2] = [25.302, 50.4];
/// Unit: s
const END: f64 = 75.6;

/// The store and the samples of [`TUNINGS`], rehearsed once for all tests.
struct Rehearsed {
    store: String,
    samples: String,
    _folder: Folder,
}

static REHEARSED: LazyLock<Rehearsed> = LazyLock::new(|| {
    let folder = Folder::new("rehearsed");
    let (file, store, samples) =
        (folder.write("tunings.csv", TUNINGS), folder.path("s.store"), folder.path("samples"));
    let hours = (END / 3600.0).to_string();
    done(&["rehearse", "--hours", &hours, "--tune", &file, "--store", &store, "--save-samples", &samples]);
    Rehearsed { store, samples, _folder: folder }
});

/// The program in a time zone.
fn in_zone(zone: &str, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_stillpoint")).args(arguments).env("TZ", zone).output().expect("it runs")
}

#[track_caller]
fn fails(arguments: &[&str], status: i32, parts: &[&str]) {
    let output = stillpoint(arguments);
    let message = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(status), "{message}");
    assert!(output.stdout.is_empty(), "no result beside an error");
    parts.iter().for_each(|part| assert!(message.contains(part), "{part:?} is not in {message:?}"));
}

fn json(text: &str) -> Value {
    serde_json::from_str(text).unwrap_or_else(|error| panic!("{error}: {text}"))
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}
