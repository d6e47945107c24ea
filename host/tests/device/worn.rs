//! A monitor with a worn flash: a change takes effect, and the answer says that it was not stored.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use super::*;

/// Cells of a flash; once worn, they read as zeros and ignore writes.
pub(crate) struct Cells {
    cells: Vec<u8>,
    scratch: Vec<u8>,
    is_worn: Arc<AtomicBool>,
}

impl Cells {
    /// A flash of this size. Unit: bytes
    pub(crate) fn new(bytes: usize, is_worn: Arc<AtomicBool>) -> Cells {
        Cells { cells: vec![0; bytes], scratch: vec![0; bytes], is_worn }
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
        // The virtual flash reads back through this function too, so written data is lost.
        self.scratch.fill(0);
        &mut self.scratch
    }
}

#[test]
fn settings_that_the_flash_did_not_store_are_reported_and_recorded() {
    let (is_worn, scratch) = (Arc::new(AtomicBool::new(false)), Scratch::new("worn"));
    let place = serve(monitor_on(is_worn.clone()));
    drop(Store::create(&scratch.0, &Options::default()).expect("a store"));
    let store = scratch.0.display().to_string();
    let set = |change: &str| {
        let words = ["device", &place, "settings", "1", change, "--store", &store, "--who", "M. Ito"];
        let output = stillpoint(&words);
        (output.status.code(), String::from_utf8(output.stdout).expect("UTF-8"))
    };
    // An earlier refusal does not count as a refusal of the change.
    check(
        &place,
        "acknowledge 7",
        1,
        "can't acknowledge alarm 7: it is normal or does not exist; alarms that are not normal: 1",
    );
    let stored = "axis 1, from the next move on: window 50 -> 60";
    assert_eq!(set("window=60"), (Some(0), format!("{stored}\n")));
    is_worn.store(true, Ordering::Relaxed);
    let lost = "axis 1, from the next move on: window 60 -> 70; but the flash did not store it, so the next start restores \
        the previous settings: set it again; if this message repeats, the flash is worn or full";
    assert_eq!(set("window=70"), (Some(1), format!("{lost}\n")));
    assert!(done(&["device", &place, "settings", "1"]).contains(" window=70 "), "it is in force");
    let journal = done(&["store", "journal", "--store", &store]);
    assert!(journal.contains(stored) && journal.contains(lost), "{journal}");
    is_worn.store(false, Ordering::Relaxed);
    assert_eq!(set("window=80").0, Some(0));
}
