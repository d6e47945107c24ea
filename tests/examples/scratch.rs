use std::time::Instant;
use stillpoint_core::drift::{Direction, DriftConfig, DriftSettings};
use stillpoint_tests::nuisance::cells::cells;
use stillpoint_tests::nuisance::detector::{Detector, Shipped};
use stillpoint_tests::nuisance::moves::{HOUR, Moves};
use stillpoint_tests::nuisance::run::{Size, faults, find, summary, watch};
fn main() {
    let args: Vec<String> = std::env::args().collect();
    let name = args[1].clone();
    let axes: u32 = args[2].parse().unwrap();
    let months: f64 = args[3].parse().unwrap();
    let what = args.get(4).cloned().unwrap_or("wf".into());
    let rate: u32 = args.get(5).map_or(7200, |r| r.parse().unwrap());
    let config = DriftConfig { moves_per_hour: rate, ..DriftConfig::at(1_000_000) };
    let settings = DriftSettings::new(config).unwrap();
    let size = Size { axes, months, moves_per_hour: rate };
    for cell in cells() {
        if name != "all" && !format!("{cell}").contains(&name) {
            continue;
        }
        let clock = Instant::now();
        if what.contains('t') {
            for axis in 0..axes {
                let (mut moves, mut d) = (Moves::new(&cell, rate, axis as u64), Shipped::new(settings));
                let mut stood = None;
                let mut promise = Default::default();
                let mut n = 0;
                let mut line = String::new();
                for _ in 0..(months * 730.5 * rate as f64) as u64 {
                    let m = moves.step();
                    let v = d.step(&m);
                    if what.contains('d') && m.at % (6.0 * HOUR) < 0.5 {
                        let f = |n: &[f32]| {
                            n.iter().map(|x| format!("{:.1}", x * 100.0)).collect::<Vec<_>>().join(" ")
                        };
                        let c = d.debug();
                        println!(
                            "{:.0}h {:?} hours {} | {} | {} | {}",
                            m.at / HOUR,
                            c.0,
                            f(&c.1.0),
                            f(&c.1.1),
                            f(&c.1.2),
                            f(&c.1.3)
                        );
                    }
                    if v.drift != stood {
                        stood = v.drift;
                        n += 1;
                        if n < 40 {
                            line += &format!(
                                " {:.1}h:{}",
                                m.at / HOUR,
                                match stood {
                                    None => "ok",
                                    Some(Direction::Up) => "UP",
                                    _ => "dn",
                                }
                            );
                        }
                    }
                    if v.promise != promise {
                        promise = v.promise;
                        line += &format!(" {:.1}h:{:?}", m.at / HOUR, promise);
                    }
                }
                println!("{cell} {axis}:{line}");
            }
        }
        if what.contains('w') {
            let found = watch(&cell, || Shipped::new(settings), size);
            let promises = found.promises.iter().map(|(w, s)| format!("{w} {:.1}", 100.0 * s));
            println!(
                "{cell:<23} {:>8.2} {:>6.1} %  {} ({:.0} s)",
                found.rate(),
                100.0 * found.standing,
                promises.collect::<Vec<_>>().join(", "),
                clock.elapsed().as_secs_f64()
            );
        }
        if what.contains('f') {
            let found = find(&cell, || Shipped::new(settings), size, &faults());
            print!("{cell:<23}");
            for outcomes in found {
                let (n, a) = summary(&outcomes);
                print!(" | {n} {:.1} {:.1}", a[0] / 60.0, a[1] / 60.0);
            }
            println!();
        }
    }
}
