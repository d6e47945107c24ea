//! In: recordings, the same for three axes. Out: instructions of the whole monitor on a Cortex-M4F.
//!
//! All axes move and stop together, the worst case of three axes. The core is counted separately on the same readings;
//! the difference is what the monitor adds. Figures are per axis; those of the lamp and of a turn of the main loop are
//! per device. Counted in steps of 40: means are exact to a fraction, worst cases to ±40 per tick, a third of that per
//! axis. Flash is RAM here, and the line accepts every byte at once.
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
    use stillpoint_core::wire::status::Reset;
    use stillpoint_core::{Axis, Reading, Settings};
    use stillpoint_emulated::recording::{Course, PERIOD, Recording};
    use stillpoint_emulated::stopwatch;
    use stillpoint_firmware::app::{App, Identity};
    use stillpoint_firmware::memory::MemoryFlash;
    use stillpoint_firmware::sampler::Raw;
    use stillpoint_firmware::tap::Register;

    const AXES: usize = 3;
    const MOVES: usize = 16;
    const FLASH: usize = 1 << 20;

    /// Like that of the NUCLEO, except for its flash.
    type Monitor<'f> = App<AXES, MemoryFlash<&'f mut [u8]>>;

    /// Instructions of repeated work.
    #[derive(Clone, Copy, Default)]
    struct Tally {
        count: u32,
        sum: u32,
        worst: u32,
    }

    impl Tally {
        /// Does some work and counts its instructions.
        fn time<T>(&mut self, work: impl FnOnce() -> T) -> T {
            let (result, spent) = timed(work);
            self.add(spent);
            result
        }

        fn add(&mut self, spent: u32) {
            *self = Tally { count: self.count + 1, sum: self.sum + spent, worst: self.worst.max(spent) };
        }

        /// Prints mean and worst, divided by the number of axes.
        fn print(&self, name: &str, course: &str, axes: usize) {
            let each = (self.count * axes as u32).max(1);
            let part = u64::from(self.sum % each) * 100 / u64::from(each);
            hprintln!("{}_instructions_{} {}.{:02} of {}", name, course, self.sum / each, part, self.count);
            hprintln!("worst_{}_instructions_{} {}", name, course, self.worst / axes as u32);
        }
    }

    #[inline(always)]
    fn timed<T>(work: impl FnOnce() -> T) -> (T, u32) {
        let from = stopwatch::now();
        let result = work();
        (result, stopwatch::since(from))
    }

    /// One recording, in the core and in the monitor.
    struct Count<'f> {
        axis: Axis,
        monitor: Monitor<'f>,
        /// Usual samples, those at which a command end becomes certain, and those with an event.
        core: [Tally; 3],
        app: [Tally; 3],
        /// After each sample.
        lamp: Tally,
        /// A turn of the main loop with nothing to do.
        turn: Tally,
        /// Judging a move.
        idle: Tally,
        /// Transmitting all bytes about an event, one by one.
        transmit: Tally,
        bytes: u32,
    }

    #[entry]
    fn main() -> ! {
        let done = run().is_some();
        debug::exit(if done { debug::EXIT_SUCCESS } else { debug::EXIT_FAILURE });
        loop {}
    }

    fn run() -> Option<()> {
        stopwatch::start(cortex_m::Peripherals::take()?.SYST);
        let flash = cortex_m::singleton!(: [u8; FLASH] = [0; FLASH])?;
        hprintln!("monitor_bytes {}", size_of::<Monitor>());
        let one_more = size_of::<App<{ AXES + 1 }, MemoryFlash<&mut [u8]>>>();
        hprintln!("monitor_bytes_per_axis {}", one_more - size_of::<Monitor>());
        for course in Course::all() {
            let mut count = Count::new(&course, flash)?;
            count.run(course)?;
            count.print(course.name);
        }
        Some(())
    }

    impl Count<'_> {
        fn new<'f>(course: &Course, flash: &'f mut [u8]) -> Option<Count<'f>> {
            let settings = Settings::new(black_box(course.parameters)).ok()?;
            let (device, board, reset) = (*b"emulated\0\0\0\0", "emulated", Reset::PowerOn);
            let identity = Identity { device, board, reset, period: PERIOD };
            let flash = MemoryFlash::new(flash);
            let mut monitor = Monitor::new(identity, [settings; AXES], flash).ok()?;
            // The fit is counted apart: it takes only time that nothing else needs.
            monitor.set_finds_ringing(false);
            while monitor.transmit(&mut [0]) == 1 {}
            let (axis, none) = (Axis::new(settings), Tally::default());
            let (core, app) = ([none; 3], [none; 3]);
            let (lamp, turn, idle, transmit, bytes) = (none, none, none, none, 0);
            Some(Count { axis, monitor, core, app, lamp, turn, idle, transmit, bytes })
        }

        fn run(&mut self, course: Course) -> Option<()> {
            let (mut recording, mut missing) = (Recording::new(course), 0);
            for _ in 0..MOVES * course.samples {
                if recording.is_gap() {
                    self.axis.gap();
                    // The monitor detects it by the clock.
                    missing += PERIOD;
                }
                let reading = recording.next()?;
                let reading = black_box(Reading { tick: reading.tick + missing, ..reading });
                let place = self.core(reading);
                let Reading { tick, command, feedback } = reading;
                let [command, feedback] = [command, feedback].map(|counts| Register::Whole(counts as u32));
                let raw = black_box([Raw { command, feedback }; AXES]);
                self.app.get_mut(place)?.time(|| self.monitor.sample(tick, &raw));
                self.between(place == 2);
            }
            Some(())
        }

        /// Gives the core a reading; whether it was a usual sample, a command end or an event.
        fn core(&mut self, reading: Reading) -> usize {
            let was_under_way = self.axis.is_under_way();
            let (status, spent) = timed(|| self.axis.step(reading));
            while self.axis.event().is_some() {}
            let ended = was_under_way && !self.axis.is_under_way();
            let place = if status.event { 2 } else { usize::from(ended) };
            self.core[place].add(spent);
            place
        }

        /// What a main loop does between two samples.
        fn between(&mut self, event: bool) {
            let Count { monitor, lamp, turn, idle, transmit, .. } = self;
            black_box(lamp.time(|| monitor.is_lit()));
            for _ in 0..if event { AXES } else { 0 } {
                idle.time(|| monitor.idle());
            }
            let (bytes, spent) = timed(|| {
                monitor.idle();
                let mut bytes = 0;
                while black_box(monitor.transmit(black_box(&mut [0]))) == 1 {
                    bytes += 1;
                }
                bytes
            });
            self.bytes += bytes;
            if bytes > 0 { transmit.add(spent) } else { turn.add(spent) }
        }

        fn print(&self, course: &str) {
            let [usual, ended, event] = self.core;
            for (name, tally) in [("core_usual", usual), ("core_ended", ended), ("core_event", event)] {
                tally.print(name, course, 1);
            }
            let [usual, ended, event] = self.app;
            let Count { transmit, idle, lamp, turn, .. } = *self;
            for (name, tally) in
                [("app_usual", usual), ("app_ended", ended), ("app_event", event), ("transmit", transmit)]
            {
                tally.print(name, course, AXES);
            }
            for (name, tally) in [("idle", idle), ("lamp", lamp), ("turn", turn)] {
                tally.print(name, course, 1);
            }
            hprintln!("bytes_of_a_move_{} {}", course, self.bytes / (transmit.count * AXES as u32).max(1));
        }
    }
}
