//! In: what the user asks of the watch. Out: the same, checked once, and the run length it comes to.

use core::ops::Deref;

use crate::settings::Invalid;

/// Hours of a month: a twelfth of 365.25 days.
const HOURS: f32 = 730.5;

/// What can be asked of the watch over one axis; [`Watch::new`] checks it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wish {
    /// False alarms the whole axis may give while nothing changes. Unit: alarms/month
    pub false_alarms_per_axis_month: f32,
    /// Smallest change worth an alarm, against the median of the baseline. Unit: per mille
    pub smallest_change_permille: u32,
    /// The same as a time; the larger of the two counts. Unit: ticks, or that of the values watched
    pub smallest_change: u32,
    /// Moves of the axis while it works, whatever their kind. Unit: moves/hour
    pub moves_per_hour: u32,
    /// Values watched in every move, such as settling time, damping and tail; they share the alarms.
    pub values_per_move: u32,
    /// Moves of a kind that make its baseline.
    pub baseline: u32,
}

impl Default for Wish {
    fn default() -> Wish {
        Wish {
            false_alarms_per_axis_month: 1.0,
            smallest_change_permille: 100,
            smallest_change: 500,
            moves_per_hour: 7200,
            values_per_move: 1,
            baseline: 500,
        }
    }
}

/// Checked [`Wish`]; read it through this.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Watch {
    wish: Wish,
    moves: f32,
}

impl Watch {
    /// Checks every parameter; the error names the first that breaks its rule.
    pub fn new(wish: Wish) -> Result<Watch, Invalid> {
        let broken = |parameter, rule| Err(Invalid { parameter, rule });
        // Written so that a value that is no number is refused, too.
        if !(wish.false_alarms_per_axis_month >= 0.001 && wish.false_alarms_per_axis_month <= 1000.0) {
            return broken("false_alarms_per_axis_month", "0.001 to 1000");
        }
        if wish.smallest_change_permille > 10_000 {
            return broken("smallest_change_permille", "at most 10000");
        }
        if wish.smallest_change > 1 << 30 {
            return broken("smallest_change", "at most 2^30 ticks");
        }
        if wish.smallest_change == 0 && wish.smallest_change_permille == 0 {
            return broken("smallest_change", "more than 0, or smallest_change_permille");
        }
        if wish.moves_per_hour == 0 || wish.moves_per_hour > 1_000_000 {
            return broken("moves_per_hour", "1 to 1000000");
        }
        if wish.values_per_move == 0 || wish.values_per_move > 16 {
            return broken("values_per_move", "1 to 16");
        }
        if wish.baseline < 48 || wish.baseline > 1_000_000 {
            return broken("baseline", "48 to 1000000 moves");
        }
        Ok(Watch::of(wish))
    }

    fn of(wish: Wish) -> Watch {
        let month = wish.moves_per_hour as f32 * HOURS;
        let moves = month * wish.values_per_move as f32 / wish.false_alarms_per_axis_month;
        Watch { wish, moves: moves.max(FEWEST) }
    }

    /// Moves from one false alarm to the next, on average. Kinds need no share of their own: each has
    /// as many alarms as it has moves. Unit: moves
    pub fn run_length(&self) -> f32 {
        self.moves
    }
}

/// Below a hundred subgroups a limit would mean nothing. Unit: moves
const FEWEST: f32 = 800.0;

impl Default for Watch {
    fn default() -> Watch {
        Watch::of(Wish::default())
    }
}

impl Deref for Watch {
    type Target = Wish;

    fn deref(&self) -> &Wish {
        &self.wish
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(change: impl Fn(&mut Wish), refused: Option<&str>) {
        let mut wish = Wish::default();
        change(&mut wish);
        assert_eq!(Watch::new(wish).err().map(|invalid| invalid.parameter), refused, "{wish:?}");
    }

    #[test]
    fn a_refusal_names_the_parameter() {
        check(|_| (), None);
        assert_eq!(Watch::new(Wish::default()), Ok(Watch::default()));
        check(|wish| wish.false_alarms_per_axis_month = f32::NAN, Some("false_alarms_per_axis_month"));
        check(|wish| wish.false_alarms_per_axis_month = 0.0, Some("false_alarms_per_axis_month"));
        check(|wish| wish.smallest_change_permille = 10_001, Some("smallest_change_permille"));
        check(|wish| wish.smallest_change = u32::MAX, Some("smallest_change"));
        check(|wish| (wish.smallest_change, wish.smallest_change_permille) = (0, 0), Some("smallest_change"));
        check(|wish| wish.moves_per_hour = 0, Some("moves_per_hour"));
        check(|wish| wish.values_per_move = 17, Some("values_per_move"));
        check(|wish| wish.baseline = 47, Some("baseline"));
    }

    #[test]
    fn one_alarm_a_month_at_two_moves_a_second_is_five_million_moves() {
        assert_eq!(Watch::new(Wish::default()).unwrap().run_length(), 5_259_600.0);
    }
}
