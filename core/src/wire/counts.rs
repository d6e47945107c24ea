//! In: what one end of a link received. Out: counts of frames, losses and corrupt bytes; every loss is counted.

use super::frame::{Read, Unreadable};
use super::receive::Corrupt;
use super::sequence::Continuity;

/// Counts of what one end of a link received from the other.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    /// Live frames received, duplicates excluded.
    pub frames: u64,
    /// Replayed frames.
    pub replayed: u64,
    /// Live frames lost; a frame that is received late is subtracted again.
    pub lost: u64,
    /// Frames received late.
    pub reordered: u64,
    /// Live frames received more than once.
    pub duplicates: u64,
    /// Restarts of the sender.
    pub restarts: u64,
    /// Runs of bytes that were no frame.
    pub corrupt: u64,
    /// Bytes that were no frame. Unit: bytes
    pub corrupt_bytes: u64,
    /// Frames of an unknown kind, from a later version.
    pub unknown_kinds: u64,
    /// Frames of a known kind whose payload can't be read.
    pub unreadable: u64,
    /// Frames with fields that a later version appended, which were skipped.
    pub longer: u64,
    /// Frames in the other direction.
    pub echoes: u64,
}

impl Counts {
    /// Adds bytes that were no frame.
    pub fn corrupt(&mut self, corrupt: Corrupt) {
        self.corrupt += 1;
        self.corrupt_bytes += u64::from(corrupt.bytes);
    }

    /// Adds a frame by its continuity.
    pub fn add_frame(&mut self, continuity: Continuity) {
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

    /// Adds the result of reading a payload.
    pub fn read<P>(&mut self, read: &Result<Read<P>, Unreadable>) {
        match read {
            Ok(Read { extra: 0, .. }) => (),
            Ok(_) => self.longer += 1,
            Err(Unreadable::Kind(_)) => self.unknown_kinds += 1,
            Err(Unreadable::Payload(_)) => self.unreadable += 1,
            Err(Unreadable::Direction) => self.echoes += 1,
        }
    }

    /// Adds a frame in the other direction.
    pub fn echo(&mut self) {
        self.echoes += 1;
    }
}
