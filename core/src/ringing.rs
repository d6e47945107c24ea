//! In: the error of a stop after its command end. Out: the frequency and damping of its ringing with uncertainties, or the
//! reason why none is stated.
//!
//! A [`Capture`] for each axis, which [`StopCapture`] begins at each command end, holds the stop; a [`Fit`] for all axes works on one of them in spare time.
//!
//! ```
//! use stillpoint_core::ringing::{Answer, Capture, Fit};
//!
//! // Ticks of a microsecond, a sample each millisecond: 20 Hz, a swing takes away a half.
//! let mut capture = Capture::new(1);
//! for ms in 0..512_u32 {
//!     let swings = f64::from(ms) / 50.0;
//!     let error = 1000.0 * 0.5_f64.powf(swings) * (std::f64::consts::TAU * swings).cos();
//!     capture.step(ms * 1000, error.round() as i32);
//! }
//! let mut fit = Fit::default();
//! fit.start(&capture, 1_000_000);
//! let Some(Answer::Ringing(ringing)) = fit.finish() else { panic!("no ringing") };
//! assert!((ringing.frequency - 20.0).abs() < 0.01 && ringing.frequency_u < 0.01);
//! // ln 2 / √((2π)² + (ln 2)²)
//! assert!((ringing.damping.unwrap().ratio - 0.1097).abs() < 0.001);
//! ```

mod answer;
mod elementary;
mod triangle;
mod capture;
mod stop;
mod mode;
mod search;
mod poles;
mod seeds;
mod turning;
mod judge;
mod rounding;
mod fit;

pub use answer::{Answer, Damping, Refusal, Ringing};
pub use capture::{Capture, POINTS};
pub use fit::Fit;
pub use stop::StopCapture;
