//! In: samples on one UART, commands on another. Out: the monitor's frames, and nothing else.
//!
//! The whole firmware on an emulated Cortex-M4F, with RAM for flash. A sample is the mark 1, the tick and, for each of
//! four axes, command and feedback, all 32 bits little-endian; the mark 2 ends the recording. The mark 3 before it lets the
//! monitor look for ringing, which takes most of the time of an emulation.
#![cfg_attr(target_os = "none", no_std, no_main)]

#[cfg(not(target_os = "none"))]
fn main() {
    println!("this image runs on an emulated Cortex-M4F: see firmware/BOARDS.md");
}

#[cfg(target_os = "none")]
mod image {
    use cortex_m_rt::entry;
    use cortex_m_semihosting::debug;
    use stillpoint_core::kind::KINDS;
    use stillpoint_core::wire::status::Reset;
    use stillpoint_core::{Parameters, Settings};
    use stillpoint_emulated::uart::Uart;
    use stillpoint_firmware::app::{App, Identity};
    use stillpoint_firmware::memory::MemoryFlash;
    use stillpoint_firmware::sampler::Raw;
    use stillpoint_firmware::tap::Register;

    const AXES: usize = 4;
    /// Mark, tick, and two positions per axis. Unit: bytes
    const SAMPLE: usize = 1 + 4 + AXES * 8;
    const FLASH: usize = 1 << 20;

    /// No delay lines, and as many kinds as in the rehearsal.
    type Monitor = App<AXES, MemoryFlash<&'static mut [u8]>, 0, KINDS>;

    #[entry]
    fn main() -> ! {
        let done = start().map(run).is_some();
        debug::exit(if done { debug::EXIT_SUCCESS } else { debug::EXIT_FAILURE });
        loop {
            cortex_m::asm::wfi();
        }
    }

    /// Window 1000 counts and the usual times, 10 million ticks per second, 1000 samples.
    fn start() -> Option<Monitor> {
        let flash = cortex_m::singleton!(: [u8; FLASH] = [0; FLASH])?;
        let parameters = Parameters {
            ticks_per_second: 10_000_000,
            window: 1000,
            window_time: 100_000,
            rest_time: 200_000,
            ..Parameters::at(1_000_000)
        };
        let settings = Settings::new(parameters).ok()?;
        let identity = Identity {
            device: *b"emulated\0\0\0\0",
            board: "emulated",
            reset: Reset::PowerOn,
            period: 10_000,
        };
        App::new(identity, [settings; AXES], MemoryFlash::new(flash.as_mut_slice())).ok()
    }

    fn run(mut monitor: Monitor) {
        let Some([samples, line]) = Uart::start() else { return };
        monitor.set_finds_ringing(false);
        let (mut sample, mut filled) = ([0; SAMPLE], 0);
        loop {
            if let Some(byte) = samples.read() {
                if let Some(place) = sample.get_mut(filled) {
                    *place = byte;
                    filled += 1;
                }
                match sample {
                    [2, ..] => break,
                    [3, ..] => {
                        monitor.set_finds_ringing(true);
                        (sample, filled) = ([0; SAMPLE], 0);
                    }
                    _ if filled == SAMPLE => {
                        add(&mut monitor, &sample);
                        filled = 0;
                    }
                    _ => (),
                }
            }
            serve(&mut monitor, &line);
        }
        monitor.finish();
        while serve(&mut monitor, &line) {}
    }

    fn add(monitor: &mut Monitor, sample: &[u8; SAMPLE]) {
        let word = |place: usize| {
            let bytes = sample.get(place..).and_then(|rest| rest.first_chunk()).copied();
            bytes.map_or(0, u32::from_le_bytes)
        };
        let raw = core::array::from_fn(|axis| Raw {
            command: Register::Whole(word(5 + 8 * axis)),
            feedback: Register::Whole(word(9 + 8 * axis)),
        });
        monitor.sample(word(1), &raw);
    }

    /// Receives a byte and transmits one if the line has room; whether there is more to transmit.
    fn serve(monitor: &mut Monitor, line: &Uart) -> bool {
        if let Some(byte) = line.read() {
            monitor.receive(&[byte]);
        }
        if !line.has_room() {
            return true;
        }
        let mut byte = [0];
        let any = monitor.transmit(&mut byte) == 1;
        if any {
            line.write(byte[0]);
        }
        any
    }
}
