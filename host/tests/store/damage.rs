//! Stores damaged in many ways: what is rescued against what is left of them, and whether `check` sees each change.
//!
//! What is left is found without the code that rescues: the bodies of the frames are searched for in the bytes of the
//! undamaged file, page by page.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;

use rusqlite::Connection;
use stillpoint::store::kind::ALL;
use stillpoint::store::rescue::{Rescued, rescue};
use stillpoint::store::retain::Retention;
use stillpoint::store::summary::SPANS;

use super::*;

/// Unit: bytes
const PAGE: usize = 4096;
/// Unit: µs
const DAY: i64 = 86_400_000_000;

/// Numbers that look random, and are the same in every run.
struct Chance(u64);

impl Chance {
    fn below(&mut self, end: usize) -> usize {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) as usize % end
    }
}

/// What a store prints, as text.
#[derive(PartialEq)]
struct Answers(Vec<String>);

impl Answers {
    /// None if it prints nothing but an error.
    fn of(place: &Scratch) -> Option<Answers> {
        let store = Store::open(&place.0, &Options::default()).ok()?;
        let mut lines = vec![];
        store
            .moves(&MoveQuery::default(), &mut |line| {
                lines.push(format!("{line:?}"));
                Ok(())
            })
            .ok()?;
        let all = (i64::MIN, i64::MAX);
        for known in store.axes().ok()? {
            for span in SPANS {
                let summaries = store.summaries(&known, (span, ALL), all).ok()?;
                lines.extend(summaries.iter().map(|summary| format!("{summary:?}")));
            }
            let kinds = store.kinds(&known, 300, all).ok()?;
            lines.extend(kinds.iter().map(|kind| format!("{kind:?}")));
            lines.extend(store.changes_of(&known).ok()?.iter().map(|note| format!("{note:?}")));
        }
        lines.extend(store.journal(i64::MIN, i64::MAX).ok()?.iter().map(|entry| format!("{entry:?}")));
        lines.push(format!("{:?}", store.shift("early").ok()?));
        // An axis without a name names the file.
        lines.iter_mut().for_each(|line| *line = line.replace(&place.text(), "FILE"));
        Some(Answers(lines))
    }
}

/// A frame: monitor, start, priority, number.
type Key = (i64, i64, i64, i64);

/// An undamaged store in one file.
struct Whole {
    bytes: Vec<u8>,
    answers: Answers,
    frames: BTreeMap<Key, Vec<u8>>,
    /// For each move, the pages that hold a row with its frame.
    moves: BTreeMap<Key, BTreeSet<usize>>,
}

impl Whole {
    /// Two days of two monitors, of which retention has let the first go; names, a note, a shift.
    fn new(name: &str) -> Whole {
        let place = Scratch::new(name);
        for (day, number) in [(0, 1), (3, 1), (3, 2)] {
            let axes = ["tray_shuttle", "dibble"].into_iter().zip(0..).map(|(name, axis)| {
                stillpoint::store::devices::Axis {
                    axis,
                    name: name.to_owned(),
                    unit: "mm".to_owned(),
                    counts_per_unit: 1000.0 + f64::from(axis) / 3.0,
                    window: Some(0.05),
                    source: "made up".to_owned(),
                }
            });
            let mut log = Log::open(&place.0, &Options::default(), Some([number; 12]), axes.collect())
                .expect("a store");
            push(&mut log, &Line::new(80 + day as u64 + u64::from(number)).run(90), BEGIN + day * DAY);
            let (store, _) = log.finish().expect("room");
            store.add_note("M. Ito", "note", "belt tightened").expect("a line");
        }
        let mut store = place.store();
        store.retain(Retention::Days(1), BEGIN + 3 * DAY).expect("room");
        store.name_shift("early", BEGIN, BEGIN + 4 * DAY).expect("room");
        let known = store.axes().expect("axes").remove(1);
        store.add_change(("M. Ito", "gain 40 -> 60"), BEGIN + 3 * DAY, Some(&known)).expect("room");
        assert!(store.check().expect("readable").is_sound());
        drop(store);
        let answers = Answers::of(&place).expect("answers");
        Connection::open(&place.0)
            .expect("a file")
            .pragma_update(None, "journal_mode", "DELETE")
            .expect("one file");
        Whole::read(&place, answers)
    }

    fn read(place: &Scratch, answers: Answers) -> Whole {
        let bytes = fs::read(&place.0).expect("a file");
        let frames = frames(&place.0);
        let free: i64 = Connection::open(&place.0)
            .expect("a file")
            .pragma_query_value(None, "freelist_count", |row| row.get(0))
            .expect("a count");
        assert_eq!(free, 0, "a free page may hold a row that was deleted");
        let mut moves: BTreeMap<Key, BTreeSet<usize>> = BTreeMap::new();
        let pages: Vec<&[u8]> = bytes.chunks(PAGE).collect();
        for key in keys_of_moves(&place.0) {
            let body = frames.get(&key).expect("its frame");
            let holding = pages.iter().enumerate().filter(|(_, page)| holds(page, body));
            // Both monitors send alike bodies; the pages of one do not hold the rows of the other.
            moves.insert(key, holding.map(|(page, _)| page).collect());
        }
        assert!(moves.len() > 60 && moves.values().all(|pages| pages.len() >= 2), "{}", moves.len());
        Whole { bytes, answers, frames, moves }
    }

    /// The moves of which an intact page holds a row.
    fn left(&self, damaged: &BTreeSet<usize>) -> BTreeSet<Key> {
        let left = self.moves.iter().filter(|(_, pages)| pages.iter().any(|page| !damaged.contains(page)));
        left.map(|(key, _)| *key).collect()
    }
}

/// Whether a cell of a page has a body; copies between the cells are of rows that have moved.
fn holds(page: &[u8], body: &[u8]) -> bool {
    let short = |place: usize| usize::from(page[place]) << 8 | usize::from(page[place + 1]);
    let places = match page[0] {
        2 => 12,
        10 => 8,
        _ => return false,
    };
    let cells: Vec<usize> = (0..short(3)).map(|cell| short(places + 2 * cell)).collect();
    let found = (0..=page.len().saturating_sub(body.len())).filter(|at| page[*at..].starts_with(body));
    // Before the body are the numbers of its row.
    found.into_iter().any(|at| cells.iter().any(|cell| (*cell..*cell + 100).contains(&at)))
}

fn frames(path: &Path) -> BTreeMap<Key, Vec<u8>> {
    let store = Connection::open(path).expect("a file");
    let mut statement =
        store.prepare("SELECT device, boot, priority, sequence, body FROM frames").expect("a table");
    let rows = statement
        .query_map([], |row| Ok(((row.get(0)?, row.get(1)?, row.get(2)?, row.get(3)?), row.get(4)?)));
    rows.expect("rows").collect::<Result<_, _>>().expect("rows")
}

fn keys_of_moves(path: &Path) -> BTreeSet<Key> {
    let store = Connection::open(path).expect("a file");
    let mut statement = store.prepare("SELECT device, boot, 1, sequence FROM moves").expect("a table");
    let rows = statement.query_map([], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?, row.get(3)?)));
    rows.expect("rows").collect::<Result<_, _>>().expect("rows")
}

/// Damages a file. Returns the pages that are no longer what they were.
fn damage(bytes: &mut Vec<u8>, kind: usize, chance: &mut Chance) -> BTreeSet<usize> {
    let pages = bytes.len() / PAGE;
    let count = 1 + chance.below(20);
    let mut damaged = BTreeSet::new();
    match kind {
        // Pages overwritten: with noise, with one byte, with another page.
        0..=2 => {
            for _ in 0..count {
                let page = chance.below(pages);
                let other = chance.below(pages) * PAGE;
                let new: Vec<u8> = match kind {
                    0 => (0..PAGE).map(|_| chance.below(256) as u8).collect(),
                    1 => vec![[0, 0xFF, 0xA5][count % 3]; PAGE],
                    _ => bytes[other..other + PAGE].to_vec(),
                };
                bytes[page * PAGE..][..PAGE].copy_from_slice(&new);
                damaged.insert(page);
            }
        }
        3 => {
            for _ in 0..count {
                let at = chance.below(bytes.len());
                bytes[at] ^= 1 << chance.below(8);
                damaged.insert(at / PAGE);
            }
        }
        _ => {
            bytes.truncate(chance.below(bytes.len()));
            damaged.extend(bytes.len() / PAGE..pages);
            // The first page is lost too, in some.
            if kind == 5 && !bytes.is_empty() {
                let first = bytes.len().min(PAGE);
                bytes[..first].fill(0);
                damaged.insert(0);
            }
        }
    }
    damaged
}

/// What came of one damaged store.
#[derive(Default)]
struct Sums {
    stores: usize,
    moves: usize,
    left: usize,
    rescued: usize,
    refused: usize,
    changed: usize,
    found: usize,
}

impl Sums {
    fn print(&self, name: &str) {
        let Sums { stores, moves, left, rescued, refused, changed, found } = self;
        println!("{name:24} {stores:6} {moves:7} {left:7} {rescued:7} {refused:7} {changed:7} {found:7}");
    }

    fn add(&mut self, whole: &Whole, place: &Scratch, damaged: &BTreeSet<usize>) {
        self.stores += 1;
        self.note_check(whole, place);
        let left = whole.left(damaged);
        self.moves += whole.moves.len();
        self.left += left.len();
        let new = Scratch::new("damage-new");
        match rescue(&place.0, &new.0, &Options::default()) {
            Ok(rescued) => self.rescued += check_rescued(whole, &new, &left, &rescued),
            Err(error) => {
                assert!(left.is_empty() && !new.0.exists(), "{error}: {} moves are left", left.len())
            }
        }
    }

    /// Asks `check`, which must not call sound what answers otherwise than before.
    fn note_check(&mut self, whole: &Whole, place: &Scratch) {
        let Ok(store) = Store::open(&place.0, &Options::default()) else {
            self.refused += 1;
            return;
        };
        let is_sound = store.check().is_ok_and(|found| found.is_sound());
        drop(store);
        let answers = Answers::of(place);
        let is_changed = answers.as_ref().is_none_or(|answers| *answers != whole.answers);
        self.changed += usize::from(is_changed);
        self.found += usize::from(!is_sound);
        let other = answers.map(|answers| answers.0.into_iter().find(|line| !whole.answers.0.contains(line)));
        assert!(!is_changed || !is_sound, "an answer changed and was not found: {other:?}");
    }
}

/// Nothing that is left may be missing, and nothing may be there that was not. Returns how many moves are there.
#[track_caller]
fn check_rescued(whole: &Whole, new: &Scratch, left: &BTreeSet<Key>, rescued: &Rescued) -> usize {
    let found = keys_of_moves(&new.0);
    let lacking: Vec<&Key> = left.difference(&found).collect();
    assert!(lacking.is_empty(), "{} of {} are lost: {lacking:?}; {rescued}", lacking.len(), left.len());
    for (key, body) in frames(&new.0) {
        assert_eq!(whole.frames.get(&key), Some(&body), "{key:?} is invented; {rescued}");
    }
    let state = new.store().check().expect("readable");
    assert!(state.is_sound() && state.rescued.len() == 1, "{state:?}");
    let is_whole = Answers::of(new).is_some_and(|mut answers| {
        answers.0.retain(|line| !line.contains("rescued: "));
        answers == whole.answers
    });
    assert!(is_whole || !rescued.lost.is_empty(), "it does not answer as before, and nothing is called lost");
    found.len()
}

#[test]
fn two_hundred_damaged_stores_give_back_what_is_left() {
    let (whole, mut chance) = (Whole::new("damage-whole"), Chance(7));
    println!("a store of {} pages with {} moves", whole.bytes.len() / PAGE, whole.moves.len());
    println!(
        "{:24} {:>6} {:>7} {:>7} {:>7} {:>7} {:>7} {:>7}",
        "damage", "stores", "moves", "left", "rescued", "refused", "changed", "found"
    );
    let kinds = [
        "noise over pages",
        "one byte over pages",
        "other pages over pages",
        "flips",
        "cut",
        "cut, no first page",
    ];
    for (kind, name) in kinds.into_iter().enumerate() {
        let mut sums = Sums::default();
        for _ in 0..[40, 40, 40, 40, 20, 20][kind] {
            let (place, mut bytes) = (Scratch::new("damage"), whole.bytes.clone());
            let damaged = damage(&mut bytes, kind, &mut chance);
            fs::write(&place.0, &bytes).expect("room");
            sums.add(&whole, &place, &damaged);
        }
        sums.print(name);
        assert!(sums.rescued >= sums.left && sums.left > sums.moves / 10, "{name}");
    }
}

#[test]
fn a_single_flip_that_changes_an_answer_is_found() {
    let (whole, mut chance) = (Whole::new("flip-whole"), Chance(8));
    let mut sums = Sums::default();
    for _ in 0..150 {
        let (place, mut bytes) = (Scratch::new("flip"), whole.bytes.clone());
        let at = chance.below(bytes.len());
        bytes[at] ^= 1 << chance.below(8);
        fs::write(&place.0, &bytes).expect("room");
        sums.stores += 1;
        sums.note_check(&whole, &place);
    }
    let Sums { refused, changed, found, .. } = sums;
    println!("150 flips: {refused} refused, {changed} changed an answer, {found} found");
    assert!(changed > 20, "{changed}");
}
