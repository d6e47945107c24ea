//! scratch
use std::time::Instant;
use stillpoint::source::rehearsal::axis::Axis as Virtual;
use stillpoint::source::rehearsal::transplanter;
use stillpoint_core::axis::{Axis, Event};
use stillpoint_core::sample::Reading;
use stillpoint_core::settings::{Parameters, Settings};
fn main() {
    let args: Vec<f64> = std::env::args().skip(1).map(|a| a.parse().unwrap()).collect();
    let (which, hours, seed, fixed) = (args[0] as usize, args[1], args[2] as u64, args.get(3).copied());
    let data = transplanter::axes()[which].clone();
    let window = [0.05, 0.02, 0.05][which] * data.counts_per_unit.to_f64();
    let settings = Settings::new(Parameters {
        ticks_per_second: 10_000_000,
        window: window as u32,
        jump: u32::MAX,
        window_time: 100_000,
        rest_time: 200_000,
        ..Parameters::default()
    })
    .unwrap();
    let mut virt = Virtual::new(data, seed, 4000).unwrap();
    let mut axis = Axis::default();
    let begun = Instant::now();
    let n = (hours * 3600.0 * 4000.0) as u64;
    let mut moves = 0;
    for k in 0..n {
        let age = fixed.unwrap_or_else(|| ((k as f64 / n as f64 - 0.375) / 0.625).clamp(0.0, 1.0));
        virt.set_age(age);
        let r = virt.step();
        let r = Reading { tick: r.tick.wrapping_mul(10), feedback: r.feedback as u16 as i16 as i32, ..r };
        let r = Reading { feedback: r.command.wrapping_add((r.feedback - r.command) as i16 as i32), ..r };
        if axis.step(&settings, r).event {
            while let Some(e) = axis.event() {
                if let Event::Move(rec) = e {
                    moves += 1;
                    println!(
                        "{},{:.4},{:.5},{},{},{},{:.1}",
                        rec.number,
                        rec.command_end as f64 / 1e7,
                        age,
                        rec.travel,
                        rec.outcome.word(),
                        rec.settling.map_or(-1.0, |s| s as f64 / 1e4),
                        rec.peak_speed.distance as f64 / rec.peak_speed.time as f64 * 1000.0
                    );
                }
            }
        }
    }
    eprintln!("{moves} moves {:?}", begun.elapsed());
}
