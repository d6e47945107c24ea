//! In: bytes of a monitor, in any chunks. Out: its events, moves with their curves among them, and the missing frames.
//!
//! A move, its settling curve and its ringing arrive in different frames, in this order. A move is emitted when it is
//! complete, or when the next move of the axis arrives.

mod numbers;

use std::collections::BTreeMap;

use crate::checksum::FastCrc;
use stillpoint_core::ringing::Answer;
use stillpoint_core::wire::alarm::{Alarm, Arranged};
use stillpoint_core::wire::counts::Counts;
use stillpoint_core::wire::curve::Curve;
use stillpoint_core::wire::drift::{Baseline, Drift, Explained, Kind, Restart};
use stillpoint_core::wire::finding::Finding;
use stillpoint_core::wire::frame::Frame;
use stillpoint_core::wire::header::{Direction, Header, Priority};
use stillpoint_core::wire::job::Job;
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::receive::{Event, Receiver};
use stillpoint_core::wire::record::{Move, flag2};
use stillpoint_core::wire::ringing::Ringing;
use stillpoint_core::wire::sequence::{Continuity, Sequence};
use stillpoint_core::wire::settings::Settings;
use stillpoint_core::wire::status::{Gap, Status};
use stillpoint_core::{CurvePoint, Record};

use numbers::HeardNumbers;

/// What is known of the ringing of a stop.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum StopRinging {
    /// Nothing was heard of it, or none is looked for after such a stop.
    #[default]
    Unknown,
    /// There was no time for a fit.
    NotEvaluated,
    /// The fit has ended.
    Evaluated(Answer),
}

impl From<&Ringing> for StopRinging {
    fn from(sent: &Ringing) -> StopRinging {
        match sent.answer() {
            Some(answer) => StopRinging::Evaluated(answer),
            None if sent.refusal == Ringing::NOT_EVALUATED => StopRinging::NotEvaluated,
            None => StopRinging::Unknown,
        }
    }
}

/// Start of the monitor and number of a frame among those of its priority: what came before what.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct FramePlace {
    /// Number of the start.
    pub boot: u32,
    /// Number of the frame.
    pub sequence: u32,
}

/// A move with its settling curve.
#[derive(Clone, Debug, PartialEq)]
pub struct DecodedMove {
    /// Axis, from 0.
    pub axis: u8,
    /// Whether its command end was inferred from feedback.
    pub inferred: bool,
    /// Number of its kind on the axis; 0: none.
    pub kind: u32,
    /// Number of the product that the axis worked on; 0: none.
    pub job: u32,
    /// The measured values.
    pub record: Record,
    /// Its settling curve; empty if the frames of the curve were lost.
    pub curve: Vec<CurvePoint>,
    /// What is known of its ringing.
    pub ringing: StopRinging,
    /// Place of its frame.
    pub place: FramePlace,
}

/// An event that a monitor reports, or a loss of its frames.
#[derive(Clone, Debug, PartialEq)]
pub enum DeviceEvent {
    /// Identity of the monitor.
    Hello {
        /// Name of the board.
        board: String,
        /// Version of its firmware.
        firmware: String,
        /// Number of axes.
        axes: u8,
        /// Unit: ticks/s
        ticks_per_second: u32,
        /// UTC at the first reading, once a host has set the clock. Unit: µs since 1970
        clock: Option<i64>,
    },
    /// Accepted settings of an axis, in force or pending.
    Settings(Settings),
    /// A move.
    Move(Box<DecodedMove>),
    /// Samples are missing.
    Gap(Gap),
    /// A problem with the signals of an axis.
    Finding(Finding),
    /// A state change of an alarm.
    Alarm(Alarm),
    /// The configuration of an alarm.
    Arranged(Arranged),
    /// A new kind of moves.
    Kind(Kind),
    /// The baseline of a kind.
    Baseline(Baseline),
    /// The state of a kind against its baseline.
    Drift(Drift),
    /// The baselines of some moves are learnt anew.
    Restart(Restart),
    /// The product that an axis works on.
    Job(Job),
    /// How much a known cause moves the settling time.
    Explained(Explained),
    /// Health of an axis.
    Status(Box<Status>),
    /// Frames are missing.
    Missing(MissingFrames),
}

/// Frames that did not arrive. They may be in the monitor's log.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct MissingFrames {
    /// Start of the monitor that numbered them.
    pub boot: u32,
    /// Their series.
    pub priority: Priority,
    /// Number of the first.
    pub first: u32,
    /// Number of frames.
    pub count: u32,
    /// Whether the monitor restarted before they went missing.
    pub restarted: bool,
}

/// Decodes the bytes of one monitor.
#[derive(Debug)]
pub struct Decoder {
    receiver: Receiver<FastCrc>,
    sequence: Sequence,
    counts: Counts,
    /// Incomplete moves by axis.
    open: BTreeMap<u8, OpenMove>,
    /// Numbers of the move frames received: a replayed frame must not count twice.
    heard: HeardNumbers,
}

impl Default for Decoder {
    fn default() -> Decoder {
        Decoder {
            receiver: Receiver::new(Direction::FromDevice),
            sequence: Sequence::default(),
            counts: Counts::default(),
            open: BTreeMap::new(),
            heard: HeardNumbers::default(),
        }
    }
}

impl Decoder {
    /// Decodes the next bytes, cut anywhere.
    pub fn push(&mut self, bytes: &[u8], out: &mut impl FnMut(DeviceEvent)) {
        self.push_placed(bytes, &mut |_, event| out(event));
    }

    /// As [`Decoder::push`], with the place of the frame that each event came with.
    pub fn push_placed(&mut self, bytes: &[u8], out: &mut impl FnMut(FramePlace, DeviceEvent)) {
        let Decoder { receiver, sequence, counts, open, heard } = self;
        let mut remaining = bytes;
        while let Some(event) = receiver.step(&mut remaining) {
            match event {
                Event::Corrupt(corrupt) => counts.corrupt(corrupt),
                Event::Echo(_) => counts.echo(),
                Event::Frame(frame) => {
                    let continuity = sequence.step(&frame.header);
                    counts.add_frame(continuity);
                    let Header { boot, sequence, priority, .. } = frame.header;
                    let out = &mut |event| out(FramePlace { boot, sequence }, event);
                    if let Some(missing) = missing(&frame.header, continuity) {
                        out(DeviceEvent::Missing(missing));
                    }
                    let is_new = priority != Priority::Move || heard.insert(boot, sequence);
                    if is_new && continuity != Continuity::Duplicate {
                        decode(&frame, counts, open, out);
                    }
                }
            }
        }
    }

    /// The line was cut: what came of a frame is dropped, and the next bytes begin a new one.
    pub fn cut(&mut self) {
        if let Some(corrupt) = self.receiver.finish() {
            self.counts.corrupt(corrupt);
        }
    }

    /// Whether all frames of moves from one number of a start to another were received, both inclusive.
    pub fn has_all(&self, boot: u32, from: u32, to: u32) -> bool {
        self.heard.has_all(boot, from, to)
    }

    /// Ends the bytes: incomplete moves are emitted.
    pub fn finish(&mut self, out: &mut impl FnMut(DeviceEvent)) {
        self.cut();
        std::mem::take(&mut self.open).into_values().for_each(|open| open.emit(out));
    }

    /// Numbers of received, lost and corrupt frames.
    pub fn counts(&self) -> &Counts {
        &self.counts
    }
}

fn missing(header: &Header, continuity: Continuity) -> Option<MissingFrames> {
    let (count, restarted) = match continuity {
        Continuity::Lost(count) => (count, false),
        Continuity::Restart { missing } => (missing, true),
        _ => return None,
    };
    let Header { boot, priority, sequence, .. } = *header;
    Some(MissingFrames { boot, priority, first: sequence.wrapping_sub(count), count, restarted })
}

fn decode(
    frame: &Frame,
    counts: &mut Counts,
    open: &mut BTreeMap<u8, OpenMove>,
    out: &mut impl FnMut(DeviceEvent),
) {
    let read = frame.read::<Message>();
    counts.read(&read);
    let Ok(read) = read else { return };
    match read.payload {
        Message::Hello(hello) => out(DeviceEvent::Hello {
            board: hello.board.to_owned(),
            firmware: hello.firmware.to_owned(),
            axes: hello.axes,
            ticks_per_second: hello.ticks_per_second,
            clock: hello.clock,
        }),
        Message::Settings(settings) => out(DeviceEvent::Settings(settings)),
        Message::Gap(gap) => out(DeviceEvent::Gap(gap)),
        Message::Finding(finding) => out(DeviceEvent::Finding(finding)),
        Message::Alarm(alarm) => out(DeviceEvent::Alarm(alarm)),
        Message::Arranged(arranged) => out(DeviceEvent::Arranged(arranged)),
        Message::Kind(kind) => out(DeviceEvent::Kind(kind)),
        Message::Baseline(baseline) => out(DeviceEvent::Baseline(baseline)),
        Message::Drift(drift) => out(DeviceEvent::Drift(drift)),
        Message::Restart(restart) => out(DeviceEvent::Restart(restart)),
        Message::Job(job) => out(DeviceEvent::Job(job)),
        Message::Explained(explained) => out(DeviceEvent::Explained(explained)),
        Message::Status(status) => out(DeviceEvent::Status(Box::new(status))),
        Message::Move(record) => add_move(&record, &frame.header, open, out),
        Message::Curve(curve) => add_curve(&curve, open, out),
        Message::Ringing(ringing) => add_ringing(&ringing, open, out),
        // Captured samples; the store keeps their frames.
        Message::Trace(_) => (),
    }
}

/// Without curve and ringing, which come in frames of their own.
impl From<&Move> for DecodedMove {
    fn from(sent: &Move) -> DecodedMove {
        DecodedMove {
            axis: sent.axis,
            inferred: sent.is_inferred(),
            kind: sent.kind,
            job: sent.job,
            record: Record::from(sent),
            curve: Vec::new(),
            ringing: StopRinging::Unknown,
            place: FramePlace::default(),
        }
    }
}

/// A move that is not complete yet.
#[derive(Debug)]
struct OpenMove {
    decoded: DecodedMove,
    awaits_curve: bool,
    awaits_ringing: bool,
}

impl OpenMove {
    fn emit(self, out: &mut impl FnMut(DeviceEvent)) {
        out(DeviceEvent::Move(Box::new(self.decoded)));
    }
}

/// Adds a move that waits for its curve and ringing, and emits the one before it on the axis. A replayed move is emitted
/// at once, because the log of a monitor holds neither.
fn add_move(
    record: &Move,
    header: &Header,
    open: &mut BTreeMap<u8, OpenMove>,
    out: &mut impl FnMut(DeviceEvent),
) {
    let place = FramePlace { boot: header.boot, sequence: header.sequence };
    let decoded = DecodedMove { place, ..DecodedMove::from(record) };
    let (axis, awaits_ringing) = (record.axis, record.flags2 & flag2::RINGING != 0);
    let added = OpenMove { decoded, awaits_curve: true, awaits_ringing };
    if header.replay {
        added.emit(out);
    } else if let Some(before) = open.insert(axis, added) {
        before.emit(out);
    }
}

/// Adds a part of a curve to its move; the last part may complete the move.
fn add_curve(curve: &Curve, open: &mut BTreeMap<u8, OpenMove>, out: &mut impl FnMut(DeviceEvent)) {
    let Some(OpenMove { decoded, awaits_curve, .. }) = open.get_mut(&curve.axis) else { return };
    if decoded.record.number != curve.number || decoded.curve.len() != usize::from(curve.first) {
        return;
    }
    decoded.curve.extend(curve.points());
    *awaits_curve &= !curve.last;
    emit_complete(curve.axis, open, out);
}

/// Adds what was found of the ringing of a move.
fn add_ringing(ringing: &Ringing, open: &mut BTreeMap<u8, OpenMove>, out: &mut impl FnMut(DeviceEvent)) {
    let Some(OpenMove { decoded, awaits_ringing, .. }) = open.get_mut(&ringing.axis) else { return };
    if decoded.record.number == ringing.number {
        (decoded.ringing, *awaits_ringing) = (ringing.into(), false);
        emit_complete(ringing.axis, open, out);
    }
}

fn emit_complete(axis: u8, open: &mut BTreeMap<u8, OpenMove>, out: &mut impl FnMut(DeviceEvent)) {
    let complete = |open: &OpenMove| !open.awaits_curve && !open.awaits_ringing;
    if open.get(&axis).is_some_and(complete)
        && let Some(complete) = open.remove(&axis)
    {
        complete.emit(out);
    }
}
