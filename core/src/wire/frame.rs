//! In: a header and a payload. Out: a frame of bytes; and a checked view of one, from which the payload is read.
//!
//! Header, kind, payload, then the CRC of all three, little end first. Closed by COBS on a link; a
//! log keeps the same body as it is.

use serde::{Deserialize, Serialize};

use super::cobs;
use super::crc::Crc;
use super::header::{Direction, Header, Priority};
use super::write::write;
use super::{CURRENT, LONGEST_BODY, LONGEST_FRAME, OLDEST};

/// Bytes of the CRC. Unit: bytes
const CRC: usize = 4;

/// The payload does not fit a frame. Nothing of the wire's own is so long; a caller's text may be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TooLong;

/// Room for any frame.
pub type Buffer = [u8; LONGEST_FRAME];

/// Makes a frame for a link; the closing zero is in it.
pub fn encode<'o, 'p, C: Crc>(
    header: &Header,
    payload: &impl Payload<'p>,
    out: &'o mut Buffer,
) -> Result<&'o [u8], TooLong> {
    let body = out.get_mut(1..=LONGEST_BODY).ok_or(TooLong)?;
    let length = body_of::<C>(header, payload, body).ok_or(TooLong)?;
    let used = cobs::encode_in_place(out, length).ok_or(TooLong)?;
    out.get(..used).ok_or(TooLong)
}

/// Makes the body of a frame for a log, without COBS.
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

/// Puts the CRC behind the first `length` bytes; returns the length with it.
fn seal<C: Crc>(body: &mut [u8], length: usize) -> Option<usize> {
    let (sealed, rest) = body.split_at_mut_checked(length)?;
    *rest.first_chunk_mut::<CRC>()? = C::crc(sealed).to_le_bytes();
    Some(length + CRC)
}

/// Why bytes are no frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Why {
    /// A zero came before the frame was complete, or no more bytes came.
    Cut,
    /// Longer than any frame may be.
    TooLong,
    /// Shorter than a header and a CRC.
    TooShort,
    /// The CRC is not that of the bytes.
    Crc,
    /// A version that is no longer read, or none.
    Version,
}

/// Why the payload of a sound frame can't be read; the frame is skipped, nothing else is affected.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unreadable {
    /// A kind of a later version.
    Kind(u8),
    /// A kind that is known, with something in it that is not.
    Payload(u8),
    /// A message was looked for in a command, or the other way.
    Direction,
}

/// A payload, and what a later version had appended to it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Read<P> {
    /// What is known of it.
    pub payload: P,
    /// Bytes behind it that were skipped. Unit: bytes
    pub extra: usize,
}

/// What can stand in a frame: everything that goes one way.
pub trait Payload<'a>: Serialize + Deserialize<'a> {
    /// Who says it.
    const DIRECTION: Direction;
    /// Kinds known; at most 127, so that a kind is one byte.
    const KINDS: u8;
    /// Which frames it may overtake, and with which it is numbered.
    fn priority(&self) -> Priority;
}

/// A frame whose CRC is right.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Frame<'a> {
    /// Who sent it, when.
    pub header: Header,
    /// Kind and payload.
    content: &'a [u8],
    /// All of it, the CRC included.
    body: &'a [u8],
}

impl<'a> Frame<'a> {
    /// Checks a body as it stands in a log or comes out of COBS.
    #[inline]
    pub fn check<C: Crc>(body: &'a [u8]) -> Result<Frame<'a>, Why> {
        let (bytes, crc) = body.split_last_chunk::<CRC>().ok_or(Why::TooShort)?;
        if C::crc(bytes) != u32::from_le_bytes(*crc) {
            return Err(Why::Crc);
        }
        let (header, content) = Header::read(bytes).ok_or(Why::TooShort)?;
        if header.version < OLDEST {
            return Err(Why::Version);
        }
        if content.is_empty() { Err(Why::TooShort) } else { Ok(Frame { header, content, body }) }
    }

    /// Number of its kind, as the sender counts them.
    pub fn kind(&self) -> u8 {
        self.content.first().copied().unwrap_or_default()
    }

    /// The bytes behind the kind.
    pub fn payload(&self) -> &'a [u8] {
        self.content.get(1..).unwrap_or_default()
    }

    /// The whole body, as a log keeps it.
    pub fn body(&self) -> &'a [u8] {
        self.body
    }

    /// Whether the sender writes a later version than is known here.
    pub fn is_newer(&self) -> bool {
        self.header.version > CURRENT
    }

    /// What it says.
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

    /// The same frame for a link, marked as sent again, with its number and version kept.
    pub fn again<'o, C: Crc>(&self, out: &'o mut Buffer) -> Result<&'o [u8], TooLong> {
        let body = out.get_mut(1..=LONGEST_BODY).ok_or(TooLong)?;
        let start = Header { replay: true, ..self.header }.write(body).ok_or(TooLong)?;
        let end = start + self.content.len();
        let place = body.get_mut(start..end).ok_or(TooLong)?;
        // (`copy_from_slice` would be a panic in the compiler's eyes.)
        place.iter_mut().zip(self.content).for_each(|(place, byte)| *place = *byte);
        let length = seal::<C>(body, end).ok_or(TooLong)?;
        let used = cobs::encode_in_place(out, length).ok_or(TooLong)?;
        out.get(..used).ok_or(TooLong)
    }
}
