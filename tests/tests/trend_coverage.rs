//! In: made series with a ramp of known slope. Out: how often the trend's intervals hold the truth.

use stillpoint::analysis::point::Point;
use stillpoint::analysis::time_to_limit::TimeToLimit;
use stillpoint::analysis::trend::{Ask, Trend, trend};
use stillpoint_tests::chance::Chance;

/// Length of an interval. Unit: s
const INTERVAL: f64 = 300.0;
/// Intervals in a shift of 8 h.
const POINTS: usize = 96;
/// Scatter of an interval's median: 10 % of 50 ms over about 100 moves. Unit: s
const SCATTER: f64 = 0.0006;

/// A shift: level 50 ms, from `from` (0 … 1 of the shift) on rising evenly by `rise` until its end.
struct Scene {
    from: f64,
    rise: f64,
    correlation: f64,
}

impl Scene {
    fn slope(&self) -> f64 {
        self.rise / ((1.0 - self.from) * POINTS as f64 * INTERVAL)
    }

    fn points(&self, seed: u64) -> Vec<Point> {
        let mut chance = Chance::new(seed * 7919 + 1);
        let mut state = chance.normal();
        (0..POINTS)
            .map(|i| {
                let middle = (i as f64 + 0.5) / POINTS as f64;
                let truth = 0.05 + self.rise * (middle - self.from).max(0.0) / (1.0 - self.from);
                let median_s = truth + SCATTER * state;
                state = self.correlation * state + (1.0 - self.correlation.powi(2)).sqrt() * chance.normal();
                Point { time_s: i as f64 * INTERVAL, moves: 100, median_s, p95_s: median_s, mean_s: None }
            })
            .collect()
    }

    /// The trend, and the true time to its limit: what is left of it takes 40 % of the ramp's own length.
    fn run(&self, seed: u64) -> (Trend, f64) {
        let left = 0.4 * (1.0 - self.from) * POINTS as f64 * INTERVAL;
        let limit = 0.05 + self.rise + left * self.slope();
        let ask = Ask { limit_s: Some(limit), ..Ask::new(INTERVAL) };
        (trend(&self.points(seed), &ask).expect("points"), left)
    }
}

#[test]
fn intervals_hold_the_truth_in_ninety_of_a_hundred() {
    println!("ramp from | rise ms | AR(1) | slope held | time held | closed | width / true time, median");
    let mut short = Vec::new();
    for correlation in [0.0, 0.3] {
        for from in [0.0, 0.375, 0.5, 0.7] {
            for rise in [0.001, 0.002, 0.005, 0.015] {
                let scene = Scene { from, rise, correlation };
                let (mut slope_held, mut time_held, mut widths) = (0, 0, vec![]);
                for seed in 1..=100 {
                    let (trend, truth) = scene.run(seed);
                    let fit = trend.fit.expect("a fit");
                    slope_held += u32::from((fit.slope.low..=fit.slope.high).contains(&scene.slope()));
                    let told = trend.time_to_limit.expect("a limit");
                    let held = match told {
                        TimeToLimit::Between(low, high) => (low..=high).contains(&truth),
                        TimeToLimit::NotBefore(low) => low <= truth,
                        TimeToLimit::Unknown => true,
                        TimeToLimit::Never | TimeToLimit::Reached => false,
                    };
                    time_held += u32::from(held);
                    if let TimeToLimit::Between(low, high) = told {
                        widths.push((high - low) / truth);
                    }
                }
                widths.sort_by(f64::total_cmp);
                let width = widths.get(widths.len() / 2).copied().unwrap_or(f64::NAN);
                println!(
                    "{from:9} | {:7} | {correlation:5} | {slope_held:10} | {time_held:9} | {:6} | {width:.2}",
                    rise * 1e3,
                    widths.len()
                );
                if slope_held < 90 || time_held < 90 {
                    short.push((from, rise, correlation, slope_held, time_held));
                }
            }
        }
    }
    assert!(short.is_empty(), "{short:?}");
}
