//! In: values. Out: where a chart of Page and Hinkley against its own running mean signals.
//!
//! Not in the product: a mean that follows the values follows a slow change, too. It stands beside the shipped sum.

/// As river 0.26 has it: the sums fade, and the chart begins again after a signal.
#[derive(Clone, Copy, Debug)]
pub struct PageHinkley {
    /// Values before it may signal.
    pub least: u32,
    /// Subtracted from every deviation.
    pub allowance: f64,
    /// Distance from the sum's extreme at which it signals.
    pub limit: f64,
    /// Factor on the sums after each value.
    pub fading: f64,
    /// Whether smaller values signal, too.
    pub both: bool,
}

/// How it stands within one run.
#[derive(Clone, Copy, Debug)]
struct Run {
    count: u32,
    mean: f64,
    up: f64,
    lowest: f64,
    down: f64,
    highest: f64,
}

const START: Run =
    Run { count: 0, mean: 0.0, up: 0.0, lowest: f64::INFINITY, down: 0.0, highest: f64::NEG_INFINITY };

impl PageHinkley {
    /// Values that signal, from 1.
    pub fn signals(&self, values: &[f64]) -> Vec<u64> {
        let mut run = START;
        let mut signal = |value| {
            let signals = run.step(self, value);
            if signals {
                run = START;
            }
            signals
        };
        (1..).zip(values).filter(|(_, value)| signal(**value)).map(|(number, _)| number).collect()
    }
}

impl Run {
    fn step(&mut self, chart: &PageHinkley, value: f64) -> bool {
        self.count += 1;
        // The value itself is in the mean it is held against.
        self.mean += (value - self.mean) / f64::from(self.count);
        let deviation = value - self.mean;
        self.up = chart.fading * self.up + deviation - chart.allowance;
        self.down = chart.fading * self.down + deviation + chart.allowance;
        self.lowest = self.lowest.min(self.up);
        self.highest = self.highest.max(self.down);
        let (up, down) = (self.up - self.lowest, self.highest - self.down);
        self.count >= chart.least && (up > chart.limit || chart.both && down > chart.limit)
    }
}
