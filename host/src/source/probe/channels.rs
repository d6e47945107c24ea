//! In: a session with a running chip. Out: the rings of bytes in its memory, by name.

use std::mem::ManuallyDrop;
use std::time::{Duration, Instant};

use probe_rs::rtt::{Error, Rtt, ScanRegion};
use probe_rs::{Core, Session};

use super::pump::Rings;
use super::reach::whole;
use crate::source::Ended;

/// Names on the chip.
const FRAMES: &str = "frames";
const LOG: &str = "defmt";
const COMMANDS: &str = "commands";

/// How long a chip may take to start or to start over. A watchdog's restart and opening the log fit in.
const PATIENCE: Duration = Duration::from_secs(3);

/// How long to wait before looking again.
const PAUSE: Duration = Duration::from_millis(50);

/// The rings of one monitor.
pub struct Channels {
    // Never dropped: a session that ends halts the chip once more, which would cost the monitor samples. What stays
    // behind, debugging allowed and a USB handle, does no harm and goes with this program or the power.
    session: ManuallyDrop<Session>,
    region: ScanRegion,
    rings: Rtt,
}

impl Channels {
    /// Finds the rings: where the image says, else by searching the memory.
    pub fn find(session: Session, block: Option<u64>) -> Result<Channels, Ended> {
        let mut session = ManuallyDrop::new(session);
        let region = block.map_or_else(|| session.target().rtt_scan_regions.clone(), ScanRegion::Exact);
        let rings = patiently(|| attach(&mut session, &region)).map_err(unfound)?;
        Ok(Channels { session, region, rings })
    }

    /// Does one step; once more on rings found anew if the chip has started over meanwhile.
    fn steady(&mut self, step: impl Fn(&mut Rtt, &mut Core) -> Result<usize, Error>) -> Result<usize, Ended> {
        let Channels { session, region, rings } = self;
        let once = |session: &mut Session, rings: &mut Rtt| step(rings, &mut session.core(0)?);
        let first = match once(session, rings) {
            Ok(count) => return Ok(count),
            Err(error) => error,
        };
        // What is tried later fails for lack of rings, which says nothing of why.
        patiently(|| {
            *rings = attach(session, region)?;
            once(session, rings)
        })
        .map_err(|_| {
            let wrong = format!("the monitor no longer answers: {}", whole(&first));
            Ended::new(wrong, "check the power and the probe's cable, and start anew")
        })
    }

    fn read(&mut self, name: &str, out: &mut [u8]) -> Result<usize, Ended> {
        let out = std::cell::RefCell::new(out);
        self.steady(|rings, core| {
            let channel = rings.up_channels.iter_mut().find(|channel| channel.name() == Some(name));
            channel.map_or(Ok(0), |channel| channel.read(core, &mut out.borrow_mut()))
        })
    }
}

impl Rings for Channels {
    fn frames(&mut self, out: &mut [u8]) -> Result<usize, Ended> {
        self.read(FRAMES, out)
    }

    fn log(&mut self, out: &mut [u8]) -> Result<usize, Ended> {
        self.read(LOG, out)
    }

    fn hears(&self) -> bool {
        self.rings.down_channels.iter().any(|channel| channel.name() == Some(COMMANDS))
    }

    fn command(&mut self, bytes: &[u8]) -> Result<usize, Ended> {
        self.steady(|rings, core| {
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

fn patiently<T>(mut step: impl FnMut() -> Result<T, Error>) -> Result<T, Error> {
    let start = Instant::now();
    loop {
        match step() {
            Err(_) if start.elapsed() < PATIENCE => std::thread::sleep(PAUSE),
            done => return done,
        }
    }
}

fn unfound(error: Error) -> Ended {
    let remedy = "write the monitor's image with `stillpoint device probe:CHIP flash IMAGE.elf`";
    match error {
        Error::ControlBlockNotFound | Error::NoControlBlockLocation => {
            Ended::new("no monitor runs on the chip: its RTT block was not found in memory", remedy)
        }
        Error::MultipleControlBlocksFound(_) => Ended::new(
            "more than one RTT block is in the chip's memory",
            "name the image that runs with --image IMAGE.elf",
        ),
        Error::Probe(error) => {
            let wrong = format!("the chip's memory can't be read: {}", whole(&error));
            Ended::new(wrong, "check the power and the probe's cable")
        }
        error => Ended::new(
            format!("the RTT block on the chip is no monitor's: {}", whole(&error)),
            format!("{remedy}, or name the image that runs with --image IMAGE.elf"),
        ),
    }
}
