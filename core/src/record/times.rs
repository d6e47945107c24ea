//! In: the command data of a move and its stop. Out: its times by every definition, counted from the expected command
//! end, with the uncertainty of the reported one.

use crate::motion::MoveCommand;
use crate::motion::ending::Ending;
use crate::settings::{Definition, Settings};
use crate::settling::approach::FirstCrossing;
use crate::settling::crossings::{Crossings, Instant};
use crate::settling::stop::Stop;
use crate::settling::uncertainty::Uncertainty;
use crate::settling::window::Position;

/// The times of all definitions; those of an untrusted move are none. Unit: ticks
#[derive(Default)]
pub(super) struct Times {
    pub(super) reported: Option<u32>,
    /// Of the reported time.
    pub(super) uncertainty: Uncertainty,
    pub(super) first_entry: Option<u32>,
    pub(super) confirmation: Option<u32>,
    pub(super) stabilization: Option<u32>,
    /// Settling times of a window 5 % wider and narrower.
    pub(super) wider: Option<u32>,
    pub(super) narrower: Option<u32>,
    /// A window 1 % wider or narrower changes the time by a swing.
    pub(super) fragile: bool,
}

impl Times {
    pub(super) fn new(settings: &Settings, move_command: &MoveCommand, stop: &Stop) -> Times {
        let end = CommandEnd::new(move_command);
        let inside = stop.position != Position::Outside;
        let last = inside
            .then(|| stop.crossings.last.map_or_else(|| (0, end.at_once(stop)), |entry| end.until(entry)));
        let held = last.filter(|_| stop.position == Position::TargetReached);
        let first_entry = stop.crossings.first_entry.map(|instant| end.to(instant));
        let stabilization = held.and_then(|_| stabilization(move_command, stop));
        let (sooner, later) = if held.is_some() { swings(settings, move_command, stop) } else { (0, 0) };
        let Crossings { grazed, slope, .. } = stop.crossings;
        let swing = grazed.max(later).max(if slope.hidden { sooner } else { 0 });
        let (reported, swing) = match settings.definition {
            Definition::LastEntry => (held, swing),
            Definition::Iso9283 => (stabilization, swing),
            Definition::TargetReached => reached(settings, stop, &end, swing),
        };
        let uncertainty =
            reported.map_or_else(Default::default, |(_, uncertainty)| uncertainty.widened(swing));
        let held = held.map(|(time, _)| time);
        // They count whole samples; the settling time lies within one.
        let of_other_window = |time: u32| if time == 0 { 0 } else { end.shifted(time) };
        Times {
            reported: reported.map(|(time, _)| time),
            uncertainty,
            first_entry: if stop.began_inside { Some(0) } else { first_entry },
            confirmation: held.map(|settling| settling.saturating_add(settings.window_time)),
            stabilization: stabilization.map(|(time, _)| time),
            wider: stop.nearby.wider.map(|time| of_other_window(time).min(held.unwrap_or(u32::MAX))),
            narrower: stop.nearby.narrower.map(|time| of_other_window(time).max(held.unwrap_or(0))),
            fragile: sooner.max(later) > 0,
        }
    }
}

/// The command end from which times count: the expected one.
struct CommandEnd {
    /// The first sample at the final command. Unit: ticks since the first reading
    sample: u64,
    ending: Ending,
}

impl CommandEnd {
    fn new(move_command: &MoveCommand) -> CommandEnd {
        CommandEnd { sample: move_command.command_end, ending: move_command.ending }
    }

    /// Time from the command end to an instant. Unit: ticks
    fn to(&self, instant: u64) -> u32 {
        self.shifted(instant.saturating_sub(self.sample).min(u64::from(u32::MAX)) as u32)
    }

    /// Time from the command end to an instant this long after the sample. Unit: ticks
    fn shifted(&self, time: u32) -> u32 {
        (i64::from(time) - i64::from(self.ending.late)).clamp(0, i64::from(u32::MAX)) as u32
    }

    /// Uncertainty of a settling time of 0: the true command end may be older than the last crossing.
    fn at_once(&self, stop: &Stop) -> Uncertainty {
        let earliest = (i64::from(self.ending.half_width) - i64::from(self.ending.late)).max(0) as u32;
        match stop.first_crossing {
            FirstCrossing::Before { last, .. } if last < earliest => {
                Uncertainty::uniform(earliest.saturating_mul(2))
            }
            _ => Uncertainty::default(),
        }
    }

    /// The same with its uncertainty.
    fn until(&self, instant: Instant) -> (u32, Uncertainty) {
        (self.to(instant.at), instant.uncertainty.and_uniform(self.ending.half_width))
    }
}

/// Command end to the window time after the entry of the first dwell that lasted it, and what of `swing` applies to that.
/// Unit: ticks
fn reached(
    settings: &Settings,
    stop: &Stop,
    end: &CommandEnd,
    swing: u32,
) -> (Option<(u32, Uncertainty)>, u32) {
    let Some(entry) = stop.crossings.reached else { return (None, 0) };
    let (time, uncertainty) = entry.map_or_else(Default::default, |entry| end.until(entry));
    let swing = if entry == stop.crossings.last { swing } else { 0 };
    (Some((time.saturating_add(settings.window_time), uncertainty)), swing)
}

/// First crossing to last entry, both on the clock of the samples: the command end does not count. Unit: ticks
fn stabilization(move_command: &MoveCommand, stop: &Stop) -> Option<(u32, Uncertainty)> {
    let since = |instant: Instant| {
        instant.at.saturating_sub(move_command.command_end).min(u64::from(u32::MAX)) as u32
    };
    let period = Uncertainty::uniform(move_command.period);
    let last =
        stop.crossings.last.map_or((0, Uncertainty::default()), |entry| (since(entry), entry.uncertainty));
    // The clock starts before the command end if the window was crossed by then.
    match stop.first_crossing {
        FirstCrossing::Before { first, last: crossed } if stop.crossings.last.is_none() => {
            Some((first.saturating_sub(crossed), last.1.and(period)))
        }
        FirstCrossing::Before { first, .. } => Some((last.0.saturating_add(first), last.1.and(period))),
        FirstCrossing::NotYet => match stop.crossings.first {
            None => Some(last),
            Some(crossed) if Some(crossed) == stop.crossings.last => Some((0, Uncertainty::default())),
            Some(crossed) => Some((last.0.saturating_sub(since(crossed)), last.1.and(crossed.uncertainty))),
        },
        FirstCrossing::Unseen => None,
    }
}

/// By how much a window 1 % wider settles sooner and one 1 % narrower later, where that is more than the uncertainty and
/// three times the steepness at the last entry explain; else 0. Unit: ticks
fn swings(settings: &Settings, move_command: &MoveCommand, stop: &Stop) -> (u32, u32) {
    let Some(entry) = stop.crossings.last else { return (0, 0) };
    let settling = entry.at.saturating_sub(move_command.command_end).min(u64::from(u32::MAX)) as u32;
    let barely = (settings.window / 100).max(1);
    let smooth = (3.0 * barely as f32 * stop.crossings.slope.ticks_per_count) as u32;
    let explained = entry.uncertainty.expanded.saturating_add(smooth).saturating_add(move_command.period);
    let more = |time: u32| if time > explained { time } else { 0 };
    let sooner = stop.nearby.barely_wider.map_or(0, |wider| settling.saturating_sub(wider));
    let later = stop.nearby.barely_narrower.map_or(0, |narrower| narrower.saturating_sub(settling));
    (more(sooner), more(later))
}
