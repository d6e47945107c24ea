//! In: messages. Out: their bytes, the urgent first, as many as the line takes now.
//!
//! Every message gets its number before it can be lost. Where a queue is full the new message is lost
//! and counted; the moves are in the log all the same. A frame once begun is finished.

use heapless::{Deque, Vec};
use stillpoint_core::wire::LONGEST_FRAME;
use stillpoint_core::wire::crc::SmallTable;
use stillpoint_core::wire::frame;
use stillpoint_core::wire::frame::{Payload, encode};
use stillpoint_core::wire::header::{Direction, Header, Numbers, Priority};
use stillpoint_core::wire::message::Message;

/// Frames that wait in each queue: a stop of four axes at once, with its curves.
const DEPTH: usize = 8;

type Frame = Vec<u8, LONGEST_FRAME>;

/// What became of a message.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Put {
    /// It waits to be sent.
    Queued,
    /// No room; it is counted as lost, unless a log keeps it.
    NoRoom,
}

/// The queues, and the frame on the line.
#[derive(Debug)]
pub struct Link {
    numbers: Numbers,
    queues: [Deque<Frame, DEPTH>; 4],
    current: Frame,
    sent: usize,
    lost: [u32; 4],
    most: u16,
}

impl Link {
    /// A link of this start of the device.
    pub fn new(boot: u32) -> Link {
        Link {
            numbers: Numbers::new(Direction::FromDevice, boot),
            queues: Default::default(),
            current: Frame::new(),
            sent: 0,
            lost: [0; 4],
            most: 0,
        }
    }

    /// Numbers a message and queues it.
    pub fn put(&mut self, message: &Message) -> (Header, Put) {
        self.put_as(message.priority(), message)
    }

    /// The same in another series than its own: evidence is numbered with the moves, and so kept with them.
    pub fn put_as(&mut self, priority: Priority, message: &Message) -> (Header, Put) {
        let header = self.numbers.next_header(priority);
        (header, self.queue(&header, message))
    }

    fn queue(&mut self, header: &Header, message: &Message) -> Put {
        let mut buffer = [0; LONGEST_FRAME];
        let bytes = encode::<SmallTable>(header, message, &mut buffer);
        self.push(header.priority, bytes.unwrap_or_default())
    }

    /// Queues a frame out of the log once more, marked as such.
    pub fn again(&mut self, logged: &frame::Frame) -> Put {
        let mut buffer = [0; LONGEST_FRAME];
        let bytes = logged.as_replay::<SmallTable>(&mut buffer);
        self.push(logged.header.priority, bytes.unwrap_or_default())
    }

    /// Queues bytes of a frame; none are a frame that could not be made.
    fn push(&mut self, priority: Priority, bytes: &[u8]) -> Put {
        let frame = Frame::from_slice(bytes).ok().filter(|frame| !frame.is_empty());
        let queue = self.queues.get_mut(priority as usize);
        let queued = frame.zip(queue).and_then(|(frame, queue)| queue.push_back(frame).ok());
        if queued.is_none() {
            self.count_lost(priority);
            return Put::NoRoom;
        }
        self.most = self.most.max(self.waiting());
        Put::Queued
    }

    fn count_lost(&mut self, priority: Priority) {
        if let Some(lost) = self.lost.get_mut(priority as usize) {
            *lost = lost.saturating_add(1);
        }
    }

    /// A message that found no room is in the log, and so is not lost.
    pub fn forgive(&mut self, priority: Priority) {
        if let Some(lost) = self.lost.get_mut(priority as usize) {
            *lost = lost.saturating_sub(1);
        }
    }

    /// Bytes for the line, as many as fit `out`; how many there are.
    pub fn pull(&mut self, out: &mut [u8]) -> usize {
        let mut used = 0;
        while let Some(room) = out.get_mut(used..).filter(|room| !room.is_empty()) {
            if self.sent == self.current.len() && !self.next() {
                break;
            }
            let left = self.current.get(self.sent..).unwrap_or_default();
            let count = left.len().min(room.len());
            if let (Some(to), Some(from)) = (room.get_mut(..count), left.get(..count)) {
                to.iter_mut().zip(from).for_each(|(to, from)| *to = *from);
            }
            self.sent += count;
            used += count;
        }
        used
    }

    fn next(&mut self) -> bool {
        let next = self.queues.iter_mut().find_map(Deque::pop_front);
        self.sent = 0;
        self.current = next.unwrap_or_default();
        !self.current.is_empty()
    }

    /// Frames that wait.
    pub fn waiting(&self) -> u16 {
        self.queues.iter().map(|queue| queue.len() as u16).sum()
    }

    /// Most that ever waited.
    pub fn most(&self) -> u16 {
        self.most
    }

    /// Whether a priority has room for so many more.
    pub fn has_room(&self, priority: Priority, frames: usize) -> bool {
        self.queues.get(priority as usize).is_some_and(|queue| queue.len() + frames <= DEPTH)
    }

    /// Frames that found no room, by priority.
    pub fn lost(&self) -> [u32; 4] {
        self.lost
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use stillpoint_core::wire::message::Message;
    use stillpoint_core::wire::receive::{Event, Receiver};
    use stillpoint_core::wire::status::{Gap, Hello, Status};

    /// Kinds of the frames in the bytes, as their place in the priorities and their number.
    fn read(bytes: &[u8]) -> std::vec::Vec<(Priority, u32)> {
        let mut receiver = Receiver::<SmallTable>::new(Direction::FromDevice);
        let (mut left, mut found) = (bytes, std::vec![]);
        while let Some(event) = receiver.step(&mut left) {
            let Event::Frame(frame) = event else { panic!("{event:?}") };
            found.push((frame.header.priority, frame.header.sequence));
        }
        found
    }

    #[test]
    fn the_urgent_goes_first_and_a_begun_frame_is_finished() {
        let mut link = Link::new(7);
        let mut bytes = std::vec![0; 4096];
        link.put(&Message::Status(Status::default()));
        let begun = link.pull(&mut bytes[..5]);
        link.put(&Message::Status(Status::default()));
        link.put(&Message::Gap(Gap::default()));
        link.put(&Message::Hello(Hello::default()));
        let used = begun + link.pull(&mut bytes[begun..]);
        let order = [(Priority::Curve, 0), (Priority::Alarm, 0), (Priority::Move, 0), (Priority::Curve, 1)];
        assert_eq!(read(&bytes[..used]), order);
        assert_eq!(link.pull(&mut bytes), 0);
    }

    #[test]
    fn what_finds_no_room_is_counted_and_its_number_is_missing() {
        let mut link = Link::new(7);
        for _ in 0..DEPTH + 3 {
            link.put(&Message::Gap(Gap::default()));
        }
        assert_eq!((link.lost(), link.waiting()), ([0, 3, 0, 0], DEPTH as u16));
        let mut bytes = std::vec![0; 4096];
        let used = link.pull(&mut bytes);
        link.put(&Message::Gap(Gap::default()));
        let all = used + link.pull(&mut bytes[used..]);
        assert_eq!(read(&bytes[..all]).last(), Some(&(Priority::Move, DEPTH as u32 + 3)));
    }
}
