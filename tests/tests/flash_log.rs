//! The flash log against a plain list: power cuts, wear, damage, and the size of a shift.

use std::ops::Range;

use stillpoint_firmware::log::Log;
use stillpoint_tests::flash::model::Model;
use stillpoint_tests::flash::{Flash, Random};
use stillpoint_tests::rounds::{rounds, seed};

/// Pages of the small flash the cuts are swept over.
const PAGES: usize = 5;

fn all<const UNIT: usize, const PAGE: usize>(flash: &Flash<UNIT, PAGE>) -> Range<u32> {
    0..(flash.erases.len() * PAGE) as u32
}

fn opened<const UNIT: usize, const PAGE: usize>(flash: &mut Flash<UNIT, PAGE>) -> Log {
    let range = all(flash);
    Log::open(flash, range).unwrap().0
}

/// What a sweep met, so that a sweep that meets nothing fails.
#[derive(Debug, Default)]
struct Met {
    cuts: u64,
    torn: u64,
    unfinished: u64,
    completed: u64,
    double: u64,
}

/// One append of the sweep, and everything needed to try it again with a cut.
struct Attempt<'a, const UNIT: usize, const PAGE: usize> {
    flash: &'a Flash<UNIT, PAGE>,
    model: &'a Model,
    number: u64,
    frame: &'a [u8],
}

impl<const UNIT: usize, const PAGE: usize> Attempt<'_, UNIT, PAGE> {
    /// Cuts power in the append after `steps`, then in the appends after it, then lets some pass.
    fn cut(&self, steps: u64, random: &mut Random, met: &mut Met) {
        let (mut flash, mut model) = (self.flash.clone(), self.model.clone());
        let mut log = opened(&mut flash);
        flash.cut_after(steps);
        let sealed = model.append(&mut flash, &mut log, self.number, self.frame.to_vec());
        assert!(!sealed, "power was lost before the log could know");
        met.cuts += 1;
        let mut log = recover(&mut flash, &mut model, met);
        met.completed += u64::from(log.newest() == Some(self.number));

        flash.cut_after(random.below(120));
        let next = |random: &mut Random, model: &Model| {
            let length = random.below(100) as usize;
            (model.newest().map_or(0, |newest| newest + 1 + random.below(3)), random.bytes(length))
        };
        let (number, frame) = next(random, &model);
        if !model.append(&mut flash, &mut log, number, frame) {
            met.double += 1;
            log = recover(&mut flash, &mut model, met);
        }
        flash.restore();
        for _ in 0..3 {
            let (number, frame) = next(random, &model);
            assert!(model.append(&mut flash, &mut log, number, frame), "the log works on after a cut");
        }
        model.check(&mut flash, &mut log);
        assert_eq!(flash.breaches, 0, "no unit is written twice, no half-erased page is written");
    }
}

/// Switches on again and compares with the model.
fn recover<const UNIT: usize, const PAGE: usize>(
    flash: &mut Flash<UNIT, PAGE>,
    model: &mut Model,
    met: &mut Met,
) -> Log {
    assert!(flash.restore(), "an append fails only if power was lost");
    let range = all(flash);
    let (mut log, opened) = Log::open(flash, range).unwrap();
    assert_eq!(opened.damaged, 0, "a cut damages nothing but what was being written");
    met.torn += u64::from(opened.torn);
    met.unfinished += u64::from(opened.unfinished);
    model.check(flash, &mut log);
    log
}

/// Appends until `cuts` are made, cutting every append at each of its steps.
fn sweep<const UNIT: usize, const PAGE: usize>(cuts: u64, seed: u64) -> Met {
    let mut random = Random(seed);
    let mut flash = Flash::<UNIT, PAGE>::new(PAGES, seed);
    let mut model = Model::default();
    let (mut log, mut met, mut number) = (opened(&mut flash), Met::default(), 0);
    while met.cuts < cuts {
        let length = random.below(100) as usize;
        let frame = random.bytes(length);
        let before = (flash.clone(), model.clone());
        assert!(model.append(&mut flash, &mut log, number, frame.clone()));
        let attempt = Attempt { flash: &before.0, model: &before.1, number, frame: &frame };
        for steps in 0..=flash.steps - before.0.steps {
            attempt.cut(steps, &mut random, &mut met);
        }
        model.check(&mut flash, &mut log);
        // Now and then a gap too wide for the two bytes an entry has for it.
        number += if random.below(16) == 0 { 70_000 } else { 1 + random.below(3) };
    }
    let turns = flash.erases.iter().min().unwrap();
    assert!(*turns >= 2, "the sweep must go around the ring; erases {:?}", flash.erases);
    assert!(met.torn > 0 && met.unfinished > 0 && met.completed > 0 && met.double > 0, "{met:?}");
    println!("cuts at every byte, writes of {UNIT}, pages of {PAGE}: {met:?}, erases {:?}", flash.erases);
    met
}

#[test]
fn a_cut_after_any_byte_loses_nothing_sealed_and_invents_nothing() {
    let wanted = rounds(10_000);
    assert!(sweep::<1, 512>(wanted, seed(1)).cuts >= wanted);
}

#[test]
fn other_write_granularities_stand_cuts_too() {
    let wanted = rounds(6_000);
    for cuts in [sweep::<4, 512>(wanted, seed(2)).cuts, sweep::<64, 512>(wanted, seed(3)).cuts] {
        assert!(cuts >= wanted);
    }
}
