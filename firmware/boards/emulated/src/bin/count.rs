//! In: nothing. Out: instructions per sample on a Cortex-M4F, of the core and of a bare detector beside it.
//!
//! To be run with `-icount shift=0`: one instruction then takes one nanosecond, and SysTick at 25 MHz counts every
//! fortieth. Means over many samples are exact to a fraction; a worst case to ±40 instructions.
#![cfg_attr(target_os = "none", no_std, no_main)]

#[cfg(not(target_os = "none"))]
fn main() {
    println!("this image runs on an emulated Cortex-M4F: see firmware/BOARDS.md");
}

#[cfg(target_os = "none")]
mod image {
    use core::hint::black_box;

    use cortex_m_rt::entry;
    use cortex_m_semihosting::{debug, hprintln};
    use stillpoint_core::{Axis, Reading, Settings};
    use stillpoint_emulated::recording::{Course, Recording};
    use stillpoint_emulated::stopwatch;

    const MOVES: usize = 8;
    const SAMPLES: usize = 1000;
    const WINDOW: u32 = 2796;
    const WINDOW_TIME: u32 = 5000;

    /// A minimal detector for comparison: window, last entry and window time, nothing else.
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

    #[entry]
    fn main() -> ! {
        run();
        debug::exit(debug::EXIT_SUCCESS);
        loop {}
    }

    fn run() {
        let Some(core) = cortex_m::Peripherals::take() else { return };
        stopwatch::start(core.SYST);
        let none = Reading { tick: 0, command: 0, feedback: 0 };
        let Some(readings) = cortex_m::singleton!(: [Reading; MOVES * SAMPLES] = [none; MOVES * SAMPLES])
        else {
            return;
        };
        readings.iter_mut().zip(Recording::new(Course::USUAL)).for_each(|(place, reading)| *place = reading);
        // Their address is not a constant, as with a real recording: it is not computed at each reading.
        let readings: &[Reading] = black_box(readings);
        let Ok(settings) = Settings::new(black_box(Course::USUAL.parameters)) else { return };
        hprintln!("axis_bytes {}", core::mem::size_of::<Axis>());
        let bare = whole(readings, &mut Bare::default(), |bare, reading| bare.step(reading));
        let axis = whole(readings, &mut Axis::new(settings), |axis, reading| {
            if axis.step(*reading).event {
                while let Some(event) = axis.event() {
                    black_box(event);
                }
            }
        });
        // An empty loop over the readings, to be subtracted.
        let empty = whole(readings, &mut (), |(), reading| _ = black_box(reading));
        let count = readings.len() as u32;
        for (name, whole) in [("loop", empty), ("bare", bare - empty), ("core", axis - empty)] {
            hprintln!(
                "{}_instructions_per_sample {}.{:02}",
                name,
                whole / count,
                whole % count * 100 / count
            );
        }
        Course::all().into_iter().for_each(worst);
    }

    /// Counts whole moves, with the loop.
    fn whole<T>(readings: &[Reading], state: &mut T, mut step: impl FnMut(&mut T, &Reading)) -> u32 {
        let from = stopwatch::now();
        readings.iter().for_each(|reading| step(state, reading));
        let whole = stopwatch::since(from);
        black_box(state);
        whole
    }

    /// The worst sample outside and at the end of a move: where its command end becomes certain, and where its rest is
    /// over and its record comes.
    fn worst(course: Course) {
        let Ok(settings) = Settings::new(black_box(course.parameters)) else { return };
        let (mut axis, mut usual, mut ending, mut under_way) = (Axis::new(settings), 0, 0, false);
        let mut recording = Recording::new(course);
        for _ in 0..MOVES * SAMPLES {
            if recording.is_gap() {
                axis.gap();
            }
            let Some(reading) = recording.next() else { return };
            let from = stopwatch::now();
            let status = axis.step(black_box(reading));
            let spent = stopwatch::since(from);
            let ended = under_way && !axis.is_under_way();
            under_way = axis.is_under_way();
            let worst = if status.event || ended { &mut ending } else { &mut usual };
            *worst = spent.max(*worst);
            while let Some(event) = axis.event() {
                black_box(event);
            }
        }
        hprintln!("worst_usual_instructions_{} {}", course.name, usual);
        hprintln!("worst_ending_instructions_{} {} of {} moves", course.name, ending, axis.moves());
    }
}
