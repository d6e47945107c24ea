//! Settling time and window status of positioning moves, computed one sample at a time.
//!
//! A servo axis is commanded to move; feedback follows and settles inside its position window some time after the
//! command has ended. Give this crate the commanded and the measured position as two counters with a time stamp, at
//! any sample rate, and it reports each move: when the command started and ended, how long after the end feedback
//! entered the window and stayed, how certain that is, and what any other window would have cost.
//!
//! ```
//! use stillpoint_core::{Axis, Event, Outcome, Parameters, Reading, Settings};
//!
//! // Samples at 1 kHz, stamped in microseconds: results are whole ticks, so a sample period should have ten or more.
//! // A window of 5 counts that must hold for 10 ms; command and samples share a clock.
//! let parameters =
//!     Parameters { window: 5, synchronous: true, ..Parameters::at(1_000_000).with_window_time_ms(10) };
//! let mut axis = Axis::new(Settings::new(parameters)?);
//! for ms in 0..300 {
//!     // The command moves by 100 counts from 100 ms to 120 ms; then each sample halves the error.
//!     let command = (ms - 100).clamp(0, 20) * 5;
//!     let error = (80 >> (ms - 120).clamp(0, 30)) * i32::from(ms > 100);
//!     axis.step(Reading { tick: ms as u32 * 1000, command, feedback: command - error });
//! }
//! axis.finish();
//! let Some(Event::Move(record)) = axis.event() else { panic!("one move") };
//! assert_eq!(record.outcome, Outcome::Settled);
//! assert_eq!((record.start, record.command_end, record.travel), (100_000, 120_000, 100));
//! // The errors after the command end are 40, 20, 10, 5: the window's edge is crossed before the fourth. Unit: µs
//! assert_eq!((record.settling, record.settling_95), (Some(3900), 1339));
//! # Ok::<(), stillpoint_core::Invalid>(())
//! ```
//!
//! [`Axis`] owns its settings and its whole state, three kibibytes on a Cortex-M. [`Axis::step`] returns the status at each
//! sample; when [`Status::event`] is set, [`Axis::event`] returns a [`Record`], or a change of the following-error
//! flag. A move is reported when its rest ends: at the first change of the next command, or earlier by [`Axis::set`] or
//! [`Axis::finish`]. Times are in ticks of the time stamps, distances in feedback counts, unless a doc line says otherwise.
//!
//! Nothing here allocates, reads a clock, fails while running or panics. Impossible readings, and missing ones that the
//! caller reports with [`Axis::gap`], become values of the move's record: [`Outcome`] and [`Reasons`]. Every number is
//! defined, with its source and limits, in `METHOD.md` beside this crate.
//!
//! Five modules follow an axis for the rest of its life: [`kind`] finds the moves that may be compared with each
//! other, [`baseline`] describes them while they are good, [`drift`] finds a lasting change, [`share`] compares a share
//! of moves with a limit, and [`alarm`] is the life of an alarm. With the feature `wire`, the module `wire` encodes all
//! of it as frames of bytes and decodes them.
#![no_std]
#![forbid(unsafe_code)]

#[cfg(test)]
extern crate std;

// In the order in which data flows; a module names only earlier ones.
mod unit;
mod settings;
mod sample;
mod turn;
mod motion;
mod settling;
pub mod ringing;
mod signature;
mod reasons;
mod record;
mod axis;
pub mod kind;
pub mod baseline;
pub mod drift;
pub mod causes;
pub mod share;
pub mod alarm;
#[cfg(feature = "wire")]
pub mod wire;

pub use axis::{Axis, Event};
pub use reasons::Reasons;
pub use record::{Outcome, Record};
pub use sample::Reading;
pub use settings::{Definition, Invalid, LONGEST_TIME, Parameters, Settings};
pub use settling::Status;
pub use settling::curve::CurvePoint;
pub use settling::peaks::Speed;
pub use settling::window::Position;
pub use signature::Signature;
pub use turn::Turn;
pub use unit::{Fraction, PositionFactor, Unusable};
