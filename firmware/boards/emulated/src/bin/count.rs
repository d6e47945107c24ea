//! In: nothing. Out: instructions per sample on a Cortex-M4F, of the core and of a bare detector beside it.
//!
//! Run it with `-icount shift=0`: one instruction then takes one nanosecond, and SysTick at 25 MHz counts
//! every fortieth. Means over many samples are exact to a fraction; a worst case to ±40 instructions.
#![cfg_attr(target_os = "none", no_std, no_main)]

#[cfg(not(target_os = "none"))]
fn main() {
    println!("this image runs on an emulated Cortex-M4F: see firmware/BOARDS.md");
}

#[cfg(target_os = "none")]
mod image {
    use core::hint::black_box;

    use cortex_m::peripheral::SYST;
    use cortex_m::peripheral::syst::SystClkSource;
    use cortex_m_rt::entry;
    use cortex_m_semihosting::{debug, hprintln};
    use stillpoint_core::axis::{Axis, Event};
    use stillpoint_core::sample::Reading;
    use stillpoint_core::settings::{Parameters, Settings};

    const MOVES: usize = 8;
    const SAMPLES: usize = 1000;
    /// Unit: instructions per tick of SysTick
    const PER_TICK: u32 = 40;
    const WINDOW: u32 = 2796;
    const WINDOW_TIME: u32 = 5000;

    /// 60 mm there and back; each stop rings and has two bits of noise.
    fn fill(readings: &mut [Reading]) {
        let (mut noise, mut x, mut y) = (1_u32, 0_i64, 0_i64);
        for (number, reading) in readings.iter_mut().enumerate() {
            let (forth, k) = ((number / SAMPLES) % 2 == 0, (number % SAMPLES) as i64);
            let part = k.min(200);
            let way = 16_777_216 * part * part * (600 - 2 * part) / 8_000_000;
            let command = if forth { way } else { 16_777_216 - way };
            if k == 200 {
                (x, y) = (60_000, 0);
            }
            // A turn of 1/12 radian and a decay of 1/60 per sample.
            (x, y) = ((x * 32_105 - y * 2_683) >> 15, (x * 2_683 + y * 32_105) >> 15);
            noise = noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let ringing = if k >= 200 { x } else { 0 };
            let feedback = command + ringing + i64::from(noise >> 30);
            *reading =
                Reading { tick: number as u32 * 250, command: command as i32, feedback: feedback as i32 };
        }
    }

    /// Window, last entry and dwell, nothing else: what anyone would write first.
    #[derive(Default)]
    struct Bare {
        command: i32,
        command_end: u32,
        entry: u32,
        inside: bool,
        settled: bool,
        sum: u32,
    }

    impl Bare {
        #[inline(never)]
        fn step(&mut self, reading: &Reading) {
            if reading.command != self.command {
                self.command = reading.command;
                self.command_end = reading.tick;
                self.inside = false;
                self.settled = false;
            }
            let error = reading.command.wrapping_sub(reading.feedback).unsigned_abs();
            if error > WINDOW {
                self.inside = false;
                self.settled = false;
            } else if !self.inside {
                self.inside = true;
                self.entry = reading.tick;
            } else if !self.settled && reading.tick.wrapping_sub(self.entry) >= WINDOW_TIME {
                self.settled = true;
                self.sum = self.sum.wrapping_add(self.entry.wrapping_sub(self.command_end));
            }
        }
    }

    /// Instructions since `from`. SysTick counts down.
    fn since(from: u32) -> u32 {
        (from.wrapping_sub(SYST::get_current()) & 0x00ff_ffff) * PER_TICK
    }

    #[entry]
    fn main() -> ! {
        run();
        debug::exit(debug::EXIT_SUCCESS);
        loop {}
    }

    fn run() {
        let Some(mut core) = cortex_m::Peripherals::take() else { return };
        core.SYST.set_clock_source(SystClkSource::Core);
        core.SYST.set_reload(0x00ff_ffff);
        core.SYST.clear_current();
        core.SYST.enable_counter();
        let none = Reading { tick: 0, command: 0, feedback: 0 };
        let Some(readings) = cortex_m::singleton!(: [Reading; MOVES * SAMPLES] = [none; MOVES * SAMPLES])
        else {
            return;
        };
        fill(readings);
        // Where they lie is not known beforehand, as with a recording: no address is put together at each.
        let readings: &[Reading] = black_box(readings);
        let parameters = Parameters { window: WINDOW, window_time: WINDOW_TIME, ..Parameters::default() };
        let Ok(settings) = Settings::new(black_box(parameters)) else { return };
        hprintln!("axis_bytes {}", core::mem::size_of::<Axis>());
        let bare = whole(readings, &mut Bare::default(), |bare, reading| bare.step(reading));
        let axis = whole(readings, &mut Axis::default(), |axis, reading| {
            if axis.step(&settings, *reading).event {
                while let Some(event) = axis.event() {
                    black_box(event);
                }
            }
        });
        // The loop with nothing in it but to look at each reading: what is left is the work on the samples.
        let around = whole(readings, &mut (), |(), reading| _ = black_box(reading));
        let count = readings.len() as u32;
        for (name, whole) in [("loop", around), ("bare", bare - around), ("core", axis - around)] {
            hprintln!(
                "{}_instructions_per_sample {}.{:02}",
                name,
                whole / count,
                whole % count * 100 / count
            );
        }
        worst(&settings, readings);
    }

    /// Counts whole moves, the loop around them included.
    fn whole<T>(readings: &[Reading], state: &mut T, mut step: impl FnMut(&mut T, &Reading)) -> u32 {
        let from = SYST::get_current();
        readings.iter().for_each(|reading| step(state, reading));
        let whole = since(from);
        black_box(state);
        whole
    }

    /// The worst sample, with and without those at which a move ends: where its command end becomes certain,
    /// and where its rest is over and it is told.
    fn worst(settings: &Settings, readings: &[Reading]) {
        let (mut axis, mut usual, mut ending, mut under_way) = (Axis::default(), 0, 0, false);
        for reading in readings {
            let from = SYST::get_current();
            let status = axis.step(settings, *reading);
            let spent = since(from);
            let ended = under_way && !axis.is_under_way();
            under_way = axis.is_under_way();
            if status.event || ended {
                ending = ending.max(spent);
                while let Some(Event::Move(record)) = axis.event() {
                    black_box(record);
                }
            } else {
                usual = usual.max(spent);
            }
        }
        hprintln!("worst_usual_instructions {}", usual);
        hprintln!("worst_ending_instructions {}", ending);
    }

    #[panic_handler]
    fn panic(info: &core::panic::PanicInfo) -> ! {
        hprintln!("{}", info);
        debug::exit(debug::EXIT_FAILURE);
        loop {}
    }
}
