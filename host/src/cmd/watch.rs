//! In: a monitor on a line, or its frames in a file. Out: every move as it is told; raw frames kept; losses fetched again.

use std::collections::BTreeMap;
use std::io::{Read, Write};
use std::path::PathBuf;
use std::process::ExitCode;

use clap::{Args, ValueEnum};
use stillpoint_core::wire::command::{Command, DumpSince};
use stillpoint_core::wire::header::Priority;
use stillpoint_core::{Parameters, Settings};

use super::output::{Form, Output, tell};
use crate::command::Commands;
use crate::decode::{Decoder, Missing, Said, Told};
use crate::error::Error;
use crate::report::axis_context::AxisContext;
use crate::report::clock::Clock;
use crate::report::describe;
use crate::report::move_report::MoveReport;
use crate::source::{self, Line};
use crate::store::devices::Axis;
use crate::store::log::Log;
use crate::store::{Durability, Options, time};
use crate::trace::choice::fraction;

/// Watch a monitor
///
/// Decodes what it sends, prints every move as it comes, counts what is lost, and asks the monitor's log for it.
#[derive(Args)]
#[command(after_help = EXAMPLES)]
pub struct Arguments {
    /// serial:PATH, tcp:HOST:PORT, probe:CHIP, or file:PATH with frames kept earlier
    source: String,
    /// The image that runs on the chip at probe:CHIP; its log is then told too
    #[arg(long, value_name = "ELF")]
    image: Option<PathBuf>,
    /// Log it into this store; what is missing there since last time is asked for
    #[arg(long, value_name = "PATH")]
    store: Option<PathBuf>,
    /// What is stored survives: full, a power cut; normal, the end of this program
    #[arg(long, value_enum, default_value = "normal", requires = "store")]
    durability: Durable,
    /// How the moves are printed; a table waits for the end
    #[arg(long, value_enum, default_value = "jsonl")]
    format: Form,
    /// Names of the axes, in their order
    #[arg(long, value_name = "NAME", value_delimiter = ',')]
    axes: Vec<String>,
    /// Name of the unit of position
    #[arg(long, value_name = "UNIT", default_value = "count")]
    unit: String,
    /// Counts in one unit
    #[arg(long, value_name = "N", default_value = "1")]
    counts_per_unit: String,
}

/// What survives what.
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
  stillpoint watch file:old.frames --format table";

/// Most that is read at once. Unit: bytes
const BUFFER: usize = 1 << 16;

impl Arguments {
    fn open(&self, counts_per_unit: f64) -> Result<Option<Log>, Error> {
        let Some(path) = &self.store else { return Ok(None) };
        let named = |(axis, name): (usize, &String)| Axis {
            axis: axis as u8,
            name: name.clone(),
            unit: self.unit.clone(),
            counts_per_unit,
            window: None,
            source: self.source.clone(),
        };
        let axes = self.axes.iter().take(256).enumerate().map(named).collect();
        let durability = match self.durability {
            Durable::Normal => Durability::Process,
            Durable::Full => Durability::Power,
        };
        Log::open(path, &Options { durability, ..Options::default() }, None, axes).map(Some)
    }
}

/// Watches until the line ends.
pub fn run(arguments: &Arguments) -> Result<ExitCode, Error> {
    let counts_per_unit = fraction("--counts-per-unit", &arguments.counts_per_unit)?.to_f64();
    let Line { mut reader, writer } = source::open_with(&arguments.source, arguments.image.as_deref())?;
    let mut watch = Watch {
        arguments,
        counts_per_unit,
        store: arguments.open(counts_per_unit)?,
        output: Output::new(arguments.format)?,
        settings: BTreeMap::new(),
        writer,
        commands: Commands::default(),
    };
    watch.ask(&Command::Identify)?;
    let (mut decoder, mut bytes) = (Decoder::default(), vec![0; BUFFER]);
    loop {
        let read = reader.read(&mut bytes);
        let came = read.as_ref().ok().and_then(|count| bytes.get(..*count)).unwrap_or_default();
        watch.take(&mut decoder, came)?;
        if came.is_empty() {
            // What came until a line broke is told all the same.
            let done = watch.finish(&decoder)?;
            return read.map(|_| done).map_err(|error| source::failed(&arguments.source, error));
        }
    }
}

struct Watch<'a> {
    arguments: &'a Arguments,
    counts_per_unit: f64,
    store: Option<Log>,
    output: Output,
    settings: BTreeMap<u8, Settings>,
    writer: Option<Box<dyn Write + Send>>,
    commands: Commands,
}

impl Watch<'_> {
    /// Bytes as they come; none at the end.
    fn take(&mut self, decoder: &mut Decoder, bytes: &[u8]) -> Result<(), Error> {
        self.keep(bytes)?;
        let mut said = Vec::new();
        match bytes {
            [] => decoder.finish(&mut |one| said.push(one)),
            _ => decoder.take(bytes, &mut |one| said.push(one)),
        }
        said.into_iter().try_for_each(|one| self.hear(one))
    }

    /// Stores what has come, and asks for what the store lacks.
    fn keep(&mut self, bytes: &[u8]) -> Result<(), Error> {
        let Some(store) = &mut self.store else { return Ok(()) };
        store.push(bytes, time::now());
        // A full buffer says that more is waiting; otherwise this is all there is, and it must outlive us now.
        if bytes.len() < BUFFER {
            store.commit();
        }
        let asks = store.drain_requests();
        store.drain_notes().iter().for_each(tell);
        asks.into_iter().try_for_each(|ask| self.ask(&Command::DumpSince(ask)))
    }

    fn hear(&mut self, said: Said) -> Result<(), Error> {
        match said {
            Said::Move(told) => {
                let report = self.report(*told);
                report.map_or(Ok(()), |report| self.output.write(&report))?;
            }
            // Moves are measured by the old settings until the new ones are in force.
            Said::Settings(settings) if settings.pending => (),
            Said::Settings(settings) => {
                if let Ok(checked) = Settings::new(Parameters::from(&settings.parameters)) {
                    self.settings.insert(settings.axis, checked);
                }
            }
            Said::Hello { board, firmware, axes, .. } => {
                tell(format_args!("monitor on {board}, firmware {firmware}, {axes} axes"));
            }
            Said::Gap(gap) => {
                tell(format_args!("{} samples or frames are missing: {:?}", gap.count, gap.cause))
            }
            Said::Finding(told) => tell(describe::finding(&self.name(told.axis), &told)),
            Said::Alarm(told) => tell(describe::alarm(&self.name(told.axis), &told)),
            Said::Missing(missing) => self.fetch(&missing)?,
            Said::Status(_) | Said::Arranged(_) | Said::Kind(_) => (),
            Said::Baseline(_) | Said::Drift(_) | Said::Restart(_) => (),
        }
        Ok(())
    }

    /// Asks the log for frames of moves that did not come.
    fn fetch(&mut self, missing: &Missing) -> Result<(), Error> {
        let Missing { boot, priority, first, count, restarted } = *missing;
        if restarted {
            tell("the monitor has started anew");
        }
        if priority != Priority::Move || count == 0 {
            return Ok(());
        }
        tell(format_args!("{count} frames of moves did not come; asking the monitor's log"));
        self.store.iter_mut().for_each(Log::disturb);
        self.ask(&Command::DumpSince(DumpSince { boot, priority: priority as u8, sequence: first }))
    }

    fn ask(&mut self, command: &Command) -> Result<(), Error> {
        let Some(writer) = &mut self.writer else { return Ok(()) };
        let sent = writer.write_all(&self.commands.bytes(command)).and_then(|()| writer.flush());
        sent.map_err(|error| source::failed(&self.arguments.source, error))
    }

    fn name(&self, axis: u8) -> String {
        let name = self.arguments.axes.get(usize::from(axis)).cloned();
        name.unwrap_or_else(|| format!("axis {axis}"))
    }

    fn report(&self, told: Told) -> Option<MoveReport> {
        // Until the settings of the monitor arrive, its moves are shown by the default ones.
        let settings =
            self.settings.get(&told.axis).copied().or(Settings::new(Parameters::at(1_000_000)).ok())?;
        let context = AxisContext {
            file: self.arguments.source.clone(),
            name: self.name(told.axis),
            unit: self.arguments.unit.clone(),
            window: f64::from(settings.window) / self.counts_per_unit,
            counts_per_unit: self.counts_per_unit,
            clock: Clock::new(settings.ticks_per_second, 0.0),
            settings,
        };
        Some(MoveReport::new(&context, &told.record, told.curve))
    }

    fn finish(self, decoder: &Decoder) -> Result<ExitCode, Error> {
        self.output.finish()?;
        if let Some(store) = self.store {
            tell(store.finish()?.1);
        }
        let counts = decoder.counts();
        tell(format_args!(
            "{} frames, {} sent again, {} lost on the line, {} stretches of {} bytes corrupt",
            counts.frames, counts.replayed, counts.lost, counts.corrupt, counts.corrupt_bytes
        ));
        Ok(ExitCode::SUCCESS)
    }
}
