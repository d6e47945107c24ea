//! In: a finished move with its names and units. Out: the shape of one JSON line and one CSV row.
//!
//! The field names are a contract: other tools read them. Add at the end, never rename.

use serde::Serialize;

/// One move as other tools read it. Times in seconds, lengths in `unit`.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct MoveLine {
    /// Where the samples came from.
    pub file: String,
    /// Name of the axis.
    pub axis: String,
    /// Number of the move on its axis, from 1.
    #[serde(rename = "move")]
    pub number: u32,
    /// Last instant at the old command, on the recording's own clock. Unit: s
    pub start_s: f64,
    /// First instant at the final command, on the recording's own clock. Unit: s
    pub command_end_s: f64,
    /// Commanded distance, with its sign. Unit: `unit`
    pub travel: f64,
    /// Fastest feedback over eight samples. Unit: `unit`/s
    pub peak_speed: f64,
    /// Name of the length or angle unit.
    pub unit: String,
    /// Half-width of the position window. Unit: `unit`
    pub window: f64,
    /// How long feedback must stay inside. Unit: s
    pub window_time_s: f64,
    /// `last-entry`, `iso-9283` or `target-reached`.
    pub definition: String,
    /// `settled`, `unsettled`, `interrupted` or `untrusted`.
    pub outcome: String,
    /// Why the outcome is not `settled`, or what to be careful about; empty if nothing.
    pub reason: String,
    /// Settling time by `definition`; only when settled. Unit: s
    pub settling_s: Option<f64>,
    /// Standard uncertainty of `settling_s` (GUM). Unit: s
    pub settling_u_s: Option<f64>,
    /// Command end to first time inside. Unit: s
    pub first_entry_s: Option<f64>,
    /// Command end to the instant the window had been held for the window time. Unit: s
    pub confirmation_s: Option<f64>,
    /// First crossing into the window to staying inside (ISO 9283 7.4). Unit: s
    pub stabilization_s: Option<f64>,
    /// How often feedback came to be inside, from command end on.
    pub window_entries: u32,
    /// Largest excursion beyond the target in the direction of travel. Unit: `unit`
    pub overshoot: f64,
    /// Largest |command − feedback|. Unit: `unit`
    pub peak_following_error: f64,
    /// command − feedback at command end. Unit: `unit`
    pub error_at_command_end: f64,
    /// Mean of command − feedback over the rest. Unit: `unit`
    pub rest_error: Option<f64>,
    /// Root mean square of the error about `rest_error`. Unit: `unit`
    pub rest_noise_rms: Option<f64>,
    /// Feedback counts per unit.
    pub counts_per_unit: f64,
    /// Frequency of a decaying oscillation after command end. Unit: Hz
    pub ringing_hz: Option<f64>,
    /// Standard uncertainty of `ringing_hz`. Unit: Hz
    pub ringing_u_hz: Option<f64>,
    /// Damping ratio of that oscillation.
    pub damping_ratio: Option<f64>,
    /// Time constant of a monotone decay after command end. Unit: s
    pub tail_s: Option<f64>,
    /// Shape of the stop.
    pub signature: Option<String>,
    /// Settling time for other windows, widest first: (window in `unit`, settling in s or none).
    pub settling_curve: Vec<(f64, Option<f64>)>,
    /// Half-width of the interval that holds the true settling time in 95 of 100 moves. Unit: s
    pub settling_95_s: Option<f64>,
    /// Which moves it may be compared with, in words; only where a monitor told it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub kind: Option<String>,
}

impl MoveLine {
    /// Command end to the last entry, which held, whatever the definition; and its standard uncertainty where
    /// the line tells that. Unit: s
    pub fn last_entry_s(&self) -> (Option<f64>, Option<f64>) {
        if self.definition == "last-entry" {
            return (self.settling_s, self.settling_u_s);
        }
        (self.confirmation_s.map(|confirmation| confirmation - self.window_time_s), None)
    }
}
