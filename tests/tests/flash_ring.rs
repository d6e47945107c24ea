//! The flash log around its ring: wear, the size of a shift, reading from anywhere, damage, and refusals.

use std::ops::Range;

use embedded_storage::nor_flash::{NorFlash, ReadNorFlash};
use stillpoint_firmware::log::{Error, FRAME_MAX, Log};
use stillpoint_tests::flash::model::{Model, oldest, read_all};
use stillpoint_tests::flash::{Flash, Random};
use stillpoint_tests::rounds::{rounds, seed};

/// Moves of a shift: 8 h, 4 axes, 2 moves per second each.
const SHIFT: u64 = 8 * 3600 * 4 * 2;

/// An encoded move frame as assumed for the shift. Unit: bytes
const FRAME: usize = 62;

/// The monitor's flash: 16 MiB in pages of 4 KiB, written byte by byte.
type Big = Flash<1, 4096>;

fn open<F: NorFlash>(flash: &mut F) -> Log {
    let range = 0..flash.capacity() as u32;
    Log::open(flash, range).unwrap().0
}

/// A frame that ends with its number.
fn frame(number: u64, length: usize) -> Vec<u8> {
    Random(number).bytes(length.max(8) - 8).into_iter().chain(number.to_le_bytes()).collect()
}

#[test]
fn a_whole_shift_fits_and_is_read_from_anywhere() {
    let mut flash = Big::new(4096, 1);
    let mut log = open(&mut flash);
    (0..SHIFT).for_each(|number| log.append(&mut flash, number, &frame(number, FRAME)).unwrap());
    let pages = flash.erases.iter().filter(|erases| **erases > 0).count();
    assert!(flash.erases.iter().all(|erases| *erases <= 1), "the ring must not have turned");
    assert_eq!(pages, 3973, "58 frames a page, as the module documentation says");

    flash.reads = 0;
    let mut log = open(&mut flash);
    let opening = flash.reads;
    assert!(opening <= 4096 + 16, "opening reads each header and one page, not {opening} times");
    assert_eq!((oldest(&mut log, &mut flash), log.newest()), (Some(0), Some(SHIFT - 1)));

    let (mut random, mut buffer, mut most) = (Random(5), [0; FRAME_MAX], 0);
    for number in (0..1000).map(|_| random.below(SHIFT)).chain([0, 1, 57, 58, 59, SHIFT - 1]) {
        flash.reads = 0;
        let mut cursor = log.since(&mut flash, number).unwrap();
        for wanted in (number..SHIFT).take(3) {
            let entry = log.read(&mut flash, &mut cursor, &mut buffer).unwrap().unwrap();
            assert_eq!((entry.number, entry.frame), (wanted, &frame(wanted, FRAME)[..]));
        }
        most = most.max(flash.reads);
    }
    assert!(most <= 26, "12 headers and a page or two, not {most} reads");
    let mut cursor = log.since(&mut flash, 0).unwrap();
    for number in 0..SHIFT {
        let entry = log.read(&mut flash, &mut cursor, &mut buffer).unwrap().unwrap();
        assert!(entry.number == number && entry.frame == frame(number, FRAME), "entry {number}");
    }
    assert_eq!(log.read(&mut flash, &mut cursor, &mut buffer).unwrap(), None);
    println!(
        "{SHIFT} frames of {FRAME} bytes fill {pages} of 4096 pages; open {opening} reads, since {most} at most"
    );
}

#[test]
fn every_page_is_erased_once_a_turn_and_dropped_as_a_whole() {
    let mut flash = Flash::<1, 512>::new(7, 2);
    let (mut log, mut model, mut random) = (open(&mut flash), Model::default(), Random(2));
    for number in 0..20_000 {
        let bytes = frame(number, random.below(120) as usize);
        assert!(model.append(&mut flash, &mut log, number, bytes));
        let (most, least) = (flash.erases.iter().max().unwrap(), flash.erases.iter().min().unwrap());
        assert!(most - least <= 1, "erases {:?}", flash.erases);
        if number % 97 == 0 {
            log = open(&mut flash);
            model.check(&mut flash, &mut log);
        }
    }
    assert!(*flash.erases.iter().min().unwrap() > 200, "many turns; erases {:?}", flash.erases);
    assert_eq!(flash.breaches, 0);
    println!("erases after 20,000 entries: {:?}", flash.erases);
}

#[test]
fn a_cursor_follows_the_end_and_survives_being_overtaken() {
    let mut flash = Flash::<1, 512>::new(4, 3);
    let (mut log, mut buffer) = (open(&mut flash), [0; FRAME_MAX]);
    let mut follower = log.since(&mut flash, 0).unwrap();
    let mut sleeper = follower;
    for number in 0..200 {
        assert_eq!(log.read(&mut flash, &mut follower, &mut buffer).unwrap(), None);
        log.append(&mut flash, number, &frame(number, 60)).unwrap();
        let entry = log.read(&mut flash, &mut follower, &mut buffer).unwrap().unwrap();
        assert_eq!((entry.number, entry.frame), (number, &frame(number, 60)[..]));
        let moved = (number % 50 == 0).then(|| log.read(&mut flash, &mut sleeper, &mut buffer).unwrap());
        let first = oldest(&mut log, &mut flash);
        if let Some(entry) = moved {
            assert_eq!(entry.map(|entry| entry.number), first, "after {number}");
        }
    }
    let small = log.read(&mut flash, &mut sleeper, &mut [0; 59]).unwrap_err();
    assert_eq!(small, Error::Buffer(60));
    assert_eq!(log.read(&mut flash, &mut sleeper, &mut buffer).unwrap().unwrap().frame.len(), 60);
    assert_eq!((follower.damaged(), sleeper.damaged()), (0, 0));
}

/// Flips about half of a run of bits of a page, or the one. Gives the first one's place in the page.
fn flip_some(flash: &mut Flash<1, 512>, page: usize, bits: u64, random: &mut Random) -> u64 {
    let first = random.below(512 * 8 - bits + 1);
    for k in 0..bits {
        if bits == 1 || random.below(2) == 0 {
            flash.flip(page * 4096 + (first + k) as usize);
        }
    }
    first
}

#[test]
fn damage_costs_what_it_hits_and_invents_nothing() {
    let mut met = 0;
    let cases = rounds(400);
    for seed in (0..cases).map(seed) {
        let (mut flash, mut random) = (Flash::<1, 512>::new(6, seed), Random(seed));
        let mut log = open(&mut flash);
        let mut pages = vec![];
        for number in 0..90 {
            log.append(&mut flash, number, &frame(number, 20 + (number % 50) as usize)).unwrap();
            pages.push(flash.written);
        }
        let before = read_all(&mut flash, &mut log, 0);
        let hit = random.below(6) as usize;
        let bits = [1, 2, 40, 4096][seed as usize % 4];
        let first = flip_some(&mut flash, hit, bits, &mut random);
        let (mut log, opened) = Log::open(&mut flash, 0..3072).unwrap();
        let after = read_all(&mut flash, &mut log, 0);
        assert!(after.iter().all(|entry| before.contains(entry)), "seed {seed}: invented");
        let lost: Vec<_> = before.iter().filter(|entry| !after.contains(entry)).collect();
        assert!(lost.iter().all(|(number, _)| pages[*number as usize] == hit), "seed {seed}: others lost");
        let header = first < 32 * 8;
        if bits == 1 {
            assert!(header || lost.len() <= 1, "seed {seed}: one bit costs one entry");
            assert_eq!(
                header,
                opened.unfinished || opened.damaged > 0 && hit != pages[89],
                "seed {seed}: {opened:?}"
            );
        }
        let mut cursor = log.since(&mut flash, 0).unwrap();
        while log.read(&mut flash, &mut cursor, &mut [0; FRAME_MAX]).unwrap().is_some() {}
        met += u64::from(!lost.is_empty());
        let newest_page = hit == pages[89] && header;
        assert!(lost.is_empty() || newest_page || cursor.damaged() > 0, "seed {seed}: damage not counted");
    }
    assert!(met > cases / 2, "only {met} of {cases} cases lost anything");
}

#[test]
fn a_copy_of_an_entry_inside_a_frame_is_no_entry() {
    let mut flash = Flash::<1, 512>::new(4, 6);
    let mut log = open(&mut flash);
    (0..20).for_each(|number| log.append(&mut flash, number, &frame(number, 32)).unwrap());
    // The sixth entry of the first page, header and CRC and all, as the frame of a later page's second.
    let mut copy = [0; 40];
    flash.read(32 + 5 * 40, &mut copy).unwrap();
    assert_eq!(copy[4..36], frame(5, 32), "the layout of the module documentation");
    log.append(&mut flash, 20, &copy).unwrap();
    let before = read_all(&mut flash, &mut log, 0);
    let at = (0..flash.capacity()).rfind(|at| holds(&mut flash, *at, &copy)).unwrap();
    assert!(at > 512, "the copy lies on a later page");
    flash.flip((at - 4) * 8 + 1);
    let mut log = open(&mut flash);
    assert_eq!(read_all(&mut flash, &mut log, 0), before[..20]);
    assert_eq!(log.newest(), Some(19));
}

fn holds(flash: &mut Flash<1, 512>, at: usize, wanted: &[u8]) -> bool {
    let mut bytes = vec![0; wanted.len()];
    flash.read(at as u32, &mut bytes).is_ok() && bytes == wanted
}

#[test]
fn worn_pages_are_skipped_and_worn_flash_is_reported() {
    let mut flash = Flash::<1, 512>::new(8, 4);
    flash.weaken(3);
    flash.weaken(4);
    let (mut log, mut model) = (open(&mut flash), Model::default());
    for number in 0..300 {
        assert!(model.append(&mut flash, &mut log, number, frame(number, 62)), "entry {number}");
    }
    model.check(&mut flash, &mut log);
    let wearing = flash.written;
    flash.weaken(wearing);
    assert!(model.append(&mut flash, &mut log, 300, frame(300, 62)));
    assert_ne!(flash.written, wearing, "what does not read back goes to the next page");
    model.check(&mut flash, &mut log);
    let mut log = open(&mut flash);
    model.check(&mut flash, &mut log);
    (0..8).for_each(|page| flash.weaken(page));
    let worn = (301..400).map_while(|number| log.append(&mut flash, number, &frame(number, 62)).err()).next();
    assert_eq!(worn, Some(Error::Worn));
}

#[test]
fn refusals_name_the_error() {
    let open_at = |range: Range<u32>| Log::open(&mut Flash::<4, 512>::new(4, 0), range).err();
    for range in [0..512, 0..0, 4..1540, 0..2047, 512..4096, Range { start: 1024, end: 512 }] {
        assert_eq!(open_at(range.clone()), Some(Error::Geometry), "{range:?}");
    }
    assert_eq!(open_at(512..2048), None);
    let odd = Log::open(&mut Flash::<3, 510>::new(4, 0), 0..2040);
    assert_eq!(odd.err(), Some(Error::Geometry));

    assert!(size_of::<Log>() <= 848, "bytes of RAM: {}", size_of::<Log>());
    let mut flash = Flash::<1, 4096>::new(2, 0);
    let mut log = open(&mut flash);
    assert_eq!(oldest(&mut log, &mut flash), None);
    assert_eq!(log.append(&mut flash, 7, &[0; FRAME_MAX + 1]), Err(Error::TooLong(FRAME_MAX)));
    assert_eq!(log.append(&mut flash, 7, &[0; FRAME_MAX]), Ok(()));
    assert_eq!(log.append(&mut flash, 7, &[]), Err(Error::NotAfter(7)));
    assert_eq!(log.append(&mut flash, u64::MAX, &[]), Ok(()));
    assert_eq!(read_all(&mut flash, &mut log, 8), [(u64::MAX, vec![])]);

    let mut small = Flash::<1, 512>::new(2, 0);
    let mut log = open(&mut small);
    assert_eq!(log.append(&mut small, 0, &[1; 473]), Err(Error::TooLong(472)));
    assert_eq!(log.append(&mut small, 0, &[1; 472]), Ok(()));
}
