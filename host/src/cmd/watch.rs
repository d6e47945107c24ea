//! In: connections to monitors, or their frames in files. Out: every move; stored frames; requests for missing frames.
//!
//! Each source has a thread of its own, so that a dead one stalls no other; this one prints what they find.

use std::collections::VecDeque;
use std::path::PathBuf;
use std::process::ExitCode;
use std::sync::mpsc::{Receiver, RecvTimeoutError};
use std::time::{Duration, Instant};

use clap::{Args, ValueEnum};

use super::few_notes::FewNotes;
use super::keep::Keep;
use super::local_time::LocalTime;
use super::option_value::seconds;
use super::output::{Output, OutputFormat, notify};
use super::tuning::RunningTable;
use crate::error::Error;
use crate::report::move_report::MoveReport;
use crate::report::number;
use crate::source;
use crate::store::log::Log;
use crate::store::{Durability, Options};
use crate::trace::choice::fraction;
use listener::Listener;
use monitor::Monitor;
use names::{Scale, WatchedSource};
use queue::{Item, Queue};

mod back_off;
mod pulse;
mod clock;
mod settings;
mod held;
mod requests;
mod names;
mod sources;
mod queue;
mod monitor;
mod listener;

/// Watch monitors
///
/// Decodes the frames of each monitor, prints every move as it arrives, counts lost frames, and requests them from the
/// monitor's log. A serial or TCP line that is lost is opened again, until Ctrl-C; with --once it ends the watch instead,
/// with status 1. A move is printed when the settings by which it was measured are known.
#[derive(Args)]
#[command(after_help = EXAMPLES)]
pub struct Arguments {
    /// serial:PATH, tcp:HOST:PORT, probe:CHIP, or file:PATH with recorded frames; any number of them
    #[arg(value_name = "SOURCE", required_unless_present = "sources", conflicts_with = "sources")]
    source: Vec<String>,
    /// CSV file that lists sources and axes; first line: source,device,axis,name,unit,counts_per_unit
    #[arg(long, value_name = "FILE", conflicts_with_all = ["axes", "unit", "counts_per_unit"])]
    sources: Option<PathBuf>,
    /// End when a line is lost, instead of opening it again
    #[arg(long)]
    once: bool,
    /// A line without a frame for this long is lost; the monitor gets a question after a sixth, and a note is written after half of it
    #[arg(long, value_name = "S", default_value = "60", value_parser = seconds, allow_negative_numbers = true)]
    time_out: Duration,
    /// Image that runs on the chip at probe:CHIP; the chip's log is then printed too
    #[arg(long, value_name = "ELF")]
    image: Option<PathBuf>,
    /// Store the frames in this file; frames missing there are requested from the monitor
    #[arg(long, value_name = "PATH")]
    store: Option<PathBuf>,
    /// Stored data survives a crash of this program (normal) or a power cut (full)
    #[arg(long, value_enum, default_value = "normal", requires = "store")]
    durability: Durable,
    #[command(flatten)]
    keep: Keep,
    /// Print after each move what every setting noted in the store does so far, instead of the moves; see `stillpoint note`
    #[arg(long, requires = "store")]
    tuning: bool,
    /// With --tuning: moves from this time on: 14:00, RFC 3339, or how long ago: 30m, 2h, 3d; default: 8h, for file:PATH all
    #[arg(long, value_name = "T", requires = "tuning")]
    since: Option<String>,
    /// Output format; a table of moves is printed at the end; default: jsonl, with --tuning table
    #[arg(long, value_enum)]
    format: Option<OutputFormat>,
    /// Names of the axes, in order
    #[arg(long, value_name = "NAME", value_delimiter = ',')]
    axes: Vec<String>,
    /// Name of the unit of position
    #[arg(long, value_name = "UNIT", default_value = "count")]
    unit: String,
    /// Counts in one unit
    #[arg(long, value_name = "N", default_value = "1")]
    counts_per_unit: String,
}

/// Durability of stored data.
#[derive(Clone, Copy, Debug, ValueEnum)]
enum Durable {
    Normal,
    Full,
}

const EXAMPLES: &str = "\
Examples:
  stillpoint watch serial:/dev/ttyACM0 --store shift.store --axes tray,dibble,turntable
  stillpoint watch probe:STM32G474RETx --image stillpoint-nucleo-g474re
  stillpoint watch file:old.frames --store shift.store
  stillpoint watch tcp:127.0.0.1:7007 --store shift.store --axes tray,dibble,turntable --tuning
  stillpoint watch file:old.frames --format table
  stillpoint watch --sources cells.csv --store line.store";

/// Moves in the table at the end; of more, the last ones.
const MOST_IN_TABLE: usize = 10_000;

/// Longest wait for the sources to end when a person interrupts.
const LONGEST_END: Duration = Duration::from_secs(10);

impl Arguments {
    /// What is watched.
    fn watched(&self) -> Result<Vec<WatchedSource>, Error> {
        let all = match &self.sources {
            Some(file) => sources::read(file)?,
            None => self.named()?,
        };
        all.iter().try_for_each(|one| source::check(&one.source))?;
        Ok(all)
    }

    /// The sources among the arguments; all have the axes of the options.
    fn named(&self) -> Result<Vec<WatchedSource>, Error> {
        let counts_per_unit = fraction("--counts-per-unit", &self.counts_per_unit)?.to_f64();
        let scale = Scale { unit: self.unit.clone(), counts_per_unit };
        let axes =
            (0..=u8::MAX).zip(&self.axes).map(|(axis, name)| (axis, (Some(name.clone()), scale.clone())));
        let of = |source: &String| WatchedSource {
            source: source.clone(),
            device: (self.source.len() > 1).then(|| source.clone()),
            axes: axes.clone().collect(),
            scale: scale.clone(),
        };
        if let Some((_, twice)) =
            (1..).zip(&self.source).find(|(at, one)| self.source.iter().skip(*at).any(|other| other == *one))
        {
            return Err(Error::Option {
                option: "SOURCE".to_owned(),
                value: twice.clone(),
                wrong: "is named twice".to_owned(),
                remedy: "name each source once".to_owned(),
            });
        }
        Ok(self.source.iter().map(of).collect())
    }

    fn open(&self, watched: &WatchedSource) -> Result<Option<Log>, Error> {
        let Some(path) = &self.store else { return Ok(None) };
        let durability = match self.durability {
            Durable::Normal => Durability::Process,
            Durable::Full => Durability::Power,
        };
        let options = Options { durability, ..Options::default() };
        Log::open(path, &options, None, watched.stored_axes()).map(Some)
    }

    /// The running table, if it was asked for.
    fn running_table(&self, watched: &[WatchedSource]) -> Result<Option<RunningTable>, Error> {
        let Some(path) = self.store.as_deref().filter(|_| self.tuning) else { return Ok(None) };
        let here = LocalTime::here();
        let since = match (&self.since, watched.iter().all(|one| one.source.starts_with("file:"))) {
            (Some(since), _) => here.last("--since", since)?,
            (None, true) => i64::MIN,
            (None, false) => here.last("--since", "8h")?,
        };
        RunningTable::open(path, since, self.format.unwrap_or(OutputFormat::Table)).map(Some)
    }
}

/// Watches until all sources have ended, or a person interrupts.
pub fn run(arguments: &Arguments) -> Result<ExitCode, Error> {
    let watched = arguments.watched()?;
    let (queue, items) = queue::new();
    let mut listeners = Vec::new();
    // The store is one; the first of its writers deletes.
    let mut deletion = arguments.keep.start();
    for one in &watched {
        let log = arguments.open(one)?.map(|log| (log, deletion.take()));
        let monitor = Monitor::new(one.clone(), log, queue.clone());
        let (image, time_out, once) = (arguments.image.clone(), arguments.time_out, arguments.once);
        listeners.push(Listener { monitor, queue: queue.clone(), image, time_out, once });
    }
    let mut printer = Printer {
        tuning: arguments.running_table(&watched)?,
        output: Output::new(arguments.format.unwrap_or(OutputFormat::Jsonl))?,
        table: VecDeque::new(),
        not_in_table: 0,
        notes: FewNotes::default(),
    };
    interrupt_by_signal(&queue);
    let count = listeners.len();
    for listener in listeners {
        let queue = queue.clone();
        std::thread::spawn(move || queue.push(Item::Done(listener.run())));
    }
    let ended = printer.print(&items, count, &queue);
    // If nothing more can be printed, what came is stored all the same.
    queue.stop();
    if ended.is_err() {
        printer.output.close();
        printer.print(&items, count, &queue).ok();
    }
    let ended = ended?;
    printer.finish()?;
    ended.map(|()| ExitCode::SUCCESS)
}

/// Ctrl-C or a request to end stops the sources; a second one ends the program at once.
fn interrupt_by_signal(queue: &Queue) {
    let queue = queue.clone();
    let handler = move || {
        if queue.is_stopped() {
            std::process::exit(130);
        }
        queue.stop();
        queue.push(Item::Interrupt);
    };
    // Without a handler the signal ends the program, as it did before.
    ctrlc::set_handler(handler).ok();
}

/// Prints what the sources find.
struct Printer {
    tuning: Option<RunningTable>,
    output: Output,
    /// Moves of the table at the end.
    table: VecDeque<MoveReport>,
    not_in_table: u64,
    notes: FewNotes,
}

impl Printer {
    /// Prints items until this many sources have ended. The outer error: nothing can be printed; the inner one: the first
    /// with which a source ended.
    fn print(
        &mut self,
        items: &Receiver<Item>,
        mut sources: usize,
        queue: &Queue,
    ) -> Result<Result<(), Error>, Error> {
        let (mut ended, mut end) = (Ok(()), None);
        while sources > 0 {
            match items.recv_timeout(Duration::from_millis(500)) {
                Ok(Item::Move(report)) => self.add_move(*report)?,
                Ok(Item::Note(text)) => self.notes.add(&text, Instant::now(), &mut |line: &str| notify(line)),
                Ok(Item::Stored) => self.tuning.as_mut().map_or(Ok(()), RunningTable::refresh)?,
                Ok(Item::Interrupt) => (),
                Ok(Item::Done(result)) => {
                    sources -= 1;
                    match (&ended, result) {
                        (Ok(()), result) => ended = result,
                        (Err(_), Err(error)) => notify(error),
                        (Err(_), Ok(())) => (),
                    }
                }
                Err(RecvTimeoutError::Timeout) => {
                    self.notes.step(Instant::now(), &mut |line: &str| notify(line))
                }
                Err(RecvTimeoutError::Disconnected) => return Ok(ended),
            }
            if queue.is_stopped()
                && Instant::now() >= *end.get_or_insert_with(|| Instant::now() + LONGEST_END)
            {
                return Ok(ended);
            }
        }
        Ok(ended)
    }

    fn add_move(&mut self, report: MoveReport) -> Result<(), Error> {
        if self.tuning.is_some() {
            return Ok(());
        }
        if !matches!(self.output, Output::Table(_)) {
            return Ok(self.output.write(&report)?);
        }
        self.table.push_back(report);
        if self.table.len() > MOST_IN_TABLE {
            self.table.pop_front();
            self.not_in_table += 1;
        }
        Ok(())
    }

    fn finish(mut self) -> Result<(), Error> {
        self.notes.finish(&mut |line: &str| notify(line));
        for report in self.table {
            self.output.write(&report)?;
        }
        match self.tuning {
            Some(mut tuning) => tuning.refresh().and_then(|()| tuning.finish())?,
            None => self.output.finish()?,
        }
        if self.not_in_table > 0 {
            let moves = number::count_are(self.not_in_table, "earlier move");
            notify(format_args!("{moves} not in the table; --format jsonl prints each at once"));
        }
        Ok(())
    }
}
