//! In: what the stages found, and what the host wants. Out: frames of bytes, and the same back again.
//!
//! Every byte between the monitor and anything else is made and read here; `WIRE.md` beside this
//! crate tells the layout with worked bytes, which a test executes. Frames carry their own structs,
//! so that a stage can change without changing a byte. Modules stand in the order they need each other:
//!
//! [`header`] numbers a frame before it can be lost; [`frame`] seals it with a [`crc`] and closes it by
//! [`cobs`]. [`record`], [`curve`], [`trace`], [`settings`], [`status`], [`watch`], [`finding`] are the
//! payloads; [`message`] (device to host) and [`command`] (host to device) name their kinds. [`receive`] takes any
//! chunks of bytes apart again, [`sequence`] tells loss, restart and reorder apart, [`counts`] counts.
//!
//! # Versions
//!
//! A version number stands in every frame. Versions only append:
//!
//! 1. A new kind goes to the end of [`message::Message`] or [`command::Command`]. Readers that don't
//!    know it skip it and count it: [`frame::Unreadable::Kind`].
//! 2. A new field goes to the end of a payload, with `deserialize_with` = [`appended`] and a zero
//!    that means "not told". Older readers skip it and count it ([`frame::Read::extra`]); newer
//!    readers of older frames get the zero.
//! 3. A new variant goes to the end of an enum inside a payload. Older readers can't read such a
//!    frame and count it: [`frame::Unreadable::Payload`].
//! 4. Nothing else changes: no field, kind or variant is removed, moved, retyped or given another
//!    meaning, and the header and framing stay as they are for all versions.
//! 5. Each version has a file of golden bytes in `tests/tests/wire_versions`. [`CURRENT`] is raised with the first
//!    change after a release; while it is above [`RELEASED`] it is open, and its file grows with it. A release
//!    closes the file: it is never edited again.
//! 6. Giving up an old version raises [`OLDEST`]; its frames are then [`frame::Why::Version`].

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
pub mod watch;
pub mod finding;
pub mod message;
pub mod command;
pub mod receive;
pub mod sequence;
pub mod counts;

/// Oldest version that can be read.
pub const OLDEST: u8 = 1;
/// The version that is written.
pub const CURRENT: u8 = 2;
/// The last version that was released. A later one is open: it may still grow, by the rules above.
pub const RELEASED: u8 = 1;

/// Most bytes of header, payload and CRC together, so that COBS always adds exactly one. Unit: bytes
pub const LONGEST_BODY: usize = 254;
/// Most bytes of a frame on the wire, its closing zero included. Unit: bytes
pub const LONGEST_FRAME: usize = LONGEST_BODY + 2;
/// Most packed bytes of a curve or trace in one frame; the rest goes into further frames. Unit: bytes
pub const LONGEST_PIECE: usize = 192;

/// Reads a field that a later version appended: where an older payload ends before it, it is zero.
///
/// Only for the last fields of a payload. The CRC has been checked by then, so that nothing but
/// the end of the payload can be the reason why the field can't be read.
pub fn appended<'de, D: Deserializer<'de>, T: Deserialize<'de> + Default>(from: D) -> Result<T, D::Error> {
    Ok(T::deserialize(from).unwrap_or_default())
}
