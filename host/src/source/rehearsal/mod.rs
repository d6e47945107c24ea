//! In: a seed and a script. Out: the samples of an invented machine, and the bytes of a monitor on it.
//!
//! Flow: `profile` plans the command, `drive` turns its error into effort, `mechanics` moves under that effort, `wear` and
//! `script` change both from move to move, `axis` samples the result. `transplanter` holds the invented numbers,
//! `machine` steps its three axes and ages them, `parallel` does the same on threads, `monitor` runs the firmware on the
//! samples, `recording` writes one axis as an export would.
//!
//! Only `+ − × ÷ √` with a fixed step are used, and all random numbers come from a seeded generator that is documented
//! never to change: the same seed gives the same samples on every platform.

pub mod axis;
pub mod drive;
pub mod machine;
pub mod mechanics;
pub mod monitor;
pub mod parallel;
pub mod profile;
pub mod recording;
pub mod script;
pub mod transplanter;
pub mod wear;
