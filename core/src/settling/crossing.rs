//! In: the last error outside the window and the first inside. Out: the crossing, interpolated.
//!
//! The edge lies half an encoder step beyond the last reading that is inside: averaged over the encoder's phase, the
//! reading changes there.

use crate::settings::Settings;

/// One entry into the window: one sample outside, the next inside.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Entry {
    /// First sample inside. Unit: ticks since the first reading
    pub instant: u64,
    /// Sample period: time since the sample before. Unit: ticks
    pub elapsed: u32,
    /// Error of the sample before, outside. Unit: counts
    pub before: i32,
    /// Error of the first sample inside. Unit: counts
    pub after: i32,
}

/// One entry into the window, and the data for its uncertainty.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Crossing {
    /// The samples before and after the edge.
    pub entry: Entry,
    /// Time for which the last reading outside had stood. Unit: ticks
    pub flat: u32,
    /// Error eight to sixteen samples ago. Unit: counts
    pub earlier: i32,
    /// Time since that earlier error. Unit: ticks
    pub earlier_time: u32,
    /// Largest |error| since the window was left. Unit: counts
    pub largest_error: u32,
    /// The same for the whole row of entries that noise makes. Unit: counts
    pub swing_error: u32,
    /// Start of the chatter span: first entry of a row of entries that noise makes and this entry ends; this entry
    /// itself if there is no chatter. Unit: ticks since the first reading
    pub chatter_start: u64,
    /// The entry before that; `chatter_start` itself if there is none. Unit: ticks since the first reading
    pub entry_before: u64,
    /// Feedback was inside before at this command.
    pub again: bool,
    /// The excursion before, or an earlier one of the row of entries, went beyond the other edge.
    pub swings: bool,
    /// Bend: |second difference of the error|. Unit: counts
    pub bend: u32,
}

impl Crossing {
    /// The first entry, without chatter and without further data.
    pub(crate) fn first(entry: Entry) -> Crossing {
        Crossing { entry, chatter_start: entry.instant, entry_before: entry.instant, ..Crossing::default() }
    }
}

/// Delay: time from the last sample outside to the edge, to the nearest tick. Unit: ticks
///
/// `before` is outside the window, `after` inside or outside on the other side.
pub(crate) fn delay(before: i32, after: i32, settings: &Settings, elapsed: u32) -> u32 {
    let excess = before.unsigned_abs().saturating_sub(settings.window).max(1);
    let step = settings.encoder_step.max(1);
    // Whole encoder steps by which the reading exceeds the smallest reading outside.
    let whole_steps = (excess - 1) / step * step;
    let to_edge = 2 * u64::from(whole_steps) + u64::from(step);
    let change = 2 * u64::from(change(before, after)).max(1);
    // Three bits less of each keep the product within 64 bits; large errors have bits to spare.
    let spare = if change >> 31 == 0 { 0 } else { 3 };
    let (to_edge, change) = (to_edge.min(change) >> spare, (change >> spare).max(1));
    quotient(u64::from(elapsed) * to_edge + change / 2, change) as u32
}

/// Quotient rounded down. Most operands fit 32 bits, and a processor without 64-bit division is slow at it.
pub(crate) fn quotient(upper: u64, lower: u64) -> u64 {
    match (u32::try_from(upper), u32::try_from(lower)) {
        (Ok(upper), Ok(lower)) => u64::from(upper / lower.max(1)),
        _ => upper / lower.max(1),
    }
}

/// |change of the error|. Unit: counts
fn change(before: i32, after: i32) -> u32 {
    (i64::from(before) - i64::from(after)).unsigned_abs().min(u64::from(u32::MAX)) as u32
}

impl Entry {
    /// Time from the last sample outside to the edge. Unit: ticks
    pub(crate) fn delay(&self, settings: &Settings) -> u32 {
        delay(self.before, self.after, settings, self.elapsed)
    }

    /// Crossing: instant at which the error passed the edge, from the delay. Unit: ticks since the first reading
    pub(crate) fn edge(&self, delay: u32) -> u64 {
        (self.instant + u64::from(delay)).saturating_sub(u64::from(self.elapsed))
    }

    /// |change of the error| over this entry. Unit: counts
    pub(crate) fn change(&self) -> u32 {
        change(self.before, self.after)
    }
}

impl Crossing {
    /// Whether the excursion before this entry is noise about the edge: it went no further beyond the window than twice
    /// the last step.
    pub(crate) fn is_chatter(&self, settings: &Settings) -> bool {
        u64::from(self.largest_error.saturating_sub(settings.window)) <= 2 * u64::from(self.entry.change())
    }

    /// Time since an earlier entry. Unit: ticks
    pub(crate) fn since(&self, instant: u64) -> u32 {
        self.entry.instant.saturating_sub(instant).min(u64::from(u32::MAX)) as u32
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::settings::Parameters;

    fn settings(window: u32, encoder_step: u32) -> Settings {
        Settings::new(Parameters { window, encoder_step, ..Parameters::at(1_000_000) }).unwrap()
    }

    #[track_caller]
    fn check(before: i32, after: i32, window: u32, encoder_step: u32, expected: u32) {
        let settings = settings(window, encoder_step);
        assert_eq!(delay(before, after, &settings, 1000), expected, "{before} to {after}");
        assert_eq!(delay(-before, -after, &settings, 1000), expected, "mirrored");
    }

    #[test]
    fn the_edge_lies_half_a_step_beyond_the_window() {
        check(6, 5, 5, 1, 500);
        check(105, 5, 5, 1, 995);
        check(105, -5, 5, 1, 905);
        check(15, 5, 5, 10, 500);
        check(12, 2, 5, 10, 500);
        check(22, 2, 5, 10, 750);
        // Across the whole window in one sample; and the largest possible errors.
        check(100, -100, 10, 1, 448);
        check(i32::MIN + 1, i32::MAX, 0, 1, 500);
    }
}
