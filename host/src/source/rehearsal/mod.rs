//! In: a seed and a script. Out: the samples of an invented machine, and the bytes of a monitor on it.
//!
//! Flow: `profile` plans the command, `drive` turns its error into effort, `mechanics` moves under that effort, `wear`,
//! `script` and the `conditions` of its `nuisance`s change both from move to move, `calendar` has the pauses, `lever`s
//! and the `exercise` that turns them change the axis while it runs, `axis` samples the result. `transplanter` holds the invented numbers, `machine` steps its three axes and ages them, `parallel` does the
//! same on threads, `monitor` runs the firmware on the samples, `recording` writes one axis as an export would.
//!
//! Only `+ − × ÷ √` with a fixed step are used, and all random numbers come from a seeded generator that is documented
//! never to change: the same seed gives the same samples on every platform.

/// What the virtual monitor names itself instead of a board, and the source of its frames where no line lies between.
pub const BOARD: &str = "rehearsal";
/// What must stand beside every result of it.
pub const INVENTED: &str = "Invented data: they come from a rehearsal; no machine was measured.";

pub mod drive;
pub mod mechanics;
pub mod profile;
pub mod script;
pub mod wear;
pub mod nuisance;
pub mod calendar;
pub mod conditions;
pub mod lever;
pub mod axis;
pub mod transplanter;
pub mod exercise;
pub mod machine;
pub mod parallel;
pub mod monitor;
pub mod recording;

#[cfg(test)]
mod tests;
