//! In: a connection to a monitor and a command. Out: the monitor's answer; or a board with the monitor's image on it.

use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::time::{Duration, SystemTime, UNIX_EPOCH};

use clap::{Args, Subcommand};
use stillpoint_core::wire::command::{Command, Declare, DumpSince, SetClock};
use stillpoint_core::wire::header::{Header, Priority};
use stillpoint_core::wire::message::Message;

use super::option_value::{person, seconds, whole};
use super::output::{notify, print};
use crate::error::Error;
use crate::report::number;
use crate::source::probe;
use crate::store::{Options, Store};
use session::Session;

mod state;
mod session;
mod alarm;
mod axis;
mod declare;
mod arrange;
mod settings;

/// Query or configure a monitor, or flash a board
///
/// Prints the answer in words. If the monitor refuses, the exit status is 1. Whoever changes something gives --who and
/// --store: the journal of the store records every change, and the store keeps the monitor's frames as with `watch`. To
/// look (identify, dump-since, capture, settings and arrange without changes) needs neither.
#[derive(Args)]
#[command(after_help = EXAMPLES)]
pub struct Arguments {
    /// serial:PATH, tcp:HOST:PORT or probe:CHIP
    source: String,
    /// Store with the journal
    #[arg(long, value_name = "PATH", global = true, requires = "who")]
    store: Option<PathBuf>,
    /// Name of the person who acts
    #[arg(long, value_name = "NAME", global = true, requires = "store", value_parser = person)]
    who: Option<String>,
    /// Longest wait for the connection and the monitor's state together, and then for each answer
    #[arg(long, value_name = "S", global = true, default_value = "10", value_parser = seconds)]
    #[arg(allow_negative_numbers = true)]
    time_out: Duration,
    #[command(subcommand)]
    request: Request,
}

const EXAMPLES: &str = "\
Examples:
  stillpoint device serial:/dev/ttyACM0 identify
  stillpoint device serial:/dev/ttyACM0 acknowledge 3 --store shift.store --who 'M. Ito'
  stillpoint device serial:/dev/ttyACM0 shelve 3 --minutes 90 --store shift.store --who 'M. Ito'
  stillpoint device serial:/dev/ttyACM0 settings 1
  stillpoint device serial:/dev/ttyACM0 settings 1 window=120 window_time=10ms --store shift.store --who 'M. Ito'
  stillpoint device serial:/dev/ttyACM0 settings 1 settling_limit=80ms --store shift.store --who 'M. Ito'
  stillpoint device serial:/dev/ttyACM0 declare 1 --store shift.store --who 'M. Ito'
  stillpoint device serial:/dev/ttyACM0 job 4201 --store shift.store --who 'M. Ito'
  stillpoint device serial:/dev/ttyACM0 arrange 1 drift latching=true --store shift.store --who 'M. Ito'
  stillpoint device probe:STM32G474RETx flash stillpoint-nucleo-g474re --store shift.store --who 'M. Ito'";

#[derive(Subcommand)]
enum Request {
    /// Show the monitor's board and firmware, its settings, and the alarms that are not normal
    Identify,
    /// Set the monitor's clock to the time of this computer
    SetClock,
    /// Count the moves in the monitor's log since a frame
    DumpSince {
        /// Number of the monitor's start
        #[arg(value_parser = whole::<u32>, allow_negative_numbers = true)]
        boot: u32,
        /// Number of the first frame
        #[arg(value_parser = whole::<u32>, allow_negative_numbers = true)]
        sequence: u32,
    },
    #[command(flatten)]
    Alarm(alarm::AlarmAction),
    /// Send the samples around the next stops of an axis
    Capture {
        /// Number of the axis, from 0
        #[arg(value_parser = whole::<u8>, allow_negative_numbers = true)]
        axis: u8,
        /// Number of stops; 0 ends the capture
        #[arg(value_parser = whole::<u32>, allow_negative_numbers = true)]
        stops: u32,
    },
    /// Declare the present moves good: their baselines are learnt anew. With --store it first compares the moves of the
    /// last hour with those of the week before, and refuses if they are slower
    Declare {
        /// Number of the axis, from 0
        #[arg(value_parser = whole::<u8>, allow_negative_numbers = true)]
        axis: u8,
        /// Number of the kind of moves; default: all kinds of the axis
        #[arg(long, value_name = "K", default_value = "0", hide_default_value = true)]
        #[arg(value_parser = whole::<u32>, allow_negative_numbers = true)]
        kind: u32,
        /// Add the moves to come to the baseline, instead of beginning a new one
        #[arg(long)]
        add: bool,
        /// Even if they are slower than those of the week before
        #[arg(long)]
        anyway: bool,
    },
    /// Set the product that an axis works on from its next move on
    Job {
        /// Number of the product; 0: none
        #[arg(value_parser = whole::<u32>, allow_negative_numbers = true)]
        number: u32,
        /// Number of the axis, from 0; default: all axes
        #[arg(long, value_name = "A", value_parser = whole::<u8>, allow_negative_numbers = true)]
        axis: Option<u8>,
    },
    /// Show or change the settings of an axis; a change takes effect at the next move
    Settings(settings::Arguments),
    /// Show or change the configuration of an alarm, until the monitor restarts
    Arrange(arrange::Arguments),
    /// Write the monitor's image to the chip at probe:CHIP, verify it and start it
    Flash {
        /// The ELF file that cargo built
        image: PathBuf,
    },
}

impl Request {
    /// Whether it changes something that others rely on. What only makes the monitor send more is none.
    fn is_change(&self) -> bool {
        match self {
            Request::Identify | Request::DumpSince { .. } | Request::Capture { .. } => false,
            Request::Settings(settings) => settings.is_change(),
            Request::Arrange(arrangement) => arrangement.is_change(),
            Request::SetClock | Request::Alarm(_) | Request::Declare { .. } => true,
            Request::Job { .. } | Request::Flash { .. } => true,
        }
    }
}

/// Flashes a board, or sends a request to a monitor.
pub fn run(arguments: &Arguments) -> Result<ExitCode, Error> {
    if arguments.request.is_change() && arguments.who.is_none() {
        return Err(Error::Option {
            option: "--who".to_owned(),
            value: "NAME".to_owned(),
            wrong: "is missing, and this changes something".to_owned(),
            remedy: "give --who with the name of the person who acts, and --store with the file of \
                `watch --store`, whose journal records it"
                .to_owned(),
        });
    }
    if let Request::Flash { image } = &arguments.request {
        return flash(arguments, image);
    }
    let mut session = Session::open(&arguments.source, arguments.store.as_deref(), arguments.time_out)?;
    let answer = match &arguments.request {
        Request::Alarm(action) => action.run(&mut session),
        Request::Capture { axis, stops } => axis::capture(&mut session, *axis, *stops),
        Request::Declare { axis, kind, add, anyway } => {
            let store = arguments.store.as_deref().filter(|_| !anyway);
            declare::run(&mut session, store, &Declare { axis: *axis, kind: *kind, add: *add })
        }
        Request::Job { number, axis } => axis::set_job(&mut session, *axis, *number),
        Request::Settings(settings) => settings.run(&mut session),
        Request::Arrange(arrangement) => arrangement.run(&mut session),
        Request::SetClock => set_clock(&mut session),
        Request::DumpSince { boot, sequence } => count_moves(&mut session, *boot, *sequence),
        Request::Identify | Request::Flash { .. } => Ok(settings::identify(&session)),
    };
    if let Ok(answer) = &answer {
        print(&format!("{}\n", answer.text))?;
    }
    let number = session.monitor.number;
    let (store, answer) = (session.finish()?, answer?);
    let status = if answer.is_durable { ExitCode::SUCCESS } else { ExitCode::FAILURE };
    if let (Some(store), Some(who), Some(entry)) = (store, &arguments.who, answer.entry) {
        store.add_action(who, (entry.what, &answer.text), (number, entry.header), entry.axis)?;
    }
    Ok(status)
}

/// The monitor's answer to a request.
struct Answer {
    /// In words.
    text: String,
    /// Its journal entry, if the request is an action.
    entry: Option<Entry>,
    /// Whether the change survives a restart, if it is meant to.
    is_durable: bool,
}

/// Data of a journal entry.
struct Entry {
    /// Kind of entry.
    what: &'static str,
    /// Header of the frame that answered.
    header: Header,
    /// None: it is about the monitor.
    axis: Option<u8>,
}

impl Answer {
    /// An answer without a journal entry.
    fn info(text: String) -> Answer {
        Answer { text, entry: None, is_durable: true }
    }

    /// An answer with a journal entry.
    fn action(text: String, what: &'static str, header: Header, axis: u8) -> Answer {
        Answer { text, entry: Some(Entry { what, header, axis: Some(axis) }), is_durable: true }
    }
}

/// The time that a monitor reports is that of its first reading, so that it has run for the rest. Longest, ten years.
/// Unit: µs
const MOST_RUNNING: i64 = 10 * 366 * 86_400 * 1_000_000;

fn set_clock(session: &mut Session) -> Result<Answer, Error> {
    let since = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
    let clock = SetClock { now: i64::try_from(since.as_micros()).unwrap_or(i64::MAX) };
    let near = |epoch: i64| (0..=MOST_RUNNING).contains(&clock.now.saturating_sub(epoch));
    let answer = session.request(&Command::SetClock(clock), |header, message| match message {
        Message::Hello(hello) => hello.clock.filter(|epoch| near(*epoch)).map(|_| *header),
        _ => None,
    })?;
    let Some(header) = answer else {
        return Err(session.error("the clock can't be set", "the monitor may have an older firmware"));
    };
    let text = "the monitor's clock is set to the time of this computer".to_owned();
    let entry = Some(Entry { what: "clock", header, axis: None });
    Ok(Answer { text, entry, is_durable: true })
}

fn count_moves(session: &mut Session, boot: u32, sequence: u32) -> Result<Answer, Error> {
    let mut moves = 0_u64;
    let since = DumpSince { boot, priority: Priority::Move as u8, sequence };
    session.dump(since, &mut |_, message| moves += u64::from(matches!(message, Message::Move(_))))?;
    Ok(Answer::info(format!("{} received", number::count(moves, "move"))))
}

fn flash(arguments: &Arguments, image: &Path) -> Result<ExitCode, Error> {
    let place = &arguments.source;
    let Some(chip) = place.strip_prefix("probe:") else {
        return Err(unusable_source(place, "is not a probe", "give probe:CHIP"));
    };
    // It must exist: no action may be taken that then can't be recorded.
    let store = arguments.store.as_deref().map(|path| Store::open(path, &Options::default())).transpose()?;
    probe::flash(chip, image)?;
    let text = format!("{} is written to the chip, verified and running", image.display());
    if let (Some(store), Some(who)) = (store, &arguments.who) {
        store.add_note(who, "firmware", &text)?;
    }
    print(&(text + "\n"))?;
    notify(format_args!("to watch it: `stillpoint watch {place} --image {}`", image.display()));
    Ok(ExitCode::SUCCESS)
}

fn unusable_source(place: &str, wrong: &str, remedy: &str) -> Error {
    Error::Option {
        option: "SOURCE".to_owned(),
        value: place.to_owned(),
        wrong: wrong.to_owned(),
        remedy: remedy.to_owned(),
    }
}

/// A change that can't be made: an unknown key, or a value that the key can't have.
fn unusable_change(
    option: &str,
    change: &str,
    of: &str,
    keys: &[&str],
    allowed: impl Fn(&str) -> &'static str,
) -> Error {
    let key = change.split_once('=').map(|(key, _)| key).filter(|key| keys.contains(key));
    let (wrong, remedy) = match key {
        Some(key) => (format!("{key} can't have this value"), format!("give {}", allowed(key))),
        None => (format!("is not KEY=VALUE of {of}"), format!("keys: {}", keys.join(", "))),
    };
    Error::Option { option: option.to_owned(), value: change.to_owned(), wrong, remedy }
}

/// A time in ticks, or written as 10ms, 2s, 5min or 8h. Unit: ticks
fn ticks(value: &str, ticks_per_second: u32) -> Option<u64> {
    let units = [("ms", 0.001), ("min", 60.0), ("s", 1.0), ("h", 3600.0)];
    let suffixed = units.iter().find_map(|(unit, seconds)| Some((value.strip_suffix(unit)?, seconds)));
    match suffixed {
        Some((number, seconds)) => scaled(number, seconds * f64::from(ticks_per_second)),
        None => value.parse().ok(),
    }
}

/// `factor` × a number that is not negative, rounded.
fn scaled(value: &str, factor: f64) -> Option<u64> {
    let product = (value.trim().parse::<f64>().ok()? * factor).round();
    (0.0..=u64::MAX as f64).contains(&product).then_some(product as u64)
}
