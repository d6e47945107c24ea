//! In: stops of different shapes. Out: instructions of their captures and of the fit that looks for ringing in them.
//!
//! Runs on a Cortex-M4F and, built for it, with the instructions of a Cortex-M0+, which has no floating point. Counted in
//! steps of 40.
#![cfg_attr(target_os = "none", no_std, no_main)]

#[cfg(not(target_os = "none"))]
fn main() {
    println!("this image runs on an emulated Cortex-M: see firmware/BOARDS.md");
}

#[cfg(target_os = "none")]
mod image {
    use core::hint::black_box;

    use cortex_m_rt::entry;
    use cortex_m_semihosting::{debug, hprintln};
    use stillpoint_core::ringing::{Answer, Fit, StopCapture};
    use stillpoint_emulated::stopwatch;

    /// Samples of each stop. Unit: 250 µs
    const SAMPLES: u32 = 1000;
    const TICKS_PER_SECOND: u32 = 1_000_000;

    /// A stop as the sum of a rotation that shrinks and a decay, plus noise; no library of elementary functions is needed.
    struct Shape {
        name: &'static str,
        /// Cosine and sine of the turn of one sample, times what remains.
        turn: (f32, f32),
        swing: f32,
        /// What remains of the decay after a sample.
        decay: f32,
        tail: f32,
        noise: f32,
    }

    const SHAPES: [Shape; 6] = [
        Shape {
            name: "ringing",
            turn: (0.998_1, 0.031_4),
            swing: 2000.0,
            decay: 0.99,
            tail: 0.0,
            noise: 4.0,
        },
        Shape {
            name: "with_tail",
            turn: (0.997_0, 0.047_1),
            swing: 900.0,
            decay: 0.994,
            tail: 1500.0,
            noise: 4.0,
        },
        // Readings that stand at a step for long.
        Shape {
            name: "standing",
            turn: (0.997_0, 0.047_1),
            swing: 50.0,
            decay: 0.994,
            tail: 80.0,
            noise: 0.1,
        },
        Shape { name: "lag", turn: (0.0, 0.0), swing: 0.0, decay: 0.985, tail: 4000.0, noise: 4.0 },
        Shape { name: "noise", turn: (0.0, 0.0), swing: 0.0, decay: 0.0, tail: 0.0, noise: 60.0 },
        Shape { name: "still", turn: (0.0, 0.0), swing: 0.0, decay: 0.0, tail: 0.0, noise: 0.0 },
    ];

    #[entry]
    fn main() -> ! {
        let done = run().is_some();
        debug::exit(if done { debug::EXIT_SUCCESS } else { debug::EXIT_FAILURE });
        loop {}
    }

    fn run() -> Option<()> {
        stopwatch::start(cortex_m::Peripherals::take()?.SYST);
        hprintln!("capture_bytes {}", size_of::<StopCapture>());
        hprintln!("fit_bytes {}", size_of::<Fit>());
        SHAPES.iter().for_each(count);
        Some(())
    }

    fn count(shape: &Shape) {
        let mut stop = StopCapture::new(1);
        stop.step(true, 0, (shape.swing + shape.tail) as i32);
        let (mut swing, mut tail, mut random) = ((shape.swing, 0.0_f32), shape.tail, 1_u32);
        let (mut sum, mut worst) = (0_u32, 0);
        for k in 1..SAMPLES {
            swing = (
                swing.0 * shape.turn.0 - swing.1 * shape.turn.1,
                swing.1 * shape.turn.0 + swing.0 * shape.turn.1,
            );
            tail *= shape.decay;
            random = random.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let noise = shape.noise * ((random >> 8) as f32 / (1 << 24) as f32 - 0.5);
            let error = black_box((swing.0 + tail + noise) as i32);
            let from = stopwatch::now();
            black_box(stop.step(false, 250 * k, error));
            let spent = stopwatch::since(from);
            (sum, worst) = (sum + spent, worst.max(spent));
        }
        hprintln!("capture_instructions_{} {} worst {}", shape.name, sum / (SAMPLES - 1), worst);
        fit(shape, &stop);
    }

    fn fit(shape: &Shape, stop: &StopCapture) {
        let mut fit = Fit::default();
        let from = stopwatch::now();
        fit.start(stop.captured(), TICKS_PER_SECOND);
        let (start, mut sum, mut worst, mut slices) = (stopwatch::since(from), 0_u32, 0, 0_u32);
        let answer = loop {
            let from = stopwatch::now();
            let answer = black_box(fit.step());
            let spent = stopwatch::since(from);
            (sum, worst, slices) = (sum + spent, worst.max(spent), slices + 1);
            if let Some(answer) = answer {
                break answer;
            }
        };
        hprintln!(
            "fit_instructions_{} {} start {} slices {} worst {}",
            shape.name,
            sum,
            start,
            slices,
            worst
        );
        match answer {
            Answer::Refused(why) => hprintln!("refused {}", why as u8),
            Answer::Ringing(found) => hprintln!("stated_millihertz {}", (found.frequency * 1000.0) as u32),
        }
    }
}
