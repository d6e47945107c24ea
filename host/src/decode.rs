//! In: bytes of a monitor, in any chunks. Out: its moves with their curves, and what was lost on the way.
//!
//! A move and its settling curve come in different frames, the curve later. A move is held back until
//! its curve is whole, or until the axis has told the next one.

use std::collections::{BTreeMap, HashSet};

use stillpoint_core::wire::alarm::{Alarm, Arranged};
use stillpoint_core::wire::counts::Counts;
use stillpoint_core::wire::crc::LargeTable;
use stillpoint_core::wire::curve::Curve;
use stillpoint_core::wire::drift::{Baseline, Drift, Kind, Restart};
use stillpoint_core::wire::finding::Finding;
use stillpoint_core::wire::frame::Frame;
use stillpoint_core::wire::header::{Direction, Header, Priority};
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::receive::{Event, Receiver};
use stillpoint_core::wire::record::Move;
use stillpoint_core::wire::sequence::{Continuity, Sequence};
use stillpoint_core::wire::settings::Settings;
use stillpoint_core::wire::status::{Gap, Status};
use stillpoint_core::{CurvePoint, Record};

/// A move that a monitor told.
#[derive(Clone, Debug, PartialEq)]
pub struct Told {
    /// Axis, from 0.
    pub axis: u8,
    /// Its command end was inferred from feedback.
    pub inferred: bool,
    /// Number of its kind on the axis, 0: none.
    pub kind: u32,
    /// What was measured.
    pub record: Record,
    /// Its settling curve; empty if its frames were lost.
    pub curve: Vec<CurvePoint>,
}

/// What a monitor said.
#[derive(Clone, Debug, PartialEq)]
pub enum Said {
    /// Who speaks: board, firmware, number of axes.
    Hello {
        /// Name of the board.
        board: String,
        /// Version of its firmware.
        firmware: String,
        /// Number of axes.
        axes: u8,
        /// Unit: ticks/s
        ticks_per_second: u32,
    },
    /// What is accepted for an axis, and whether it is in force yet.
    Settings(Settings),
    /// A move.
    Move(Box<Told>),
    /// Samples are missing.
    Gap(Gap),
    /// Something is wrong with the signals of an axis.
    Finding(Finding),
    /// A step in the life of an alarm.
    Alarm(Alarm),
    /// How an alarm behaves.
    Arranged(Arranged),
    /// A kind of moves was met for the first time.
    Kind(Kind),
    /// What the moves of a kind looked like when they were good.
    Baseline(Baseline),
    /// How they stand against it.
    Drift(Drift),
    /// The watch over some moves begins anew.
    Restart(Restart),
    /// How an axis fares.
    Status(Box<Status>),
    /// Frames are missing.
    Missing(Missing),
}

/// Frames that did not come. They may be in the monitor's log.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Missing {
    /// Start of the monitor to which they belong.
    pub boot: u32,
    /// Which series.
    pub priority: Priority,
    /// Number of the first.
    pub first: u32,
    /// How many.
    pub count: u32,
    /// The monitor has started anew; these are missing since.
    pub restarted: bool,
}

/// Follows one monitor.
#[derive(Debug)]
pub struct Decoder {
    receiver: Receiver<LargeTable>,
    sequence: Sequence,
    counts: Counts,
    open: BTreeMap<u8, Told>,
    /// Frames of moves that came: what is sent again must not count twice.
    known: HashSet<(u32, u32)>,
}

impl Default for Decoder {
    fn default() -> Decoder {
        Decoder {
            receiver: Receiver::new(Direction::FromDevice),
            sequence: Sequence::default(),
            counts: Counts::default(),
            open: BTreeMap::new(),
            known: HashSet::new(),
        }
    }
}

impl Decoder {
    /// Takes bytes as they come.
    pub fn take(&mut self, bytes: &[u8], out: &mut impl FnMut(Said)) {
        let Decoder { receiver, sequence, counts, open, known } = self;
        let mut left = bytes;
        while let Some(event) = receiver.step(&mut left) {
            match event {
                Event::Corrupt(corrupt) => counts.corrupt(corrupt),
                Event::Echo(_) => counts.echo(),
                Event::Frame(frame) => {
                    let place = sequence.step(&frame.header);
                    counts.add_frame(place);
                    if let Some(missing) = missing(&frame.header, place) {
                        out(Said::Missing(missing));
                    }
                    let of_move = frame.header.priority == Priority::Move;
                    let is_new = !of_move || known.insert((frame.header.boot, frame.header.sequence));
                    if is_new && place != Continuity::Duplicate {
                        say(&frame, counts, open, out);
                    }
                }
            }
        }
    }

    /// No more bytes come: moves whose curves never came go out without.
    pub fn finish(&mut self, out: &mut impl FnMut(Said)) {
        if let Some(corrupt) = self.receiver.finish() {
            self.counts.corrupt(corrupt);
        }
        std::mem::take(&mut self.open).into_values().for_each(|told| out(Said::Move(Box::new(told))));
    }

    /// What came, what was lost, and how.
    pub fn counts(&self) -> &Counts {
        &self.counts
    }
}

fn missing(header: &Header, place: Continuity) -> Option<Missing> {
    let (count, restarted) = match place {
        Continuity::Lost(count) => (count, false),
        Continuity::Restart { missing } => (missing, true),
        _ => return None,
    };
    let Header { boot, priority, sequence, .. } = *header;
    Some(Missing { boot, priority, first: sequence.wrapping_sub(count), count, restarted })
}

fn say(frame: &Frame, counts: &mut Counts, open: &mut BTreeMap<u8, Told>, out: &mut impl FnMut(Said)) {
    let read = frame.read::<Message>();
    counts.read(&read);
    let Ok(read) = read else { return };
    match read.payload {
        Message::Hello(hello) => out(Said::Hello {
            board: hello.board.to_owned(),
            firmware: hello.firmware.to_owned(),
            axes: hello.axes,
            ticks_per_second: hello.ticks_per_second,
        }),
        Message::Settings(settings) => out(Said::Settings(settings)),
        Message::Gap(gap) => out(Said::Gap(gap)),
        Message::Finding(finding) => out(Said::Finding(finding)),
        Message::Alarm(alarm) => out(Said::Alarm(alarm)),
        Message::Arranged(arranged) => out(Said::Arranged(arranged)),
        Message::Kind(kind) => out(Said::Kind(kind)),
        Message::Baseline(baseline) => out(Said::Baseline(baseline)),
        Message::Drift(drift) => out(Said::Drift(drift)),
        Message::Restart(restart) => out(Said::Restart(restart)),
        Message::Status(status) => out(Said::Status(Box::new(status))),
        Message::Move(told) => {
            let Move { axis, kind, .. } = told;
            let (inferred, record) = (told.is_inferred(), Record::from(&told));
            let told = Told { axis, inferred, kind, record, curve: Vec::new() };
            if frame.header.replay {
                // Out of the log, where no curves are kept.
                out(Said::Move(Box::new(told)));
            } else if let Some(before) = open.insert(axis, told) {
                out(Said::Move(Box::new(before)));
            }
        }
        Message::Curve(curve) => add(&curve, open, out),
        // Evidence, for whoever reads the frames.
        Message::Trace(_) => (),
    }
}

/// Adds a stretch of a curve to the move it belongs to; a whole one lets the move go.
fn add(curve: &Curve, open: &mut BTreeMap<u8, Told>, out: &mut impl FnMut(Said)) {
    let Some(told) = open.get_mut(&curve.axis) else { return };
    if told.record.number != curve.number || told.curve.len() != usize::from(curve.first) {
        return;
    }
    told.curve.extend(curve.points());
    if curve.last
        && let Some(told) = open.remove(&curve.axis)
    {
        out(Said::Move(Box::new(told)));
    }
}
