//! In: the record of a move and its axis. Out: its report in units and seconds; the one list of what is reported.

use std::num::NonZeroU32;

use serde::{Serialize, Serializer};
use stillpoint_core::{CurvePoint, Definition, Outcome, Record};

use super::axis_context::AxisContext;
use super::field::{Column, Decimals, Field, FieldType, Form, Value, WindowSettling};
use super::{reason, settling_curve};

/// Makes the struct [`MoveReport`], its table [`FIELDS`] and its constructor from the rows below.
///
/// A row is: meaning, name, type, unit, its column in tables if it has one, and value. `from x` marks the row that
/// reports the number `x` of the core's record. The record is destructured without `..`: a number without a row does not
/// compile ("pattern requires `..`"), nor does a row that ignores its number.
macro_rules! move_report {
    (
        ($axis:ident, $record:ident, $curve:ident);
        $(
            $(#[doc = $meaning:literal])+
            $field:ident $(as $name:literal)?: $type:ty, $unit:literal
                $(, column $column:tt)? $(, from $source:ident)? = $value:expr;
        )+
    ) => {
        /// One move as other tools read it. Times in seconds, lengths in `unit`.
        #[derive(Clone, Debug, PartialEq)]
        pub struct MoveReport {
            $($(#[doc = $meaning])+ pub $field: $type,)+
            /// Its kind in words; none where no monitor has assigned one. See [`KIND`].
            pub kind: Option<String>,
        }

        /// The fields of every move, in the order of JSON and CSV.
        pub static FIELDS: &[Field<MoveReport>] = &[$(
            Field {
                name: move_report!(@name $field $($name)?),
                unit: $unit,
                meaning: concat!($($meaning),+).trim_ascii(),
                form: <$type as FieldType>::FORM,
                value: |report| report.$field.value(),
                column: move_report!(@column $($column)?),
            },
        )+];

        impl MoveReport {
            /// The report of a move with its settling curve, without a job, a kind and ringing.
            #[deny(unused_variables)]
            pub fn new(
                $axis: &AxisContext,
                $record: &Record,
                $curve: impl IntoIterator<Item = CurvePoint>,
            ) -> MoveReport {
                let Record { $($($source,)?)+ } = *$record;
                MoveReport { $($field: $value,)+ kind: None }
            }
        }
    };
    (@name $field:ident) => { stringify!($field) };
    (@name $field:ident $name:literal) => { $name };
    (@column) => { None };
    (@column ($title:literal, $spare:literal, $decimals:ident)) => {
        Some(Column::new($title, $spare, Decimals::$decimals))
    };
}

// The names and their order are a contract: append, never rename or move.
move_report! {
    (axis, record, curve);

    /// Where the samples came from.
    file: String, "" = axis.file.clone();
    /// Name of the axis.
    axis: String, "" = axis.name.clone();
    /// Number of the move on its axis, from 1.
    number as "move": u32, "1", column ("move", 0, Plain), from number = number;
    /// Last instant at the old command, on the recording's own clock.
    start_s: f64, "s", column ("start", 3, Seconds), from start = axis.clock.second(start);
    /// First instant at the final command, on the recording's own clock.
    command_end_s: f64, "s", from command_end = axis.clock.second(command_end);
    /// Commanded distance, with its sign.
    travel: f64, "unit", column ("travel", 2, Count), from travel = axis.length(travel);
    /// Fastest feedback over a speed block; none where the samples are too few.
    peak_speed: Option<f64>, "unit/s", from peak_speed = (peak_speed.time > 0).then(|| axis.speed(peak_speed));
    /// Name of the unit of length or angle.
    unit: String, "" = axis.unit.clone();
    /// Half-width of the position window.
    window: f64, "unit" = axis.window;
    /// How long feedback must stay inside.
    window_time_s: f64, "s" = axis.seconds(axis.settings.window_time);
    /// Which settling time is reported: `last-entry`, `iso-9283` or `target-reached`.
    definition: Definition, "" = axis.settings.definition;
    /// `settled`, `unsettled`, `interrupted` or `untrusted`.
    outcome: Outcome, "", column ("\noutcome", 0, Plain), from outcome = outcome;
    /// Why the outcome is not `settled`, or what to be careful about; empty if nothing.
    reason: String, "", from reasons = reason::text(axis, reasons, record);
    /// Settling time by `definition`; only when settled.
    settling_s: Option<f64>, "s", column ("settling", 0, Uncertainty),
        from settling = axis.optional_seconds(settling);
    /// Standard uncertainty of `settling_s` (GUM).
    settling_u_s: Option<f64>, "s",
        from settling_u = (outcome == Outcome::Settled).then(|| axis.seconds(settling_u));
    /// Command end to first time inside.
    first_entry_s: Option<f64>, "s", column ("first\nentry", 6, Milliseconds),
        from first_entry = axis.optional_seconds(first_entry);
    /// Command end to the instant the window had been held for the window time.
    confirmation_s: Option<f64>, "s", column ("confir-\nmation", 5, Milliseconds),
        from confirmation = axis.optional_seconds(confirmation);
    /// First crossing into the window to staying inside (ISO 9283 7.4).
    stabilization_s: Option<f64>, "s", from stabilization = axis.optional_seconds(stabilization);
    /// How often feedback came to be inside, from command end on.
    window_entries: u32, "1", from window_entries = window_entries;
    /// Largest excursion beyond the target in the direction of travel.
    overshoot: f64, "unit", column ("over-\nshoot", 1, Count), from overshoot = axis.length(overshoot);
    /// Largest |command − feedback|.
    peak_following_error: f64, "unit", from peak_following_error = axis.length(peak_following_error);
    /// command − feedback at command end.
    error_at_command_end: f64, "unit", from error_at_command_end = axis.length(error_at_command_end);
    /// Mean of command − feedback over the rest.
    rest_error: Option<f64>, "unit", column ("rest\nerror", 4, Mean),
        from rest_error = rest_error.map(|parts| axis.fine_length(parts as f64));
    /// Root mean square of the error about `rest_error`.
    rest_noise_rms: Option<f64>, "unit", column ("rest\nrms", 7, Mean),
        from rest_noise_rms = rest_noise_rms.map(|parts| axis.fine_length(f64::from(parts)));
    /// Feedback counts per unit.
    counts_per_unit: f64, "count/unit" = axis.counts_per_unit;
    /// Damped frequency of the oscillation after command end; none unless one is found.
    ringing_hz: Option<f64>, "Hz" = None;
    /// Standard uncertainty of `ringing_hz`.
    ringing_u_hz: Option<f64>, "Hz" = None;
    /// Damping ratio of that oscillation; none if its decay is not exponential.
    damping_ratio: Option<f64>, "1" = None;
    /// Time constant of a monotone decay after command end: of a lag or a creep, or beside the oscillation.
    tail_s: Option<f64>, "s" = None;
    /// Shape of the stop: `clean`, `lag`, `ringing`, `creep`, `overshoot`, `hunting`, `offset` or `unsure`.
    signature: Option<String>, "", column ("\nsignature", 2, Plain),
        from signature = signature.map(|signature| signature.word().to_owned());
    /// Settling time for other windows, widest first: window in `unit`, settling in s or none.
    settling_curve: Vec<WindowSettling>, "unit, s" = settling_curve::with_set_window(axis, curve, record);
    /// Half-width of the interval that holds the true settling time in 95 of 100 moves.
    settling_95_s: Option<f64>, "s",
        from settling_95 = (outcome == Outcome::Settled).then(|| axis.seconds(settling_95));
    /// Settling time of a window 5 % wider; none where it is not settled.
    settling_wider_s: Option<f64>, "s", from settling_wider = axis.optional_seconds(settling_wider);
    /// Settling time of a window 5 % narrower; none where it is not settled.
    settling_narrower_s: Option<f64>, "s", from settling_narrower = axis.optional_seconds(settling_narrower);
    /// Longest time between two samples where samples are missing; none if none are.
    longest_gap_s: Option<f64>, "s", from longest_gap = (gaps > 0).then(|| axis.seconds(longest_gap));
    /// Standard uncertainty of the command end; part of `settling_u_s`.
    command_end_u_s: f64, "s", from command_end_u = axis.seconds(command_end_u);
    /// Number of places with missing samples, from start to the end of the rest.
    gaps: u32, "1", from gaps = gaps;
    /// Number of the product that the axis worked on; none where it is not known.
    job: Option<u32>, "", column ("\njob", 4, Plain) = None;
    /// Command end to the next change of the command, or to the end of the samples: as long as the axis had to settle.
    held_s: f64, "s", from held = axis.seconds(held as f64);
    /// How often the error turned before it settled, or in the whole rest if it did not; none without a signature.
    turning_points: Option<u32>, "1", from turning_points = record.signature.map(|_| turning_points);
    /// Mean time from one turning point of the error to the next: half a period of ringing or hunting.
    turning_spacing_s: Option<f64>, "s",
        from turning_spacing = axis.optional_seconds(turning_spacing.map(NonZeroU32::get));
    /// Time by which feedback followed the command while the axis moved; negative if it led.
    cruise_lag_s: Option<f64>, "s", from cruise_lag = cruise_lag
        .map(|lag| axis.seconds(lag.unsigned_abs()) * f64::from(lag.signum()));
    /// Share of the time, between turning points, for which feedback stood.
    standing: Option<f64>, "1", from standing = standing.map(|share| f64::from(share) / 16.0);
    /// Standard uncertainty of `damping_ratio`.
    damping_u: Option<f64>, "1" = None;
    /// Amplitude of the oscillation at the command end.
    ringing_amplitude: Option<f64>, "unit" = None;
    /// Why no ringing, or no damping ratio, is stated; none where both are, or nothing is known.
    ringing_reason: Option<String>, "" = None;
    /// Damped frequency of the larger of two oscillations that all samples of the stop show; none unless two are shown.
    first_mode_hz: Option<f64>, "Hz" = None;
    /// Standard uncertainty of `first_mode_hz`.
    first_mode_u_hz: Option<f64>, "Hz" = None;
    /// Damping ratio of that oscillation, the larger of two.
    first_mode_damping: Option<f64>, "1" = None;
    /// Standard uncertainty of `first_mode_damping`.
    first_mode_damping_u: Option<f64>, "1" = None;
    /// Amplitude of that oscillation, the larger of two, at the command end.
    first_mode_amplitude: Option<f64>, "unit" = None;
    /// Damped frequency of the smaller of two oscillations that all samples of the stop show; none unless two are shown.
    second_mode_hz: Option<f64>, "Hz" = None;
    /// Standard uncertainty of `second_mode_hz`.
    second_mode_u_hz: Option<f64>, "Hz" = None;
    /// Damping ratio of that oscillation, the smaller of two.
    second_mode_damping: Option<f64>, "1" = None;
    /// Standard uncertainty of `second_mode_damping`.
    second_mode_damping_u: Option<f64>, "1" = None;
    /// Amplitude of that oscillation, the smaller of two, at the command end.
    second_mode_amplitude: Option<f64>, "unit" = None;
}

/// The field that follows [`FIELDS`] where a monitor has assigned the move to a kind.
pub static KIND: Field<MoveReport> = Field {
    name: "kind",
    unit: "",
    meaning: "Which moves it may be compared with, in words.",
    form: Form::Text,
    value: |report| report.kind.value(),
    column: Some(Column::new("\nkind", 3, Decimals::Plain)),
};

/// All fields of a move out of a store: [`FIELDS`], then [`KIND`].
pub fn stored_fields() -> impl Iterator<Item = &'static Field<MoveReport>> {
    FIELDS.iter().chain([&KIND])
}

/// One JSON object; `kind` only where there is one.
impl Serialize for MoveReport {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let fields = stored_fields().filter(|field| field.name != KIND.name || self.kind.is_some());
        serializer.collect_map(fields.map(|field| (field.name, (field.value)(self))))
    }
}

impl MoveReport {
    /// Command end to the last entry, which held, whatever the definition; and its standard uncertainty where
    /// that is known. Unit: s
    pub fn last_entry_s(&self) -> (Option<f64>, Option<f64>) {
        if self.definition == Definition::LastEntry {
            return (self.settling_s, self.settling_u_s);
        }
        (self.confirmation_s.map(|confirmation| confirmation - self.window_time_s), None)
    }
}

impl FieldType for Outcome {
    const FORM: Form = Form::Text;

    fn value(&self) -> Value<'_> {
        Value::Text(Some(self.word()))
    }
}

impl FieldType for Definition {
    const FORM: Form = Form::Text;

    fn value(&self) -> Value<'_> {
        Value::Text(Some(definition_name(*self)))
    }
}

/// A definition as the command line names it.
pub fn definition_name(definition: Definition) -> &'static str {
    match definition {
        Definition::LastEntry => "last-entry",
        Definition::Iso9283 => "iso-9283",
        Definition::TargetReached => "target-reached",
    }
}
