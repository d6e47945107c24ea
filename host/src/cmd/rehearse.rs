//! In: hours and a seed. Out: the moves of a virtual machine, as the real device code and real frames tell them.

use std::io::Write;
use std::path::PathBuf;
use std::process::ExitCode;
use std::time::{Duration, Instant};

use clap::Args;
use clap::builder::PossibleValuesParser;
use samples::Samples;

use super::figure::{counted, positive, whole};
use super::output::{Form, Output, tell};
use super::progress;
use crate::decode::{Decoder, Said, Told};
use crate::error::Error;
use crate::report::axis_context::AxisContext;
use crate::report::clock::Clock;
use crate::report::move_report::MoveReport;
use crate::report::shift::ShiftSummary;
use crate::report::shift::watch::{self, WatchSummary};
use crate::source::rehearsal::monitor::{Known, Monitor};
use crate::source::rehearsal::transplanter::{NAMES, axes_wearing};
use crate::store::devices::Axis;
use crate::store::log::Log;
use crate::store::{self, time};

mod listen;
mod port;
mod samples;

/// Rehearse a shift on a virtual machine
///
/// An invented greenhouse plug-tray transplanter, its three axes watched by the monitor's own code. What the
/// monitor sends is decoded as if it came over a line. Unless it is healthy, the machine wears out in the
/// last five eighths of the shift: the tray shuttle's belt slackens, the dibble's coupling slips, the gripper
/// turntable's bearing tightens; with --wear only where you say, the other axes stay as built.
#[derive(Args)]
#[command(after_help = EXAMPLES)]
pub struct Arguments {
    /// Length of the shift
    #[arg(long, value_name = "H", default_value = "0.1", value_parser = positive)]
    #[arg(allow_negative_numbers = true)]
    hours: f64,
    /// The same seed gives the same shift, to the last bit
    #[arg(long, value_name = "N", default_value = "1", value_parser = whole::<u64>)]
    #[arg(allow_negative_numbers = true)]
    seed: u64,
    /// Only this axis wears; may be given again for another. Without it all three do
    #[arg(long, value_name = "AXIS", value_parser = PossibleValuesParser::new(NAMES), conflicts_with = "healthy")]
    wear: Vec<String>,
    /// Nothing wears
    #[arg(long)]
    healthy: bool,
    /// As slowly as it would happen
    #[arg(long)]
    real_time: bool,
    /// Samples per second; divides 20000
    #[arg(long, value_name = "HZ", default_value = "4000", value_parser = counted)]
    #[arg(allow_negative_numbers = true)]
    rate: u32,
    /// Log the monitor's frames into this store, as a shift that ends now
    #[arg(long, value_name = "PATH")]
    store: Option<PathBuf>,
    /// How the moves are printed; by default only a summary of the shift is
    #[arg(long, value_enum)]
    format: Option<Form>,
    /// Write the samples of each axis, in counts, as CSV into this folder
    #[arg(long, value_name = "DIR")]
    save_samples: Option<PathBuf>,
    /// Listen here for `watch` and `device`, one at a time, and work in real time once the first has come
    #[arg(long, value_name = "HOST:PORT")]
    listen: Option<String>,
}

const EXAMPLES: &str = "\
Examples:
  stillpoint rehearse
  stillpoint rehearse --hours 8 --wear dibble --store shift.store
  stillpoint rehearse --hours 0.2 --seed 7 --format jsonl --save-samples samples
  stillpoint rehearse --listen 127.0.0.1:7007 --hours 1";

impl Default for Arguments {
    /// One hour, stored in the current folder: what bare `stillpoint` does.
    fn default() -> Arguments {
        Arguments {
            hours: 1.0,
            seed: 1,
            wear: Vec::new(),
            healthy: false,
            real_time: false,
            rate: 4000,
            store: Some(PathBuf::from("rehearsal.store")),
            format: None,
            save_samples: None,
            listen: None,
        }
    }
}

impl Arguments {
    /// The store, for a monitor whose number says what is rehearsed: the same shift again is known there.
    fn open(&self, known: &[Known]) -> Result<Option<Log>, Error> {
        let Some(path) = &self.store else { return Ok(None) };
        let axis = |(axis, known): (usize, &Known)| Axis {
            axis: axis as u8,
            name: known.name.to_owned(),
            unit: known.unit.to_owned(),
            counts_per_unit: known.counts_per_unit,
            window: Some(known.window),
            source: "rehearsal".to_owned(),
        };
        let axes = known.iter().enumerate().map(axis).collect();
        Log::open(path, &store::Options::default(), Some(self.number()), axes).map(Some)
    }

    /// Whether an axis wears.
    fn wears(&self, name: &str) -> bool {
        !self.healthy && (self.wear.is_empty() || self.wear.iter().any(|axis| axis == name))
    }

    /// Name of the shift.
    fn name(&self) -> String {
        let wear = match (self.healthy, self.wear.is_empty()) {
            (true, _) => ", healthy".to_owned(),
            (false, true) => String::new(),
            (false, false) => format!(", wear of {}", self.wear.join(", ")),
        };
        format!("rehearsal of {} h, seed {}{wear}", self.hours, self.seed)
    }

    /// Number of the virtual monitor.
    fn number(&self) -> [u8; 12] {
        let sound = NAMES.iter().fold(0, |sound, name| 2 * sound + u64::from(!self.wears(name)));
        let shift = [self.hours.to_bits(), self.seed, sound, u64::from(self.rate)];
        let bytes = shift.into_iter().flat_map(u64::to_le_bytes);
        // FNV-1a, 64 bits: enough to tell rehearsals apart.
        let hash = bytes.fold(0xCBF2_9CE4_8422_2325_u64, |hash, byte| {
            (hash ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01B3)
        });
        let mut number = *b"inv\0\0\0\0\0\0\0\0\0";
        number.iter_mut().skip(4).zip(hash.to_le_bytes()).for_each(|(place, byte)| *place = byte);
        number
    }
}

/// Unit of the result: µs
fn microseconds(seconds: f64) -> i64 {
    (seconds * 1e6) as i64
}

/// Longest shift: a year. Unit: h
const LONGEST: f64 = 8784.0;

/// Runs the shift.
pub fn run(arguments: &Arguments) -> Result<ExitCode, Error> {
    if !(arguments.hours > 0.0 && arguments.hours <= LONGEST) {
        return Err(Error::Option {
            option: "--hours".to_owned(),
            value: arguments.hours.to_string(),
            wrong: "is no length of a shift".to_owned(),
            remedy: format!("give more than 0 and at most {LONGEST} hours, such as 0.5"),
        });
    }
    let axes = axes_wearing(|name| arguments.wears(name));
    if let Some(address) = &arguments.listen {
        return listen::run(address, arguments, axes);
    }
    let (monitor, known) = Monitor::of(axes, arguments.seed, arguments.rate, Some(arguments.hours))?;
    let shift = Shift {
        samples: Samples::create(arguments.save_samples.as_deref(), &known)?,
        store: arguments.open(&known)?,
        begun: time::now() - if arguments.real_time { 0 } else { microseconds(arguments.hours * 3600.0) },
        output: arguments.format.map(Output::new).transpose()?,
        summary: ShiftSummary::new(arguments.hours * 3600.0),
        watch: WatchSummary::new(known.iter().map(watched).collect()),
        decoder: Decoder::default(),
        known,
    };
    shift.run(arguments, monitor)
}

struct Shift {
    samples: Samples,
    store: Option<Log>,
    /// When the shift began. Unit: µs since 1970, UTC
    begun: i64,
    /// If every move is to be told.
    output: Option<Output>,
    summary: ShiftSummary,
    watch: WatchSummary,
    decoder: Decoder,
    known: Vec<Known>,
}

impl Shift {
    fn run(mut self, arguments: &Arguments, mut monitor: Monitor) -> Result<ExitCode, Error> {
        let end_s = arguments.hours * 3600.0;
        let bar = progress::shift(end_s);
        let (begun, mut line) = (Instant::now(), Vec::new());
        while monitor.seconds() < end_s {
            // A tenth of a second at a time.
            for _ in 0..(arguments.rate / 10).max(1) {
                let second = monitor.seconds();
                let readings = monitor.step(&mut line);
                self.samples.take(second, &readings)?;
            }
            self.hear(&mut line, monitor.seconds())?;
            bar.set_position(monitor.seconds() as u64);
            if arguments.real_time {
                self.store.as_mut().map(Log::commit);
                let due = begun + Duration::from_secs_f64(monitor.seconds());
                std::thread::sleep(due.saturating_duration_since(Instant::now()));
            }
        }
        monitor.finish(&mut line);
        self.hear(&mut line, monitor.seconds())?;
        bar.finish_and_clear();
        self.finish(arguments)
    }

    /// Stores and decodes what the monitor has sent.
    fn hear(&mut self, line: &mut Vec<u8>, second: f64) -> Result<(), Error> {
        if let Some(store) = &mut self.store {
            store.push(line, self.begun.saturating_add(microseconds(second)));
            store.drain_notes().iter().for_each(tell);
        }
        let mut reports = Vec::new();
        self.decoder.take(line, &mut |said| {
            self.watch.push(&said, second);
            reports.extend(report(said, &self.known));
        });
        line.clear();
        reports.iter().try_for_each(|report| self.write(report))
    }

    fn write(&mut self, report: &MoveReport) -> Result<(), Error> {
        self.summary.push(report);
        match &mut self.output {
            Some(output) => Ok(output.write(report)?),
            None => Ok(()),
        }
    }

    fn finish(mut self, arguments: &Arguments) -> Result<ExitCode, Error> {
        let mut reports = Vec::new();
        self.decoder.finish(&mut |said| reports.extend(report(said, &self.known)));
        reports.iter().try_for_each(|report| self.write(report))?;
        self.samples.finish()?;
        if let Some(store) = self.store {
            let (store, kept) = store.finish()?;
            let name = arguments.name();
            // Known from an earlier time, it lies where it lay then.
            let begun = store.newest_start(&arguments.number())?.unwrap_or(self.begun);
            store.name_shift(&name, begun, begun.saturating_add(microseconds(arguments.hours * 3600.0)))?;
            tell(format_args!("{}: {kept}", store.path().display()));
        }
        let counts = self.decoder.counts();
        let lost =
            format!("{} frames, {} lost, {} stretches corrupt", counts.frames, counts.lost, counts.corrupt);
        let watched = self.watch.text();
        match self.output {
            Some(output) => {
                output.finish()?;
                watched.lines().for_each(tell);
            }
            None => write!(std::io::stdout(), "{}\n{watched}", self.summary.text())?,
        }
        tell(format_args!("the machine and its data are invented; {lost}"));
        Ok(ExitCode::SUCCESS)
    }
}

/// What the watch needs to know to tell of an axis.
fn watched(known: &Known) -> watch::Axis {
    watch::Axis {
        name: known.name.to_owned(),
        unit: known.unit.to_owned(),
        counts_per_unit: known.counts_per_unit,
        ticks_per_second: f64::from(known.settings.ticks_per_second),
    }
}

/// The report of a move, if it is one.
fn report(said: Said, known: &[Known]) -> Option<MoveReport> {
    let Said::Move(told) = said else { return None };
    let Told { axis, record, curve, .. } = *told;
    let known = known.get(usize::from(axis))?;
    let context = AxisContext {
        file: "rehearsal".to_owned(),
        name: known.name.to_owned(),
        unit: known.unit.to_owned(),
        window: known.window,
        counts_per_unit: known.counts_per_unit,
        settings: known.settings,
        clock: Clock::new(known.settings.ticks_per_second, 0.0),
    };
    Some(MoveReport::new(&context, &record, curve))
}

#[cfg(test)]
mod tests;
