//! In: the virtual machine. Out: the bytes that a monitor on it sends.
//!
//! The firmware is the real one and so are its frames; only counters, flash and line are made up.

use stillpoint_core::kind::KINDS;
use stillpoint_core::wire::status::Reset;
use stillpoint_core::{Parameters, Reading, Settings};
use stillpoint_firmware::app::{App, Identity};
use stillpoint_firmware::memory::MemoryFlash;
use stillpoint_firmware::sampler::Raw;
use stillpoint_firmware::tap::Register;

use super::ahead::Ahead;
use super::axis::{AxisData, STEPS_PER_SECOND, Unusable};
use super::machine::Machine;
use super::transplanter;
use crate::error::Error;
use crate::trace::choice::fraction;

/// The monitor's timer; the reader of recordings picks the same for such samples. Unit: ticks/s
const TICKS_PER_SECOND: u32 = 10_000_000;

/// Ticks of the monitor in one of the machine. Unit: ticks/µs
const PER_MICROSECOND: u32 = TICKS_PER_SECOND / 1_000_000;

/// Window of each axis as its process asks for it, in the axis's unit.
const WINDOWS: [&str; 3] = ["0.05", "0.02", "0.05"];

/// The virtual flash. Unit: bytes
const FLASH: usize = 16 << 20;

/// A monitor clipped onto the virtual machine.
#[derive(Debug)]
pub struct Monitor {
    machine: Ahead,
    /// Each axis has a delay line of a quarter of a second at the usual rate, to infer its command from.
    app: App<3, MemoryFlash<Vec<u8>>, 1024, KINDS>,
}

/// What is known of an axis beforehand.
#[derive(Clone, Debug)]
pub struct Known {
    /// Its name.
    pub name: &'static str,
    /// Name of its unit.
    pub unit: &'static str,
    /// Unit: counts/unit
    pub counts_per_unit: f64,
    /// Half-width of its window. Unit: its unit
    pub window: f64,
    /// What the monitor is set to.
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

/// By the option that is to be another.
fn unusable(wrong: Unusable) -> Error {
    let Unusable::Rate(rate) = wrong else { return refused(wrong) };
    Error::Option {
        option: "--rate".to_owned(),
        value: rate.to_string(),
        wrong: format!("does not divide the {STEPS_PER_SECOND} steps per second of the virtual machine"),
        remedy: "give a rate that does, such as 1000, 4000 or 10000".to_owned(),
    }
}

impl Known {
    fn new(data: &AxisData, window: &str) -> Result<Known, Error> {
        let window = fraction("--window", window)?;
        let counts = data.counts_per_unit.times(window).map_err(refused)?;
        let parameters =
            Parameters { window: counts.floor(), jump: u32::MAX, ..Parameters::at(TICKS_PER_SECOND) };
        Ok(Known {
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
    pub fn new(seed: u64, rate: u32, wears_out_after: Option<f64>) -> Result<(Monitor, Vec<Known>), Error> {
        Monitor::of(transplanter::axes(), seed, rate, wears_out_after)
    }

    /// The same on a machine of other axes, some of which may never wear.
    pub fn of(
        axes: [AxisData; 3],
        seed: u64,
        rate: u32,
        wears_out_after: Option<f64>,
    ) -> Result<(Monitor, Vec<Known>), Error> {
        Monitor::numbered(*b"invented\0\0\0\0", axes, seed, rate, wears_out_after)
    }

    /// The same with a number of the device's own, by which a store tells it from others.
    pub fn numbered(
        device: [u8; 12],
        axes: [AxisData; 3],
        seed: u64,
        rate: u32,
        wears_out_after: Option<f64>,
    ) -> Result<(Monitor, Vec<Known>), Error> {
        let machine = Machine::of(axes, seed, rate, wears_out_after).map_err(unusable)?;
        let [a, b, c] = machine.axes();
        let [x, y, z] = WINDOWS;
        let known = [Known::new(a.data(), x)?, Known::new(b.data(), y)?, Known::new(c.data(), z)?];
        let identity = Identity {
            device,
            board: "rehearsal",
            reset: Reset::PowerOn,
            period: TICKS_PER_SECOND / rate.max(1),
        };
        let settings = known.each_ref().map(|known| known.settings);
        let app = App::new(identity, settings, MemoryFlash::new(vec![0; FLASH]))
            .map_err(|error| refused(format!("the virtual flash can't be used: {error:?}")))?;
        Ok((Monitor { machine: Ahead::new(machine), app }, known.into()))
    }

    /// One sample of all axes; the bytes sent meanwhile are added to `line`.
    pub fn step(&mut self, line: &mut Vec<u8>) -> [Reading; 3] {
        self.step_within(line, usize::MAX)
    }

    /// The same on a line that takes no more once so many bytes wait: the rest stays in the monitor's queues,
    /// which count what they lose, and moves in its log. Unit: bytes
    pub fn step_within(&mut self, line: &mut Vec<u8>, most: usize) -> [Reading; 3] {
        let readings = self.machine.step();
        self.take_within(&readings, line, most);
        readings
    }

    /// The same of readings from elsewhere, such as a recording. Unit: counts at ticks of the machine, µs
    pub fn take(&mut self, readings: &[Reading; 3], line: &mut Vec<u8>) {
        self.take_within(readings, line, usize::MAX);
    }

    fn take_within(&mut self, readings: &[Reading; 3], line: &mut Vec<u8>, most: usize) {
        let raw = readings.map(|reading| Raw {
            command: Register::Whole(reading.command as u32),
            feedback: Register::Half(reading.feedback as u16),
        });
        let tick = readings.first().map_or(0, |reading| reading.tick.wrapping_mul(PER_MICROSECOND));
        self.app.sample(tick, &raw);
        self.say(line, most);
    }

    /// The shift is over.
    pub fn finish(&mut self, line: &mut Vec<u8>) {
        self.app.finish();
        self.say(line, usize::MAX);
    }

    /// Commands of the host, as bytes.
    pub fn hear(&mut self, bytes: &[u8]) {
        self.app.receive(bytes);
    }

    fn say(&mut self, line: &mut Vec<u8>, most: usize) {
        if line.len() >= most {
            // What waits for no line is done all the same.
            return self.app.idle();
        }
        let mut bytes = [0; 512];
        while line.len() < most {
            let count = self.app.transmit(&mut bytes);
            line.extend(bytes.iter().take(count));
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
