//! In: the last error outside and the first inside. Out: the instant between them, and how well it is known.
//!
//! The edge lies half an encoder step beyond the last reading that counts as inside: that is where,
//! on average over the encoder's phase, the reading changes.

use crate::settings::Settings;

/// One entry into the window, as seen in the samples.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Crossing {
    /// First sample inside. Unit: ticks since the first reading
    pub instant: u64,
    /// Time since the sample before. Unit: ticks
    pub elapsed: u32,
    /// Error of the sample before, outside. Unit: counts
    pub before: i32,
    /// Error of the first sample inside. Unit: counts
    pub after: i32,
    /// How long `before` had been read when `after` was. Unit: ticks
    pub flat: u32,
    /// Change of the error over the last eight to sixteen samples. Unit: counts
    pub secant: u32,
    /// Time that `secant` took. Unit: ticks
    pub secant_time: u32,
    /// What the error changed by in the step before minus in the last step. Unit: counts
    pub bend: u32,
}

/// Time from the sample before to the edge. Unit: ticks
///
/// `before` is outside the window, `after` inside or beyond the other side of it.
pub fn delay(before: i32, after: i32, settings: &Settings, elapsed: u32) -> u32 {
    let size = u64::from(before.unsigned_abs());
    let excess = size.saturating_sub(u64::from(settings.window)).max(1);
    let step = u64::from(settings.encoder_step);
    // The smallest reading outside is this far beyond the window.
    let least = (excess - 1) % step + 1;
    let to_edge = 2 * (excess - least) + step;
    let change = 2 * u64::from(change(before, after));
    (u128::from(elapsed) * u128::from(to_edge.min(change)) / u128::from(change.max(1))) as u32
}

/// How far the error came. Unit: counts
fn change(before: i32, after: i32) -> u32 {
    (i64::from(before) - i64::from(after)).unsigned_abs().min(u64::from(u32::MAX)) as u32
}

/// Standard uncertainty and half-width of the 95 % interval. Unit: ticks
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Uncertainty {
    /// Standard uncertainty (JCGM 100, 5.1).
    pub standard: u32,
    /// Half-width of the interval that holds the true value in 95 of 100 moves.
    pub expanded: u32,
}

impl Crossing {
    /// Where the error crossed the edge. Unit: ticks since the first reading
    pub fn edge(&self, settings: &Settings) -> u64 {
        let delay = delay(self.before, self.after, settings, self.elapsed);
        (self.instant + u64::from(delay)).saturating_sub(u64::from(self.elapsed))
    }

    /// Propagates encoder step, rest noise and the sample period through the crossing.
    ///
    /// `noise` is the variance of one reading. Unit: 1/256 counts²
    pub fn uncertainty(&self, settings: &Settings, noise: u64) -> Uncertainty {
        let (fall, time) = self.slope();
        let weight = self.weight(settings);
        // Variances in 1/65536 ticks²; wide ones need not be exact, only large.
        let in_ticks = |variance: u128| variance.saturating_mul(square(time)) / square(fall);
        // A reading is uniform over one step: variance 1/12 of its square (JCGM 100, 4.3.7).
        let step = in_ticks(square(settings.encoder_step).saturating_mul(u128::from(weight) << 8) / 12);
        let noise = in_ticks(u128::from(noise) * u128::from(weight));
        let bend = square(self.straightness(settings)) * 65_536 / 12;
        let uniform = step.saturating_add(bend);
        let root = |square: u128| (u64::try_from(square).unwrap_or(u64::MAX).isqrt() >> 8) as u32;
        // 95 of 100 lie within 1.645 (uniform) and 1.960 (normal) standard uncertainties.
        let expanded = (uniform / 1000 * 2706).saturating_add(noise / 1000 * 3842);
        Uncertainty { standard: root(uniform.saturating_add(noise)), expanded: root(expanded) }
    }

    /// The least steep of what is known about the approach. Unit: counts, ticks
    fn slope(&self) -> (u32, u32) {
        let last = (change(self.before, self.after).max(1), self.flat.max(self.elapsed).max(1));
        let long = (self.secant, self.secant_time);
        let long_is_flatter = u64::from(long.0) * u64::from(last.1) < u64::from(last.0) * u64::from(long.1);
        if long.0 > 0 && long_is_flatter { long } else { last }
    }

    /// How much of one reading's variance the interpolation keeps, f² + (1 − f)². Unit: 1/256
    fn weight(&self, settings: &Settings) -> u32 {
        if change(self.before, self.after) <= settings.encoder_step || self.elapsed == 0 {
            return 256;
        }
        let delay = delay(self.before, self.after, settings, self.elapsed);
        let fraction = (u64::from(delay) * 256 / u64::from(self.elapsed)) as u32;
        (fraction * fraction + (256 - fraction) * (256 - fraction)) / 256
    }

    /// How far a straight line may miss the bent course, at most one sample. Unit: ticks
    fn straightness(&self, settings: &Settings) -> u32 {
        let delay = u64::from(delay(self.before, self.after, settings, self.elapsed));
        let rest = u64::from(self.elapsed) - delay.min(u64::from(self.elapsed));
        let miss = u128::from(delay * rest) * u128::from(self.bend)
            / (u128::from(change(self.before, self.after).max(1)) * u128::from(self.elapsed.max(1)));
        miss.min(u128::from(self.elapsed)) as u32
    }
}

fn square(value: u32) -> u128 {
    u128::from(value) * u128::from(value)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::settings::Parameters;

    fn settings(window: u32, encoder_step: u32) -> Settings {
        Settings::new(Parameters { window, encoder_step, ..Parameters::default() }).unwrap()
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
        check(105, -5, 5, 1, 904);
        check(15, 5, 5, 10, 500);
        check(12, 2, 5, 10, 500);
        check(22, 2, 5, 10, 750);
        // Across the whole window in one sample, and the widest numbers there are.
        check(100, -100, 10, 1, 447);
        check(i32::MIN + 1, i32::MAX, 0, 1, 499);
    }

    #[test]
    fn a_steeper_entry_is_better_known() {
        let entry = |before, flat| {
            let crossing =
                Crossing { instant: 5000, elapsed: 1000, before, after: 5, flat, ..Crossing::default() };
            crossing.uncertainty(&settings(5, 1), 0)
        };
        // One step per sample: uniform over one sample, 1000/√12.
        assert_eq!(entry(6, 1000), Uncertainty { standard: 288, expanded: 474 });
        assert_eq!(entry(6, 4000).standard, 1154);
        assert!(entry(105, 1000).standard <= 3);
    }
}
