//! In: hours and a seed. Out: the moves of a virtual machine, measured by the firmware and sent in its frames.

use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::time::{Duration, Instant};

use clap::builder::PossibleValuesParser;
use clap::{Args, ValueEnum};
use samples::Samples;
use tune::Notes;

use super::option_value::{positive, whole, whole_from_1};
use super::output::{Output, OutputFormat, notify, print};
use super::progress;
use super::tuning::RunningTable;
use crate::decode::{DecodedMove, Decoder, DeviceEvent};
use crate::error::Error;
use crate::report::move_report::MoveReport;
use crate::report::number;
use crate::report::shift::ShiftSummary;
use crate::report::shift::watch::{self, WatchSummary};
use crate::source::rehearsal;
use crate::source::rehearsal::axis::AxisData;
use crate::source::rehearsal::exercise::Exercise;
use crate::source::rehearsal::monitor::{AxisInfo, Monitor};
use crate::source::rehearsal::nuisance::Nuisance;
use crate::source::rehearsal::transplanter::{NAMES, axes_wearing};
use crate::store::devices::Axis;
use crate::store::log::Log;
use crate::store::{self, Store, time};

mod port;
mod samples;
mod listen;
mod tune;

/// Rehearse a shift on a virtual machine
///
/// Simulates an invented greenhouse plug-tray transplanter and runs the monitor's own code on its three axes. The frames
/// of the monitor are decoded as if they came over a connection. Unless --healthy is given, the machine wears out in the
/// last five eighths of the shift: the tray shuttle's belt slackens, the dibble's coupling slips, the gripper turntable's
/// bearing tightens. With --wear only the named axes wear. With --nuisance the machine also warms up, changes products and
/// the like: to see what the monitor makes of that. With --tune the settings of an axis are changed one after another, to
/// practise `compare --by-note` and `watch --tuning`.
#[derive(Args)]
#[command(after_help = EXAMPLES)]
pub struct Arguments {
    /// Length of the shift
    #[arg(long, value_name = "H", default_value = "0.1", value_parser = positive)]
    #[arg(allow_negative_numbers = true)]
    hours: f64,
    /// Seed of the random numbers; the same seed gives the same shift, to the last bit
    #[arg(long, value_name = "N", default_value = "1", value_parser = whole::<u64>)]
    #[arg(allow_negative_numbers = true)]
    seed: u64,
    /// Axis that wears; may be given several times; default: all three
    #[arg(long, value_name = "AXIS", value_parser = PossibleValuesParser::new(NAMES), conflicts_with = "healthy")]
    wear: Vec<String>,
    /// No axis wears
    #[arg(long)]
    healthy: bool,
    /// What changes settling times, or the work, other than wear; several: NAME,NAME
    #[arg(long, value_name = "NAME", value_enum, value_delimiter = ',')]
    nuisance: Vec<Nuisance>,
    /// Change an axis while it runs, as this file says: lines of minute, axis, lever, value. Each change is noted in the
    /// store; no axis wears
    #[arg(long, value_name = "FILE", conflicts_with_all = ["wear", "healthy", "nuisance"])]
    tune: Option<PathBuf>,
    /// Print after each move what every setting does so far; see `stillpoint watch --tuning`
    #[arg(long, requires_all = ["store", "tune"], conflicts_with = "listen")]
    tuning: bool,
    /// Run in real time
    #[arg(long)]
    real_time: bool,
    /// Samples per second; must divide 20000
    #[arg(long, value_name = "HZ", default_value = "4000", value_parser = whole_from_1)]
    #[arg(allow_negative_numbers = true)]
    rate: u32,
    /// Store the monitor's frames in this file, as a shift that ends now; the file of another shift is refused
    #[arg(long, value_name = "PATH")]
    store: Option<PathBuf>,
    /// Print every move in this format; default: a summary of the shift
    #[arg(long, value_enum)]
    format: Option<OutputFormat>,
    /// Write the samples of each axis, in counts, to CSV files in this folder
    #[arg(long, value_name = "DIR")]
    save_samples: Option<PathBuf>,
    /// Serve `watch` and `device` at this address, one connection at a time; runs in real time from the first connection on
    #[arg(long, value_name = "HOST:PORT")]
    listen: Option<String>,
    /// Listen at an address that other computers reach; nothing is encrypted, and nobody is asked who they are
    #[arg(long, requires = "listen")]
    allow_remote: bool,
}

const EXAMPLES: &str = "\
Examples:
  stillpoint rehearse
  stillpoint rehearse --hours 8 --wear dibble --store shift.store
  stillpoint rehearse --hours 8 --healthy --nuisance warm-up,breaks,product-changes
  stillpoint rehearse --hours 0.2 --seed 7 --format jsonl --save-samples samples
  stillpoint rehearse --tune tuning.csv --store tuning.store
  stillpoint rehearse --listen 127.0.0.1:7007 --hours 1

Levers of --tune, with their ranges; values in % are shares of the axis as built:
  position gain 1 to 500 1/s           command smoothing 0.5 to 200 ms
  velocity gain 5 to 400 %             friction 0 to 1000 %
  integral 0 to 500 1/s                stiffness 2 to 400 %
  velocity feedforward 0 to 120 %      damping 0 to 1000 %
  acceleration feedforward 0 to 200 %  play 0 to 1, in the unit of the axis
A change takes effect with the next move. Settings of a real drive are another matter: they can make an axis oscillate or
run away; follow the manual of the drive.";

impl Default for Arguments {
    /// One hour, stored in the current folder: the arguments of `stillpoint` without a command.
    fn default() -> Arguments {
        Arguments {
            hours: 1.0,
            seed: 1,
            wear: Vec::new(),
            healthy: false,
            nuisance: Vec::new(),
            tune: None,
            tuning: false,
            real_time: false,
            rate: 4000,
            store: Some(PathBuf::from("rehearsal.store")),
            format: None,
            save_samples: None,
            listen: None,
            allow_remote: false,
        }
    }
}

impl Arguments {
    /// Opens the store. The device number is a hash of the arguments, so that the store recognises the same shift.
    fn open(&self, axes: &[AxisInfo], number: [u8; 12]) -> Result<Option<Log>, Error> {
        let Some(path) = &self.store else { return Ok(None) };
        refuse_store_of_others(path, number)?;
        let axis = |(axis, info): (usize, &AxisInfo)| Axis {
            axis: axis as u8,
            name: info.name.to_owned(),
            unit: info.unit.to_owned(),
            counts_per_unit: info.counts_per_unit,
            window: Some(info.window),
            source: rehearsal::BOARD.to_owned(),
        };
        let axes = axes.iter().enumerate().map(axis).collect();
        Log::open(path, &store::Options::default(), Some(number), axes).map(Some)
    }

    /// The running table, if it was asked for.
    fn running_table(&self) -> Result<Option<RunningTable>, Error> {
        let format = self.format.unwrap_or(OutputFormat::Table);
        let path = self.store.as_deref().filter(|_| self.tuning);
        path.map(|path| RunningTable::open(path, i64::MIN, format)).transpose()
    }

    /// Whether an axis wears.
    fn wears(&self, name: &str) -> bool {
        !self.healthy
            && self.tune.is_none()
            && (self.wear.is_empty() || self.wear.iter().any(|axis| axis == name))
    }

    /// Name of the shift.
    fn name(&self) -> String {
        let wear = match (self.healthy, self.wear.is_empty()) {
            (true, _) => ", healthy".to_owned(),
            (false, true) => String::new(),
            (false, false) => format!(", wear of {}", self.wear.join(", ")),
        };
        let names: Vec<String> = self.nuisances().map(name).collect();
        let nuisances = if names.is_empty() { String::new() } else { format!(", {}", names.join(", ")) };
        let tune = if self.tune.is_some() { ", tuned" } else { "" };
        format!("rehearsal of {} h, seed {}{wear}{nuisances}{tune}", self.hours, self.seed)
    }

    /// Each nuisance once, in the order of `--help`.
    fn nuisances(&self) -> impl Iterator<Item = Nuisance> {
        Nuisance::value_variants().iter().copied().filter(|nuisance| self.nuisance.contains(nuisance))
    }

    /// Whether the machine works on several products.
    fn has_jobs(&self) -> bool {
        self.nuisance.contains(&Nuisance::ProductChanges)
    }

    /// The axes of the shift.
    fn axes(&self) -> Result<[AxisData; 3], Error> {
        self.refuse_repair_without_wear()?;
        let nuisances: Vec<Nuisance> = self.nuisances().collect();
        Ok(axes_wearing(|name| self.wears(name)).map(|axis| axis.with_nuisances(&nuisances)))
    }

    fn refuse_repair_without_wear(&self) -> Result<(), Error> {
        let [shuttle, ..] = NAMES;
        if self.wears(shuttle) || !self.nuisance.contains(&Nuisance::RetensionedBelt) {
            return Ok(());
        }
        let remedy =
            if self.healthy { "leave out --healthy".to_owned() } else { format!("add --wear {shuttle}") };
        Err(Error::Option {
            option: "--nuisance".to_owned(),
            value: name(Nuisance::RetensionedBelt),
            wrong: format!("has no effect: the belt of {shuttle} does not wear"),
            remedy,
        })
    }

    /// How long the monitor's baselines grow: a quarter of the shift, which is over before any axis wears; at most a day,
    /// as on a machine. Unit: minutes
    fn baseline_minutes(&self) -> u32 {
        (self.hours * 15.0).ceil().clamp(1.0, 1440.0) as u32
    }

    /// Number of the virtual monitor.
    fn number(&self, exercise: &Exercise) -> [u8; 12] {
        let healthy = NAMES.iter().fold(0, |healthy, name| 2 * healthy + u64::from(!self.wears(name)));
        let baseline = u64::from(self.baseline_minutes());
        let shift = [self.hours.to_bits(), self.seed, healthy, u64::from(self.rate), baseline];
        let bytes = shift.into_iter().flat_map(u64::to_le_bytes);
        let bytes = bytes.chain(self.nuisances().flat_map(|nuisance| name(nuisance).into_bytes()));
        let bytes = bytes.chain(exercise.bytes());
        // FNV-1a with 64 bits is enough to distinguish rehearsals.
        let hash = bytes.fold(0xCBF2_9CE4_8422_2325_u64, |hash, byte| {
            (hash ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01B3)
        });
        let mut number = *b"inv\0\0\0\0\0\0\0\0\0";
        number.iter_mut().skip(4).zip(hash.to_le_bytes()).for_each(|(place, byte)| *place = byte);
        number
    }
}

/// Refuses a store of another machine: its axes have the same names, and their stories would be told as one.
fn refuse_store_of_others(path: &Path, number: [u8; 12]) -> Result<(), Error> {
    // What can't be opened is refused when it is opened for writing, with its own message.
    let known = path.exists().then(|| Store::open(path, &store::Options::default()).ok()).flatten();
    let Some(known) = known else { return Ok(()) };
    let Some(shifts) = known.shifts_of_others(&number)? else { return Ok(()) };
    let what = if shifts.is_empty() { String::new() } else { format!(": {}", shifts.join("; ")) };
    Err(Error::Option {
        option: "--store".to_owned(),
        value: path.display().to_string(),
        wrong: format!("holds the moves of another machine{what}"),
        remedy: "give another file, or remove this one".to_owned(),
    })
}

/// Name of a nuisance on the command line.
fn name(nuisance: Nuisance) -> String {
    nuisance.to_possible_value().map_or_else(String::new, |value| value.get_name().to_owned())
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
            wrong: "is not a length of a shift".to_owned(),
            remedy: format!("give more than 0 and at most {LONGEST} hours, such as 0.5"),
        });
    }
    let exercise = tune::read(arguments.tune.as_deref(), arguments.hours)?;
    let axes = exercise.axes(arguments.axes()?);
    if let Some(address) = &arguments.listen {
        return listen::run(address, arguments, axes, &exercise);
    }
    let number = arguments.number(&exercise);
    let (mut monitor, axes) =
        Monitor::with_axes(axes, arguments.seed, arguments.rate, Some(arguments.hours))?;
    monitor.set_baseline(&axes, arguments.baseline_minutes());
    if arguments.format.is_some() || arguments.store.is_some() {
        monitor.find_ringing();
    }
    let shift = Shift {
        samples: Samples::create(arguments.save_samples.as_deref(), &axes, arguments.has_jobs())?,
        store: arguments.open(&axes, number)?,
        tuning: arguments.running_table()?,
        notes: Notes::new(&exercise, number),
        number,
        begun: time::now() - if arguments.real_time { 0 } else { microseconds(arguments.hours * 3600.0) },
        output: arguments.format.filter(|_| !arguments.tuning).map(Output::new).transpose()?,
        summary: ShiftSummary::new(arguments.hours * 3600.0),
        watch: WatchSummary::new(axes.iter().map(watch_axis).collect()),
        decoder: Decoder::default(),
        axes,
    };
    shift.run(arguments, monitor)
}

struct Shift {
    samples: Samples,
    store: Option<Log>,
    notes: Notes,
    tuning: Option<RunningTable>,
    /// Number of the virtual monitor.
    number: [u8; 12],
    /// Start of the shift. Unit: µs since 1970, UTC
    begun: i64,
    /// Output of every move, if requested.
    output: Option<Output>,
    summary: ShiftSummary,
    watch: WatchSummary,
    decoder: Decoder,
    axes: Vec<AxisInfo>,
}

impl Shift {
    fn run(mut self, arguments: &Arguments, mut monitor: Monitor) -> Result<ExitCode, Error> {
        let end_s = arguments.hours * 3600.0;
        let bar = progress::shift(end_s);
        let (begun, mut bytes) = (Instant::now(), Vec::new());
        while monitor.seconds() < end_s {
            // Steps of a tenth of a second.
            for _ in 0..(arguments.rate / 10).max(1) {
                let second = monitor.seconds();
                let readings = monitor.step(&mut bytes);
                self.samples.write(second, &readings, monitor.job())?;
            }
            self.receive(&mut bytes, monitor.seconds())?;
            bar.set_position(monitor.seconds() as u64);
            if arguments.real_time {
                self.store.as_mut().map(Log::commit);
                let due = begun + Duration::from_secs_f64(monitor.seconds());
                std::thread::sleep(due.saturating_duration_since(Instant::now()));
            }
        }
        monitor.finish(&mut bytes);
        self.receive(&mut bytes, monitor.seconds())?;
        bar.finish_and_clear();
        self.finish(arguments)
    }

    /// Stores and decodes the bytes that the monitor has sent, and clears them.
    fn receive(&mut self, bytes: &mut Vec<u8>, second: f64) -> Result<(), Error> {
        if let Some(store) = &mut self.store {
            store.push(bytes, self.begun.saturating_add(microseconds(second)));
            store.drain_notes().iter().for_each(notify);
            self.notes.write(store, second)?;
        }
        let mut reports = Vec::new();
        self.decoder.push(bytes, &mut |event| {
            self.watch.push(&event);
            reports.extend(move_report(event, &self.axes));
        });
        bytes.clear();
        reports.iter().try_for_each(|report| self.write(report))?;
        if let (Some(tuning), false) = (&mut self.tuning, reports.is_empty()) {
            self.store.as_mut().map(Log::commit);
            tuning.refresh()?;
        }
        Ok(())
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
        self.decoder.finish(&mut |event| reports.extend(move_report(event, &self.axes)));
        reports.iter().try_for_each(|report| self.write(report))?;
        self.samples.finish()?;
        if let Some(store) = self.store {
            let (store, stored) = store.finish()?;
            let name = arguments.name();
            // A shift stored earlier keeps its start.
            let begun = store.newest_start(&self.number)?.unwrap_or(self.begun);
            store.name_shift(&name, begun, begun.saturating_add(microseconds(arguments.hours * 3600.0)))?;
            notify(format_args!("{}: {stored}", store.path().display()));
        }
        let is_tabled = self.tuning.is_some();
        self.tuning.iter_mut().try_for_each(|tuning| tuning.refresh().and_then(|()| tuning.finish()))?;
        let counts = self.decoder.counts();
        let summary = format!(
            "{}, {} lost, {}",
            number::count(counts.frames, "frame"),
            counts.lost,
            number::count(counts.corrupt, "corrupt part")
        );
        let watch = self.watch.text();
        match self.output {
            Some(output) => {
                output.finish()?;
                watch.lines().for_each(notify);
            }
            None if is_tabled => (),
            None => print(&format!("{}\n{watch}", self.summary.text()))?,
        }
        notify(format_args!("the machine and its data are invented; {summary}"));
        Ok(ExitCode::SUCCESS)
    }
}

/// The name and scale of an axis for the summary of the watch.
fn watch_axis(info: &AxisInfo) -> watch::Axis {
    watch::Axis {
        name: info.name.to_owned(),
        unit: info.unit.to_owned(),
        counts_per_unit: info.counts_per_unit,
        ticks_per_second: f64::from(info.settings.ticks_per_second),
    }
}

/// The report of a move; `None` for any other event.
fn move_report(event: DeviceEvent, axes: &[AxisInfo]) -> Option<MoveReport> {
    let DeviceEvent::Move(decoded) = event else { return None };
    let DecodedMove { axis, job, record, curve, ringing, .. } = *decoded;
    let info = axes.get(usize::from(axis))?;
    let context = info.context("rehearsal");
    let job = Some(job).filter(|job| *job > 0);
    let report = MoveReport { job, ..MoveReport::new(&context, &record, curve) };
    Some(report.with_ringing(ringing))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::number::plain;
    use crate::source::rehearsal::lever::LEVERS;
    use clap::{Command, FromArgMatches};

    fn parsed(arguments: &[&str]) -> Result<Arguments, String> {
        let command = Arguments::augment_args(Command::new("rehearse"));
        let message = |error: clap::Error| error.to_string();
        let matches = command.try_get_matches_from([&["rehearse"], arguments].concat()).map_err(message)?;
        Arguments::from_arg_matches(&matches).map_err(message)
    }

    /// The axes that wear with these arguments, or the error message.
    fn wearing(arguments: &[&str]) -> Result<Vec<&'static str>, String> {
        let arguments = parsed(arguments)?;
        Ok(NAMES.into_iter().filter(|name| arguments.wears(name)).collect())
    }

    #[test]
    fn named_axes_wear() {
        let [shuttle, dibble, turntable] = NAMES;
        for (arguments, expected) in [
            (&[] as &[&str], NAMES.to_vec()),
            (&["--healthy"], vec![]),
            (&["--wear", dibble], vec![dibble]),
            (&["--wear", turntable, "--wear", shuttle], vec![shuttle, turntable]),
        ] {
            assert_eq!(wearing(arguments), Ok(expected), "{arguments:?}");
        }
        for arguments in [&["--wear", "spindle"] as &[&str], &["--wear"]] {
            let message = wearing(arguments).unwrap_err();
            assert!(NAMES.iter().all(|name| message.contains(name)), "{message}");
        }
        assert!(wearing(&["--wear", dibble, "--healthy"]).unwrap_err().contains("--healthy"));
    }

    #[test]
    fn nuisances_are_named_once_and_in_any_order() {
        let of = |arguments: &[&str]| {
            let arguments = parsed(arguments).unwrap();
            (
                arguments.axes().unwrap()[1].nuisances.clone(),
                arguments.name(),
                arguments.number(&Exercise::default()),
            )
        };
        let both = vec![Nuisance::WarmUp, Nuisance::Weekend];
        let found = of(&["--nuisance", "weekend,warm-up"]);
        assert_eq!((&found.0, found.1.as_str()), (&both, "rehearsal of 0.1 h, seed 1, warm-up, weekend"));
        assert_eq!(of(&["--nuisance", "warm-up", "--nuisance", "weekend,warm-up"]), found);
        let numbers =
            [&[] as &[&str], &["--nuisance", "weekend"], &["--nuisance", "warm-up"]].map(|a| of(a).2);
        assert!(numbers[0] != numbers[1] && numbers[1] != numbers[2] && numbers[2] != found.2);
        let message = parsed(&["--nuisance", "earthquake"]).err().unwrap();
        assert!(Nuisance::value_variants().iter().all(|known| message.contains(&name(*known))), "{message}");
    }

    #[test]
    fn a_repair_of_what_does_not_wear_is_refused_with_a_remedy_that_works() {
        let refusal = |arguments: &[&str]| {
            let axes = parsed(&[&["--nuisance", "retensioned-belt"], arguments].concat()).unwrap().axes();
            axes.err().map(|error| error.to_string())
        };
        assert_eq!(refusal(&[]), None);
        assert!(refusal(&["--healthy"]).unwrap().contains("leave out --healthy"));
        assert!(refusal(&["--wear", "dibble"]).unwrap().contains("add --wear tray_shuttle"));
        assert_eq!(refusal(&["--wear", "dibble", "--wear", "tray_shuttle"]), None);
    }

    #[test]
    fn the_manual_names_every_lever_and_its_range() {
        for lever in LEVERS {
            let range = format!("{} {} to {}", lever.name, plain(lever.range.0), plain(lever.range.1));
            let unit = lever.unit.map_or(", in the unit of the axis".to_owned(), |unit| format!(" {unit}"));
            assert!(EXAMPLES.contains(&(range.clone() + &unit)), "{range}{unit}");
        }
    }

    #[test]
    fn every_choice_of_wear_is_another_machine() {
        let of = |healthy, wear: &[&str]| {
            let wear = wear.iter().map(|name| name.to_string()).collect();
            let arguments = Arguments { healthy, wear, ..Arguments::default() };
            (arguments.number(&Exercise::default()), arguments.name())
        };
        let [shuttle, dibble, turntable] = NAMES;
        let cases = [of(false, &[]), of(true, &[]), of(false, &[shuttle]), of(false, &[dibble, turntable])];
        for (at, one) in cases.iter().enumerate() {
            assert!(cases.iter().skip(at + 1).all(|other| other.0 != one.0 && other.1 != one.1), "{one:?}");
        }
        assert_eq!(cases[0].1, "rehearsal of 1 h, seed 1");
        assert_eq!(cases[3].1, "rehearsal of 1 h, seed 1, wear of dibble, gripper_turntable");
    }
}
