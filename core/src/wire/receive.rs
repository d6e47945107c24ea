//! In: bytes in any chunks. Out: frames whose CRC is right, and what had to be dropped.

use core::marker::PhantomData;

use super::LONGEST_BODY;
use super::cobs::{Broken, Decoder};
use super::crc::{Crc, SmallTable};
use super::frame::{Frame, Why};
use super::header::{Direction, Header};

/// Bytes that were no frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Corrupt {
    /// How many, the closing zero included. Unit: bytes
    pub bytes: u32,
    /// Why.
    pub why: Why,
}

/// What came.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Event<'a> {
    /// A sound frame, going the way that is listened to.
    Frame(Frame<'a>),
    /// A sound frame going the other way: the line echoes, or the wrong end is plugged in.
    Echo(Header),
    /// Bytes that were no frame. What was lost with them, the next frame's number tells.
    Corrupt(Corrupt),
}

/// Takes a stream of bytes apart.
///
/// ```
/// # use stillpoint_core::wire::{crc::SmallTable, header::Direction, message::Message, receive::{Event, Receiver}};
/// let mut receiver = Receiver::<SmallTable>::new(Direction::FromDevice);
/// let mut left: &[u8] = b"any bytes\0";
/// while let Some(event) = receiver.step(&mut left) {
///     match event {
///         Event::Frame(frame) => drop(frame.read::<Message>()),
///         Event::Echo(_) => (),
///         Event::Corrupt(corrupt) => assert_eq!(corrupt.bytes, 10),
///     }
/// }
/// assert!(left.is_empty());
/// ```
#[derive(Clone, Debug)]
pub struct Receiver<C = SmallTable> {
    decoder: Decoder<LONGEST_BODY>,
    direction: Direction,
    crc: PhantomData<C>,
}

impl<C: Crc> Receiver<C> {
    /// Listens to one way.
    pub fn new(direction: Direction) -> Receiver<C> {
        Receiver { decoder: Decoder::default(), direction, crc: PhantomData }
    }

    /// Takes bytes off the front of `left` up to the next event; all of them if there is none.
    #[inline]
    pub fn step(&mut self, left: &mut &[u8]) -> Option<Event<'_>> {
        let chunk = self.decoder.step(left)?;
        let checked = match chunk.body {
            Ok(body) => Frame::check::<C>(body),
            Err(Broken::Cut) => Err(Why::Cut),
            Err(Broken::TooLong) => Err(Why::TooLong),
        };
        Some(match checked {
            Ok(frame) if frame.header.direction == self.direction => Event::Frame(frame),
            Ok(frame) => Event::Echo(frame.header),
            Err(why) => Event::Corrupt(Corrupt { bytes: chunk.bytes, why }),
        })
    }

    /// No more bytes come: what is left of a frame without an end, if anything.
    pub fn finish(&mut self) -> Option<Corrupt> {
        let bytes = self.decoder.finish();
        (bytes > 0).then_some(Corrupt { bytes, why: Why::Cut })
    }
}
