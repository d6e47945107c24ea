//! In: frames of monitors, and what people write. Out: a file with both, and with the tables that follow from them.
//!
//! One SQLite file in WAL mode. Raw frames are the truth, each stored once by (device, boot, priority, sequence);
//! moves, settings, gaps, alarms, findings and summaries are derived and can be made again ([`Store::rebuild`]).
//! Events are ordered by the device's ticks. The wall time of tick 0 is fixed once for each start of a device, so no
//! step of this computer's clock can change the order of moves. host/STORE.md describes the tables.
//!
//! # What is lost when
//!
//! | | [`Durability::Process`] (as shipped) | [`Durability::Power`] |
//! |---|---|---|
//! | pragma | `synchronous = NORMAL` | `synchronous = FULL` |
//! | kill -9, panic | frames that came since the last commit, at most 0.2 s, requested again | the same |
//! | power cut, crash of the system | besides, commits since the log was last synced, at most 10 s or 4 MiB | nothing committed |
//! | the file | opens; never half a transaction | the same |
//! | cost | none per commit | one disk flush per commit |
//!
//! `Process` is the default because a monitor has its moves on its own flash: after any loss the store finds the first
//! hole ([`log::Log::drain_requests`]), and `watch` requests the monitor's log from there. Settling curves and alarms
//! are not in that log; choose `Power` if a second of those must not be lost.
//!
//! A full disk stops nothing: frames wait in memory up to a bound; beyond it they are dropped and counted, and
//! requested again when there is room. Any number of programs may write to one store, a transaction at a time.
//!
//! The modules stand in layers; each names only modules listed before it.

// What all layers use.
pub mod time;
pub mod kind;
pub mod outcome;
mod fault;
mod schema;
mod insert;
mod digest;
mod seal;
// What arrives.
mod frame;
pub mod devices;
mod marks;
mod journal;
mod boots;
mod frames;
// What follows from it.
pub mod sketch;
mod move_rows;
mod tables;
pub mod summary;
mod derive;
mod rebuild;
mod adopt_orphans;
// Access to the file.
mod connect;
mod database;
pub mod retain;
pub mod ingest_stats;
mod ingest;
mod resume;
pub mod log;
// Queries and care.
pub mod journal_entries;
pub mod shifts;
pub mod axes;
pub mod notes;
mod move_span;
mod summaries;
pub mod holes;
pub mod in_force;
mod partial;
pub mod kinds;
pub mod statistics;
mod details;
pub mod moves;
pub mod dated_moves;
pub mod moments;
mod residual_error;
pub mod drift_sizes;
pub mod drifts;
pub mod recent;
mod causes;
pub mod alarms;
mod agreement;
pub mod check;
mod pages;
mod cells;
mod salvage;
mod scan;
mod reconstruct;
mod losses;
pub mod rescue;
pub mod export;
#[cfg(feature = "parquet")]
mod parquet_export;

pub use database::{Durability, Options, Store};
pub use schema::CURRENT;
