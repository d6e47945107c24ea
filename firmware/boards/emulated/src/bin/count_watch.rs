//! In: moves of several kinds. Out: instructions on a Cortex-M4F for kind, drift and baseline of each move.
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
    use stillpoint_core::baseline::Evidence;
    use stillpoint_core::causes::Causes;
    use stillpoint_core::drift::{Drift, DriftSettings};
    use stillpoint_core::kind::Kinds;
    use stillpoint_core::wire::record::Move;
    use stillpoint_core::{Outcome, Parameters, Record, Settings, Speed};
    use stillpoint_emulated::stopwatch;

    const MOVES: u32 = 4000;

    #[entry]
    fn main() -> ! {
        run();
        debug::exit(debug::EXIT_SUCCESS);
        loop {}
    }

    fn run() {
        let Some(core) = cortex_m::Peripherals::take() else { return };
        stopwatch::start(core.SYST);
        let Ok(settings) = Settings::new(black_box(Parameters::at(1_000_000))) else { return };
        let (mut few, mut many) = (Kinds::<8>::new(), Kinds::<16>::new());
        // A ninth kind comes with every hundredth move, so that another is evicted.
        count("kind_of_8", |k| _ = black_box(few.step(&settings, &record(k, 8))));
        count("kind_of_16", |k| _ = black_box(many.step(&settings, &record(k, 16))));
        let (settings, mut drift) = (DriftSettings::at(1_000_000), Drift::default());
        let mut causes = Causes::new();
        count("drift", |k| {
            // Half a second between moves, and a job of its own for every hour.
            let circumstances = causes.step(&settings, k / 2, 1 + k / 7200);
            let evidence = Evidence::Value(settling(k));
            _ = black_box(causes.judge(&circumstances, &mut drift, &settings, evidence));
        });
    }

    /// About 50 ms with a spread of 10 %.
    fn settling(k: u32) -> u32 {
        34_000
            + (0..4).map(|part| (4 * k + part + 17).wrapping_mul(2_654_435_761) >> 16 & 0x1FFF).sum::<u32>()
    }

    fn record(k: u32, kinds: u32) -> Record {
        let kind = if k % 100 == 99 { kinds } else { k % kinds };
        Record {
            number: k + 1,
            travel: 1000 << (kind / 2) << (kind & 1),
            outcome: Outcome::Settled,
            settling: Some(settling(k)),
            window_entries: 1,
            peak_speed: Speed { distance: 100 + 1000 * kind, time: 2000 },
            ..Record::from(&Move::default())
        }
    }

    fn count(name: &str, mut step: impl FnMut(u32)) {
        let (mut whole, mut worst) = (0, 0);
        for k in 0..MOVES {
            let from = stopwatch::now();
            step(black_box(k));
            let spent = stopwatch::since(from);
            whole += spent;
            worst = worst.max(spent);
        }
        hprintln!("{}_instructions {}", name, whole / MOVES);
        hprintln!("worst_{}_instructions {}", name, worst);
    }
}
