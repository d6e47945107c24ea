//! In: an invented machine and an address. Out: what its monitor sends, in real time, to one listener after another.
//!
//! Nothing waits for a listener. What a slow one leaves stays in the monitor's own queues, which count what they
//! lose; what nobody hears is gone from the line. The moves are in the monitor's log either way.

use std::process::ExitCode;
use std::time::{Duration, Instant};

use super::port::Port;
use super::samples::Samples;
use super::{Arguments, tell};
use crate::error::Error;
use crate::source::rehearsal::axis::AxisData;
use crate::source::rehearsal::monitor::Monitor;
use crate::source::rehearsal::transplanter::NAMES;
use crate::store::time;

/// Turns in a second: so soon is a command answered.
const TURNS: u32 = 100;

/// A line with so many bytes waiting takes no more. Unit: bytes
const MOST: usize = 1 << 14;

/// Rehearses in real time for whoever connects.
pub(super) fn run(address: &str, arguments: &Arguments, axes: [AxisData; 3]) -> Result<ExitCode, Error> {
    refuse(arguments)?;
    // A start of its own, so that a store keeps it apart from the same shift at another time.
    let mut device = *b"inv\x01\0\0\0\0\0\0\0\0";
    device.iter_mut().skip(4).zip(time::now().to_le_bytes()).for_each(|(place, byte)| *place = byte);
    let (seed, rate) = (arguments.seed, arguments.rate);
    let (mut monitor, known) = Monitor::numbered(device, axes, seed, rate, Some(arguments.hours))?;
    let mut samples = Samples::create(arguments.save_samples.as_deref(), &known)?;
    let mut port = Port::open(address)?;
    introduce(&port, arguments.hours);
    port.wait()?;
    let (begun, end_s, mut line) = (Instant::now(), arguments.hours * 3600.0, Vec::new());
    while monitor.seconds() < end_s {
        for _ in 0..(rate / TURNS).max(1) {
            let second = monitor.seconds();
            let readings = monitor.step_within(&mut line, MOST);
            samples.take(second, &readings)?;
        }
        port.turn(&mut line, Instant::now(), &mut |bytes| monitor.hear(bytes));
        let due = begun + Duration::from_secs_f64(monitor.seconds());
        std::thread::sleep(due.saturating_duration_since(Instant::now()));
    }
    monitor.finish(&mut line);
    port.close(line);
    samples.finish()?;
    tell("the shift is over; the machine and its data are invented");
    Ok(ExitCode::SUCCESS)
}

/// Whoever listens stores and prints.
fn refuse(arguments: &Arguments) -> Result<(), Error> {
    let store = arguments.store.as_ref().map(|path| ("--store", path.display().to_string()));
    let form = arguments.format.map(|form| ("--format", format!("{form:?}").to_lowercase()));
    let Some((option, value)) = store.or(form) else { return Ok(()) };
    let remedy = format!("give it to the command that listens: `stillpoint watch tcp:… {option} {value}`");
    let wrong = "with --listen nothing is stored or printed here".to_owned();
    Err(Error::Option { option: option.to_owned(), value, wrong, remedy })
}

fn introduce(port: &Port, hours: f64) {
    let place = format!("tcp:{}", port.address());
    tell(format_args!("an invented machine of {hours} h begins to work when the first connects to {place}"));
    tell("one command at a time listens; in between, the monitor goes on and its log keeps the moves:");
    tell(format_args!("  stillpoint watch {place} --store shift.store --axes {}", NAMES.join(",")));
    tell(format_args!("  stillpoint device {place} identify"));
    tell("Ctrl-C ends it");
}
