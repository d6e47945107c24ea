//! In: the record of a move whose command is sampled less often than feedback, or on a clock of its own. Out: the record
//! whose times count from the expected command end.
//!
//! ```text
//!        last other command    true end       final command   the sample that shows it
//! ──────────────┴────────────────┴─────────────────┴─────────────────┴──────────────► time
//!               └──────── command period ──────────┘└ sample period ─┘  if it has a clock of its own
//! ```
//! The true end is uniform over the command period, and the clock adds another uniform part. The core sees samples alone, so
//! it counts from the sample, and the record is shifted by half of both.

use stillpoint_core::{Definition, Record};

use crate::trace::Layout;

/// A command is slower than feedback if its period is this much longer. No source
const SLOWER: f64 = 1.25;

/// How long a command may have ended before the sample that shows it.
#[derive(Clone, Copy, Debug)]
pub(super) struct SlowCommand {
    /// Command period, and sample period where the command has a clock of its own, else 0. Unit: ticks
    parts: [f64; 2],
    definition: Definition,
    /// Unit: ticks
    window_time: u32,
}

/// Whether the core, which sees samples alone, can't know where a command of this recording ends.
pub(super) fn is_slow(layout: &Layout) -> bool {
    layout.has_command_clock || layout.command_period_s > SLOWER * layout.sample_period_s
}

impl SlowCommand {
    /// For a recording whose command is slow.
    pub(super) fn new(layout: &Layout, definition: Definition, window_time: u32) -> SlowCommand {
        let ticks = |seconds: f64| seconds * f64::from(layout.ticks_per_second);
        let own = if layout.has_command_clock { layout.sample_period_s } else { 0.0 };
        let period = layout.command_period_s.max(own);
        SlowCommand { parts: [period, own].map(ticks), definition, window_time }
    }

    /// From the expected end to the sample. Unit: ticks
    pub(super) fn late(&self) -> i32 {
        (self.parts.iter().sum::<f64>() / 2.0).round() as i32
    }

    /// The record with times from the expected end.
    pub(super) fn record(&self, record: Record) -> Record {
        let variance = self.parts.iter().map(|part| part * part / 12.0).sum::<f64>();
        let (settling_u, settling_95) = match record.settling {
            Some(_) if self.definition != Definition::Iso9283 => self.uncertainty(&record),
            _ => (record.settling_u, record.settling_95),
        };
        let command_end_u = f64::from(record.command_end_u).hypot(variance.sqrt()).round() as u32;
        let record = Record { settling_u, settling_95, command_end_u, ..record };
        counted_from(record, self.late(), self.definition, self.window_time)
    }

    /// Standard uncertainty, and half-width of the 95 % interval, of the settling time. Unit: ticks
    fn uncertainty(&self, record: &Record) -> (u32, u32) {
        // Inside from the sample on: feedback may have come inside at any time since the true end.
        if record.settling == Some(0) {
            let latest = 2.0 * f64::from(self.late());
            return ((latest / 3f64.sqrt()).round() as u32, latest.round() as u32);
        }
        let [one, other] = self.parts.map(|part| part / 2.0);
        let late = and_uniform((one / 3f64.sqrt(), 0.95 * one), other, 1.0);
        let own = (f64::from(record.settling_u), f64::from(record.settling_95));
        let (_, expanded) = and_uniform(own, late.1 / 0.95, 0.85);
        (own.0.hypot(late.0).round() as u32, expanded.ceil() as u32)
    }
}

/// A time from an earlier command end; 0 says that feedback was inside all the time.
pub(super) fn later(time: u32, late: i32) -> u32 {
    if time == 0 { 0 } else { time.saturating_add_signed(late) }
}

/// The record with times that count from this long before its command end. Unit: ticks
pub(super) fn counted_from(record: Record, late: i32, definition: Definition, window_time: u32) -> Record {
    let of = |time: Option<u32>| time.map(|time| later(time, late));
    let held = record.confirmation.map(|time| time.saturating_sub(window_time));
    Record {
        // From the first crossing, not from the command end.
        settling: if definition == Definition::Iso9283 { record.settling } else { of(record.settling) },
        first_entry: of(record.first_entry),
        confirmation: of(held).map(|time| time.saturating_add(window_time)),
        settling_wider: of(record.settling_wider),
        settling_narrower: of(record.settling_narrower),
        ..record
    }
}

/// The sum of a value, by its standard uncertainty and half-width of its 95 % interval, and of one that is uniform over
/// ± `half_width`, as the core adds its command end; see METHOD.md, Uncertainty. `factor` is 1 for two uniform values, or
/// less to allow for a bias.
fn and_uniform((standard, expanded): (f64, f64), half_width: f64, factor: f64) -> (f64, f64) {
    if half_width == 0.0 {
        return (standard, expanded);
    }
    let this = expanded / 0.95;
    let (small, large) = (this.min(half_width), this.max(half_width));
    let bounded = if small * 20.0 < large {
        0.95 * large
    } else {
        large + small - factor * (small * large / 5.0).sqrt()
    };
    let squares = expanded.hypot(0.95 * half_width);
    let normal = ((expanded / standard.max(1.0) - 1.645) / (1.96 - 1.645)).clamp(0.0, 1.0);
    (standard.hypot(half_width / 3f64.sqrt()), bounded + (squares - bounded) * normal / 2.0)
}
