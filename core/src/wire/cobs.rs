//! In: a body of bytes. Out: the same without a zero in it, closed by one; and back from any chunks.
//!
//! Consistent overhead byte stuffing: S. Cheshire and M. Baker, IEEE/ACM Transactions on Networking
//! 7(2), 1999. Own code and not the `cobs` crate because that one works byte by byte (a third of the
//! speed), does not say how much of a chunk it had used when a frame was broken, so that dropped
//! bytes can't be counted, and needs room for a second copy to encode.

/// Longest run of bytes without a zero that one length byte covers.
const LONGEST_RUN: usize = 254;

/// Encodes in place, and closes with a zero.
///
/// The body of `length` bytes stands in `buffer` from its second byte on; the first is for COBS, and
/// one more behind the body for the closing zero. Returns the bytes used, or nothing where the
/// buffer is too small or the body longer than 254 bytes: then one byte in front would not do.
pub fn encode_in_place(buffer: &mut [u8], length: usize) -> Option<usize> {
    let used = buffer.get_mut(..length.checked_add(2)?).filter(|_| length <= LONGEST_RUN)?;
    // From the back: each zero becomes the distance to the next one, or to the end.
    let mut distance = 0_u8;
    for (index, byte) in used.iter_mut().enumerate().rev() {
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

/// A frame that can't be decoded.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Broken {
    /// A zero came before the frame was complete.
    Cut,
    /// It is longer than any frame may be.
    TooLong,
}

/// One frame, or what is left of it, with the bytes it took on the wire, the closing zero included.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Chunk<'a> {
    /// What stood in it.
    pub body: Result<&'a [u8], Broken>,
    /// Unit: bytes
    pub bytes: u32,
}

/// Takes bytes until a frame of at most `N` bytes is complete.
#[derive(Clone, Debug)]
pub struct Decoder<const N: usize> {
    body: [u8; N],
    length: usize,
    /// Bytes of the present run still to come.
    run: usize,
    /// A zero stands between the present run and the next.
    zero: bool,
    too_long: bool,
    /// Bytes since the last zero.
    taken: u32,
}

impl<const N: usize> Default for Decoder<N> {
    fn default() -> Decoder<N> {
        Decoder { body: [0; N], length: 0, run: 0, zero: false, too_long: false, taken: 0 }
    }
}

impl<const N: usize> Decoder<N> {
    /// Takes bytes off the front of `left` up to the end of a frame; nothing if none ends in it.
    ///
    /// Zeros between frames are skipped.
    #[inline]
    pub fn step(&mut self, left: &mut &[u8]) -> Option<Chunk<'_>> {
        while let Some((first, rest)) = left.split_first() {
            if *first == 0 {
                *left = rest;
                if self.taken > 0 {
                    return Some(self.close());
                }
            } else if self.run == 0 {
                *left = rest;
                self.taken = self.taken.saturating_add(1);
                self.open_run(*first);
            } else {
                self.copy_run(left);
            }
        }
        None
    }

    /// No more bytes come: how many were left of a frame without an end.
    pub fn finish(&mut self) -> u32 {
        let bytes = self.taken;
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
    fn copy_run(&mut self, left: &mut &[u8]) {
        let (run, _) = left.split_at(self.run.min(left.len()));
        let length =
            if run.contains(&0) { run.iter().take_while(|byte| **byte != 0).count() } else { run.len() };
        let (run, rest) = left.split_at_checked(length).unwrap_or_default();
        self.run -= length;
        self.taken = self.taken.saturating_add(length as u32);
        self.append(run);
        *left = rest;
    }

    #[inline]
    fn append(&mut self, bytes: &[u8]) {
        let end = self.length + bytes.len();
        match self.body.get_mut(self.length..end) {
            Some(place) => {
                // (`copy_from_slice` would be a panic in the compiler's eyes.)
                place.iter_mut().zip(bytes).for_each(|(place, byte)| *place = *byte);
                self.length = end;
            }
            None => self.too_long = true,
        }
    }

    #[inline]
    fn close(&mut self) -> Chunk<'_> {
        let (length, bytes) = (self.length, self.taken.saturating_add(1));
        let whole = match (self.too_long, self.run) {
            (true, _) => Err(Broken::TooLong),
            (false, 0) => Ok(()),
            (false, _) => Err(Broken::Cut),
        };
        (self.length, self.run, self.taken) = (0, 0, 0);
        (self.zero, self.too_long) = (false, false);
        Chunk { body: whole.map(|()| self.body.get(..length).unwrap_or_default()), bytes }
    }
}
