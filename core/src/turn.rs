//! In: readings of a rotary axis, whose positions begin anew after each turn. Out: readings that go on instead.
//!
//! A change of more than half a turn between two samples is taken as the shorter one in the other direction; so an axis
//! must move less than half a turn in a sample period.

use crate::sample::Reading;
use crate::settings::Settings;

/// Unwraps both positions of one axis.
#[derive(Clone, Copy, Debug, Default)]
pub struct Turn {
    /// Length of a turn; 0 if positions do not wrap. Unit: feedback counts, command counts
    feedback_turn: u32,
    command_turn: u32,
    /// Feedback counts per command count.
    scale: (i32, i32),
    /// The last reading, as it came and as it was given. `None` before the first.
    last: Option<(Reading, Reading)>,
}

impl Turn {
    /// For positions that wrap as these settings say.
    pub fn new(settings: &Settings) -> Turn {
        let mut turn = Turn::default();
        turn.set(settings);
        turn
    }

    /// Other settings, between two readings; positions go on from the last reading.
    pub fn set(&mut self, settings: &Settings) {
        self.feedback_turn = settings.turn;
        self.command_turn = settings.command_turn().unwrap_or(0);
        self.scale = settings.command_scale;
    }

    /// The reading with both positions unwrapped; they wrap at 2^32, as counters do.
    pub fn unwrap(&mut self, reading: Reading) -> Reading {
        let unwrapped = match &self.last {
            None => Reading { feedback: self.beside_command(reading), ..reading },
            Some((raw, given)) => Reading {
                tick: reading.tick,
                command: given.command.wrapping_add(shortest(
                    raw.command,
                    reading.command,
                    self.command_turn,
                )),
                feedback: given.feedback.wrapping_add(shortest(
                    raw.feedback,
                    reading.feedback,
                    self.feedback_turn,
                )),
            },
        };
        self.last = Some((reading, unwrapped));
        unwrapped
    }
}

impl Turn {
    /// The first feedback, moved by whole turns to where its command is: one of them may have crossed zero already.
    fn beside_command(&self, reading: Reading) -> i32 {
        let (upper, lower) = self.scale;
        let command =
            (i64::from(reading.command) * i64::from(upper)).div_euclid(i64::from(lower.max(1))) as i32;
        command.wrapping_add(shortest(command, reading.feedback, self.feedback_turn))
    }
}

/// The shortest way between two positions on a turn of this length, 0 for none. Unit: counts
fn shortest(from: i32, to: i32, turn: u32) -> i32 {
    let change = to.wrapping_sub(from);
    if turn == 0 || change.unsigned_abs() <= turn / 2 {
        return change;
    }
    let turn = i64::from(turn);
    let change = (i64::from(to) - i64::from(from)).rem_euclid(turn);
    (if 2 * change > turn { change - turn } else { change }) as i32
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::settings::Parameters;

    #[track_caller]
    fn check(turn: u32, scale: (i32, i32), readings: &[(i32, i32)], expected: &[(i32, i32)]) {
        let parameters = Parameters { turn, command_scale: scale, ..Parameters::at(1000) };
        let mut unwrapper = Turn::new(&Settings::new(parameters).unwrap());
        let found: std::vec::Vec<(i32, i32)> = readings
            .iter()
            .map(|&(command, feedback)| unwrapper.unwrap(Reading { tick: 0, command, feedback }))
            .map(|reading| (reading.command, reading.feedback))
            .collect();
        assert_eq!(found, expected);
    }

    #[test]
    fn positions_go_on_across_the_turn() {
        check(360, (1, 1), &[(359, 358), (1, 359), (2, 1)], &[(359, 358), (361, 359), (362, 361)]);
        check(360, (1, 1), &[(1, 1), (359, 0), (300, 359)], &[(1, 1), (-1, 0), (-60, -1)]);
        // The first two lie on both sides of zero.
        check(360, (1, 1), &[(1, 359), (2, 1)], &[(1, -1), (2, 1)]);
        // The feedback counts from −180 to 180.
        check(360, (1, 1), &[(179, 179), (181, -179)], &[(179, 179), (181, 181)]);
    }

    #[test]
    fn a_scaled_command_has_a_turn_of_its_own() {
        check(360, (2, 1), &[(179, 358), (1, 0)], &[(179, 358), (181, 360)]);
        check(360, (-1, 2), &[(719, 0), (1, 0)], &[(719, -360), (721, -360)]);
    }

    #[test]
    fn without_a_turn_nothing_changes() {
        check(0, (1, 1), &[(359, 358), (1, 359)], &[(359, 358), (1, 359)]);
        check(
            0,
            (1, 1),
            &[(i32::MAX, i32::MIN), (i32::MIN, i32::MAX)],
            &[(i32::MAX, i32::MIN), (i32::MIN, i32::MAX)],
        );
    }
}
