//! In: messages. Out: their frames: numbered, sealed once, stored in the log if they belong there, queued for the line.
//!
//! Log and line share the same sealed bytes; the line only frames them.

use embedded_storage::nor_flash::NorFlash;
use stillpoint_core::CurvePoint;
use stillpoint_core::wire::crc::SmallTable;
use stillpoint_core::wire::curve::Curve;
use stillpoint_core::wire::frame::{Payload, encode_body};
use stillpoint_core::wire::header::{Direction, Numbers, Priority};
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::status::Status;
use stillpoint_core::wire::trace::Trace;
use stillpoint_core::wire::{LONGEST_BODY, LONGEST_PIECE};

use crate::capture::Capture;
use crate::link::Link;
use crate::log::Cursor;
use crate::store::Store;

/// Places that must be free in the queue of moves before a frame of the log is queued: live moves come first.
const REPLAY_ROOM: usize = 4;

/// Frames of one start of the device.
#[derive(Debug)]
pub(super) struct Output<F> {
    numbers: Numbers,
    pub(super) store: Store<F>,
    link: Link,
    replay: Option<Cursor>,
}

impl<F: NorFlash> Output<F> {
    pub(super) fn new(store: Store<F>) -> Output<F> {
        let numbers = Numbers::new(Direction::FromDevice, store.boot());
        Output { numbers, store, link: Link::new(), replay: None }
    }

    /// Publishes a message.
    pub(super) fn publish(&mut self, message: &Message) {
        self.publish_as(message.priority(), message);
    }

    /// Publishes a message in the series of another priority: evidence is numbered and stored with the moves.
    ///
    /// The number is assigned first, so that a lost frame is missed. A frame that finds no room in its queue is lost
    /// only if the log has not stored it either.
    fn publish_as(&mut self, priority: Priority, message: &Message) {
        let header = self.numbers.next_header(priority);
        let mut buffer = [0; LONGEST_BODY];
        let Ok(body) = encode_body::<SmallTable>(&header, message, &mut buffer) else {
            return self.link.count_lost(priority);
        };
        let stored = priority == Priority::Move && self.store.append(&header, body);
        let queued = self.link.queue(priority, body);
        if !queued && !stored {
            self.link.count_lost(priority);
        }
    }

    /// Publishes the settling curve of a move.
    pub(super) fn curve(
        &mut self,
        priority: Priority,
        (axis, number): (u8, u32),
        points: impl Iterator<Item = CurvePoint>,
    ) {
        let mut points = points.peekable();
        let (mut first, mut buffer) = (0, [0; LONGEST_PIECE]);
        while let Some(curve) = Curve::pack((axis, number, first), &mut points, &mut buffer) {
            first += curve.points().count() as u16;
            self.publish_as(priority, &Message::Curve(curve));
        }
    }

    /// Publishes the samples around the stop of a move.
    pub(super) fn trace(&mut self, priority: Priority, (axis, number): (u8, u32), capture: &Capture) {
        let mut readings = capture.readings().peekable();
        let (mut first, mut buffer) = (0, [0; LONGEST_PIECE]);
        while let Some(trace) = Trace::pack((axis, number, first), &mut readings, &mut buffer) {
            first += trace.readings().count() as u32;
            self.publish_as(priority, &Message::Trace(Trace { factor: capture.factor(), ..trace }));
        }
    }

    /// Replays the log from this frame on.
    pub(super) fn start_replay(&mut self, boot: u32, sequence: u32) {
        self.replay = self.store.since(boot, sequence);
    }

    /// Queues frames of the log while their queue has room; whether the replay is complete with them.
    pub(super) fn replay(&mut self) -> bool {
        let Output { store, link, replay, .. } = self;
        while let Some(cursor) = replay
            && link.has_room(Priority::Move, REPLAY_ROOM)
        {
            if !store.read(cursor, |frame| link.queue_again(frame)) {
                self.replay = None;
                return true;
            }
        }
        false
    }

    /// Bytes for the line, as many as fit `out`; returns their number.
    pub(super) fn transmit(&mut self, out: &mut [u8]) -> usize {
        self.link.transmit(out)
    }

    /// Frames of moves that neither the line nor the log took.
    pub(super) fn lost_moves(&self) -> u32 {
        let [_, of_moves, ..] = self.link.lost();
        of_moves
    }

    /// The part of the status that queues and log know.
    pub(super) fn status(&self) -> Status {
        Status {
            lost_frames: self.link.lost(),
            queue_depth: self.link.waiting(),
            queue_most: self.link.most(),
            replay_left: u32::from(self.replay.is_some()),
            ..Status::default()
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::memory::MemoryFlash;
    use std::vec;
    use stillpoint_core::wire::receive::{Event, Receiver};
    use stillpoint_core::wire::status::Gap;

    #[test]
    fn a_frame_is_lost_only_where_neither_queue_nor_log_has_room() {
        let store = Store::open(MemoryFlash::new(vec![0; 1 << 16])).expect("the flash opens");
        let mut output = Output::new(store);
        for _ in 0..11 {
            output.publish(&Message::Gap(Gap::default()));
            output.publish(&Message::Status(Status::default()));
        }
        assert_eq!(output.status().lost_frames, [0, 0, 3, 0], "the log has the gaps");
        // What found no room in the queue comes by a replay, all of it with the numbers it was published with.
        let (mut sequences, mut bytes) = (vec![], vec![0; 4096]);
        output.start_replay(output.store.boot(), 0);
        let mut receiver = Receiver::<SmallTable>::new(Direction::FromDevice);
        loop {
            let complete = output.replay();
            let used = output.transmit(&mut bytes);
            let mut remaining = &bytes[..used];
            while let Some(event) = receiver.step(&mut remaining) {
                let Event::Frame(frame) = event else { panic!("{event:?}") };
                if frame.header.replay {
                    sequences.push(frame.header.sequence);
                }
            }
            if complete {
                break;
            }
        }
        assert_eq!(sequences, (0..11).collect::<vec::Vec<u32>>());
    }
}
