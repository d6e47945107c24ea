//! In: the errors after the command end, in blocks. Out: whether feedback stands at the end of the rest.
//!
//! A swing turns, and about its turning point it looks as if it stood. So how long it is seen decides: over a time T of up
//! to half a period, a swing of 1 Hz and this amplitude A changes by A (1 − cos πT) at least, with T in seconds, which is
//! more than 4 A T²; a quicker one by more. METHOD.md, *Moves*, bit 17, has the rule.

use super::Shape;
use super::blocks::Part;
use crate::settings::Settings;
use crate::settling::crossing::quotient;

/// Half a period of the slowest swing that is told from an offset. Unit: ms
const HALF_PERIOD: u64 = 500;
/// A rest that lasts longer shows half a period in any quarter of it. Unit: ms
const LONG: u64 = 1 << 20;

/// How far errors lie apart at most, if feedback stands. Unit: counts
fn spread(settings: &Settings) -> u32 {
    (settings.window / 4).max(settings.encoder_step.saturating_mul(2))
}

/// Twice the distance of the middles of two parts. Unit: counts
fn shift(one: &Part, other: &Part) -> u64 {
    let sum = |part: &Part| i64::from(part.least) + i64::from(part.most);
    sum(one).abs_diff(sum(other))
}

impl Shape {
    /// Whether the errors, the last of which is this, stand over a quarter of a rest of `held` ticks, or longer.
    pub(crate) fn stands(&self, settings: &Settings, error: i32, held: u32) -> bool {
        let spread = spread(settings);
        let shift = shift(&self.blocks.part(4, 5, 6), &self.blocks.part(5, 6, 6));
        // The whole rest creeps by six times as much as its sixths are apart; a step to and fro sets them half a step apart.
        let creeps = shift > u64::from(settings.encoder_step) && 3 * shift > u64::from(spread);
        let samples = u64::from(self.blocks.samples());
        let held = (u64::from(held) * 1000 / u64::from(settings.ticks_per_second.max(1))).min(LONG);
        let still = |(part, range): (u32, u32)| {
            let part = u64::from(part);
            let time = quotient(held * part.saturating_sub(1), samples.max(2) - 1);
            4 * part >= samples && range <= spread && is_less_than_a_swing(settings, error, range, time)
        };
        !creeps && self.blocks.ends().any(still)
    }
}

/// Whether errors over this time lie closer together than a swing of 1 Hz would leave them that is as large as the window
/// and reaches the target. Unit: counts, ms
fn is_less_than_a_swing(settings: &Settings, error: i32, range: u32, time: u64) -> bool {
    let time = time.min(HALF_PERIOD);
    let smallest = settings.window.max(settings.encoder_step.saturating_mul(2));
    let amplitude = smallest.max(error.unsigned_abs() / 2);
    // Readings lie up to a step closer together than positions.
    let range = u64::from(range) + u64::from(settings.encoder_step);
    range * HALF_PERIOD * HALF_PERIOD <= u64::from(amplitude) * time * time
}
