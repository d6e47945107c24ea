//! In: the state of the settling stage at the end of a rest. Out: the stop.

use super::Settling;
use crate::motion::MoveCommand;
use crate::sample::Faults;
use crate::settings::Settings;
use crate::settling::approach::FirstCrossing;
use crate::settling::crossings::Crossings;
use crate::settling::curve::Readout;
use crate::settling::nearby::NearbyTimes;
use crate::settling::peaks::Speed;
use crate::settling::window::Position;

/// Measurements of one stop. Instants count ticks since the first reading.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Stop {
    /// Position of feedback relative to the window at the end of the rest.
    pub position: Position,
    /// Feedback was inside at the command end.
    pub began_inside: bool,
    /// Crossings of the window's edge after the command end.
    pub(crate) crossings: Crossings,
    /// First crossing into the window, if before the command end.
    pub first_crossing: FirstCrossing,
    /// Settling times of windows near the set one.
    pub(crate) nearby: NearbyTimes,
    /// Number of times that feedback came inside.
    pub entries: u32,
    /// Largest excursion beyond the target in the direction of travel. Unit: counts
    pub overshoot: u32,
    /// Largest |error| from the start of the move. Unit: counts
    pub peak_following_error: u32,
    /// command − feedback at the command end. Unit: counts
    pub error_at_command_end: i32,
    /// Fastest feedback over a speed stretch; none where the samples are too few.
    pub peak_speed: Speed,
    /// Mean error over the rest. Unit: 1/256 counts
    pub rest_error: i64,
    /// Rest noise: rms of the error about the rest error. Unit: 1/256 counts
    pub rest_noise: u32,
    /// Number of samples in the rest error.
    pub rest_samples: u32,
    /// Outside at the end of the rest, but standing: the error there; [`crate::Axis`] knows it. Unit: counts
    pub offset: Option<i32>,
    /// A spike of feedback, faster than the axis ever moves, decides.
    pub spike: bool,
    /// The samples ended before the rest did.
    pub ended: bool,
    /// Rest end minus command end. Unit: ticks
    pub held: u64,
    /// Faults in the move or before it settled.
    pub faults: Faults,
    /// Number of gaps from the start of the move to the end of the rest.
    pub gaps: u32,
    /// Longest sample period with a gap in it. Unit: ticks
    pub longest_gap: u32,
}

/// The last sample of a rest.
#[derive(Clone, Copy, Debug)]
pub(crate) struct RestEnd {
    /// Unit: ticks since the first reading
    pub now: u64,
    /// Time stamp. Unit: ticks, wrapping
    pub tick: u32,
    /// Unit: counts
    pub error: i32,
    /// No sample follows.
    pub ended: bool,
}

impl Settling {
    /// The stop of a move, at the end of its rest, where the curve is evaluated.
    pub(crate) fn stop(
        &self,
        settings: &Settings,
        move_command: &MoveCommand,
        end: RestEnd,
        readout: &Readout,
    ) -> Stop {
        let held = end.now.saturating_sub(move_command.command_end);
        Stop {
            position: self.window.position(),
            began_inside: self.window.began_inside,
            crossings: self.crossings(settings, readout, end.now),
            nearby: self.nearby.times(settings, readout),
            first_crossing: self.first_crossing.unwrap_or_default(),
            entries: self.window.entries,
            overshoot: self.peaks.overshoot(self.target(), move_command.travel),
            peak_following_error: self.peaks.error(),
            error_at_command_end: self.error_at_command_end,
            peak_speed: self.peaks.fastest(),
            rest_error: self.rest.mean(),
            rest_noise: self.rest.rms(),
            rest_samples: self.rest.count(),
            offset: None,
            spike: self.spike.decides(),
            ended: end.ended,
            held,
            faults: self.holes.faults(),
            gaps: self.holes.gaps(),
            longest_gap: self.holes.longest_gap(),
        }
    }
}
