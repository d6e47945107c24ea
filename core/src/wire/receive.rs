//! In: bytes in any chunks. Out: valid frames, and the number of bytes that were dropped.

use core::marker::PhantomData;

use super::LONGEST_BODY;
use super::cobs::{Broken, Decoder};
use super::crc::{Crc, SmallTable};
use super::frame::{Frame, Rejection};
use super::header::{Direction, Header};

/// Bytes that were no frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Corrupt {
    /// Number of bytes, the closing zero included. Unit: bytes
    pub bytes: u32,
    /// Why the bytes are no frame.
    pub why: Rejection,
}

/// What was received.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Event<'a> {
    /// A valid frame in the expected direction.
    Frame(Frame<'a>),
    /// A valid frame in the other direction: the link echoes, or the wrong end is plugged in.
    Echo(Header),
    /// Bytes that were no frame. The number of the next frame shows how many frames were lost with them.
    Corrupt(Corrupt),
}

/// Splits a stream of bytes into frames.
///
/// ```
/// # use stillpoint_core::wire::{crc::SmallTable, header::Direction, message::Message, receive::{Event, Receiver}};
/// let mut receiver = Receiver::<SmallTable>::new(Direction::FromDevice);
/// let mut bytes: &[u8] = b"any bytes\0";
/// while let Some(event) = receiver.step(&mut bytes) {
///     match event {
///         Event::Frame(frame) => drop(frame.read::<Message>()),
///         Event::Echo(_) => (),
///         Event::Corrupt(corrupt) => assert_eq!(corrupt.bytes, 10),
///     }
/// }
/// assert!(bytes.is_empty());
/// ```
#[derive(Clone, Debug)]
pub struct Receiver<C = SmallTable> {
    decoder: Decoder<LONGEST_BODY>,
    direction: Direction,
    crc: PhantomData<C>,
}

impl<C: Crc> Receiver<C> {
    /// A receiver of frames in this direction.
    pub fn new(direction: Direction) -> Receiver<C> {
        Receiver { decoder: Decoder::default(), direction, crc: PhantomData }
    }

    /// Removes bytes from the front of `bytes` up to the next event; removes all and returns `None` if there is none.
    #[inline]
    pub fn step(&mut self, bytes: &mut &[u8]) -> Option<Event<'_>> {
        let chunk = self.decoder.step(bytes)?;
        let checked = match chunk.body {
            Ok(body) => Frame::check::<C>(body),
            Err(Broken::Cut) => Err(Rejection::Cut),
            Err(Broken::TooLong) => Err(Rejection::TooLong),
        };
        Some(match checked {
            Ok(frame) if frame.header.direction == self.direction => Event::Frame(frame),
            Ok(frame) => Event::Echo(frame.header),
            Err(why) => Event::Corrupt(Corrupt { bytes: chunk.bytes, why }),
        })
    }

    /// No more bytes follow: returns the incomplete frame at the end, if there is one.
    pub fn finish(&mut self) -> Option<Corrupt> {
        let bytes = self.decoder.finish();
        (bytes > 0).then_some(Corrupt { bytes, why: Rejection::Cut })
    }
}
