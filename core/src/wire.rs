//! In: messages of the device, commands of the host. Out: frames of bytes; and messages and commands decoded from
//! bytes.
//!
//! Every byte between the monitor and anything else is encoded and decoded here. `WIRE.md` beside this crate documents
//! the layout with worked bytes, which a test decodes. Payloads are structs of their own, separate from those of the
//! stages, so that a stage can change without changing a byte. The modules, in order of their dependencies:
//!
//! [`header`] assigns a frame its sequence number before it can be lost; [`frame`] adds a [`crc`] and encodes the
//! frame by [`cobs`]. The payloads are [`record`], [`curve`], [`trace`], [`settings`], [`status`], [`alarm`],
//! [`drift`], [`finding`] and [`job`]; [`message`] (from the device) and [`command`] (from the host) number their kinds.
//! [`receive`] splits a stream of bytes into frames, [`sequence`] finds loss, restart and reorder, and [`counts`]
//! counts them.
//!
//! # Versions
//!
//! Every frame carries a version number. A new version only appends:
//!
//! 1. A new kind goes to the end of [`message::Message`] or [`command::Command`]. Readers that don't
//!    know it skip it and count it: [`frame::Unreadable::Kind`].
//! 2. A new field goes to the end of a payload, with `deserialize_with` = [`appended`] and a zero
//!    that means "not sent". Older readers skip it and count it ([`frame::Read::extra`]); newer
//!    readers of older frames get the zero.
//! 3. A new variant goes to the end of an enum inside a payload. Older readers can't read such a
//!    frame and count it: [`frame::Unreadable::Payload`].
//! 4. Nothing else changes: no field, kind or variant is removed, moved, retyped or given another
//!    meaning; header and framing are the same in all versions.
//! 5. Each version has a file of golden bytes in `tests/tests/wire_versions`. [`CURRENT`] is raised with the first
//!    change after a release; while it is above [`RELEASED`] it is open, and its file grows with it. A release
//!    closes the file: its bytes are never edited again.
//! 6. Support of an old version ends when [`OLDEST`] is raised; its frames are then [`frame::Rejection::Version`].

use serde::{Deserialize, Deserializer};

pub mod crc;
pub mod cobs;
mod varint;
mod write;
pub mod header;
pub mod frame;
pub mod record;
pub mod curve;
pub mod trace;
pub mod settings;
pub mod status;
pub mod alarm;
pub mod drift;
pub mod finding;
pub mod job;
pub mod ringing;
pub mod message;
pub mod command;
pub mod receive;
pub mod sequence;
pub mod counts;

/// Oldest version that is decoded.
pub const OLDEST: u8 = 1;
/// The version that is encoded.
pub const CURRENT: u8 = 2;
/// The last version that was released. A later one is open: it may still grow, by the rules above.
pub const RELEASED: u8 = 1;

/// Most bytes of header, payload and CRC together, so that COBS always adds exactly one byte. Unit: bytes
pub const LONGEST_BODY: usize = 254;
/// Most bytes of a frame on the wire, its closing zero included. Unit: bytes
pub const LONGEST_FRAME: usize = LONGEST_BODY + 2;
/// Most packed bytes of a curve or trace in one frame; longer ones are sent in several parts. Unit: bytes
pub const LONGEST_PIECE: usize = 192;

/// Reads a field that a later version appended; zero if an older payload ends before it.
///
/// Only for the last fields of a payload. The CRC was checked before, so that the only reason why the field can't be
/// read is the end of the payload.
pub fn appended<'de, D: Deserializer<'de>, T: Deserialize<'de> + Default>(from: D) -> Result<T, D::Error> {
    Ok(T::deserialize(from).unwrap_or_default())
}
