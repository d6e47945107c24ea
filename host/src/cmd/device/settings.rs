//! In: what an axis is to be set to, as KEY=VALUE. Out: what the monitor accepted, or which parameter broke which rule.

use clap::Args;
use stillpoint_core::Invalid;
use stillpoint_core::drift::DriftSettings;
use stillpoint_core::wire::command::{Apply, Command};
use stillpoint_core::wire::header::Header;
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::settings::{Definition, Parameters, Settings};

use super::act::check;
use super::talk::Talk;
use super::{Done, Noted};
use crate::cmd::figure::whole;
use crate::error::Error;
use crate::report::describe;

#[derive(Args)]
pub(super) struct Arguments {
    /// Number of the axis, from 0
    #[arg(value_parser = whole::<u8>, allow_negative_numbers = true)]
    axis: u8,
    /// KEY=VALUE, as shown without any: counts or ticks; times also as 10ms, 2s, 5min or 8h
    changes: Vec<String>,
}

impl Arguments {
    pub(super) fn run(&self, talk: &mut Talk) -> Result<Done, Error> {
        let axis = self.axis;
        check(talk, axis)?;
        let before = talk.known.settings.get(&axis).copied().unwrap_or_default();
        if self.changes.is_empty() {
            return Ok(Done::told(line(axis, &before)));
        }
        let mut asked = before;
        for change in &self.changes {
            set(&mut asked, change).ok_or_else(|| unknown(change))?;
        }
        let refusals = talk.refusals()?;
        let command = Command::Apply(Apply { axis, parameters: asked });
        let answer = talk.ask(&command, |header, message| match message {
            Message::Settings(told) if told.axis == axis => Some((*header, *told)),
            _ => None,
        })?;
        match answer {
            Some((header, told)) if told.refused.is_none() => {
                // Accepted but not kept by the flash counts as refused, and no frame says more.
                let is_kept = talk.refusals()? == refusals;
                Ok(accepted(&before, &told, header, is_kept))
            }
            Some((_, told)) => Err(refused(talk, &asked, &told)),
            None => Err(talk.wrong(format!("axis {axis}: the settings were refused"), "try it again")),
        }
    }
}

/// What is done is told and written down all the same.
const NOT_KEPT: &str = "; but its flash did not keep it, and the next start has what it had before: set it again, \
    and if that is told again, the flash is worn or full";

fn accepted(before: &Parameters, told: &Settings, header: Header, is_kept: bool) -> Done {
    let changes: Vec<String> = shown(before)
        .into_iter()
        .zip(shown(&told.parameters))
        .filter(|(before, now)| before != now)
        .map(|((key, before), (_, now))| format!("{key} {before} -> {now}"))
        .collect();
    let since = if told.pending { "from the next move on" } else { "in force" };
    let changes = if changes.is_empty() { "as it was".to_owned() } else { changes.join(", ") };
    let (axis, what) = (told.axis, "settings");
    let lost = if is_kept { "" } else { NOT_KEPT };
    let text = format!("axis {axis}, {since}: {changes}{lost}");
    Done { text, noted: Some(Noted { what, header, axis }), is_kept }
}

/// Which parameter, and the rule that it breaks.
fn refused(talk: &Talk, asked: &Parameters, told: &Settings) -> Error {
    let name = told.refused_name().unwrap_or_default();
    let rule = match broken(asked) {
        Some(invalid) if invalid.parameter == name => invalid.rule,
        _ if name == "inferred" => "no more often than the board can infer",
        _ => "one that the monitor takes",
    };
    let wrong = format!("axis {}: {name} was refused: it must be {rule}", told.axis);
    talk.wrong(wrong, "what was set before stays in force")
}

/// The first parameter that breaks its rule.
fn broken(asked: &Parameters) -> Option<Invalid> {
    let settings = stillpoint_core::Settings::new(asked.into()).err();
    settings.or_else(|| DriftSettings::new((&asked.drift).into()).err())
}

/// Who it is, what it is set to, and which alarms are not normal.
pub(super) fn identify(talk: &Talk) -> Done {
    let known = &talk.known;
    let mut text = format!(
        "board {}, firmware {}, {} axes, {} ticks/s",
        known.board, known.firmware, known.axes, known.ticks_per_second
    );
    let alarms = known.alarms.values().map(|alarm| describe::alarm(&format!("axis {}", alarm.axis), alarm));
    let axes = known.settings.iter().map(|(axis, parameters)| line(*axis, parameters));
    axes.chain(alarms).for_each(|line| text += &format!("\n{line}"));
    Done::told(text)
}

fn line(axis: u8, parameters: &Parameters) -> String {
    let values = shown(parameters).map(|(key, value)| format!("{key}={value}"));
    format!("axis {axis}: {}", values.join(" "))
}

/// Every parameter by the name that the monitor gives it.
fn shown(told: &Parameters) -> [(&'static str, String); 16] {
    let watch = &told.drift;
    let (upper, lower) = told.command_scale;
    [
        ("ticks_per_second", told.ticks_per_second.to_string()),
        ("window", told.window.to_string()),
        ("window_time", told.window_time.to_string()),
        ("rest_time", told.rest_time.to_string()),
        ("following_error_window", told.following_error_window.to_string()),
        ("following_error_time_out", told.following_error_time_out.to_string()),
        ("command_scale", format!("{upper}/{lower}")),
        ("encoder_step", told.encoder_step.to_string()),
        ("jump", told.jump.to_string()),
        ("definition", definition(told.definition).to_owned()),
        ("inferred", told.inferred.to_string()),
        (
            "false_alarms_per_axis_month",
            (f64::from(watch.false_alarms_per_axis_month_milli) / 1000.0).to_string(),
        ),
        ("smallest_change_permille", watch.smallest_change_permille.to_string()),
        ("smallest_change", watch.smallest_change.to_string()),
        ("moves_per_hour", watch.moves_per_hour.to_string()),
        ("baseline", watch.baseline.to_string()),
    ]
}

/// Sets one parameter; nothing if there is none of this name, or it can't have this value.
fn set(asked: &mut Parameters, change: &str) -> Option<()> {
    let (key, value) = change.split_once('=')?;
    let number = || value.parse::<u32>().ok();
    let rate = asked.ticks_per_second;
    let watch = &mut asked.drift;
    match key {
        "ticks_per_second" => asked.ticks_per_second = number()?,
        "window" => asked.window = number()?,
        "window_time" => asked.window_time = ticks(value, rate)?,
        "rest_time" => asked.rest_time = ticks(value, rate)?,
        "following_error_window" => asked.following_error_window = number()?,
        "following_error_time_out" => asked.following_error_time_out = ticks(value, rate)?,
        "command_scale" => {
            let (upper, lower) = value.split_once('/')?;
            asked.command_scale = (upper.parse().ok()?, lower.parse().ok()?);
        }
        "encoder_step" => asked.encoder_step = number()?,
        "jump" => asked.jump = number()?,
        "definition" => {
            let all = [Definition::LastEntry, Definition::Iso9283, Definition::TargetReached];
            asked.definition = all.into_iter().find(|one| definition(*one) == value)?;
        }
        "inferred" => asked.inferred = value.parse().ok()?,
        "false_alarms_per_axis_month" => watch.false_alarms_per_axis_month_milli = milli(value)?,
        "smallest_change_permille" => watch.smallest_change_permille = number()?,
        "smallest_change" => watch.smallest_change = ticks(value, rate)?,
        "moves_per_hour" => watch.moves_per_hour = number()?,
        "baseline" => watch.baseline = number()?,
        _ => return None,
    }
    Some(())
}

/// A time of the wire. Unit: ticks
fn ticks(value: &str, ticks_per_second: u32) -> Option<u32> {
    super::ticks(value, ticks_per_second).and_then(|ticks| ticks.try_into().ok())
}

fn milli(value: &str) -> Option<u32> {
    super::times(value, 1000.0).and_then(|milli| milli.try_into().ok())
}

fn definition(definition: Definition) -> &'static str {
    match definition {
        Definition::LastEntry => "last-entry",
        Definition::Iso9283 => "iso-9283",
        Definition::TargetReached => "target-reached",
    }
}

fn unknown(change: &str) -> Error {
    let keys = shown(&Parameters::default()).map(|(key, _)| key);
    super::unusable("settings", change, "an axis", &keys, |key| match key {
        "window_time" | "rest_time" | "following_error_time_out" | "smallest_change" => TIME,
        "command_scale" => "two whole numbers, such as -1/1",
        "definition" => "last-entry, iso-9283 or target-reached",
        "inferred" => "true or false",
        "false_alarms_per_axis_month" => "a figure from 0 to 4294967, such as 0.5",
        _ => "a whole number from 0 to 4294967295",
    })
}

/// What a time may be.
const TIME: &str = "ticks, or a time such as 10ms, 2s, 5min or 8h, of less than 2^32 ticks";

#[cfg(test)]
mod tests {
    use super::*;
    use stillpoint_core::wire::settings::DriftConfig;

    #[test]
    fn what_is_shown_can_be_set() {
        let told = Parameters {
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
        };
        let mut again = Parameters::default();
        for (key, value) in shown(&told) {
            let before = again;
            assert_eq!(set(&mut again, &format!("{key}={value}")), Some(()), "{key}={value}");
            assert_ne!(again, before, "{key}");
        }
        assert_eq!(again, told);
    }

    #[track_caller]
    fn check(change: &str, expected: Option<u32>) {
        let mut asked = Parameters { ticks_per_second: 10_000_000, ..Parameters::default() };
        assert_eq!(set(&mut asked, change).map(|()| asked.window_time + asked.window), expected, "{change}");
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
