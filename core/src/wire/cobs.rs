//! In: the body of a frame. Out: its COBS encoding, which ends with the only zero; and bodies decoded from any chunks.
//!
//! Consistent overhead byte stuffing: S. Cheshire and M. Baker, IEEE/ACM Transactions on Networking
//! 7(2), 1999. Own code and not the `cobs` crate because that one works byte by byte (a third of the
//! speed), does not return how much of a chunk it had consumed when a frame was broken, so that dropped
//! bytes can't be counted, and needs room for a second copy to encode.

/// Longest run of bytes without a zero that one length byte covers.
const LONGEST_RUN: usize = 254;

/// Encodes in place, with the closing zero.
///
/// The body of `length` bytes begins at the second byte of `buffer`; the first byte is for COBS, and one byte behind
/// the body for the closing zero. Returns the length of the encoding; `None` if the buffer is too small, or the body
/// longer than 254 bytes, for which COBS needs more than one byte in front.
pub fn encode_in_place(buffer: &mut [u8], length: usize) -> Option<usize> {
    let encoding = buffer.get_mut(..length.checked_add(2)?).filter(|_| length <= LONGEST_RUN)?;
    // From the back: each zero becomes the distance to the next zero, or to the end.
    let mut distance = 0_u8;
    for (index, byte) in encoding.iter_mut().enumerate().rev() {
        if index == length + 1 {
            *byte = 0;
        } else if index == 0 || *byte == 0 {
            *byte = distance + 1;
            distance = 0;
            continue;
        } else {
            distance += 1;
        }
    }
    Some(length + 2)
}

/// Why a frame can't be decoded.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Broken {
    /// A zero came before the frame was complete.
    Cut,
    /// The frame is longer than any valid frame.
    TooLong,
}

/// One frame, decoded or broken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Chunk<'a> {
    /// Body of the frame, or why it can't be decoded.
    pub body: Result<&'a [u8], Broken>,
    /// Length of the frame on the wire, the closing zero included. Unit: bytes
    pub bytes: u32,
}

/// Decodes frames whose bodies have at most `N` bytes.
#[derive(Clone, Debug)]
pub struct Decoder<const N: usize> {
    body: [u8; N],
    length: usize,
    /// Bytes of the current run that are still to come.
    run: usize,
    /// A zero lies between the current run and the next.
    zero: bool,
    too_long: bool,
    /// Bytes consumed since the last zero.
    consumed: u32,
}

impl<const N: usize> Default for Decoder<N> {
    fn default() -> Decoder<N> {
        Decoder { body: [0; N], length: 0, run: 0, zero: false, too_long: false, consumed: 0 }
    }
}

impl<const N: usize> Decoder<N> {
    /// Removes bytes from the front of `bytes` up to the end of a frame; removes all and returns `None` if no frame
    /// ends in them. Zeros between frames are skipped.
    #[inline]
    pub fn step(&mut self, bytes: &mut &[u8]) -> Option<Chunk<'_>> {
        while let Some((first, rest)) = bytes.split_first() {
            if *first == 0 {
                *bytes = rest;
                if self.consumed > 0 {
                    return Some(self.close());
                }
            } else if self.run == 0 {
                *bytes = rest;
                self.consumed = self.consumed.saturating_add(1);
                self.open_run(*first);
            } else {
                self.copy_run(bytes);
            }
        }
        None
    }

    /// No more bytes follow: returns the length of the incomplete frame at the end, 0 if there is none. Unit: bytes
    pub fn finish(&mut self) -> u32 {
        let bytes = self.consumed;
        *self = Decoder::default();
        bytes
    }

    #[inline]
    fn open_run(&mut self, code: u8) {
        if self.zero {
            self.append(&[0]);
        }
        self.run = usize::from(code) - 1;
        self.zero = self.run < LONGEST_RUN;
    }

    #[inline]
    fn copy_run(&mut self, bytes: &mut &[u8]) {
        let (run, _) = bytes.split_at(self.run.min(bytes.len()));
        let length =
            if run.contains(&0) { run.iter().take_while(|byte| **byte != 0).count() } else { run.len() };
        let (run, rest) = bytes.split_at_checked(length).unwrap_or_default();
        self.run -= length;
        self.consumed = self.consumed.saturating_add(length as u32);
        self.append(run);
        *bytes = rest;
    }

    #[inline]
    fn append(&mut self, bytes: &[u8]) {
        let end = self.length + bytes.len();
        match self.body.get_mut(self.length..end) {
            Some(free) => {
                // (`copy_from_slice` would leave a panic in the image.)
                free.iter_mut().zip(bytes).for_each(|(to, from)| *to = *from);
                self.length = end;
            }
            None => self.too_long = true,
        }
    }

    #[inline]
    fn close(&mut self) -> Chunk<'_> {
        let (length, bytes) = (self.length, self.consumed.saturating_add(1));
        let checked = match (self.too_long, self.run) {
            (true, _) => Err(Broken::TooLong),
            (false, 0) => Ok(()),
            (false, _) => Err(Broken::Cut),
        };
        (self.length, self.run, self.consumed) = (0, 0, 0);
        (self.zero, self.too_long) = (false, false);
        Chunk { body: checked.map(|()| self.body.get(..length).unwrap_or_default()), bytes }
    }
}
