//! In: the features of a stop, and what the settling stage measured of it. Out: the evidence that the rules compare.

use core::num::NonZeroU32;

use super::{Shape, hysteresis};
use crate::motion::MoveCommand;
use crate::settings::Settings;
use crate::settling::Settling;
use crate::settling::curve::{Readout, bucket};
use crate::settling::stop::{RestEnd, Stop};
use crate::settling::window::Position;

/// What the signature of a stop is judged by.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Evidence {
    /// Inside the window for the window time at the end of the rest.
    pub settled: bool,
    /// Command end to the last entry, or to the end of the rest. Unit: ticks
    pub time: u32,
    /// Number of turning points before the last entry, or of all if it ends outside.
    pub turning_points: u32,
    /// Mean time from one turning point to the next. Unit: ticks
    pub turning_spacing: Option<NonZeroU32>,
    /// Number of turning points in the second half of the rest.
    pub late_turns: u32,
    /// Range of the error in the last third of the rest. Unit: counts
    pub last_range: u32,
    /// Range of the error in the third before. Unit: counts
    pub middle_range: u32,
    /// How far the errors of both thirds overlap. Unit: counts
    pub overlap: u32,
    /// How far apart the middles of both thirds are. Unit: counts
    pub shift: u32,
    /// How far apart the middles of both halves of the last third are. Unit: counts
    pub last_shift: u32,
    /// Middle of the range in the last third. Unit: counts
    pub rest: i32,
    /// Eight deviations of the noise of one reading. Unit: counts
    pub noise: u32,
    /// Largest |error| since the command end. Unit: counts
    pub peak: u32,
    /// The last error outside, positive behind the target in the direction of travel. Unit: counts
    pub exit: i32,
    /// Time of the last fall of the error to a quarter. Unit: ticks
    pub fall: u32,
    /// Time of such a fall on average, from the command end on. Unit: ticks
    pub mean_fall: u32,
    /// Time by which feedback follows the command at speed; negative if it leads. Unit: ticks
    pub cruise_lag: Option<i32>,
    /// Share of the time for which feedback stands between turning points. Unit: 1/16
    pub standing: Option<u8>,
}

/// The rest that has ended, as the settling stage measured it.
#[derive(Clone, Copy)]
pub(crate) struct Measured<'a> {
    pub move_command: &'a MoveCommand,
    pub settling: &'a Settling,
    pub stop: &'a Stop,
    pub end: RestEnd,
    pub readout: &'a Readout,
}

impl Measured<'_> {
    fn is_inside(&self) -> bool {
        self.stop.position != Position::Outside
    }

    /// The last error outside, positive behind the target in the direction of travel. Unit: counts
    fn exit(&self) -> i32 {
        let last_entry = || self.settling.window.crossings().map_or(0, |(_, last)| last.entry.before);
        let last = if self.is_inside() { last_entry() } else { self.end.error };
        last.saturating_mul(self.move_command.travel.signum())
    }

    /// Time in which the error falls to a quarter: from four windows to one, or to what it ends with outside.
    ///
    /// If it was never four times as large, twice the time of the fall from twice as large, or from the command end.
    /// Unit: ticks
    fn fall(&self, edge: u32) -> u32 {
        let Measured { settling, readout, .. } = self;
        let since = |window: u32| settling.curve.last_beyond(window, readout).map(|(_, age)| age);
        let last = since(edge).filter(|_| self.is_inside()).unwrap_or(0);
        let fall = |times: u32| Some(since(edge.saturating_mul(times))?.saturating_sub(last));
        let half = || fall(2).unwrap_or(readout.held.saturating_sub(last)).saturating_mul(2);
        fall(4).unwrap_or_else(half)
    }

    /// Eight deviations of the noise of one reading. Unit: counts
    fn noise(&self, shape: &Shape) -> u32 {
        let variance = if self.is_inside() { self.settling.rest.noise() } else { shape.noise.variance() };
        // Variances are in 1/256 counts²: 64/256 is a fourth.
        u32::try_from((variance / 4).isqrt()).unwrap_or(u32::MAX)
    }
}

/// Time of a fall to a quarter, for an error that falls from `peak` to `edge` in `time`. Unit: ticks, counts
fn mean_fall(time: u32, edge: u32, peak: u32) -> u32 {
    // The buckets of the settling curve are quarters of an octave. Below an octave this would be wild.
    let quarters = bucket(peak).saturating_sub(bucket(edge)).max(4) as u64;
    u32::try_from(8 * u64::from(time) / quarters).unwrap_or(u32::MAX)
}

impl Shape {
    /// The evidence at the end of a rest.
    pub(crate) fn evidence(&self, settings: &Settings, measured: Measured) -> Evidence {
        let Measured { move_command, readout, .. } = measured;
        let noise = measured.noise(self);
        let level = usize::from(noise > hysteresis(settings));
        let turns = self.turns.get(level).copied().unwrap_or_default();
        let late_turns = self.blocks.part(1, 2, 2).turns.get(level).copied().unwrap_or(0);
        let time = readout.set.1.unwrap_or(readout.held);
        let edge = settings.window.max(readout.error);
        let peak = self.blocks.part(0, 1, 1).largest();
        Evidence {
            settled: measured.stop.position == Position::TargetReached,
            time,
            turning_points: if measured.is_inside() { turns.before_entry() } else { turns.count },
            turning_spacing: turns.spacing().and_then(NonZeroU32::new),
            late_turns: late_turns.into(),
            noise,
            peak,
            exit: measured.exit(),
            fall: measured.fall(edge),
            mean_fall: mean_fall(time, edge, peak),
            cruise_lag: self.lag.slope().map(|samples| (samples * move_command.period as f32) as i32),
            standing: self.standing.share(),
            ..self.late()
        }
    }

    /// What the last two thirds of the rest show.
    fn late(&self) -> Evidence {
        let (middle, last) = (self.blocks.part(1, 2, 3), self.blocks.part(2, 3, 3));
        let halves = [self.blocks.part(4, 5, 6), self.blocks.part(5, 6, 6)];
        Evidence {
            last_range: last.range(),
            middle_range: middle.range(),
            overlap: last.overlap(&middle),
            shift: last.shift(&middle),
            last_shift: halves[1].shift(&halves[0]),
            rest: last.middle(),
            ..Evidence::default()
        }
    }
}
