//! In: sealed frames. Out: their bytes on the line, the urgent frames first, as many bytes as the line takes.
//!
//! Where a queue is full the new frame is refused. A frame once begun is finished.

use heapless::{Deque, Vec};
use stillpoint_core::wire::LONGEST_FRAME;
use stillpoint_core::wire::cobs::encode_in_place;
use stillpoint_core::wire::crc::SmallTable;
use stillpoint_core::wire::frame;
use stillpoint_core::wire::header::Priority;

/// Frames that wait in each queue: a stop of four axes at once, with its curves.
const DEPTH: usize = 8;

/// Framed for the line, the closing zero included.
type Framed = Vec<u8, LONGEST_FRAME>;

/// A queue for each priority, and the frame on the line.
#[derive(Debug, Default)]
pub struct Link {
    queues: [Deque<Framed, DEPTH>; 4],
    current: Framed,
    sent: usize,
    lost: [u32; 4],
    most: u16,
}

impl Link {
    /// Empty queues.
    pub fn new() -> Link {
        Link::default()
    }

    /// Queues a sealed frame; `false` if its queue is full.
    pub fn queue(&mut self, priority: Priority, body: &[u8]) -> bool {
        let mut framed = Framed::new();
        // COBS needs a byte before the body and the closing zero behind it.
        let fits = framed.push(0).is_ok() && framed.extend_from_slice(body).is_ok() && framed.push(0).is_ok();
        fits && encode_in_place(&mut framed, body.len()).is_some() && self.push(priority, framed)
    }

    /// Queues a frame of the log once more, marked as a replay; it is counted as lost if its queue is full.
    pub fn queue_again(&mut self, logged: &frame::Frame) {
        let (mut buffer, priority) = ([0; LONGEST_FRAME], logged.header.priority);
        let framed = logged.as_replay::<SmallTable>(&mut buffer).ok();
        let framed = framed.and_then(|framed| Framed::from_slice(framed).ok());
        if !framed.is_some_and(|framed| self.push(priority, framed)) {
            self.count_lost(priority);
        }
    }

    fn push(&mut self, priority: Priority, framed: Framed) -> bool {
        let queued =
            self.queues.get_mut(priority as usize).is_some_and(|queue| queue.push_back(framed).is_ok());
        self.most = self.most.max(self.waiting());
        queued
    }

    /// Counts a frame that is lost.
    pub fn count_lost(&mut self, priority: Priority) {
        if let Some(lost) = self.lost.get_mut(priority as usize) {
            *lost = lost.saturating_add(1);
        }
    }

    /// Bytes for the line, as many as fit `out`; returns their number.
    pub fn transmit(&mut self, out: &mut [u8]) -> usize {
        let mut used = 0;
        while let Some(room) = out.get_mut(used..).filter(|room| !room.is_empty()) {
            if self.sent == self.current.len() && !self.next_frame() {
                break;
            }
            let unsent = self.current.get(self.sent..).unwrap_or_default();
            let count = unsent.len().min(room.len());
            room.iter_mut().zip(unsent).for_each(|(to, from)| *to = *from);
            self.sent += count;
            used += count;
        }
        used
    }

    fn next_frame(&mut self) -> bool {
        let next = self.queues.iter_mut().find_map(Deque::pop_front);
        self.sent = 0;
        self.current = next.unwrap_or_default();
        !self.current.is_empty()
    }

    /// Frames that wait.
    pub fn waiting(&self) -> u16 {
        self.queues.iter().map(|queue| queue.len() as u16).sum()
    }

    /// The largest number of frames that ever waited.
    pub fn most(&self) -> u16 {
        self.most
    }

    /// Whether the queue of a priority has room for this many frames.
    pub fn has_room(&self, priority: Priority, frames: usize) -> bool {
        self.queues.get(priority as usize).is_some_and(|queue| queue.len() + frames <= DEPTH)
    }

    /// Lost frames by priority.
    pub fn lost(&self) -> [u32; 4] {
        self.lost
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::vec::Vec;
    use stillpoint_core::wire::LONGEST_BODY;
    use stillpoint_core::wire::frame::{Payload, encode, encode_body};
    use stillpoint_core::wire::header::{Direction, Numbers};
    use stillpoint_core::wire::message::Message;
    use stillpoint_core::wire::receive::{Event, Receiver};
    use stillpoint_core::wire::status::{Gap, Hello, Status};

    /// Queues a message as the monitor does; whether it found room.
    fn queue(link: &mut Link, numbers: &mut Numbers, message: &Message) -> bool {
        let header = numbers.next_header(message.priority());
        let mut buffer = [0; LONGEST_BODY];
        link.queue(header.priority, encode_body::<SmallTable>(&header, message, &mut buffer).unwrap())
    }

    /// Priority and number of each frame in the bytes.
    fn read(bytes: &[u8]) -> Vec<(Priority, u32)> {
        let mut receiver = Receiver::<SmallTable>::new(Direction::FromDevice);
        let (mut remaining, mut found) = (bytes, Vec::new());
        while let Some(event) = receiver.step(&mut remaining) {
            let Event::Frame(frame) = event else { panic!("{event:?}") };
            found.push((frame.header.priority, frame.header.sequence));
        }
        found
    }

    #[test]
    fn the_urgent_goes_first_and_a_begun_frame_is_finished() {
        let (mut link, mut numbers) = (Link::new(), Numbers::new(Direction::FromDevice, 7));
        let mut bytes = [0; 4096];
        queue(&mut link, &mut numbers, &Message::Status(Status::default()));
        let begun = link.transmit(&mut bytes[..5]);
        queue(&mut link, &mut numbers, &Message::Status(Status::default()));
        queue(&mut link, &mut numbers, &Message::Gap(Gap::default()));
        queue(&mut link, &mut numbers, &Message::Hello(Hello::default()));
        let used = begun + link.transmit(&mut bytes[begun..]);
        let order = [(Priority::Curve, 0), (Priority::Alarm, 0), (Priority::Move, 0), (Priority::Curve, 1)];
        assert_eq!(read(&bytes[..used]), order);
        assert_eq!(link.transmit(&mut bytes), 0);
    }

    #[test]
    fn a_full_queue_refuses_and_the_number_is_missing() {
        let (mut link, mut numbers) = (Link::new(), Numbers::new(Direction::FromDevice, 7));
        let gap = Message::Gap(Gap::default());
        for place in 0..DEPTH + 3 {
            assert_eq!(queue(&mut link, &mut numbers, &gap), place < DEPTH);
        }
        link.count_lost(Priority::Move);
        assert_eq!((link.lost(), link.waiting()), ([0, 1, 0, 0], DEPTH as u16));
        let mut bytes = [0; 4096];
        let used = link.transmit(&mut bytes);
        queue(&mut link, &mut numbers, &gap);
        let all = used + link.transmit(&mut bytes[used..]);
        assert_eq!(read(&bytes[..all]).last(), Some(&(Priority::Move, DEPTH as u32 + 3)));
    }

    /// Sealed first and framed then, a frame has the same bytes as made for a line at once.
    #[test]
    fn framing_a_sealed_body_is_encoding_for_the_line() {
        let (mut link, mut numbers) = (Link::new(), Numbers::new(Direction::FromDevice, 0x0100_0000));
        for message in [Message::Status(Status::default()), Message::Gap(Gap::default())] {
            let mut expected = [0; LONGEST_FRAME];
            let header = numbers.clone().next_header(message.priority());
            let expected = encode::<SmallTable>(&header, &message, &mut expected).unwrap();
            queue(&mut link, &mut numbers, &message);
            let mut bytes = [0; LONGEST_FRAME];
            let used = link.transmit(&mut bytes);
            assert_eq!(&bytes[..used], expected);
        }
    }
}
