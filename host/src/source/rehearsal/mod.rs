//! In: a seed and a script. Out: the samples of an invented machine.
//!
//! Flow: `profile` plans the command, `drive` turns its error into effort, `mechanics` moves under
//! that effort, `wear` and `script` change both from move to move, `axis` samples the result.
//! `transplanter` holds the invented numbers, `machine` steps its three axes and ages them,
//! `ahead` does the same on threads, `recording` writes one axis as an export would.
//!
//! Everything is calculated with `+ − × ÷ √` in a fixed step, and all chance comes from a seeded
//! generator that is documented never to change: the same seed gives the same samples everywhere.

pub mod drive;
pub mod mechanics;
pub mod profile;
pub mod script;
pub mod wear;
pub mod axis;
pub mod transplanter;
pub mod machine;
pub mod ahead;
pub mod monitor;
pub mod recording;
