//! In: readings as they were recorded, and records of the core. Out: readings with positions that go on across a turn and
//! with a command that stands while it rests; records with what was found on the way.

use stillpoint_core::{CurvePoint, Definition, Outcome, Reading, Reasons, Record, Settings, Turn};

use super::options::{MeasureOptions, Wrap};
use super::quiet::{Arrived, Quiet};
use super::slow_command::{self, SlowCommand, counted_from, later};
use super::turn_jumps::{self, TurnJumps};
use crate::report::axis_context::AxisContext;
use crate::report::number;
use crate::trace::Layout;

/// 0.975 quantile of the normal distribution.
const NORMAL: f64 = 1.96;

/// What is done to the two signals before the core measures them.
#[derive(Clone, Debug)]
pub(super) struct Signals {
    turn: Turn,
    quiet: Quiet,
    /// Noise of the command. Unit: feedback counts
    command_rms: f64,
    /// Where the command is sampled less often than feedback, or at times of its own.
    slow: Option<SlowCommand>,
    /// Unit: counts
    window: u32,
    /// Unit: ticks
    window_time: u32,
    definition: Definition,
    synchronous: bool,
    /// By how much earlier the last command ended than its sample, by its noise. Unit: ticks
    late: i32,
    /// `None` where the user knows whether positions wrap.
    turn_jumps: Option<TurnJumps>,
    /// Moves with a jump by close to a turn.
    turns: u64,
    /// Time stamp of the first reading. Unit: ticks
    first_tick: Option<u32>,
}

impl Signals {
    /// Before the first reading.
    pub(super) fn new(layout: &Layout, options: &MeasureOptions, settings: &Settings) -> Signals {
        let turn = turn_jumps::turn(&layout.unit).map(|turn| turn * layout.counts_per_unit.to_f64());
        let slow = SlowCommand::new(layout, settings.definition, settings.window_time);
        Signals {
            turn: Turn::new(settings),
            quiet: Quiet::new(options.dead_band(layout), settings.rest_time),
            command_rms: options.command_rms(layout),
            slow: Some(slow).filter(|_| slow_command::is_slow(layout) && !options.synchronous),
            window: settings.window,
            window_time: settings.window_time,
            definition: settings.definition,
            synchronous: options.synchronous,
            late: 0,
            turn_jumps: (options.wrap == Wrap::Unknown).then(|| TurnJumps::new(turn)),
            turns: 0,
            first_tick: None,
        }
    }

    /// Adds a reading; what is certain goes to `out`, in order.
    #[inline]
    pub(super) fn push(&mut self, reading: Reading, out: &mut Vec<Reading>) {
        self.quiet.push(self.turn.unwrap(reading), out);
    }

    /// No reading follows, or some are missing: all readings go to `out`.
    pub(super) fn flush(&mut self, out: &mut Vec<Reading>) {
        self.quiet.flush(out);
    }

    /// These readings were measured.
    pub(super) fn watch(&mut self, readings: &[Reading]) {
        self.first_tick = self.first_tick.or(readings.first().map(|reading| reading.tick));
        if let Some(jumps) = &mut self.turn_jumps {
            readings.iter().for_each(|reading| jumps.push(*reading));
        }
    }

    /// The record of a move with what was found here.
    pub(super) fn findings(&mut self, record: Record) -> Record {
        self.late = 0;
        let record = if self.quiet.is_active() { self.with_noise(record) } else { record };
        let record = self.slow.map_or(record, |slow| slow.record(record));
        let end = record.command_end.saturating_add(record.held);
        if !self.turn_jumps.as_mut().is_some_and(|jumps| jumps.has_jumped(record.start, end)) {
            return record;
        }
        self.turns += 1;
        Record {
            outcome: Outcome::Untrusted,
            reasons: record.reasons.with(Reasons::TURN),
            settling: None,
            settling_u: 0,
            settling_95: 0,
            settling_wider: None,
            settling_narrower: None,
            first_entry: None,
            confirmation: None,
            stabilization: None,
            ..record
        }
    }

    /// A point of the settling curve of that move.
    pub(super) fn point(&self, point: CurvePoint) -> CurvePoint {
        let late = self.late + self.slow.map_or(0, |slow| slow.late());
        CurvePoint { settling: point.settling.map(|time| later(time, late)), ..point }
    }

    /// The record of a noisy command: its end lies in an interval, and its target is a mean.
    fn with_noise(&mut self, record: Record) -> Record {
        let reasons = record.reasons.with(Reasons::DEAD_BAND);
        let tick = self.first_tick.unwrap_or(0).wrapping_add(record.command_end as u32);
        let Some(arrived) = self.quiet.arrived(tick) else { return Record { reasons, ..record } };
        let target = self.target_half_width(&record, arrived);
        self.late = if self.synchronous { 0 } else { arrived.late };
        let record = counted_from(record, self.late, self.definition, self.window_time);
        widened(Record { reasons, ..record }, f64::from(arrived.half_width), target)
    }

    /// What the noise of the target makes of the settling time, by its slope over the window. Unit: ticks
    fn target_half_width(&self, record: &Record, arrived: Arrived) -> f64 {
        let times = record.settling_narrower.zip(record.settling_wider);
        let span = times.map_or(0.0, |(narrower, wider)| (f64::from(narrower) - f64::from(wider)).abs());
        // The two windows differ by a tenth of the window.
        let slope = span / (0.1 * f64::from(self.window.max(1)));
        NORMAL * self.command_rms / f64::from(arrived.averaged.max(1)).sqrt() * slope
    }

    /// Whether the noise of the command is taken out.
    pub(super) fn is_quiet(&self) -> bool {
        self.quiet.is_active()
    }

    /// What a person should know.
    pub(super) fn notes(&self, context: &AxisContext) -> Vec<String> {
        let noise = self.quiet.is_active().then(|| self.noise(context));
        let turns = (self.turns > 0).then(|| self.turns(context));
        noise.into_iter().chain(turns).collect()
    }

    /// How the noise of the command is dealt with.
    fn noise(&self, context: &AxisContext) -> String {
        let (upper, lower) = context.settings.command_scale;
        let scale = f64::from(upper).abs() / f64::from(lower);
        let length = |counts: f64| format!("{} {}", number::plain(context.length(counts)), context.unit);
        format!(
            "the command is noisy, {} rms: it stands while within {} of its mean; --command-dead-band sets another width, 0 none",
            length(self.command_rms),
            length(self.quiet.dead_band() * scale),
        )
    }

    /// What to type where positions jump by close to a turn.
    fn turns(&self, context: &AxisContext) -> String {
        // A turn is a whole number of counts.
        let whole = |turn: f64| (turn * context.counts_per_unit).round() / context.counts_per_unit;
        let turn = turn_jumps::turn(&context.unit).map_or("TURN".to_owned(), |turn| whole(turn).to_string());
        let moves = number::count(self.turns, "move");
        format!(
            "a position jumps by close to a whole turn in {moves}: if it begins anew there, give --wrap {turn}; if it really moved that far, --wrap 0"
        )
    }
}

/// The record with two further half-widths of 95 % intervals: of the command end, and of the settling time by the target.
/// Unit: ticks
fn widened(record: Record, end: f64, target: f64) -> Record {
    let added = |own: u32, end: f64, target: f64| f64::from(own).hypot(end).hypot(target).round() as u32;
    // A settling time of 0 says that feedback was inside all the time.
    let is_timed = record.settling.is_some_and(|settling| settling > 0);
    let if_timed = |width: u32| if is_timed { width } else { 0 };
    Record {
        command_end_u: added(record.command_end_u, end / NORMAL, 0.0),
        settling_u: if_timed(added(record.settling_u, end / NORMAL, target / NORMAL)),
        settling_95: if_timed(added(record.settling_95, end, target)),
        ..record
    }
}
