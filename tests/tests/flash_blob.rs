//! The two-page settings store: after a cut at any byte it gives the old blob or the new one.

use stillpoint_firmware::log::Error;
use stillpoint_firmware::log::blob_store::BlobStore;
use stillpoint_tests::flash::{Flash, Random};
use stillpoint_tests::rounds::{rounds, seed};

/// The store lies on the last two of three pages.
fn blob_store<const UNIT: usize>(flash: &Flash<UNIT, 1024>) -> BlobStore {
    BlobStore::new(flash, 1024..3072).unwrap()
}

fn load<const UNIT: usize>(flash: &mut Flash<UNIT, 1024>) -> Option<Vec<u8>> {
    let mut buffer = [0; 1024];
    blob_store(flash).load(flash, &mut buffer).unwrap().map(<[u8]>::to_vec)
}

/// Saves blob after blob, cutting each save at each of its steps and the next one at a random step. Returns the number of cuts.
fn sweep<const UNIT: usize>(saves: u64, seed: u64) -> u64 {
    let (mut flash, mut random) = (Flash::<UNIT, 1024>::new(3, seed), Random(seed));
    let (mut old, mut cuts, mut olds, mut news) = (None, 0, 0, 0);
    for _ in 0..saves {
        // The largest unit leaves the least room on a page.
        let length = random.below(900).min(if UNIT == 256 { 768 } else { 900 }) as usize;
        let blob = random.bytes(length);
        let mut whole = flash.clone();
        blob_store(&whole).save(&mut whole, &blob).unwrap();
        for steps in 0..=whole.steps - flash.steps {
            let mut cut = flash.clone();
            let mut now = old.clone();
            for (steps, next) in [(steps, &blob), (random.below(336), &random.bytes(300))] {
                cut.cut_after(steps);
                let saved = blob_store(&cut).save(&mut cut, next).is_ok();
                assert!(cut.restore() && !saved);
                let found = load(&mut cut);
                assert!(found == now || found.as_ref() == Some(next), "cut after {steps} steps");
                (olds, news) = (olds + u64::from(found == now), news + u64::from(found != now));
                (cuts, now) = (cuts + 1, found);
            }
            blob_store(&cut).save(&mut cut, b"after").unwrap();
            assert_eq!(load(&mut cut).as_deref(), Some(&b"after"[..]));
            assert_eq!(cut.breaches, 0);
        }
        flash = whole;
        assert_eq!(load(&mut flash).as_ref(), Some(&blob));
        old = Some(blob);
    }
    assert!(olds > 0 && news > 0, "{olds} old, {news} new");
    let [_, a, b] = flash.erases[..] else { panic!("three pages") };
    assert!(flash.erases[0] == 0 && a.abs_diff(b) <= 1, "wear {:?}", flash.erases);
    println!("writes of {UNIT}: {cuts} cuts, {olds} gave the old blob and {news} the new one");
    cuts
}

#[test]
fn a_cut_leaves_the_old_blob_or_the_new_one() {
    let cuts =
        sweep::<1>(rounds(8), seed(1)) + sweep::<8>(rounds(6), seed(2)) + sweep::<256>(rounds(3), seed(3));
    assert!(cuts > 10_000, "{cuts}");
}

#[test]
fn damage_falls_back_to_the_blob_before() {
    for bit in (1024 * 8..1024 * 8 + 60 * 8).chain(1024 * 16..1024 * 16 + 60 * 8) {
        let mut flash = Flash::<1, 1024>::new(3, 0);
        blob_store(&flash).save(&mut flash, &[1; 40]).unwrap();
        blob_store(&flash).save(&mut flash, &[2; 40]).unwrap();
        flash.flip(bit);
        let found = load(&mut flash).expect("one blob is whole");
        assert!(found == [1; 40] || found == [2; 40], "bit {bit}: {found:?}");
        let hit_older = bit < 1024 * 16;
        assert_eq!(found == [2; 40], hit_older, "bit {bit}");
        blob_store(&flash).save(&mut flash, &[3; 40]).unwrap();
        assert_eq!(load(&mut flash), Some(vec![3; 40]));
    }
}

#[test]
fn refusals_name_the_error() {
    let mut flash = Flash::<1, 1024>::new(3, 0);
    assert!(BlobStore::new(&flash, 0..3072).is_err() && BlobStore::new(&flash, 0..1024).is_err());
    let mut store = blob_store(&flash);
    assert_eq!(store.load(&mut flash, &mut []), Ok(None));
    assert_eq!(store.longest(), 1004);
    assert_eq!(store.save(&mut flash, &[0; 1005]), Err(Error::TooLong(1004)));
    assert_eq!(store.save(&mut flash, &[5; 1004]), Ok(()));
    assert_eq!(store.load(&mut flash, &mut [0; 1003]), Err(Error::Buffer(1004)));
    assert_eq!(load(&mut flash), Some(vec![5; 1004]));
    flash.weaken(1);
    flash.weaken(2);
    assert_eq!(store.save(&mut flash, &[0; 300]), Err(Error::Worn));
    assert_eq!(load(&mut flash), Some(vec![5; 1004]));
}
