//! In: changes to the settings of an axis, as KEY=VALUE. Out: the accepted settings, or the parameter that broke a rule.

use clap::Args;
use stillpoint_core::Invalid;
use stillpoint_core::drift::DriftSettings;
use stillpoint_core::wire::command::{Apply, Command};
use stillpoint_core::wire::header::Header;
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::settings::{Definition, Parameters, Settings};

use super::Answer;
use super::axis::check;
use super::session::Session;
use crate::cmd::option_value::whole;
use crate::error::Error;
use crate::report::describe;
use crate::report::number;

#[derive(Args)]
pub(super) struct Arguments {
    /// Number of the axis, from 0
    #[arg(value_parser = whole::<u8>, allow_negative_numbers = true)]
    axis: u8,
    /// KEY=VALUE in counts or ticks; times also as 10ms, 2s, 5min or 8h; without changes the settings are shown
    changes: Vec<String>,
}

impl Arguments {
    pub(super) fn is_change(&self) -> bool {
        !self.changes.is_empty()
    }

    pub(super) fn run(&self, session: &mut Session) -> Result<Answer, Error> {
        let axis = self.axis;
        check(session, axis)?;
        let before = session.monitor.settings.get(&axis).copied().unwrap_or_default();
        if self.changes.is_empty() {
            return Ok(Answer::info(describe_axis(axis, &before)));
        }
        let mut parameters = before;
        for change in &self.changes {
            set(&mut parameters, change).ok_or_else(|| unknown(change))?;
        }
        let refusals = session.refusals()?;
        let command = Command::Apply(Apply { axis, parameters });
        let mut refusal = None;
        let answer = session.request(&command, |header, message| match message {
            Message::Settings(reply) if reply.axis != axis => None,
            Message::Settings(reply) if reply.refused.is_some() => {
                // The status that names the command follows.
                refusal = Some(*reply);
                None
            }
            Message::Settings(reply) => is_granted(&parameters, reply).then_some((*header, *reply)),
            _ => None,
        })?;
        match (answer, refusal) {
            (Some((header, reply)), _) => {
                // If the flash did not store accepted settings, the monitor counts a refusal; no frame says more.
                let is_durable = session.refusals()? == refusals;
                Ok(accepted(&before, &reply, header, is_durable))
            }
            (None, Some(reply)) => Err(refused(session, &parameters, &reply)),
            (None, None) => {
                Err(session.error(format!("axis {axis}: the settings were refused"), "try again"))
            }
        }
    }
}

/// Whether accepted settings are those that were requested; a drift detector may have its defaults. The monitor sends
/// settings also when earlier ones come in force.
fn is_granted(requested: &Parameters, reply: &Settings) -> bool {
    let Parameters { inferred, limits, baseline_minutes, .. } = reply.parameters;
    let of_measurement = |parameters: &Parameters| stillpoint_core::Parameters::from(parameters);
    let minutes = [0, baseline_minutes];
    of_measurement(requested) == of_measurement(&reply.parameters)
        && (requested.inferred, requested.limits) == (inferred, limits)
        && minutes.contains(&requested.baseline_minutes)
}

/// Added to the text of a change that is in force but not stored; the change is reported and recorded as well.
const NOT_STORED: &str = "; but the flash did not store it, so the next start restores the previous settings: \
    set it again; if this message repeats, the flash is worn or full";

fn accepted(before: &Parameters, reply: &Settings, header: Header, is_durable: bool) -> Answer {
    let changes: Vec<String> = fields(before)
        .into_iter()
        .zip(fields(&reply.parameters))
        .filter(|(before, now)| before != now)
        .map(|((key, before), (_, now))| format!("{key} {before} -> {now}"))
        .collect();
    let since = if reply.pending { "from the next move on" } else { "in force" };
    let changes = if changes.is_empty() { "no change".to_owned() } else { changes.join(", ") };
    let warning = if is_durable { "" } else { NOT_STORED };
    let text = format!("axis {}, {since}: {changes}{warning}", reply.axis);
    Answer { is_durable, ..Answer::action(text, "settings", header, reply.axis) }
}

/// The refused parameter, and the rule that it breaks.
fn refused(session: &Session, parameters: &Parameters, reply: &Settings) -> Error {
    let name = reply.refused_name().unwrap_or_default();
    let rule = match broken_rule(parameters) {
        Some(invalid) if invalid.parameter == name => invalid.rule,
        _ if name == "inferred" => "true on no more axes than the board can infer",
        _ if name.ends_with("_limit_permille") => "at most 999",
        _ => "a value that the monitor accepts",
    };
    let wrong = format!("axis {}: {name} was refused: it must be {rule}", reply.axis);
    session.error(wrong, "the previous settings stay in force")
}

/// The first parameter that breaks its rule.
fn broken_rule(parameters: &Parameters) -> Option<Invalid> {
    let settings = stillpoint_core::Settings::new(parameters.into()).err();
    settings.or_else(|| DriftSettings::new(parameters.drift_config()).err())
}

/// Board and firmware, the settings of each axis, and the alarms that are not normal.
pub(super) fn identify(session: &Session) -> Answer {
    let monitor = &session.monitor;
    let mut text = format!(
        "board {}, firmware {}, {}, {} ticks/s",
        monitor.board,
        monitor.firmware,
        number::count(monitor.axes, "axis"),
        monitor.ticks_per_second
    );
    let alarms = monitor.alarms.values().map(|alarm| describe::alarm(&format!("axis {}", alarm.axis), alarm));
    let axes = monitor.settings.iter().filter(|(axis, _)| **axis < monitor.axes);
    let axes = axes.map(|(axis, parameters)| describe_axis(*axis, parameters));
    axes.chain(alarms).for_each(|line| text += &format!("\n{line}"));
    Answer::info(text)
}

fn describe_axis(axis: u8, parameters: &Parameters) -> String {
    let values = fields(parameters).map(|(key, value)| format!("{key}={value}"));
    format!("axis {axis}: {}", values.join(" "))
}

/// Every parameter with the name that the monitor uses in a refusal.
fn fields(parameters: &Parameters) -> [(&'static str, String); 24] {
    let (drift, limits) = (&parameters.drift, &parameters.limits);
    let (upper, lower) = parameters.command_scale;
    [
        ("ticks_per_second", parameters.ticks_per_second.to_string()),
        ("window", parameters.window.to_string()),
        ("window_time", parameters.window_time.to_string()),
        ("rest_time", parameters.rest_time.to_string()),
        ("following_error_window", parameters.following_error_window.to_string()),
        ("following_error_time_out", parameters.following_error_time_out.to_string()),
        ("command_scale", format!("{upper}/{lower}")),
        ("encoder_step", parameters.encoder_step.to_string()),
        ("jump", parameters.jump.to_string()),
        ("definition", definition(parameters.definition).to_owned()),
        ("inferred", parameters.inferred.to_string()),
        (
            "false_alarms_per_axis_month",
            (f64::from(drift.false_alarms_per_axis_month_milli) / 1000.0).to_string(),
        ),
        ("smallest_change_permille", drift.smallest_change_permille.to_string()),
        ("smallest_change", drift.smallest_change.to_string()),
        ("moves_per_hour", drift.moves_per_hour.to_string()),
        ("baseline", drift.baseline.to_string()),
        ("synchronous", parameters.synchronous.to_string()),
        ("turn", parameters.turn.to_string()),
        ("window_fraction", parameters.window_fraction.to_string()),
        ("baseline_minutes", parameters.baseline_minutes.to_string()),
        ("settling_limit", limits.settling.to_string()),
        ("settling_limit_permille", limits.settling_permille.to_string()),
        ("unsettled_limit_permille", limits.unsettled_permille.to_string()),
        ("limited_kind", limits.kind.to_string()),
    ]
}

/// Sets one parameter; `None` if the key is unknown or can't have this value.
fn set(parameters: &mut Parameters, change: &str) -> Option<()> {
    let (key, value) = change.split_once('=')?;
    let number = || value.parse::<u32>().ok();
    let rate = parameters.ticks_per_second;
    let (drift, limits) = (&mut parameters.drift, &mut parameters.limits);
    match key {
        "ticks_per_second" => parameters.ticks_per_second = number()?,
        "window" => parameters.window = number()?,
        "window_time" => parameters.window_time = ticks(value, rate)?,
        "rest_time" => parameters.rest_time = ticks(value, rate)?,
        "following_error_window" => parameters.following_error_window = number()?,
        "following_error_time_out" => parameters.following_error_time_out = ticks(value, rate)?,
        "command_scale" => {
            let (upper, lower) = value.split_once('/')?;
            parameters.command_scale = (upper.parse().ok()?, lower.parse().ok()?);
        }
        "encoder_step" => parameters.encoder_step = number()?,
        "jump" => parameters.jump = number()?,
        "definition" => {
            let all = [Definition::LastEntry, Definition::Iso9283, Definition::TargetReached];
            parameters.definition = all.into_iter().find(|one| definition(*one) == value)?;
        }
        "inferred" => parameters.inferred = value.parse().ok()?,
        "false_alarms_per_axis_month" => drift.false_alarms_per_axis_month_milli = milli(value)?,
        "smallest_change_permille" => drift.smallest_change_permille = number()?,
        "smallest_change" => drift.smallest_change = ticks(value, rate)?,
        "moves_per_hour" => drift.moves_per_hour = number()?,
        "baseline" => drift.baseline = number()?,
        "synchronous" => parameters.synchronous = value.parse().ok()?,
        "turn" => parameters.turn = number()?,
        "window_fraction" => parameters.window_fraction = value.parse().ok()?,
        "baseline_minutes" => parameters.baseline_minutes = number()?,
        "settling_limit" => limits.settling = ticks(value, rate)?,
        "settling_limit_permille" => limits.settling_permille = number()?,
        "unsettled_limit_permille" => limits.unsettled_permille = number()?,
        "limited_kind" => limits.kind = number()?,
        _ => return None,
    }
    Some(())
}

/// A time that fits the wire. Unit: ticks
fn ticks(value: &str, ticks_per_second: u32) -> Option<u32> {
    super::ticks(value, ticks_per_second).and_then(|ticks| ticks.try_into().ok())
}

fn milli(value: &str) -> Option<u32> {
    super::scaled(value, 1000.0).and_then(|milli| milli.try_into().ok())
}

fn definition(definition: Definition) -> &'static str {
    match definition {
        Definition::LastEntry => "last-entry",
        Definition::Iso9283 => "iso-9283",
        Definition::TargetReached => "target-reached",
    }
}

fn unknown(change: &str) -> Error {
    let keys = fields(&Parameters::default()).map(|(key, _)| key);
    super::unusable_change("settings", change, "an axis", &keys, |key| match key {
        "window_time" | "rest_time" | "following_error_time_out" | "smallest_change" | "settling_limit" => {
            TIME
        }
        "command_scale" => "two whole numbers, such as -1/1",
        "definition" => "last-entry, iso-9283 or target-reached",
        "inferred" | "synchronous" => "true or false",
        "window_fraction" => "a whole number from 0 to 255",
        "false_alarms_per_axis_month" => "a number from 0 to 4294967, such as 0.5",
        _ => "a whole number from 0 to 4294967295",
    })
}

/// Allowed values of a time.
const TIME: &str = "ticks, or a time such as 10ms, 2s, 5min or 8h, of less than 2^32 ticks";

#[cfg(test)]
mod tests {
    use super::*;
    use stillpoint_core::wire::settings::{DriftConfig, Limits};

    #[test]
    fn every_field_shown_can_be_set() {
        let parameters = Parameters {
            ticks_per_second: 1_000_000,
            window: 2,
            window_time: 3,
            rest_time: 4,
            following_error_window: 5,
            following_error_time_out: 6,
            command_scale: (-7, 8),
            encoder_step: 9,
            jump: 10,
            definition: Definition::Iso9283,
            inferred: true,
            drift: DriftConfig {
                false_alarms_per_axis_month_milli: 1250,
                smallest_change_permille: 11,
                smallest_change: 12,
                moves_per_hour: 13,
                baseline: 14,
            },
            synchronous: true,
            turn: 360,
            window_fraction: 15,
            baseline_minutes: 16,
            limits: Limits { settling: 17, settling_permille: 18, unsettled_permille: 19, kind: 20 },
        };
        let mut copy = Parameters::default();
        for (key, value) in fields(&parameters) {
            let before = copy;
            assert_eq!(set(&mut copy, &format!("{key}={value}")), Some(()), "{key}={value}");
            assert_ne!(copy, before, "{key}");
        }
        assert_eq!(copy, parameters);
    }

    #[track_caller]
    fn check(change: &str, expected: Option<u32>) {
        let mut parameters = Parameters { ticks_per_second: 10_000_000, ..Parameters::default() };
        assert_eq!(
            set(&mut parameters, change).map(|()| parameters.window_time + parameters.window),
            expected,
            "{change}"
        );
    }

    #[test]
    fn times_have_units_and_nonsense_is_refused() {
        check("window_time=10ms", Some(100_000));
        check("window_time=1.5s", Some(15_000_000));
        check("window_time=7", Some(7));
        for wrong in
            ["window_time=500s", "window_time=-1ms", "window_time=ms", "window=7ms", "window=", "window"]
        {
            check(wrong, None);
        }
        for wrong in ["windows=7", "=", "", "window_time=NaNs", "definition=first-entry", "command_scale=3"] {
            check(wrong, None);
        }
    }
}
