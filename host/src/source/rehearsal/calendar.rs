//! In: the time since the start. Out: whether the machine works then, and for how long it has worked.

use super::nuisance::Nuisance;

const HOUR: f64 = 3600.0;
/// Work, then a break. Unit: s
const WORK: f64 = 2.0 * HOUR;
const CYCLE: f64 = WORK + 0.25 * HOUR;
/// A week begins with the last shift before the weekend: 8 h of work, the weekend, 4 days of work. Unit: s
const WEEK: f64 = 168.0 * HOUR;
const OFF: [f64; 2] = [8.0 * HOUR, 72.0 * HOUR];

/// When a machine works; by default always.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Calendar {
    breaks: bool,
    weekend: bool,
}

impl Calendar {
    /// The calendar with the pauses named among the nuisances.
    pub fn new(nuisances: &[Nuisance]) -> Calendar {
        Calendar {
            breaks: nuisances.contains(&Nuisance::Breaks),
            weekend: nuisances.contains(&Nuisance::Weekend),
        }
    }

    /// Whether the machine works at a time since the start. Unit: s
    pub fn works(&self, seconds: f64) -> bool {
        if !self.weekend {
            return self.works_in_stretch(seconds);
        }
        let [off, on] = OFF;
        let at = seconds % WEEK;
        if at < off { self.works_in_stretch(at) } else { at >= on && self.works_in_stretch(at - on) }
    }

    /// Time of work until a time since the start. Unit: s, s
    pub fn worked(&self, seconds: f64) -> f64 {
        if !self.weekend {
            return self.worked_in_stretch(seconds);
        }
        let ([off, on], weeks, at) = (OFF, (seconds / WEEK).floor(), seconds % WEEK);
        let week = self.worked_in_stretch(off) + self.worked_in_stretch(WEEK - on);
        weeks * week + self.worked_in_stretch(at.min(off)) + self.worked_in_stretch((at - on).max(0.0))
    }

    /// As [`Calendar::works`], since the begin of a stretch without weekends.
    fn works_in_stretch(&self, seconds: f64) -> bool {
        !self.breaks || seconds % CYCLE < WORK
    }

    /// As [`Calendar::worked`], since the begin of a stretch without weekends.
    fn worked_in_stretch(&self, seconds: f64) -> f64 {
        if self.breaks { (seconds / CYCLE).floor() * WORK + (seconds % CYCLE).min(WORK) } else { seconds }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Counts second by second, and compares with the closed form at the end of each hour.
    fn check(nuisances: &[Nuisance], expected_hours: f64) {
        let calendar = Calendar::new(nuisances);
        let mut worked = 0.0;
        for second in 0..400 * 3600 {
            if second % 3600 == 0 {
                assert_eq!(calendar.worked(f64::from(second)), worked, "{nuisances:?} second {second}");
            }
            worked += f64::from(u8::from(calendar.works(f64::from(second))));
        }
        assert_eq!(calendar.worked(168.0 * HOUR), expected_hours * HOUR, "{nuisances:?}");
    }

    #[test]
    fn time_of_work_is_the_sum_of_the_seconds_of_work() {
        check(&[], 168.0);
        check(&[Nuisance::WarmUp], 168.0);
        // 74 cycles of 2.25 h, then 1.5 h.
        check(&[Nuisance::Breaks], 74.0 * 2.0 + 1.5);
        check(&[Nuisance::Weekend], 104.0);
        // 3 cycles and 1.25 h; 42 cycles and 1.5 h.
        check(&[Nuisance::Weekend, Nuisance::Breaks], 7.25 + 85.5);
    }
}
