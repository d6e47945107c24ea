//! A monitor whose flash no longer takes what is written: what it then does all the same is told so.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use super::*;

/// Cells of a flash; once they are worn, all read as zeros and take nothing.
pub(crate) struct Cells {
    cells: Vec<u8>,
    nowhere: Vec<u8>,
    is_worn: Arc<AtomicBool>,
}

impl Cells {
    /// So many bytes.
    pub(crate) fn new(bytes: usize, is_worn: Arc<AtomicBool>) -> Cells {
        Cells { cells: vec![0; bytes], nowhere: vec![0; bytes], is_worn }
    }
}

impl AsRef<[u8]> for Cells {
    fn as_ref(&self) -> &[u8] {
        &self.cells
    }
}

impl AsMut<[u8]> for Cells {
    fn as_mut(&mut self) -> &mut [u8] {
        if !self.is_worn.load(Ordering::Relaxed) {
            return &mut self.cells;
        }
        // The virtual flash reads by this way too: nothing of what was written comes back.
        self.nowhere.fill(0);
        &mut self.nowhere
    }
}

#[test]
fn what_the_flash_did_not_keep_is_told_and_written_down() {
    let (is_worn, scratch) = (Arc::new(AtomicBool::new(false)), Scratch::new("worn"));
    let place = serve(monitor_on(is_worn.clone()));
    drop(Store::create(&scratch.0, &Options::default()).expect("a store"));
    let store = scratch.0.display().to_string();
    let ask = |change: &str| {
        let words = ["device", &place, "settings", "1", change, "--store", &store, "--who", "M. Ito"];
        let output = stillpoint(&words);
        (output.status.code(), String::from_utf8(output.stdout).expect("UTF-8"))
    };
    // What was refused before is no sign that this is.
    check(
        &place,
        "acknowledge 7",
        1,
        "can't acknowledge alarm 7: no alarm of this number waits for it; \
        those that are not normal: 1",
    );
    let kept = "axis 1, from the next move on: window 50 -> 60";
    assert_eq!(ask("window=60"), (Some(0), format!("{kept}\n")));
    is_worn.store(true, Ordering::Relaxed);
    let lost = "axis 1, from the next move on: window 60 -> 70; but its flash did not keep it, and the next start has \
        what it had before: set it again, and if that is told again, the flash is worn or full";
    assert_eq!(ask("window=70"), (Some(1), format!("{lost}\n")));
    assert!(done(&["device", &place, "settings", "1"]).contains(" window=70 "), "it is in force");
    let journal = done(&["store", "journal", "--store", &store]);
    assert!(journal.contains(kept) && journal.contains(lost), "{journal}");
    is_worn.store(false, Ordering::Relaxed);
    assert_eq!(ask("window=80").0, Some(0));
}
