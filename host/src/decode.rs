//! In: bytes of a monitor, in any chunks. Out: its moves with their curves, and what was lost on the way.
//!
//! A move and its settling curve come in different frames, the curve later. A move is held back until
//! its curve is whole, or until the axis has told the next one.

use std::collections::BTreeMap;

use stillpoint_core::record::Record;
use stillpoint_core::settling::curve::Point;
use stillpoint_core::wire::counts::Counts;
use stillpoint_core::wire::crc::LargeTable;
use stillpoint_core::wire::curve::Curve;
use stillpoint_core::wire::frame::Frame;
use stillpoint_core::wire::header::Way;
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::receive::{Event, Receiver};
use stillpoint_core::wire::sequence::{Continuity, Sequence};
use stillpoint_core::wire::settings::Settings;
use stillpoint_core::wire::status::{Gap, Status};

/// A move that a monitor told.
#[derive(Clone, Debug, PartialEq)]
pub struct Told {
    /// Axis, from 0.
    pub axis: u8,
    /// Its command end was inferred from feedback.
    pub inferred: bool,
    /// What was measured.
    pub record: Record,
    /// Its settling curve; empty if its frames were lost.
    pub curve: Vec<Point>,
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
    /// What is in force on an axis.
    Settings(Settings),
    /// A move.
    Move(Box<Told>),
    /// Samples are missing.
    Gap(Gap),
    /// How an axis fares.
    Status(Box<Status>),
    /// Frames are missing before this one, or the monitor has started anew.
    Broken(Continuity),
}

/// Follows one monitor.
#[derive(Debug)]
pub struct Decoder {
    receiver: Receiver<LargeTable>,
    sequence: Sequence,
    counts: Counts,
    open: BTreeMap<u8, Told>,
}

impl Default for Decoder {
    fn default() -> Decoder {
        Decoder {
            receiver: Receiver::new(Way::FromDevice),
            sequence: Sequence::default(),
            counts: Counts::default(),
            open: BTreeMap::new(),
        }
    }
}

impl Decoder {
    /// Takes bytes as they come.
    pub fn take(&mut self, bytes: &[u8], out: &mut impl FnMut(Said)) {
        let Decoder { receiver, sequence, counts, open } = self;
        let mut left = bytes;
        while let Some(event) = receiver.step(&mut left) {
            match event {
                Event::Corrupt(corrupt) => counts.corrupt(corrupt),
                Event::Echo(_) => counts.echo(),
                Event::Frame(frame) => {
                    let place = sequence.step(&frame.header);
                    counts.place(place);
                    if matches!(place, Continuity::Lost(_) | Continuity::Restart { .. }) {
                        out(Said::Broken(place));
                    }
                    if place != Continuity::Duplicate {
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
        Message::Status(status) => out(Said::Status(Box::new(status))),
        Message::Move(told) => {
            let (axis, inferred) = (told.axis, told.is_inferred());
            let told = Told { axis, inferred, record: Record::from(&told), curve: Vec::new() };
            if let Some(before) = open.insert(axis, told) {
                out(Said::Move(Box::new(before)));
            }
        }
        Message::Curve(curve) => add(&curve, open, out),
        // Baselines, drift and alarms are told by later versions of the monitor; traces are evidence.
        Message::Baseline(_) | Message::Drift(_) | Message::Alarm(_) | Message::Trace(_) => (),
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
