//! In: an invented machine and an address. Out: the bytes of its monitor, in real time, to one client after another.
//!
//! The monitor never waits for a client. Bytes that a slow client does not read stay in the monitor's queues, which count
//! their losses; bytes sent without a client are lost. The monitor's log has the moves in either case.

use std::process::ExitCode;
use std::time::{Duration, Instant};

use super::port::Port;
use super::samples::Samples;
use super::{Arguments, notify};
use crate::error::Error;
use crate::source::rehearsal::axis::AxisData;
use crate::source::rehearsal::exercise::{Exercise, ExerciseNote};
use crate::source::rehearsal::monitor::Monitor;
use crate::source::rehearsal::transplanter::NAMES;
use crate::store::time;

/// Steps in a second: the largest delay of an answer is one step.
const STEPS: u32 = 100;

/// Largest number of bytes queued for the client. Unit: bytes
const CAPACITY: usize = 1 << 14;

/// Rehearses in real time for the clients that connect.
pub(super) fn run(
    address: &str,
    arguments: &Arguments,
    axes: [AxisData; 3],
    exercise: &Exercise,
) -> Result<ExitCode, Error> {
    refuse(arguments)?;
    // A device number from the current time, so that a store does not confuse it with the same shift at another time.
    let mut device = *b"inv\x01\0\0\0\0\0\0\0\0";
    device.iter_mut().skip(4).zip(time::now().to_le_bytes()).for_each(|(place, byte)| *place = byte);
    let (seed, rate) = (arguments.seed, arguments.rate);
    let (mut monitor, axes) = Monitor::with_device_number(device, axes, seed, rate, Some(arguments.hours))?;
    monitor.set_baseline(&axes, arguments.baseline_minutes());
    monitor.find_ringing();
    let mut samples = Samples::create(arguments.save_samples.as_deref(), &axes, arguments.has_jobs())?;
    let mut port = Port::open(address, arguments.allow_remote)?;
    introduce(&port, arguments.hours);
    port.wait()?;
    let (begun, end_s, mut bytes) = (Instant::now(), arguments.hours * 3600.0, Vec::new());
    let mut changes = exercise.notes.iter().peekable();
    while monitor.seconds() < end_s {
        for _ in 0..(rate / STEPS).max(1) {
            let second = monitor.seconds();
            let readings = monitor.step_within(&mut bytes, CAPACITY);
            samples.write(second, &readings, monitor.job())?;
        }
        while let Some(change) = changes.next_if(|change| change.at <= monitor.seconds()) {
            announce(change);
        }
        port.step(&mut bytes, Instant::now(), &mut |command| monitor.receive(command));
        let due = begun + Duration::from_secs_f64(monitor.seconds());
        std::thread::sleep(due.saturating_duration_since(Instant::now()));
    }
    monitor.finish(&mut bytes);
    port.close(bytes);
    samples.finish()?;
    notify("the shift is over; the machine and its data are invented");
    Ok(ExitCode::SUCCESS)
}

/// Refuses --store and --format, which belong to the client.
fn refuse(arguments: &Arguments) -> Result<(), Error> {
    let store = arguments.store.as_ref().map(|path| ("--store", path.display().to_string()));
    let format = arguments.format.map(|format| ("--format", format!("{format:?}").to_lowercase()));
    let Some((option, value)) = store.or(format) else { return Ok(()) };
    let remedy = format!("give it to the command that connects: `stillpoint watch tcp:… {option} {value}`");
    let wrong = "with --listen this command stores and prints nothing".to_owned();
    Err(Error::Option { option: option.to_owned(), value, wrong, remedy })
}

/// The client has the store, so that a person notes the change.
fn announce(change: &ExerciseNote) {
    let ExerciseNote { axis, text, .. } = change;
    notify(format_args!(
        "{axis} is changed; note it: stillpoint note --store PATH --who NAME --axis {axis} '{text}'"
    ));
}

fn introduce(port: &Port, hours: f64) {
    let place = format!("tcp:{}", port.address());
    notify(format_args!(
        "an invented machine starts a shift of {hours} h at the first connection to {place}"
    ));
    notify("one command at a time can connect; between connections the monitor runs on and logs the moves:");
    notify(format_args!("  stillpoint watch {place} --store shift.store --axes {}", NAMES.join(",")));
    notify(format_args!("  stillpoint device {place} identify"));
    notify("Ctrl-C ends the rehearsal");
}
