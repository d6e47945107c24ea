//! In: the points of many shifts. Out: the settling to be expected, and what that says of slopes and limits.
//!
//! Wear is no straight line: a belt rings longer by whole half periods, a bearing creeps ever more slowly. So the
//! truth of a trend is that of the figures it is made of: the expected median of an interval is the median of that
//! interval's medians over many shifts. The true slope over a stretch is the Theil–Sen slope of the expected medians
//! in it, and the true time to a limit that of the line through them. When the expected median itself gets there is
//! another thing: the line foresees it only as far as wear goes on as it did.

use std::collections::BTreeMap;

use stillpoint::analysis::point::Point;
use stillpoint::analysis::quantile::median;
use stillpoint::analysis::theil_sen::median_slope;
use stillpoint::analysis::time_to_limit::TimeToLimit;

use super::watched::INTERVAL;

/// What is to be expected of one kind, interval by interval.
pub struct Truth {
    /// Middles of the intervals and expected medians. Unit: s
    points: Vec<(f64, f64)>,
}

impl Truth {
    /// From the points of one kind in many shifts.
    pub fn new(shifts: &[Vec<Point>]) -> Truth {
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

    /// From an instant to the first at which the expected median is at a limit. Unit: s
    pub fn time_to(&self, limit: f64, second: f64) -> Option<f64> {
        (0..)
            .map(f64::from)
            .take_while(|ahead| second + ahead < self.points.len() as f64 * INTERVAL)
            .find(|ahead| self.at(second + ahead) >= limit)
    }

    /// The straight line that the expected medians follow from one instant to another: what a trend over that
    /// stretch estimates. None under two intervals.
    pub fn line(&self, from: f64, to: f64) -> Option<Line> {
        let within = |point: &&(f64, f64)| point.0 > from && point.0 < to;
        let (time, medians): (Vec<f64>, Vec<f64>) = self.points.iter().filter(within).copied().unzip();
        let (slope, middle) = (median_slope(&time, &medians)?, median(&time)?);
        let flat: Vec<f64> = time.iter().zip(&medians).map(|(t, y)| y - slope * (t - middle)).collect();
        Some(Line { slope, end: median(&flat)? + slope * (to - middle) })
    }
}

/// A straight line.
#[derive(Clone, Copy, Debug)]
pub struct Line {
    /// Theil–Sen slope. Unit: s/s
    pub slope: f64,
    /// Its value at the end of the stretch. Unit: s
    pub end: f64,
}

impl Line {
    /// From the end of the stretch until the line reaches a limit; none if it never does.
    pub fn time_to(&self, limit: f64) -> Option<f64> {
        let time = (limit - self.end) / self.slope;
        if self.end >= limit { Some(0.0) } else { (self.slope > 0.0).then_some(time) }
    }
}

/// Whether an answer holds the true time to a limit; none is never.
pub fn holds(answer: TimeToLimit, truth: Option<f64>) -> bool {
    match (answer, truth) {
        (TimeToLimit::Between(low, high), Some(truth)) => (low..=high).contains(&truth),
        (TimeToLimit::NotBefore(low), Some(truth)) => low <= truth,
        (TimeToLimit::Reached, Some(truth)) => truth == 0.0,
        (TimeToLimit::Unknown, _) | (TimeToLimit::Never | TimeToLimit::NotBefore(_), None) => true,
        _ => false,
    }
}
