//! In: a frame as it came, or as it was stored. Out: what it is known by, and the message in it.

use crate::checksum::FastCrc;
use stillpoint_core::wire::frame::Frame;
use stillpoint_core::wire::header::Header;
use stillpoint_core::wire::message::Message;

/// A monitor's own number.
pub(super) type DeviceNumber = [u8; 12];

/// The number under which frames of an unknown monitor are stored.
pub(super) const UNKNOWN_DEVICE: DeviceNumber = [0; 12];

/// What a frame is known by. `device` is the number of the monitor in this store.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct FrameKey {
    pub(super) device: i64,
    pub(super) boot: u32,
    pub(super) priority: u8,
    pub(super) sequence: u32,
}

impl FrameKey {
    pub(super) fn new(device: i64, header: &Header) -> FrameKey {
        FrameKey { device, boot: header.boot, priority: header.priority as u8, sequence: header.sequence }
    }
}

/// A frame that waits in memory to be stored.
#[derive(Debug)]
pub(super) struct PendingFrame {
    /// Whose it is; none before the first hello on the line.
    pub(super) number: Option<DeviceNumber>,
    pub(super) header: Header,
    /// No row of a derived table follows from it, so it needn't be decoded.
    pub(super) is_raw_only: bool,
    /// Unit: µs since 1970, UTC
    pub(super) arrived: i64,
    pub(super) body: Box<[u8]>,
}

/// A stored frame whose checksum is right.
#[derive(Clone, Copy, Debug)]
pub(super) struct StoredFrame<'a> {
    pub(super) device: i64,
    /// Unit: µs since 1970, UTC
    pub(super) arrived: i64,
    pub(super) frame: Frame<'a>,
}

impl<'a> StoredFrame<'a> {
    /// From a body as it was stored; none if its checksum is wrong.
    pub(super) fn new(device: i64, arrived: i64, body: &'a [u8]) -> Option<StoredFrame<'a>> {
        let frame = Frame::check::<FastCrc>(body).ok()?;
        Some(StoredFrame { device, arrived, frame })
    }

    /// What the frame is known by.
    pub(super) fn key(&self) -> FrameKey {
        FrameKey::new(self.device, &self.frame.header)
    }

    /// The message in it; none of a kind that this version does not know.
    pub(super) fn message(&self) -> Option<Message<'a>> {
        self.frame.read::<Message>().ok().map(|read| read.payload)
    }
}

/// The message in a stored body; none if its checksum is wrong or its kind is not known.
pub(super) fn message(body: &[u8]) -> Option<Message<'_>> {
    StoredFrame::new(0, 0, body)?.message()
}

/// Whether a frame is a curve, a trace or ringing, by its kind (core/WIRE.md): no row of a table follows from those.
pub(super) fn is_raw_only(frame: &Frame) -> bool {
    matches!(frame.kind(), 3 | 9 | 16)
}

/// A body without its first byte, which holds the mark of a replay, and without its checksum: what is equal when a
/// frame is sent again out of the log.
pub(super) fn content(body: &[u8]) -> Option<&[u8]> {
    body.get(1..body.len().checked_sub(4)?)
}

#[cfg(test)]
mod tests {
    use super::*;
    use stillpoint_core::wire::curve::Curve;
    use stillpoint_core::wire::frame::{Payload, encode_body};
    use stillpoint_core::wire::header::{Direction, Numbers};
    use stillpoint_core::wire::record::Move;
    use stillpoint_core::wire::ringing::Ringing;
    use stillpoint_core::wire::settings::Settings;
    use stillpoint_core::wire::status::{Hello, Status};

    #[test]
    fn only_curves_traces_and_ringing_are_raw_only() {
        let points = std::iter::once(stillpoint_core::CurvePoint { window: 64, settling: None });
        let mut buffer = [0; stillpoint_core::wire::LONGEST_PIECE];
        let curve = Curve::pack((0, 1, 0), &mut points.peekable(), &mut buffer).unwrap();
        for (message, raw_only) in [
            (Message::Hello(Hello::default()), false),
            (Message::Settings(Settings::default()), false),
            (Message::Move(Move::default()), false),
            (Message::Curve(curve), true),
            (Message::Ringing(Ringing::default()), true),
            (Message::Status(Status::default()), false),
        ] {
            let header = Numbers::new(Direction::FromDevice, 1).next_header(message.priority());
            let mut body = [0; stillpoint_core::wire::LONGEST_BODY];
            let body = encode_body::<FastCrc>(&header, &message, &mut body).unwrap();
            assert_eq!(is_raw_only(&Frame::check::<FastCrc>(body).unwrap()), raw_only, "{message:?}");
        }
    }
}
