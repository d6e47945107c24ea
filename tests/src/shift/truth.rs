//! In: the points of many shifts. Out: the expected settling, and the slopes and times to limits that follow from it.
//!
//! Wear is no straight line: a belt rings longer by whole half periods, a bearing creeps ever more slowly. So the
//! truth of a trend is that of the figures it is made of: the expected median of an interval is the median of that
//! interval's medians over many shifts. The true slope over a stretch is the Theil–Sen slope of the expected medians
//! in it, and a limit is reached when the expected median is there.

use std::collections::BTreeMap;

use stillpoint::analysis::interval_stats::IntervalStats;
use stillpoint::analysis::quantile::median;
use stillpoint::analysis::theil_sen::median_slope;

use super::watched::INTERVAL;

/// Expected settling of one kind, interval by interval.
pub struct Truth {
    /// Middles of the intervals and expected medians. Unit: s
    points: Vec<(f64, f64)>,
}

impl Truth {
    /// From the points of one kind in many shifts.
    pub fn new(shifts: &[Vec<IntervalStats>]) -> Truth {
        let mut medians = BTreeMap::<u32, Vec<f64>>::new();
        for point in shifts.iter().flatten() {
            medians.entry((point.time_s / INTERVAL) as u32).or_default().push(point.median_s);
        }
        let expected = |(interval, of_it): (&u32, &Vec<f64>)| {
            Some(((f64::from(*interval) + 0.5) * INTERVAL, median(of_it)?))
        };
        Truth { points: medians.iter().filter_map(expected).collect() }
    }

    /// Expected median at an instant, straight from one interval's middle to the next. Unit: s
    pub fn at(&self, second: f64) -> f64 {
        let after = self.points.partition_point(|point| point.0 < second).clamp(1, self.points.len() - 1);
        let ((from, before), (to, then)) = (self.points[after - 1], self.points[after]);
        before + (then - before) * ((second - from) / (to - from)).clamp(0.0, 1.0)
    }

    /// Until when it is known. Unit: s
    pub fn until(&self) -> f64 {
        self.points.last().map_or(0.0, |point| point.0 + INTERVAL / 2.0)
    }

    /// From an instant to the first at which the expected median is at a limit. Unit: s
    pub fn time_to(&self, limit: f64, second: f64) -> Option<f64> {
        (0..)
            .map(f64::from)
            .take_while(|ahead| second + ahead < self.points.len() as f64 * INTERVAL)
            .find(|ahead| self.at(second + ahead) >= limit)
    }

    /// The Theil–Sen slope of the expected medians from one instant to another: what a trend over that stretch estimates.
    /// None under two intervals. Unit: s/s
    pub fn slope(&self, from: f64, to: f64) -> Option<f64> {
        let within = |point: &&(f64, f64)| point.0 > from && point.0 < to;
        let (time, medians): (Vec<f64>, Vec<f64>) = self.points.iter().filter(within).copied().unzip();
        median_slope(&time, &medians)
    }
}
