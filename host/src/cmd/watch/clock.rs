//! In: what a monitor says of its clock. Out: words for an instant of it.

use jiff::tz::TimeZone;

use crate::report::number::fixed;
use crate::report::wall_time;

/// Where the ticks of the monitor lie in time.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct MonitorClock {
    /// UTC at the first reading, if the monitor's clock is set. Unit: µs since 1970
    pub(super) epoch: Option<i64>,
    /// 0 as long as the monitor has not named it. Unit: ticks/s
    pub(super) ticks_per_second: u32,
}

impl MonitorClock {
    /// Unit: ticks/s
    pub(super) fn rate(self) -> Option<f64> {
        (self.ticks_per_second > 0).then(|| f64::from(self.ticks_per_second))
    }

    /// The time of day, or the time since the first reading, of an instant that is read beside another one. Unit: ticks
    pub(super) fn words(self, tick: u64, beside: u64) -> String {
        let Some(rate) = self.rate() else { return format!("tick {tick} of the monitor") };
        let seconds = |tick: u64| tick as f64 / rate;
        match self.epoch {
            Some(epoch) => {
                let [at, beside] =
                    [tick, beside].map(|tick| epoch.saturating_add((seconds(tick) * 1e6) as i64));
                wall_time::minute(at, beside, &TimeZone::system())
            }
            None => format!("minute {} of the monitor", fixed(seconds(tick) / 60.0, 1)),
        }
    }
}
