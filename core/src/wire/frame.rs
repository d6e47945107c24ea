//! In: a header and a payload. Out: a frame of bytes; and a checked view of one, from which the payload is read.
//!
//! The body of a frame is header, kind, payload, then the CRC of all three, little end first. A link carries it
//! encoded by COBS; a log stores it without.

use serde::{Deserialize, Serialize};

use super::cobs;
use super::crc::Crc;
use super::header::{Direction, Header, Priority};
use super::write::write;
use super::{CURRENT, LONGEST_BODY, LONGEST_FRAME, OLDEST};

/// Bytes of the CRC. Unit: bytes
const CRC: usize = 4;

/// The payload does not fit a frame. Only a payload with a caller's text can be that long.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TooLong;

/// A buffer that any frame fits.
pub type Buffer = [u8; LONGEST_FRAME];

/// Encodes a frame for a link, with the closing zero.
pub fn encode<'o, 'p, C: Crc>(
    header: &Header,
    payload: &impl Payload<'p>,
    out: &'o mut Buffer,
) -> Result<&'o [u8], TooLong> {
    let body = out.get_mut(1..=LONGEST_BODY).ok_or(TooLong)?;
    let length = body_of::<C>(header, payload, body).ok_or(TooLong)?;
    let length = cobs::encode_in_place(out, length).ok_or(TooLong)?;
    out.get(..length).ok_or(TooLong)
}

/// Encodes the body of a frame for a log, without COBS.
pub fn encode_body<'o, 'p, C: Crc>(
    header: &Header,
    payload: &impl Payload<'p>,
    out: &'o mut [u8],
) -> Result<&'o [u8], TooLong> {
    let room = out.len().min(LONGEST_BODY);
    let length = out.get_mut(..room).and_then(|out| body_of::<C>(header, payload, out)).ok_or(TooLong)?;
    out.get(..length).ok_or(TooLong)
}

fn body_of<'p, C: Crc>(header: &Header, payload: &impl Payload<'p>, body: &mut [u8]) -> Option<usize> {
    let start = header.write(body)?;
    let length = start + write(payload, body.get_mut(start..)?)?;
    seal::<C>(body, length)
}

/// Appends the CRC to the first `length` bytes; returns the length with the CRC.
fn seal<C: Crc>(body: &mut [u8], length: usize) -> Option<usize> {
    let (sealed, rest) = body.split_at_mut_checked(length)?;
    *rest.first_chunk_mut::<CRC>()? = C::crc(sealed).to_le_bytes();
    Some(length + CRC)
}

/// Why bytes are no frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Rejection {
    /// A zero came before the frame was complete, or the bytes ended.
    Cut,
    /// Longer than any valid frame.
    TooLong,
    /// Shorter than a header and a CRC.
    TooShort,
    /// The CRC does not match.
    Crc,
    /// A version below [`OLDEST`].
    Version,
}

/// Why the payload of a valid frame can't be read; only this frame is skipped.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unreadable {
    /// The kind is unknown: it is of a later version.
    Kind(u8),
    /// The kind is known, but a variant or length in the payload is not.
    Payload(u8),
    /// The frame is a command and a message was expected, or the reverse.
    Direction,
}

/// A payload, and the length of what a later version appended to it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Read<P> {
    /// The payload, as far as this version knows it.
    pub payload: P,
    /// Length of the appended fields, which were skipped. Unit: bytes
    pub extra: usize,
}

/// Payloads of one direction: all messages or all commands.
pub trait Payload<'a>: Serialize + Deserialize<'a> {
    /// Direction of the frames.
    const DIRECTION: Direction;
    /// Number of kinds; at most 127, so that a kind is one byte.
    const KINDS: u8;
    /// Priority of the frame, which also selects its number series.
    fn priority(&self) -> Priority;
}

/// A valid frame: its CRC matches.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Frame<'a> {
    /// Header of the frame.
    pub header: Header,
    /// Kind and payload.
    content: &'a [u8],
    /// Header, kind, payload and CRC.
    body: &'a [u8],
}

impl<'a> Frame<'a> {
    /// Checks a body from a log or from the COBS decoder.
    #[inline]
    pub fn check<C: Crc>(body: &'a [u8]) -> Result<Frame<'a>, Rejection> {
        let (bytes, crc) = body.split_last_chunk::<CRC>().ok_or(Rejection::TooShort)?;
        if C::crc(bytes) != u32::from_le_bytes(*crc) {
            return Err(Rejection::Crc);
        }
        let (header, content) = Header::read(bytes).ok_or(Rejection::TooShort)?;
        if header.version < OLDEST {
            return Err(Rejection::Version);
        }
        if content.is_empty() { Err(Rejection::TooShort) } else { Ok(Frame { header, content, body }) }
    }

    /// Kind number of the payload.
    pub fn kind(&self) -> u8 {
        self.content.first().copied().unwrap_or_default()
    }

    /// The bytes of the payload, without the kind.
    pub fn payload(&self) -> &'a [u8] {
        self.content.get(1..).unwrap_or_default()
    }

    /// The whole body, as a log stores it.
    pub fn body(&self) -> &'a [u8] {
        self.body
    }

    /// Whether the sender's version is later than [`CURRENT`].
    pub fn is_newer(&self) -> bool {
        self.header.version > CURRENT
    }

    /// Decodes the payload.
    #[inline]
    pub fn read<P: Payload<'a>>(&self) -> Result<Read<P>, Unreadable> {
        let kind = self.kind();
        if self.header.direction != P::DIRECTION {
            return Err(Unreadable::Direction);
        }
        if kind >= P::KINDS {
            return Err(Unreadable::Kind(kind));
        }
        match postcard::take_from_bytes(self.content) {
            Ok((payload, rest)) => Ok(Read { payload, extra: rest.len() }),
            Err(_) => Err(Unreadable::Payload(kind)),
        }
    }

    /// Encodes the frame for a link as a replay, with its number and version unchanged.
    pub fn as_replay<'o, C: Crc>(&self, out: &'o mut Buffer) -> Result<&'o [u8], TooLong> {
        let body = out.get_mut(1..=LONGEST_BODY).ok_or(TooLong)?;
        let start = Header { replay: true, ..self.header }.write(body).ok_or(TooLong)?;
        let end = start + self.content.len();
        let content = body.get_mut(start..end).ok_or(TooLong)?;
        // (`copy_from_slice` would leave a panic in the image.)
        content.iter_mut().zip(self.content).for_each(|(to, from)| *to = *from);
        let length = seal::<C>(body, end).ok_or(TooLong)?;
        let length = cobs::encode_in_place(out, length).ok_or(TooLong)?;
        out.get(..length).ok_or(TooLong)
    }
}
