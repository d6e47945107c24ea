//! In: recordings, the same for three axes at once. Out: instructions on a Cortex-M4F that the monitor takes for them.
//!
//! All axes move and stop together: no tick of three can be worse. The core is counted beside it on the same
//! readings; what is more is what the monitor adds. Figures are per axis, but those of the lamp and of a turn of the
//! main loop per device. Counted in steps of 40: means are exact to a fraction, worst cases to ±40 per tick, a third
//! of that per axis. Flash is memory here, and a line takes every byte at once.
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

    /// Like that of the NUCLEO, but for its flash.
    type Monitor<'f> = App<AXES, MemoryFlash<&'f mut [u8]>>;

    /// Instructions that many like things took.
    #[derive(Clone, Copy, Default)]
    struct Tally {
        count: u32,
        sum: u32,
        worst: u32,
    }

    impl Tally {
        /// Does something and counts it.
        fn time<T>(&mut self, what: impl FnOnce() -> T) -> T {
            let (done, spent) = timed(what);
            self.add(spent);
            done
        }

        fn add(&mut self, spent: u32) {
            *self = Tally { count: self.count + 1, sum: self.sum + spent, worst: self.worst.max(spent) };
        }

        /// Mean and worst, each done for so many axes.
        fn tell(&self, name: &str, course: &str, axes: usize) {
            let each = (self.count * axes as u32).max(1);
            let part = u64::from(self.sum % each) * 100 / u64::from(each);
            hprintln!("{}_instructions_{} {}.{:02} of {}", name, course, self.sum / each, part, self.count);
            hprintln!("worst_{}_instructions_{} {}", name, course, self.worst / axes as u32);
        }
    }

    #[inline(always)]
    fn timed<T>(what: impl FnOnce() -> T) -> (T, u32) {
        let from = stopwatch::now();
        let done = what();
        (done, stopwatch::since(from))
    }

    /// One recording, in the core and in the monitor.
    struct Count<'f> {
        axis: Axis,
        monitor: Monitor<'f>,
        /// Usual samples, those at which a command end became certain, and those at which anything was told.
        core: [Tally; 3],
        app: [Tally; 3],
        /// After each sample.
        lamp: Tally,
        /// Of the main loop, with nothing to do.
        turn: Tally,
        /// A move is judged.
        idle: Tally,
        /// All bytes about what was told, one by one.
        say: Tally,
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
            count.tell(course.name);
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
            while monitor.transmit(&mut [0]) == 1 {}
            let (axis, none) = (Axis::new(settings), Tally::default());
            let (core, app) = ([none; 3], [none; 3]);
            let (lamp, turn, idle, say, bytes) = (none, none, none, none, 0);
            Some(Count { axis, monitor, core, app, lamp, turn, idle, say, bytes })
        }

        fn run(&mut self, course: Course) -> Option<()> {
            let (mut recording, mut missing) = (Recording::new(course), 0);
            for _ in 0..MOVES * course.samples {
                if recording.is_gap() {
                    self.axis.gap();
                    // The monitor sees it by the clock.
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

        /// Which sort of sample it was.
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
        fn between(&mut self, told: bool) {
            let Count { monitor, lamp, turn, idle, say, .. } = self;
            black_box(lamp.time(|| monitor.is_lit()));
            for _ in 0..if told { AXES } else { 0 } {
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
            if bytes > 0 { say.add(spent) } else { turn.add(spent) }
        }

        fn tell(&self, course: &str) {
            let [usual, ended, told] = self.core;
            for (name, tally) in [("core_usual", usual), ("core_ended", ended), ("core_told", told)] {
                tally.tell(name, course, 1);
            }
            let [usual, ended, told] = self.app;
            let Count { say, idle, lamp, turn, .. } = *self;
            for (name, tally) in
                [("app_usual", usual), ("app_ended", ended), ("app_told", told), ("say", say)]
            {
                tally.tell(name, course, AXES);
            }
            for (name, tally) in [("idle", idle), ("lamp", lamp), ("turn", turn)] {
                tally.tell(name, course, 1);
            }
            hprintln!("bytes_of_a_move_{} {}", course, self.bytes / (say.count * AXES as u32).max(1));
        }
    }

    #[panic_handler]
    fn panic(info: &core::panic::PanicInfo) -> ! {
        hprintln!("{}", info);
        debug::exit(debug::EXIT_FAILURE);
        loop {}
    }
}
