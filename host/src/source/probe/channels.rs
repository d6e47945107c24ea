//! In: a session with a running chip. Out: the rings of bytes in the chip's memory, by name.

use std::mem::ManuallyDrop;
use std::time::{Duration, Instant};

use probe_rs::rtt::{Error, Rtt, ScanRegion};
use probe_rs::{Core, Session};

use super::attach::with_causes;
use super::pump::Rings;
use crate::source::ConnectionError;

/// Names on the chip.
const FRAMES: &str = "frames";
const LOG: &str = "defmt";
const COMMANDS: &str = "commands";

/// Longest time for a chip to start or restart, including a watchdog's restart and opening the log.
const START_TIME: Duration = Duration::from_secs(3);

/// Time between two attempts.
const PAUSE: Duration = Duration::from_millis(50);

/// The rings of one monitor.
pub struct Channels {
    // Never dropped: ending a session halts the chip once more, which would cost the monitor samples. The leftovers, an
    // enabled debug unit and a USB handle, do no harm; they end with this program or with the power.
    session: ManuallyDrop<Session>,
    region: ScanRegion,
    rings: Rtt,
}

impl Channels {
    /// Finds the rings at the address from the image, else by searching the memory.
    pub fn find(session: Session, block: Option<u64>) -> Result<Channels, ConnectionError> {
        let mut session = ManuallyDrop::new(session);
        let region = block.map_or_else(|| session.target().rtt_scan_regions.clone(), ScanRegion::Exact);
        let rings = retry(|| attach(&mut session, &region)).map_err(not_found)?;
        Ok(Channels { session, region, rings })
    }

    /// Does one step. If it fails, finds the rings again, because the chip may have restarted, and repeats the step.
    fn step_or_reattach(
        &mut self,
        step: impl Fn(&mut Rtt, &mut Core) -> Result<usize, Error>,
    ) -> Result<usize, ConnectionError> {
        let Channels { session, region, rings } = self;
        let once = |session: &mut Session, rings: &mut Rtt| step(rings, &mut session.core(0)?);
        let first = match once(session, rings) {
            Ok(count) => return Ok(count),
            Err(error) => error,
        };
        // The retries fail because there are no rings; only the first error names the cause.
        retry(|| {
            *rings = attach(session, region)?;
            once(session, rings)
        })
        .map_err(|_| {
            let wrong = format!("the monitor no longer answers: {}", with_causes(&first));
            ConnectionError::new(wrong, "check the power and the probe's cable, and restart this command")
        })
    }

    fn read(&mut self, name: &str, out: &mut [u8]) -> Result<usize, ConnectionError> {
        let out = std::cell::RefCell::new(out);
        self.step_or_reattach(|rings, core| {
            let channel = rings.up_channels.iter_mut().find(|channel| channel.name() == Some(name));
            channel.map_or(Ok(0), |channel| channel.read(core, &mut out.borrow_mut()))
        })
    }
}

impl Rings for Channels {
    fn frames(&mut self, out: &mut [u8]) -> Result<usize, ConnectionError> {
        self.read(FRAMES, out)
    }

    fn log(&mut self, out: &mut [u8]) -> Result<usize, ConnectionError> {
        self.read(LOG, out)
    }

    fn accepts_commands(&self) -> bool {
        self.rings.down_channels.iter().any(|channel| channel.name() == Some(COMMANDS))
    }

    fn command(&mut self, bytes: &[u8]) -> Result<usize, ConnectionError> {
        self.step_or_reattach(|rings, core| {
            let channel = rings.down_channels.iter_mut().find(|channel| channel.name() == Some(COMMANDS));
            channel.map_or(Ok(0), |channel| channel.write(core, bytes))
        })
    }
}

fn attach(session: &mut Session, region: &ScanRegion) -> Result<Rtt, Error> {
    let rings = Rtt::attach_region(&mut session.core(0)?, region)?;
    if rings.up_channels.iter().any(|channel| channel.name() == Some(FRAMES)) {
        return Ok(rings);
    }
    Err(Error::ControlBlockCorrupted(format!("there is no channel `{FRAMES}`")))
}

/// Repeats a step until it succeeds or [`START_TIME`] is over.
fn retry<T>(mut step: impl FnMut() -> Result<T, Error>) -> Result<T, Error> {
    let start = Instant::now();
    loop {
        match step() {
            Err(_) if start.elapsed() < START_TIME => std::thread::sleep(PAUSE),
            result => return result,
        }
    }
}

fn not_found(error: Error) -> ConnectionError {
    let remedy = "write the monitor's image with `stillpoint device probe:CHIP flash IMAGE.elf`";
    match error {
        Error::ControlBlockNotFound | Error::NoControlBlockLocation => {
            ConnectionError::new("no monitor runs on the chip: its RTT block was not found in memory", remedy)
        }
        Error::MultipleControlBlocksFound(_) => ConnectionError::new(
            "more than one RTT block is in the chip's memory",
            "name the running image with --image IMAGE.elf",
        ),
        Error::Probe(error) => {
            let wrong = format!("the chip's memory can't be read: {}", with_causes(&error));
            ConnectionError::new(wrong, "check the power and the probe's cable")
        }
        error => ConnectionError::new(
            format!("the RTT block on the chip is not that of a monitor: {}", with_causes(&error)),
            format!("{remedy}, or name the running image with --image IMAGE.elf"),
        ),
    }
}
