//! In: records of axes in the order of their starts. Out: a store with them, through frames, and their sums for comparison.

use std::collections::BTreeMap;
use std::path::Path;

use stillpoint::checksum::FastCrc;
use stillpoint::source::rehearsal::monitor::AxisInfo;
use stillpoint::store::devices::Axis;
use stillpoint::store::log::Log;
use stillpoint::store::{Options, Store};
use stillpoint_core::kind::{Arrival, Kinds};
use stillpoint_core::wire::LONGEST_FRAME;
use stillpoint_core::wire::drift::Kind;
use stillpoint_core::wire::frame::{Payload, encode};
use stillpoint_core::wire::header::{Direction, Numbers};
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::record::Move;
use stillpoint_core::wire::status::Hello;
use stillpoint_core::{Outcome, Record};

/// 2026-01-05T00:00:00Z, a Monday, is tick 0. Unit: µs since 1970
pub const BEGIN: i64 = 1_767_571_200_000_000;
/// Moves that are logged at a time.
const CHUNK: usize = 500;
/// A rest of this length is a pause. Unit: s
const PAUSE: u64 = 900;

/// Sums over the moves of one kind, made beside the store.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Sums {
    /// Settled, unsettled, interrupted.
    pub moves: [u64; 3],
    /// Unit: ticks
    pub settling: u64,
    /// Of the unsettled and the interrupted, from command end to next command, without pauses. Unit: ticks
    pub rests: u64,
}

impl Sums {
    fn add(&mut self, record: &Record, ticks_per_second: u32) {
        let place = match record.outcome {
            Outcome::Settled => 0,
            Outcome::Unsettled => 1,
            Outcome::Interrupted => 2,
            Outcome::Untrusted => return,
        };
        self.moves[place] += 1;
        self.settling += u64::from(record.settling.unwrap_or(0));
        let counts = place > 0 && record.held < PAUSE * u64::from(ticks_per_second);
        self.rests += if counts { record.held } else { 0 };
    }
}

/// By axis and number of the kind.
pub type AllSums = BTreeMap<(usize, u32), Sums>;

/// One start of a monitor that logs into a store.
struct Logger<'a> {
    axes: &'a [AxisInfo],
    kinds: Vec<Kinds>,
    numbers: Numbers,
    bytes: Vec<u8>,
    log: Log,
}

impl Logger<'_> {
    fn send(&mut self, message: &Message) {
        let mut buffer = [0; LONGEST_FRAME];
        let header = self.numbers.next_header(message.priority());
        self.bytes.extend_from_slice(encode::<FastCrc>(&header, message, &mut buffer).expect("it fits"));
    }

    /// Sends a move, and its kind if it is new. Returns the number of its kind, 0 if it has none.
    fn send_move(&mut self, axis: usize, job: u32, record: &Record) -> u32 {
        let place = self.kinds[axis].step(&self.axes[axis].settings, record);
        let kind = place.map_or(0, |place| place.number);
        if place.is_some_and(|place| place.arrival != Arrival::Known) {
            self.send(&Message::Kind(Kind {
                axis: axis as u8,
                kind,
                at: record.command_end,
                forward: record.travel > 0,
                distance: record.travel.unsigned_abs(),
                speed_distance: record.peak_speed.distance,
                speed_time: record.peak_speed.time,
                ..Kind::default()
            }));
        }
        self.send(&Message::Move(Move { kind, job, ..Move::new(axis as u8, false, record) }));
        kind
    }

    fn flush(&mut self) {
        self.log.push(&self.bytes, BEGIN);
        self.bytes.clear();
    }
}

/// Writes moves, each with its axis and its job, into a new store.
pub fn store_of(
    path: &Path,
    axes: &[AxisInfo],
    moves: impl Iterator<Item = (usize, u32, Record)>,
) -> (Store, AllSums) {
    let axis = |(number, info): (usize, &AxisInfo)| Axis {
        axis: number as u8,
        name: info.name.to_owned(),
        unit: info.unit.to_owned(),
        counts_per_unit: info.counts_per_unit,
        window: Some(info.window),
        source: "made".to_owned(),
    };
    let named = axes.iter().enumerate().map(axis).collect();
    let log = Log::open(path, &Options::default(), None, named).expect("a new store");
    let kinds = axes.iter().map(|_| Kinds::default()).collect();
    let numbers = Numbers::new(Direction::FromDevice, 1);
    let mut logger = Logger { axes, kinds, numbers, bytes: vec![], log };
    let ticks_per_second = axes.first().map_or(1, |info| info.settings.ticks_per_second);
    let count = axes.len() as u8;
    logger.send(&Message::Hello(Hello {
        ticks_per_second,
        axes: count,
        clock: Some(BEGIN),
        ..Hello::default()
    }));
    let mut sums = AllSums::new();
    for (number, (axis, job, record)) in moves.enumerate() {
        let kind = logger.send_move(axis, job, &record);
        sums.entry((axis, kind)).or_default().add(&record, ticks_per_second);
        if number % CHUNK == 0 {
            logger.flush();
        }
    }
    logger.flush();
    (logger.log.finish().expect("room").0, sums)
}
