//! In: the last changes of a command. Out: its true end, relative to the sample that first shows the final command.
//!
//! A recorder on its own clock sees the final command up to one sample period late. A profile that slows down comes to
//! its end later than its last change by rounding shows. Near the end the distance to go falls as the first, second or
//! third power of the time to go: at constant speed, deceleration or jerk. A line through the root of the distance is
//! extrapolated to zero.

/// Number of changes that are stored.
pub(crate) const CHANGES: usize = 16;

/// One change of the command.
#[derive(Clone, Copy, Debug, Default)]
struct Change {
    /// The sample that shows it. Unit: ticks, wrapping
    tick: u32,
    /// Sum of all changes. Unit: feedback counts, wrapping
    position: i32,
}

/// The last changes of a move, in a ring that overwrites the oldest.
#[derive(Clone, Debug, Default)]
pub(crate) struct Changes {
    /// Number of changes ever stored.
    count: usize,
    /// Number of changes before this move, and before its present excursion.
    before: usize,
    before_excursion: usize,
    /// First change of the move. Unit: ticks, wrapping
    start: u32,
    /// Sum of all changes. Unit: feedback counts, wrapping
    position: i32,
    ring: [Change; CHANGES],
}

/// When the command truly ended. Unit: ticks
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Ending {
    /// Expected end less the first sample at the final command.
    pub late: i32,
    /// Half-width of the range of possible ends about the expected one.
    pub half_width: u32,
}

/// A point of the profile before its end. Unit: ticks, counts
#[derive(Clone, Copy, Debug)]
struct Point {
    /// Time before the sample that shows the final command.
    before: f32,
    /// Distance to go, and its tolerance.
    distance: f32,
    tolerance: f32,
}

impl Changes {
    /// An excursion begins; it may continue the move before.
    pub(crate) fn begin(&mut self, tick: u32, continues: bool) {
        self.before_excursion = self.count;
        if !continues {
            (self.before, self.start) = (self.count, tick);
        }
    }

    /// The present excursion does not continue the move before.
    pub(crate) fn stand_alone(&mut self) {
        self.before = self.before_excursion;
    }

    /// The command has changed by this much. Unit: feedback counts
    pub(crate) fn push(&mut self, tick: u32, change: i32) {
        self.position = self.position.wrapping_add(change);
        self.ring[self.count % CHANGES] = Change { tick, position: self.position };
        self.count = self.count.wrapping_add(1);
    }

    /// The `number`th last change, from 0, if it is stored.
    fn last(&self, number: usize) -> Option<&Change> {
        let stored = self.count.wrapping_sub(self.before).min(CHANGES);
        (number < stored).then(|| &self.ring[self.count.wrapping_sub(1 + number) % CHANGES])
    }

    /// Size of the steps that the command makes: what all steps are multiples of, one count at least.
    ///
    /// Equal steps at every sample are no sign of that, but of a constant speed. Unit of `period`: ticks
    fn quantum(&self, period: u32) -> u32 {
        let step = |number| {
            let (newer, older) = (self.last(number)?, self.last(number + 1)?);
            let stood = newer.tick.wrapping_sub(older.tick) >= period.saturating_mul(2);
            Some((newer.position.wrapping_sub(older.position).unsigned_abs(), stood))
        };
        let steps = || (0..CHANGES).map_while(step);
        let common = steps().fold(0, |common, step| divisor(common, step.0));
        if steps().any(|step| step.1 || step.0 > common) { common.max(1) } else { 1 }
    }

    /// A point of the profile at the `number`th last change; none if the command turned round since.
    fn point(&self, number: usize, period: f32, quantum: f32) -> Option<Point> {
        let (end, last, this) = (self.last(0)?, self.last(1)?, self.last(number)?);
        let forward = end.position.wrapping_sub(last.position) > 0;
        let distance = end.position.wrapping_sub(this.position);
        let distance = if forward { distance } else { distance.wrapping_neg() };
        let pause = self.last(number + 1).map_or(period, |older| this.tick.wrapping_sub(older.tick) as f32);
        // A step is half a quantum ahead of the profile; at the sample that shows it the profile has gone on.
        let half = quantum / 2.0;
        let passed = (period / pause.max(1.0)).min(1.0) * half;
        (distance > 0).then(|| Point {
            before: end.tick.wrapping_sub(this.tick) as f32,
            distance: distance as f32 + half - passed,
            tolerance: passed,
        })
    }

    /// The end of a command whose last change came `period` after the sample before it.
    pub(crate) fn ending(&self, period: u32) -> Ending {
        let seen = Seen {
            period: period as f32,
            quantum: self.quantum(period) as f32,
            length: self.last(0).map_or(0.0, |end| end.tick.wrapping_sub(self.start) as f32),
        };
        let range = self.points(&seen).and_then(|points| possible(points, &seen));
        let (early, late) = range.unwrap_or((-seen.period, 0.0));
        // Single steps with pauses: a pulse may come when the profile is there, not when it is half a step away.
        let pause = self.last(1).zip(self.last(0)).map_or(0, |(one, end)| end.tick.wrapping_sub(one.tick));
        let early = if pause >= period.saturating_mul(2) { early.min(-seen.period) } else { early };
        let half_width = ((late - early) / 2.0) as u32;
        Ending { late: ((early + late) / 2.0) as i32, half_width: half_width.saturating_add(ROUNDING) }
    }

    /// Three points: near the end, further away, and furthest.
    fn points(&self, Seen { period, quantum, .. }: &Seen) -> Option<[Point; 3]> {
        let mut points = (1..CHANGES).map_while(|number| self.point(number, *period, *quantum));
        let first = points.find(|point| point.distance >= 2.0 * quantum)?;
        let (mut middle, mut furthest): (Option<Point>, Option<Point>) = (None, None);
        for point in points {
            // The middle one is four times as far to go as the first, if the last is further still.
            if middle.is_none_or(|middle| middle.distance < 4.0 * first.distance) {
                (middle, furthest) = (furthest, Some(point));
            } else if point.distance <= 64.0 * first.distance {
                furthest = Some(point);
            }
        }
        Some([first, middle?, furthest?])
    }
}

/// Earliest and latest end of all profiles that fit the points, or of the best. Unit: ticks after the sample that shows
/// the final command
fn possible(points: [Point; 3], seen: &Seen) -> Option<(f32, f32)> {
    // A profile has no more time to go than it took from the furthest point.
    let longest = points[2].before;
    let fits = || (1..=3).filter_map(|power| Fit::new(points, power, seen).filter(|fit| fit.late < longest));
    let best = fits().map(|fit| fit.misfit).fold(f32::INFINITY, f32::min);
    fits()
        .filter(|fit| fit.misfit <= best + MISFIT)
        .map(|fit| (fit.early, fit.late))
        .reduce(|range, fit| (range.0.min(fit.0), range.1.max(fit.1)))
}

/// By how much more the points may contradict a possible profile than the best one; found by simulation. Unit: tolerance
const MISFIT: f32 = 0.42;

/// What the samples show of the command. Unit: ticks, feedback counts
struct Seen {
    /// Sample period at the last change.
    period: f32,
    /// Size of its steps.
    quantum: f32,
    /// From the first change to the last.
    length: f32,
}

/// A profile of one power.
struct Fit {
    /// Unit: ticks after the sample that shows the final command
    early: f32,
    late: f32,
    /// By how much the points contradict each other or the last two samples. Unit: tolerance
    misfit: f32,
}

impl Fit {
    fn new([first, middle, furthest]: [Point; 3], power: u32, seen: &Seen) -> Option<Fit> {
        let line = Line::new(first, furthest, power)?;
        let check = Line::new(first, middle, power)?;
        // Further away a profile is no pure power: the nearer points say by how much.
        let apart = line.end - check.end;
        let bent = apart * furthest.before / (furthest.before - middle.before) / 2.0;
        let (end, tolerance) = (line.end - bent, 0.95 * line.tolerance + bent.abs());
        // At the last sample at most half a quantum is left to go, and more at the one before.
        let latest = root(seen.quantum / 2.0, power) / line.rise;
        let (near, far) = (first.before + end.max(0.0), furthest.before + end.max(0.0));
        let slack = latest * (0.9 * line.doubt + bent.abs() * (1.0 / near + 1.0 / far));
        let (lowest, highest) = (latest - slack - seen.period, latest + slack);
        let outside = (lowest - end).max(end - highest).max(0.0);
        let misfit = (apart.abs() / (line.tolerance + check.tolerance)).max(outside / tolerance);
        // A profile of the fifth order is no pure cube: it ends earlier, by more than coarse points would show.
        let curve = near * far / seen.length.max(1.0) / 2.0;
        let curve = if power == 3 && check.tolerance > 1.2 * curve { curve } else { 0.0 };
        let (end, lowest) = (end - curve / 2.0, lowest - latest * curve * (1.0 / near + 1.0 / far));
        let tolerance = tolerance + curve / 2.0;
        let (early, late) = ((end - tolerance).max(lowest), (end + tolerance).min(highest));
        Some(Fit { early: early.min(late), late: late.max(early), misfit })
    }
}

/// The line through the roots of two distances.
struct Line {
    /// Where it comes to zero. Unit: ticks after the sample that shows the final command
    end: f32,
    tolerance: f32,
    /// Unit: root of counts/tick
    rise: f32,
    /// Tolerance of the rise, as a share of it.
    doubt: f32,
}

impl Line {
    fn new(near: Point, far: Point, power: u32) -> Option<Line> {
        let (low, high) = (root(near.distance, power), root(far.distance, power));
        let (time, rise) = (far.before - near.before, high - low);
        let doubt = |root: f32, point: Point| root * point.tolerance / (power as f32 * point.distance);
        let (low_doubt, high_doubt) = (doubt(low, near), doubt(high, far));
        (rise > 0.0 && time > 0.0).then(|| Line {
            end: time * low / rise - near.before,
            tolerance: time * (high * low_doubt + low * high_doubt) / (rise * rise),
            rise: rise / time,
            doubt: (low_doubt + high_doubt) / rise,
        })
    }
}

/// Greatest common divisor, by Euclid.
fn divisor(mut one: u32, mut other: u32) -> u32 {
    while other != 0 {
        (one, other) = (other, one % other);
    }
    one
}

/// What rounding to whole ticks and the roots add. Unit: ticks
const ROUNDING: u32 = 2;

/// First, second or third root, by Newton's method from a guess that divides the exponent.
fn root(value: f32, power: u32) -> f32 {
    let bits = value.to_bits();
    match power {
        1 => value,
        2 => (0..3).fold(f32::from_bits(0x1fbd_1df5 + bits / 2), |root, _| (root + value / root) / 2.0),
        _ => (0..3).fold(f32::from_bits(0x2a51_19f2 + bits / 3), |root, _| {
            (2.0 * root + value / (root * root)) / 3.0
        }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn roots_are_roots() {
        for value in [0.5_f32, 1.0, 3.0, 1e3, 7e5, 2e9] {
            assert!((root(value, 2) / value.sqrt() - 1.0).abs() < 1e-6, "{value}");
            assert!((root(value, 3) / value.cbrt() - 1.0).abs() < 1e-5, "{value}");
        }
    }

    /// A profile whose distance to go is this power of the time, sampled at these ticks before its end.
    #[track_caller]
    fn check(power: i32, scale: f64, quantum: f64, phase: f64) {
        let mut changes = Changes::default();
        changes.begin(-60_000_i32 as u32, false);
        let mut last = i32::MIN;
        let mut seen = 0.0;
        for k in (-40..4).map(|k| (f64::from(k) + phase) * 1000.0) {
            let distance = scale * (-k.min(0.0) / 1000.0).powi(power);
            let travel = ((-distance / quantum).round() * quantum) as i32;
            if travel != last {
                changes.push(k as i32 as u32, travel.wrapping_sub(last));
                (last, seen) = (travel, k);
            }
        }
        let ending = changes.ending(1000);
        let away = f64::from(ending.late) + seen;
        assert!(
            away.abs() <= f64::from(ending.half_width),
            "power {power}, phase {phase}: {away} {ending:?}"
        );
    }

    #[test]
    fn the_true_end_lies_in_the_range() {
        for phase in [0.02, 0.3, 0.5, 0.77, 0.98] {
            check(1, 500.0, 1.0, phase);
            check(2, 40.0, 1.0, phase);
            check(2, 0.1, 1.0, phase);
            check(3, 10.0, 1.0, phase);
            check(3, 1e5, 1.0, phase);
            check(3, 0.2, 1.0, phase);
        }
    }
}
