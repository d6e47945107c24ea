//! In: the virtual machine. Out: the bytes that a monitor on it sends.
//!
//! Firmware and frames are the real ones; only counters, flash and connection are simulated.

use stillpoint_core::kind::KINDS;
use stillpoint_core::wire::command::{Apply, Command, Job};
use stillpoint_core::wire::settings;
use stillpoint_core::wire::status::Reset;
use stillpoint_core::{Parameters, Reading, Settings};
use stillpoint_firmware::app::{App, Identity};
use stillpoint_firmware::memory::MemoryFlash;
use stillpoint_firmware::sampler::Raw;
use stillpoint_firmware::tap::Register;

use super::axis::{AxisData, STEPS_PER_SECOND, Unusable};
use super::conditions::Products;
use super::machine::Machine;
use super::parallel::ParallelMachine;
use super::transplanter;
use crate::command::CommandEncoder;
use crate::error::Error;
use crate::report::axis_context::AxisContext;
use crate::report::clock::Clock;
use crate::trace::choice::fraction;

/// The monitor's timer; the reader of recordings uses the same rate for such samples. Unit: ticks/s
const TICKS_PER_SECOND: u32 = 10_000_000;

/// Ticks of the monitor in one tick of the machine. Unit: ticks/µs
const PER_MICROSECOND: u32 = TICKS_PER_SECOND / 1_000_000;

/// Position window of each axis, in the axis's unit.
const WINDOWS: [&str; 3] = ["0.05", "0.02", "0.05"];

/// The virtual flash. Unit: bytes
const FLASH: usize = 16 << 20;

/// A monitor on the virtual machine.
#[derive(Debug)]
pub struct Monitor {
    machine: ParallelMachine,
    /// Each axis has a delay line of a quarter of a second at the default rate, for commands inferred from feedback.
    app: App<3, MemoryFlash<Vec<u8>>, 1024, KINDS>,
    host: Host,
}

/// The controller of the machine, which sends the monitor the number of each product; on a machine with one product
/// it sends nothing.
#[derive(Debug)]
struct Host {
    products: Option<Products>,
    /// Sent last; 0: none.
    job: u32,
    commands: CommandEncoder,
}

impl Host {
    fn new(products: Option<Products>) -> Host {
        Host { products, job: 0, commands: CommandEncoder::new(1) }
    }

    /// The command that a product begins at this time, if one does. Unit: s
    fn step(&mut self, seconds: f64) -> Option<Vec<u8>> {
        let number = self.products.as_mut()?.number(seconds);
        let is_new = number != self.job;
        self.job = number;
        is_new.then(|| self.commands.encode(&Command::Job(Job { axis: Job::ALL_AXES, number })))
    }
}

/// Name, scale and settings of an axis.
#[derive(Clone, Debug)]
pub struct AxisInfo {
    /// Its name.
    pub name: &'static str,
    /// Name of its unit.
    pub unit: &'static str,
    /// Unit: counts/unit
    pub counts_per_unit: f64,
    /// Half-width of its window. Unit: its unit
    pub window: f64,
    /// Its settings in the monitor.
    pub settings: Settings,
}

fn refused(wrong: impl ToString) -> Error {
    Error::Option {
        option: "rehearse".to_owned(),
        value: String::new(),
        wrong: wrong.to_string(),
        remedy: "see `stillpoint rehearse --help`".to_owned(),
    }
}

/// An error that names the option to change.
fn unusable(wrong: Unusable) -> Error {
    let Unusable::Rate(rate) = wrong else { return refused(wrong) };
    Error::Option {
        option: "--rate".to_owned(),
        value: rate.to_string(),
        wrong: format!("does not divide the {STEPS_PER_SECOND} steps per second of the virtual machine"),
        remedy: "give a rate that does, such as 1000, 4000 or 10000".to_owned(),
    }
}

impl AxisInfo {
    /// What reports of its moves need; `file` is where its samples come from.
    pub fn context(&self, file: &str) -> AxisContext {
        AxisContext {
            file: file.to_owned(),
            name: self.name.to_owned(),
            unit: self.unit.to_owned(),
            window: self.window,
            counts_per_unit: self.counts_per_unit,
            settings: self.settings,
            clock: Clock::new(self.settings.ticks_per_second, 0.0),
        }
    }

    fn new(data: &AxisData, window: &str) -> Result<AxisInfo, Error> {
        let window = fraction("--window", window)?;
        let counts = data.counts_per_unit.times(window).map_err(refused)?;
        let parameters = Parameters {
            window: counts.floor(),
            window_fraction: counts.fraction(),
            jump: u32::MAX,
            ..Parameters::at(TICKS_PER_SECOND)
        };
        Ok(AxisInfo {
            name: data.name,
            unit: data.unit,
            counts_per_unit: data.counts_per_unit.to_f64(),
            window: window.to_f64(),
            settings: Settings::new(parameters).map_err(refused)?,
        })
    }
}

impl Monitor {
    /// `rate` in samples per second; `wears_out_after` in hours, `None` for a healthy machine.
    pub fn new(
        seed: u64,
        rate: u32,
        wears_out_after: Option<f64>,
    ) -> Result<(Monitor, Vec<AxisInfo>), Error> {
        Monitor::with_axes(transplanter::axes(), seed, rate, wears_out_after)
    }

    /// As [`Monitor::new`], on a machine with other axes, some of which may never wear.
    pub fn with_axes(
        axes: [AxisData; 3],
        seed: u64,
        rate: u32,
        wears_out_after: Option<f64>,
    ) -> Result<(Monitor, Vec<AxisInfo>), Error> {
        Monitor::with_device_number(*b"invented\0\0\0\0", axes, seed, rate, wears_out_after)
    }

    /// As [`Monitor::with_axes`], with a device number, by which a store distinguishes monitors.
    pub fn with_device_number(
        device: [u8; 12],
        axes: [AxisData; 3],
        seed: u64,
        rate: u32,
        wears_out_after: Option<f64>,
    ) -> Result<(Monitor, Vec<AxisInfo>), Error> {
        let machine = Machine::with_axes(axes, seed, rate, wears_out_after).map_err(unusable)?;
        let [a, b, c] = machine.axes();
        let [x, y, z] = WINDOWS;
        let axes = [AxisInfo::new(a.data(), x)?, AxisInfo::new(b.data(), y)?, AxisInfo::new(c.data(), z)?];
        let identity = Identity {
            device,
            board: super::BOARD,
            reset: Reset::PowerOn,
            period: TICKS_PER_SECOND / rate.max(1),
        };
        let host = Host::new(Products::new(&a.data().nuisances, seed));
        let settings = axes.each_ref().map(|axis| axis.settings);
        let mut app = App::new(identity, settings, MemoryFlash::new(vec![0; FLASH]))
            .map_err(|error| refused(format!("the virtual flash can't be used: {error:?}")))?;
        app.set_finds_ringing(false);
        Ok((Monitor { machine: ParallelMachine::new(machine), app, host }, axes.into()))
    }

    /// Sets how long a baseline grows, before the first sample. A shift is too short for the default, a day.
    /// Unit: minutes
    pub fn set_baseline(&mut self, axes: &[AxisInfo], minutes: u32) {
        for (axis, info) in (0..).zip(axes) {
            let parameters = settings::Parameters { baseline_minutes: minutes, ..(&*info.settings).into() };
            self.app.receive(&self.host.commands.encode(&Command::Apply(Apply { axis, parameters })));
        }
    }

    /// Looks for ringing in every stop, which takes most of the time of a rehearsal; without this it does not.
    pub fn find_ringing(&mut self) {
        self.app.set_finds_ringing(true);
    }

    /// Samples all axes once and appends the bytes sent to `out`.
    pub fn step(&mut self, out: &mut Vec<u8>) -> [Reading; 3] {
        self.step_within(out, usize::MAX)
    }

    /// As [`Monitor::step`], but sends only while `out` is shorter than `capacity`. The rest stays in the monitor's queues,
    /// which count their losses; its log has the moves. Unit: bytes
    pub fn step_within(&mut self, out: &mut Vec<u8>, capacity: usize) -> [Reading; 3] {
        // The command comes before the first move of the product. What is queued goes first: the answers need its room.
        if let Some(command) = self.host.step(self.machine.seconds()) {
            self.transmit(out, capacity);
            self.app.receive(&command);
        }
        let readings = self.machine.step();
        self.push_within(&readings, out, capacity);
        readings
    }

    /// As [`Monitor::step`], with readings from elsewhere, such as a recording. Unit: counts at ticks of the machine, µs
    pub fn push(&mut self, readings: &[Reading; 3], out: &mut Vec<u8>) {
        self.push_within(readings, out, usize::MAX);
    }

    fn push_within(&mut self, readings: &[Reading; 3], out: &mut Vec<u8>, capacity: usize) {
        let raw = readings.map(|reading| Raw {
            command: Register::Whole(reading.command as u32),
            feedback: Register::Half(reading.feedback as u16),
        });
        let tick = readings.first().map_or(0, |reading| reading.tick.wrapping_mul(PER_MICROSECOND));
        self.app.sample(tick, &raw);
        // A virtual machine has all the spare time.
        while self.app.is_busy() {
            self.app.idle();
        }
        self.transmit(out, capacity);
    }

    /// Ends the shift and sends everything queued.
    pub fn finish(&mut self, out: &mut Vec<u8>) {
        self.app.finish();
        self.transmit(out, usize::MAX);
    }

    /// Receives command bytes of the host.
    pub fn receive(&mut self, bytes: &[u8]) {
        self.app.receive(bytes);
    }

    /// Number of the product that the machine works on; 0 if it works on one alone.
    pub fn job(&self) -> u32 {
        self.host.job
    }

    fn transmit(&mut self, out: &mut Vec<u8>, capacity: usize) {
        if out.len() >= capacity {
            // The work of the main loop that needs no connection.
            return self.app.idle();
        }
        let mut bytes = [0; 512];
        while out.len() < capacity {
            let count = self.app.transmit(&mut bytes);
            out.extend(bytes.iter().take(count));
            if count < bytes.len() {
                return;
            }
        }
    }

    /// Time since the start. Unit: s
    pub fn seconds(&self) -> f64 {
        self.machine.seconds()
    }
}
