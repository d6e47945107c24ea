//! In: a virtual axis with levers. Out: whether comparing its settings finds what was changed, and nothing where nothing was.
//!
//! The dibble's stops settle after some 89, 46 and 6 ms in three settings; a fourth one is the third one again.

use stillpoint::analysis::comparison::{Margin, Terms};
use stillpoint::decode::{Decoder, DeviceEvent};
use stillpoint::report::compare::ladder::{KindLadder, ladders};
use stillpoint::report::compare::{Basis, by_kind, settling};
use stillpoint::report::move_report::MoveReport;
use stillpoint::report::rungs::{Change, DatedMove, Rungs};
use stillpoint::source::rehearsal::exercise::Exercise;
use stillpoint::source::rehearsal::monitor::{AxisInfo, Monitor};
use stillpoint::source::rehearsal::transplanter::axes_wearing;
use stillpoint_tests::rounds::{rounds, seed};

/// The axis that is tuned.
const DIBBLE: usize = 1;
/// Length of each setting: some thirty moves there and thirty back. Unit: s
const LENGTH: f64 = 18.0;

const TUNINGS: &str = "0,dibble,friction,10\n0,dibble,integral,0\n0,dibble,position gain,40\n\
    0,dibble,velocity feedforward,80\n0.3,dibble,position gain,60\n0.6,dibble,velocity feedforward,100\n\
    0.9,dibble,velocity feedforward,100\n";

/// The report of a move with its place in time.
fn dated(info: &AxisInfo, record: &stillpoint_core::Record) -> DatedMove {
    let report = MoveReport::new(&info.context(""), record, []);
    let [start, end] = [report.start_s, report.command_end_s].map(|second| (1e6 * second) as i64);
    DatedMove { start, end, report }
}

/// What becomes of the settings with a seed.
fn ladder_of(seed: u64) -> Vec<KindLadder> {
    let exercise = Exercise::read("tunings", TUNINGS).expect("an exercise");
    let axes = exercise.axes(axes_wearing(|_| false));
    let (mut monitor, known) = Monitor::with_axes(axes, seed, 4000, None).expect("a machine");
    let (mut decoder, mut bytes, mut moves) = (Decoder::default(), vec![], vec![]);
    let mut decode = |bytes: &mut Vec<u8>| {
        decoder.push(bytes, &mut |event| match event {
            DeviceEvent::Move(message) if usize::from(message.axis) == DIBBLE => {
                moves.push(dated(&known[DIBBLE], &message.record));
            }
            _ => (),
        });
        bytes.clear();
    };
    while monitor.seconds() < 4.0 * LENGTH {
        monitor.step(&mut bytes);
        decode(&mut bytes);
    }
    monitor.finish(&mut bytes);
    decode(&mut bytes);
    let change = |note: &stillpoint::source::rehearsal::exercise::ExerciseNote| Change {
        at: (1e6 * note.at) as i64,
        text: note.text.clone(),
    };
    let changes: Vec<Change> = exercise.notes.iter().map(change).collect();
    let rungs = Rungs::new(&changes, &moves, (i64::MIN, i64::MAX));
    assert_eq!(rungs.groups.len(), 4);
    let terms = Terms { confidence: 0.95, margin: Margin::Time(0.0) };
    let info = &known[DIBBLE];
    let encoder_step = 1.0 / info.counts_per_unit;
    let basis = Basis { terms, unit: info.unit.to_owned(), encoder_step, sample_period_s: 0.0 };
    let kinds = by_kind(&rungs.groups, &basis);
    assert_eq!(kinds.len(), 2);
    let settled = rungs.groups.iter().flat_map(|group| &group.moves).filter_map(settling);
    assert!(settled.filter(|settling| settling.is_finite()).count() > 200);
    ladders(&rungs.groups, &kinds, &basis)
}

/// A verdict on a pair of one seed and kind; the pair by the places of its settings.
fn verdict(ladder: &KindLadder, before: usize, after: usize) -> Option<&'static str> {
    let rung = ladder.rungs.iter().find(|rung| rung.group == after)?;
    match (&rung.best, &rung.first) {
        (Some((best, pair)), _) if *best == before => Some(pair.verdict),
        (_, Some(pair)) if before == 0 => Some(pair.verdict),
        _ => None,
    }
}

/// Three tunings are told apart pair by pair in 93 of 100 seeds at least, there and back; and what was not changed is shown as
/// changed in 5 of 100, chance aside.
#[test]
fn tunings_are_told_apart_and_what_was_not_changed_is_not() {
    let count = rounds(8);
    let (mut right, mut kinds, mut shown) = (0, 0_u64, 0);
    for at in 0..count {
        let ladders = ladder_of(seed(100).wrapping_add(at));
        let is_right = ladders.iter().all(|ladder| {
            [(0, 1), (0, 2), (1, 2)]
                .iter()
                .all(|(one, other)| verdict(ladder, *one, *other) == Some("faster"))
        });
        right += u64::from(is_right);
        for ladder in &ladders {
            kinds += 1;
            shown += u64::from(matches!(verdict(ladder, 2, 3), Some("faster" | "slower")));
        }
        if !is_right {
            println!("seed {at}: {:?}", ladders.iter().map(|ladder| ladder.best).collect::<Vec<_>>());
        }
    }
    println!(
        "all pairs right in {right} of {count} seeds; no change shown as one in {shown} of {kinds} kinds"
    );
    assert!(right * 100 >= 93 * count, "{right} of {count}");
    let most = 0.05 * kinds as f64 + 3.0 * (0.05 * 0.95 * kinds as f64).sqrt();
    assert!(shown as f64 <= most, "{shown} of {kinds}");
}
