//! In: a connection to a monitor, or its frames in a file. Out: every move; stored frames; requests for missing frames.

use std::collections::BTreeMap;
use std::io::{Read, Write};
use std::path::PathBuf;
use std::process::ExitCode;

use clap::{Args, ValueEnum};
use jiff::tz::TimeZone;
use stillpoint_core::wire::command::{Command, DumpSince};
use stillpoint_core::wire::drift::Kind;
use stillpoint_core::wire::header::Priority;
use stillpoint_core::{Parameters, Settings};

use super::local_time::LocalTime;
use super::output::{Output, OutputFormat, notify};
use super::tuning::RunningTable;
use crate::command::CommandEncoder;
use crate::decode::{DecodedMove, Decoder, DeviceEvent, MissingFrames};
use crate::error::Error;
use crate::report::axis_context::AxisContext;
use crate::report::clock::Clock;
use crate::report::describe::{self, Typical};
use crate::report::move_report::MoveReport;
use crate::report::number::fixed;
use crate::report::stories::{DriftChange, Stories};
use crate::report::{explained, wall_time};
use crate::source::{self, Connection};
use crate::store::devices::Axis;
use crate::store::log::Log;
use crate::store::{Durability, Options, time};
use crate::trace::choice::fraction;

/// Watch a monitor
///
/// Decodes the monitor's frames, prints every move as it arrives, counts lost frames, and requests them from the
/// monitor's log.
#[derive(Args)]
#[command(after_help = EXAMPLES)]
pub struct Arguments {
    /// serial:PATH, tcp:HOST:PORT, probe:CHIP, or file:PATH with recorded frames
    source: String,
    /// Image that runs on the chip at probe:CHIP; the chip's log is then printed too
    #[arg(long, value_name = "ELF")]
    image: Option<PathBuf>,
    /// Store the frames in this file; frames missing there are requested from the monitor
    #[arg(long, value_name = "PATH")]
    store: Option<PathBuf>,
    /// Stored data survives a crash of this program (normal) or a power cut (full)
    #[arg(long, value_enum, default_value = "normal", requires = "store")]
    durability: Durable,
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
  stillpoint watch file:old.frames --format table";

/// Largest read. Unit: bytes
const BUFFER: usize = 1 << 16;

impl Arguments {
    fn open(&self, counts_per_unit: f64) -> Result<Option<Log>, Error> {
        let Some(path) = &self.store else { return Ok(None) };
        let axis = |(axis, name): (usize, &String)| Axis {
            axis: axis as u8,
            name: name.clone(),
            unit: self.unit.clone(),
            counts_per_unit,
            window: None,
            source: self.source.clone(),
        };
        let axes = self.axes.iter().take(256).enumerate().map(axis).collect();
        let durability = match self.durability {
            Durable::Normal => Durability::Process,
            Durable::Full => Durability::Power,
        };
        Log::open(path, &Options { durability, ..Options::default() }, None, axes).map(Some)
    }
}

impl Arguments {
    /// The running table, if it was asked for.
    fn running_table(&self) -> Result<Option<RunningTable>, Error> {
        let Some(path) = self.store.as_deref().filter(|_| self.tuning) else { return Ok(None) };
        let here = LocalTime::here();
        let since = match (&self.since, self.source.starts_with("file:")) {
            (Some(since), _) => here.last("--since", since)?,
            (None, true) => i64::MIN,
            (None, false) => here.last("--since", "8h")?,
        };
        RunningTable::open(path, since, self.format.unwrap_or(OutputFormat::Table)).map(Some)
    }
}

/// Watches until the connection ends.
pub fn run(arguments: &Arguments) -> Result<ExitCode, Error> {
    let counts_per_unit = fraction("--counts-per-unit", &arguments.counts_per_unit)?.to_f64();
    let Connection { mut reader, writer, .. } =
        source::open_with(&arguments.source, arguments.image.as_deref())?;
    let log = arguments.open(counts_per_unit)?;
    let mut watch = Watch {
        arguments,
        counts_per_unit,
        log,
        tuning: arguments.running_table()?,
        output: Output::new(arguments.format.unwrap_or(OutputFormat::Jsonl))?,
        settings: BTreeMap::new(),
        monitor: MonitorClock::default(),
        kinds: BTreeMap::new(),
        stories: Stories::default(),
        writer,
        commands: CommandEncoder::default(),
    };
    watch.send(&Command::Identify)?;
    let (mut decoder, mut bytes) = (Decoder::default(), vec![0; BUFFER]);
    loop {
        let read = reader.read(&mut bytes);
        let received = read.as_ref().ok().and_then(|count| bytes.get(..*count)).unwrap_or_default();
        watch.receive(&mut decoder, received)?;
        if received.is_empty() {
            // The moves received before an error are reported first.
            let status = watch.finish(&decoder)?;
            return read.map(|_| status).map_err(|error| source::connection_error(&arguments.source, error));
        }
    }
}

struct Watch<'a> {
    arguments: &'a Arguments,
    counts_per_unit: f64,
    log: Option<Log>,
    tuning: Option<RunningTable>,
    output: Output,
    settings: BTreeMap<u8, Settings>,
    monitor: MonitorClock,
    /// By axis and number.
    kinds: BTreeMap<(u8, u32), Kind>,
    stories: Stories,
    writer: Option<Box<dyn Write + Send>>,
    commands: CommandEncoder,
}

/// Where the ticks of the monitor lie in time.
#[derive(Clone, Copy, Debug, Default)]
struct MonitorClock {
    /// UTC at the first reading, if the monitor's clock is set. Unit: µs since 1970
    epoch: Option<i64>,
    ticks_per_second: u32,
}

impl MonitorClock {
    /// The time of day, or the time since the first reading, of an instant that is read beside another one. Unit: ticks
    fn words(self, tick: u64, beside: u64) -> String {
        let seconds = |tick: u64| tick as f64 / f64::from(self.ticks_per_second.max(1));
        match self.epoch {
            Some(epoch) => {
                let [at, beside] =
                    [tick, beside].map(|tick| epoch.saturating_add((seconds(tick) * 1e6) as i64));
                wall_time::minute(at, beside, &TimeZone::system())
            }
            None => format!("minute {} of the monitor", fixed(seconds(tick) / 60.0, 1)),
        }
    }
}

impl Watch<'_> {
    /// Stores and decodes the next bytes; an empty slice is the end.
    fn receive(&mut self, decoder: &mut Decoder, bytes: &[u8]) -> Result<(), Error> {
        self.store(bytes)?;
        let mut events = Vec::new();
        match bytes {
            [] => decoder.finish(&mut |event| events.push(event)),
            _ => decoder.push(bytes, &mut |event| events.push(event)),
        }
        events.into_iter().try_for_each(|event| self.report(event))?;
        self.tuning.as_mut().map_or(Ok(()), RunningTable::refresh)
    }

    /// Stores the bytes, and requests the frames that the store lacks.
    fn store(&mut self, bytes: &[u8]) -> Result<(), Error> {
        let Some(log) = &mut self.log else { return Ok(()) };
        log.push(bytes, time::now());
        // A full buffer means that more bytes are waiting. Otherwise this is all, and it is committed now.
        if bytes.len() < BUFFER {
            log.commit();
        }
        let requests = log.drain_requests();
        log.drain_notes().iter().for_each(notify);
        requests.into_iter().try_for_each(|request| self.send(&Command::DumpSince(request)))
    }

    fn report(&mut self, event: DeviceEvent) -> Result<(), Error> {
        self.report_drift(&event);
        match event {
            DeviceEvent::Move(decoded) => {
                let report = self.move_report(*decoded).filter(|_| self.tuning.is_none());
                report.map_or(Ok(()), |report| self.output.write(&report))?;
            }
            // Moves are measured with the old settings until the new ones are in force.
            DeviceEvent::Settings(settings) if settings.pending => (),
            DeviceEvent::Settings(settings) => {
                if let Ok(checked) = Settings::new(Parameters::from(&settings.parameters)) {
                    self.settings.insert(settings.axis, checked);
                }
            }
            DeviceEvent::Hello { board, firmware, axes, ticks_per_second, clock } => {
                self.monitor = MonitorClock { epoch: clock, ticks_per_second };
                notify(format_args!("monitor on {board}, firmware {firmware}, {axes} axes"));
            }
            DeviceEvent::Gap(gap) => {
                notify(format_args!("{} samples or frames are missing: {:?}", gap.count, gap.cause))
            }
            DeviceEvent::Finding(finding) => {
                notify(describe::finding(&self.axis_name(finding.axis), &finding))
            }
            DeviceEvent::Alarm(alarm) => notify(describe::alarm(&self.axis_name(alarm.axis), &alarm)),
            DeviceEvent::Missing(missing) => self.request(&missing)?,
            DeviceEvent::Kind(kind) => _ = self.kinds.insert((kind.axis, kind.kind), kind),
            DeviceEvent::Job(job) => {
                notify(format_args!("{}: job {} begins", self.axis_name(job.axis), job.number))
            }
            DeviceEvent::Explained(cause) => {
                notify(format_args!("{}, {}", self.axis_name(cause.axis), explained::text(&cause)));
            }
            DeviceEvent::Status(_) | DeviceEvent::Arranged(_) => (),
            DeviceEvent::Baseline(_) | DeviceEvent::Drift(_) | DeviceEvent::Restart(_) => (),
        }
        Ok(())
    }

    /// Reports the drift that begins or ends with an event, if one does.
    fn report_drift(&mut self, event: &DeviceEvent) {
        let clock = self.monitor;
        if let Some(change) = self.stories.push(event, &|tick, beside| clock.words(tick, beside)) {
            notify(self.drift_text(&change));
        }
    }

    /// The begin or the end of a drift, with the names of axis and kind.
    fn drift_text(&self, change: &DriftChange) -> String {
        let DriftChange { axis, kind, text, .. } = change;
        let ticks_per_second = f64::from(self.monitor.ticks_per_second.max(1));
        let typical = self.kinds.get(&(*axis, *kind));
        let typical = typical.map(|typical| Typical::of(typical, self.counts_per_unit, ticks_per_second));
        let kind = describe::kind(*kind, typical, &self.arguments.unit);
        format!("{}, {kind}: {text}", self.axis_name(*axis))
    }

    /// Requests missing frames of moves from the monitor's log.
    fn request(&mut self, missing: &MissingFrames) -> Result<(), Error> {
        let MissingFrames { boot, priority, first, count, restarted } = *missing;
        if restarted {
            notify("the monitor has restarted");
        }
        if priority != Priority::Move || count == 0 {
            return Ok(());
        }
        notify(format_args!("{count} frames of moves are missing; requesting them from the monitor's log"));
        self.log.iter_mut().for_each(Log::disturb);
        self.send(&Command::DumpSince(DumpSince { boot, priority: priority as u8, sequence: first }))
    }

    fn send(&mut self, command: &Command) -> Result<(), Error> {
        let Some(writer) = &mut self.writer else { return Ok(()) };
        let sent = writer.write_all(&self.commands.encode(command)).and_then(|()| writer.flush());
        sent.map_err(|error| source::connection_error(&self.arguments.source, error))
    }

    fn axis_name(&self, axis: u8) -> String {
        let name = self.arguments.axes.get(usize::from(axis)).cloned();
        name.unwrap_or_else(|| format!("axis {axis}"))
    }

    fn move_report(&self, decoded: DecodedMove) -> Option<MoveReport> {
        // The default settings until the monitor has reported its own.
        let settings =
            self.settings.get(&decoded.axis).copied().or(Settings::new(Parameters::at(1_000_000)).ok())?;
        let context = AxisContext {
            file: self.arguments.source.clone(),
            name: self.axis_name(decoded.axis),
            unit: self.arguments.unit.clone(),
            window: f64::from(settings.window) / self.counts_per_unit,
            counts_per_unit: self.counts_per_unit,
            clock: Clock::new(settings.ticks_per_second, 0.0),
            settings,
        };
        let job = Some(decoded.job).filter(|job| *job > 0);
        let report = MoveReport { job, ..MoveReport::new(&context, &decoded.record, decoded.curve) };
        Some(report.with_ringing(decoded.ringing))
    }

    fn finish(self, decoder: &Decoder) -> Result<ExitCode, Error> {
        let stored = self.log.map(Log::finish).transpose()?;
        match self.tuning {
            Some(mut tuning) => tuning.refresh().and_then(|()| tuning.finish())?,
            None => self.output.finish()?,
        }
        if let Some((_, stats)) = stored {
            notify(stats);
        }
        let counts = decoder.counts();
        notify(format_args!(
            "{} frames, {} sent again, {} lost in transmission, {} corrupt parts of {} bytes",
            counts.frames, counts.replayed, counts.lost, counts.corrupt, counts.corrupt_bytes
        ));
        match self.arguments.source.strip_prefix("file:").filter(|_| counts.frames == 0) {
            Some(file) => Err(no_frames(file)),
            None => Ok(ExitCode::SUCCESS),
        }
    }
}

/// A file that is none of a monitor's. A line may be silent, so that without frames it is no error.
fn no_frames(file: &str) -> Error {
    Error::Unreached {
        place: file.to_owned(),
        wrong: "holds no frames of a monitor".to_owned(),
        remedy: "name a file with the bytes that a monitor sent; a recording of positions is read by \
            `stillpoint measure`, a store by `stillpoint moves`"
            .to_owned(),
    }
}
