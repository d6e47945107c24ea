//! In: a distribution of settling times, the settings of the detector. Out: the false alarms of simulated axis-months.

use std::collections::BTreeMap;

use stillpoint_core::baseline::Evidence;
use stillpoint_core::drift::{Drift, Moment};
use stillpoint_core::drift::{DriftConfig, DriftSettings};

use crate::scatter::{Scatter, Shape};

/// A distribution and a length of the baseline.
#[derive(Clone, Copy, Debug)]
pub struct Cell {
    /// Distribution of single moves.
    pub shape: Shape,
    /// Autocorrelation of first order.
    pub alike: f64,
    /// Moves of the baseline.
    pub baseline: u32,
}

/// The result of a cell.
#[derive(Clone, Debug, Default)]
pub struct Count {
    /// False alarms.
    pub alarms: u32,
    /// Simulated axis-months.
    pub months: f64,
    /// Smallest change found at the end, in the last axis. Unit: ticks (µs)
    pub smallest: u32,
    /// Number of axes by what they report of the promise at the end.
    pub promises: BTreeMap<String, u32>,
}

/// The cells of the promise: scatter of 10 % and of 50 to 60 %.
pub fn cells() -> Vec<Cell> {
    let shapes = [
        Shape::Normal(0.1),
        Shape::Lognormal(0.1),
        Shape::Gamma(100),
        Shape::Lognormal(0.5),
        Shape::Gamma(4),
    ];
    let alike = shapes.iter().flat_map(|shape| [0.0, 0.3].map(|alike| (*shape, alike)));
    alike.flat_map(|(shape, alike)| [50, 500].map(|baseline| Cell { shape, alike, baseline })).collect()
}

impl Cell {
    /// Watches `axes` axes, each with a baseline of its own, for a part of a month in which nothing changes.
    ///
    /// After an alarm the watch is armed again with the same baseline: a bad one counts as often as it errs.
    pub fn watch(&self, config: DriftConfig, axes: u32, months: f64) -> Count {
        let config = DriftConfig { baseline: self.baseline, baseline_minutes: 0, ..config };
        let watch = DriftSettings::new(config).expect("a valid configuration");
        let moves = (f64::from(config.moves_per_hour) * 730.5 * months) as u32;
        let mut scatter = Scatter::new(self.shape, self.alike, 1);
        let mut count = Count { months: f64::from(axes) * months, ..Count::default() };
        for _ in 0..axes {
            let mut drift = Drift::default();
            for _ in 0..moves {
                let Some(finding) =
                    drift.step(&watch, Evidence::Value(scatter.time() as u32), &Moment::default())
                else {
                    continue;
                };
                count.smallest = finding.smallest;
                if finding.is_drift() {
                    count.alarms += 1;
                    drift.rearm();
                }
            }
            *count.promises.entry(format!("{:?}", drift.promise())).or_default() += 1;
        }
        count
    }
}
