//! In: what came over a link. Out: how much of it was what; nothing that is lost goes uncounted.

use super::frame::{Read, Unreadable};
use super::receive::Corrupt;
use super::sequence::Continuity;

/// What one end has heard of the other.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    /// Live frames that came once.
    pub frames: u64,
    /// Frames that were sent again out of the log.
    pub replayed: u64,
    /// Live frames that never came; late ones are taken off again.
    pub lost: u64,
    /// Frames that came late.
    pub reordered: u64,
    /// Frames that came again unasked.
    pub duplicates: u64,
    /// Times the sender started anew.
    pub restarts: u64,
    /// Stretches of bytes that were no frame.
    pub corrupt: u64,
    /// Their bytes. Unit: bytes
    pub corrupt_bytes: u64,
    /// Frames of a kind that is not known here.
    pub unknown_kinds: u64,
    /// Frames with something in them that is not known here.
    pub unreadable: u64,
    /// Frames whose end was skipped, because a later version had appended to it.
    pub longer: u64,
    /// Frames going the other way.
    pub echoes: u64,
}

impl Counts {
    /// Adds bytes that were no frame.
    pub fn corrupt(&mut self, corrupt: Corrupt) {
        self.corrupt += 1;
        self.corrupt_bytes += u64::from(corrupt.bytes);
    }

    /// Adds a frame by its place.
    #[inline]
    pub fn place(&mut self, continuity: Continuity) {
        match continuity {
            Continuity::First | Continuity::Next => self.frames += 1,
            Continuity::Lost(missing) => {
                self.frames += 1;
                self.lost += u64::from(missing);
            }
            Continuity::Restart { missing } => {
                self.frames += 1;
                self.restarts += 1;
                self.lost += u64::from(missing);
            }
            Continuity::Reordered => {
                self.frames += 1;
                self.reordered += 1;
                self.lost = self.lost.saturating_sub(1);
            }
            Continuity::Duplicate => self.duplicates += 1,
            Continuity::Replayed => self.replayed += 1,
        }
    }

    /// Adds what became of a payload.
    #[inline]
    pub fn read<P>(&mut self, read: &Result<Read<P>, Unreadable>) {
        match read {
            Ok(Read { extra: 0, .. }) => (),
            Ok(_) => self.longer += 1,
            Err(Unreadable::Kind(_)) => self.unknown_kinds += 1,
            Err(Unreadable::Payload(_)) => self.unreadable += 1,
            Err(Unreadable::Direction) => self.echoes += 1,
        }
    }

    /// Adds a frame going the other way.
    pub fn echo(&mut self) {
        self.echoes += 1;
    }
}
