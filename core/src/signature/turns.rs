//! In: errors after the command end. Out: the turning points of the error: how many, and how far apart.
//!
//! A turning point is an extreme from which the error goes back by more than the hysteresis.

/// Which way the error goes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
enum Leg {
    /// Not further than the hysteresis from the first error yet.
    #[default]
    First,
    Up,
    Down,
}

/// What one more error is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Step {
    /// Between the last extreme and the hysteresis.
    Within,
    /// A new extreme.
    Further,
    /// The last extreme was a turning point, with this error. Unit: counts
    Turned(i32),
}

/// Turning points with one hysteresis.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Turns {
    leg: Leg,
    /// The last extreme, or the first error. Unit: counts
    extreme: i32,
    /// Its time stamp. Unit: ticks, wrapping
    tick: u32,
    /// Feedback came inside the window since the extreme.
    entered: bool,
    /// Number of turning points, and of those whose extreme came after the last entry.
    pub count: u32,
    pub since_entry: u32,
    /// Time stamps of the first and the last of them. Unit: ticks, wrapping
    first: u32,
    last: u32,
}

impl Turns {
    /// Starts with the error at the command end.
    pub(crate) fn restart(&mut self, error: i32, tick: u32) {
        *self = Turns { extreme: error, tick, ..Turns::default() };
    }

    /// Feedback comes inside the window.
    pub(crate) fn enter(&mut self) {
        (self.since_entry, self.entered) = (0, true);
    }

    /// Adds one error.
    pub(crate) fn step(&mut self, hysteresis: u32, error: i32, tick: u32) -> Step {
        let ahead = match self.leg {
            Leg::Up => error.wrapping_sub(self.extreme),
            Leg::Down => self.extreme.wrapping_sub(error),
            Leg::First => {
                let away = error.wrapping_sub(self.extreme);
                if away.unsigned_abs() <= hysteresis {
                    return Step::Within;
                }
                self.leg = if away > 0 { Leg::Up } else { Leg::Down };
                away.saturating_abs()
            }
        };
        if ahead > 0 {
            (self.extreme, self.tick, self.entered) = (error, tick, false);
            return Step::Further;
        }
        if ahead.unsigned_abs() <= hysteresis {
            return Step::Within;
        }
        let extreme = self.extreme;
        self.turn(error, tick);
        Step::Turned(extreme)
    }

    /// Whether errors from `least` to `most` would be neither further nor turn.
    pub(crate) fn are_within(&self, hysteresis: u32, least: i32, most: i32) -> bool {
        let (extreme, hysteresis) = (i64::from(self.extreme), i64::from(hysteresis));
        let (below, above) = (extreme - i64::from(least), i64::from(most) - extreme);
        match self.leg {
            Leg::Up => above <= 0 && below <= hysteresis,
            Leg::Down => below <= 0 && above <= hysteresis,
            Leg::First => above <= hysteresis && below <= hysteresis,
        }
    }

    /// The extreme was a turning point; the next leg begins with this error.
    fn turn(&mut self, error: i32, tick: u32) {
        self.first = if self.count == 0 { self.tick } else { self.first };
        self.last = self.tick;
        self.count = self.count.saturating_add(1);
        self.since_entry = if self.entered { self.since_entry } else { self.since_entry.saturating_add(1) };
        self.leg = if self.leg == Leg::Up { Leg::Down } else { Leg::Up };
        (self.extreme, self.tick, self.entered) = (error, tick, false);
    }

    /// Number of turning points before the last entry.
    pub(crate) fn before_entry(&self) -> u32 {
        self.count - self.since_entry.min(self.count)
    }

    /// Mean time from one turning point to the next; none with fewer than two. Unit: ticks
    pub(crate) fn spacing(&self) -> Option<u32> {
        self.last.wrapping_sub(self.first).checked_div(self.count.saturating_sub(1))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::vec::Vec;

    /// Slow twin: places of all turning points. From each one on, the next is the first extreme from which some later
    /// error is further than the hysteresis, before any error beyond the extreme.
    fn slow(errors: &[i32], hysteresis: u32) -> Vec<usize> {
        let far = |one: i32, other: i32| one.abs_diff(other) > hysteresis;
        let Some(start) = errors.iter().position(|error| far(*error, errors[0])) else { return Vec::new() };
        let (mut from, mut up, mut found) = (start, errors[start] > errors[0], Vec::new());
        loop {
            let best = |end: usize| {
                let best = if up { errors[from..end].iter().max() } else { errors[from..end].iter().min() };
                from + errors[from..end].iter().position(|error| Some(error) == best).unwrap()
            };
            let back = |end: &usize| {
                let (extreme, error) = (errors[best(*end)], errors[*end]);
                far(extreme, error) && (error < extreme) == up
            };
            let Some(turned) = (from + 1..errors.len()).find(back) else { return found };
            found.push(best(turned));
            (from, up) = (turned, !up);
        }
    }

    fn fast(errors: &[i32], hysteresis: u32) -> Turns {
        let mut turns = Turns::default();
        turns.restart(errors[0], 0);
        for (error, tick) in errors[1..].iter().zip(1..) {
            let within = turns.are_within(hysteresis, *error, *error);
            assert_eq!(turns.step(hysteresis, *error, tick) == Step::Within, within);
        }
        turns
    }

    /// Swings of all sizes with noise.
    fn made_up(case: u32) -> Vec<i32> {
        let mut state = case.wrapping_mul(2_654_435_761) | 1;
        let mut place = 0_i32;
        let one = |k: u32| {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            place += (state as i32 >> 26) - place / 16;
            place + (40.0 * (f64::from(k) / f64::from(3 + case % 30)).sin()) as i32
        };
        (0..300).map(one).collect()
    }

    #[test]
    fn turning_points_are_those_of_the_slow_twin() {
        for case in 0..300 {
            let (errors, hysteresis) = (made_up(case), 1 + case % 50);
            let (places, turns) = (slow(&errors, hysteresis), fast(&errors, hysteresis));
            assert_eq!(turns.count as usize, places.len(), "case {case}");
            let spacing = places.last().zip(places.first()).filter(|_| places.len() > 1);
            let spacing = spacing.map(|(last, first)| ((last - first) / (places.len() - 1)) as u32);
            assert_eq!(turns.spacing(), spacing, "case {case}");
        }
    }

    #[test]
    fn turning_points_with_twice_the_hysteresis_are_among_them() {
        for case in 0..300 {
            let errors = made_up(case);
            let fine = slow(&errors, 5);
            assert!(slow(&errors, 10).iter().all(|place| fine.contains(place)), "case {case}");
        }
    }

    #[test]
    fn those_after_the_last_entry_are_counted_apart() {
        let window = 20;
        for case in 0..300 {
            let errors = made_up(case);
            let mut turns = Turns::default();
            turns.restart(errors[0], 0);
            let mut entry = 0;
            for k in 1..errors.len() {
                let inside = |k: usize| errors[k].unsigned_abs() <= window;
                if inside(k) && !inside(k - 1) {
                    turns.enter();
                    entry = k;
                }
                turns.step(8, errors[k], k as u32);
            }
            let before = slow(&errors, 8).iter().filter(|place| **place < entry).count();
            assert_eq!(turns.before_entry() as usize, before, "case {case}");
        }
    }
}
