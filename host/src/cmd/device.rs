//! In: a monitor on a line and what it is asked. Out: its answers; or a board with the monitor's image on it.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::{Args, Subcommand};

use super::figure::{somebody, whole};
use super::output::tell;
use crate::error::Error;
use crate::source::probe;
use talk::Talk;

mod act;
mod arrange;
mod settings;
mod talk;

/// Ask a monitor something, or make a board one
///
/// Every answer is printed in words. A monitor that refuses says so, and the exit status is 1. With --store and
/// --who whatever was acknowledged, set aside, declared or set is written in the store's journal, and what the
/// monitor said is kept there as by `watch`.
#[derive(Args)]
#[command(after_help = EXAMPLES)]
pub struct Arguments {
    /// serial:PATH, tcp:HOST:PORT or probe:CHIP
    source: String,
    /// Store whose journal is written
    #[arg(long, value_name = "PATH", global = true, requires = "who")]
    store: Option<PathBuf>,
    /// Who does it
    #[arg(long, value_name = "NAME", global = true, requires = "store", value_parser = somebody)]
    who: Option<String>,
    #[command(subcommand)]
    question: Question,
}

const EXAMPLES: &str = "\
Examples:
  stillpoint device serial:/dev/ttyACM0 identify
  stillpoint device serial:/dev/ttyACM0 acknowledge 3 --store shift.store --who 'M. Ito'
  stillpoint device serial:/dev/ttyACM0 shelve 3 --minutes 90 --store shift.store --who 'M. Ito'
  stillpoint device serial:/dev/ttyACM0 settings 1 window=120 window_time=10ms
  stillpoint device serial:/dev/ttyACM0 arrange 1 drift latching=true re_alarm_time=24h
  stillpoint device probe:STM32G474RETx flash stillpoint-nucleo-g474re";

#[derive(Subcommand)]
enum Question {
    /// Who it is, what it is set to, and which alarms are not normal
    Identify,
    /// Set its clock to this computer's
    SetClock,
    /// Count the moves in its log since a frame
    DumpSince {
        /// Start of the monitor
        #[arg(value_parser = whole::<u32>, allow_negative_numbers = true)]
        boot: u32,
        /// Number of the first frame
        #[arg(value_parser = whole::<u32>, allow_negative_numbers = true)]
        sequence: u32,
    },
    #[command(flatten)]
    Act(act::Act),
    /// Have the samples around the next stops of an axis sent
    Capture {
        /// Number of the axis, from 0
        #[arg(value_parser = whole::<u8>, allow_negative_numbers = true)]
        axis: u8,
        /// How many stops; 0 ends it
        #[arg(value_parser = whole::<u32>, allow_negative_numbers = true)]
        stops: u32,
    },
    /// What runs now is good: its baselines are learnt anew
    Declare {
        /// Number of the axis, from 0
        #[arg(value_parser = whole::<u8>, allow_negative_numbers = true)]
        axis: u8,
        /// Number of the kind of moves; left out: all of the axis
        #[arg(long, value_name = "K", default_value = "0", hide_default_value = true)]
        #[arg(value_parser = whole::<u32>, allow_negative_numbers = true)]
        kind: u32,
    },
    /// Show or change the settings of an axis, from its next move on
    Settings(settings::Arguments),
    /// Show or change how an alarm behaves, until the monitor starts anew
    Arrange(arrange::Arguments),
    /// Write the monitor's image to the chip at probe:CHIP, check it and start it
    Flash {
        /// The ELF file that cargo built
        image: PathBuf,
    },
}

/// Makes the board a monitor, or asks one.
pub fn run(arguments: &Arguments) -> Result<ExitCode, Error> {
    if let Question::Flash { image } = &arguments.question {
        return flash(&arguments.source, image);
    }
    let mut talk = Talk::open(&arguments.source, arguments.store.as_deref())?;
    let done = match &arguments.question {
        Question::Act(act) => act.run(&mut talk),
        Question::Capture { axis, stops } => act::capture(&mut talk, *axis, *stops),
        Question::Declare { axis, kind } => act::declare(&mut talk, *axis, *kind),
        Question::Settings(asked) => asked.run(&mut talk),
        Question::Arrange(asked) => asked.run(&mut talk),
        Question::SetClock => act::set_clock(&mut talk),
        Question::DumpSince { boot, sequence } => act::dump(&mut talk, *boot, *sequence),
        Question::Identify | Question::Flash { .. } => Ok(settings::identify(&talk)),
    };
    if let Ok(done) = &done {
        println!("{}", done.text);
    }
    let number = talk.known.number;
    let (store, done) = (talk.finish()?, done?);
    let status = if done.is_kept { ExitCode::SUCCESS } else { ExitCode::FAILURE };
    if let (Some(store), Some(who), Some(noted)) = (store, &arguments.who, done.noted) {
        store.add_action(who, (noted.what, &done.text), (number, noted.header), noted.axis)?;
    }
    Ok(status)
}

/// What came of a question.
struct Done {
    /// In words.
    text: String,
    /// If it goes into the journal.
    noted: Option<Noted>,
    /// It outlives the next start, as far as it is meant to.
    is_kept: bool,
}

/// How the journal names it, and the frame that answered.
struct Noted {
    what: &'static str,
    header: stillpoint_core::wire::header::Header,
    axis: u8,
}

impl Done {
    fn told(text: String) -> Done {
        Done { text, noted: None, is_kept: true }
    }
}

fn flash(place: &str, image: &Path) -> Result<ExitCode, Error> {
    let Some(chip) = place.strip_prefix("probe:") else {
        return Err(unfit(place, "is no probe", "say probe:CHIP"));
    };
    probe::flash(chip, image)?;
    println!("{} is on the chip, was read back and runs", image.display());
    tell(format_args!("listen with `stillpoint watch {place} --image {}`", image.display()));
    Ok(ExitCode::SUCCESS)
}

fn unfit(place: &str, wrong: &str, remedy: &str) -> Error {
    Error::Option {
        option: "SOURCE".to_owned(),
        value: place.to_owned(),
        wrong: wrong.to_owned(),
        remedy: remedy.to_owned(),
    }
}

/// A change that can't be made: there is no such key, or it can't have this value.
fn unusable(
    option: &str,
    change: &str,
    of: &str,
    keys: &[&str],
    allowed: impl Fn(&str) -> &'static str,
) -> Error {
    let key = change.split_once('=').map(|(key, _)| key).filter(|key| keys.contains(key));
    let (wrong, remedy) = match key {
        Some(key) => (format!("{key} can't have this value"), format!("give {}", allowed(key))),
        None => (format!("is no KEY=VALUE of {of}"), format!("keys: {}", keys.join(", "))),
    };
    Error::Option { option: option.to_owned(), value: change.to_owned(), wrong, remedy }
}

/// A time as people write it: in ticks, or as 10ms, 2s, 5min or 8h. Unit: ticks
fn ticks(value: &str, ticks_per_second: u32) -> Option<u64> {
    let units = [("ms", 0.001), ("min", 60.0), ("s", 1.0), ("h", 3600.0)];
    let with = units.iter().find_map(|(unit, seconds)| Some((value.strip_suffix(unit)?, seconds)));
    match with {
        Some((number, seconds)) => times(number, seconds * f64::from(ticks_per_second)),
        None => value.parse().ok(),
    }
}

/// So many times a number that is not negative.
fn times(value: &str, factor: f64) -> Option<u64> {
    let product = (value.trim().parse::<f64>().ok()? * factor).round();
    (0.0..=u64::MAX as f64).contains(&product).then_some(product as u64)
}
