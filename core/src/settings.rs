//! In: the parameters a user sets for one axis. Out: [`Settings`], which hold checked parameters, or [`Invalid`].

use core::fmt;
use core::ops::Deref;

/// Which published definition the reported settling time follows.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Definition {
    /// Command end to the last entry into the window. Source: IEC 60050-351, 351-45-37.
    #[default]
    LastEntry,
    /// First crossing into the window to staying inside. Source: ISO 9283:1998, 7.4.
    Iso9283,
    /// Command end to the window having been held for the window time.
    /// Source: CiA 402 / IEC 61800-7-201, statusword bit 10.
    TargetReached,
}

/// Parameters of one axis; [`Settings::new`] checks them. Begin with [`Parameters::at`], which knows the tick rate.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Parameters {
    /// Rate of the time stamps. Results are whole ticks: ten or more per sample. Unit: ticks/s
    pub ticks_per_second: u32,
    /// Half-width of the position window, edge included (0x6067). Unit: feedback counts
    pub window: u32,
    /// How long feedback must stay inside to count (0x6068). Unit: ticks
    pub window_time: u32,
    /// How long the command must be unchanged to end a move. Unit: ticks
    pub rest_time: u32,
    /// Largest following error that is normal (0x6065, statusword bit 13); `u32::MAX` is off. Unit: feedback counts
    pub following_error_window: u32,
    /// How long a larger following error may last (0x6066). Unit: ticks
    pub following_error_time_out: u32,
    /// Feedback counts per command count: numerator and denominator; a negative numerator inverts the command.
    pub command_scale: (i32, i32),
    /// Smallest change the feedback can show. Unit: feedback counts
    pub encoder_step: u32,
    /// Largest change of feedback from sample to sample that is possible. Unit: feedback counts
    pub jump: u32,
    /// Which time is reported as the settling time.
    pub definition: Definition,
    /// Whether command and samples share a clock. Otherwise the command ended at any time since the sample before.
    pub synchronous: bool,
    /// Distance after which both positions begin anew, as on a rotary axis; 0 if they don't. [`crate::Turn`] unwraps
    /// readings by it. Unit: feedback counts
    pub turn: u32,
    /// What was rounded off when the window became whole counts. Unit: 1/256 counts
    pub window_fraction: u8,
}

impl Parameters {
    /// Parameters for time stamps that count at this rate: window time 10 ms, rest time 20 ms, window one count.
    ///
    /// Times shorter than one tick become one tick; a rate of 0 is refused by [`Settings::new`]. No following error is
    /// timed, no jump is recognised below 2^30 counts, the encoder step is one count, the command is not scaled, the
    /// settling time is the last entry, command and samples do not share a clock, and positions do not wrap.
    pub const fn at(ticks_per_second: u32) -> Parameters {
        Parameters {
            ticks_per_second,
            window: 1,
            window_time: ticks(ticks_per_second, 10),
            rest_time: ticks(ticks_per_second, 20),
            following_error_window: u32::MAX,
            following_error_time_out: 0,
            command_scale: (1, 1),
            encoder_step: 1,
            jump: 1 << 30,
            definition: Definition::LastEntry,
            synchronous: false,
            turn: 0,
            window_fraction: 0,
        }
    }

    /// The same with this window time; 0 means none. Unit: ms
    pub const fn with_window_time_ms(self, milliseconds: u32) -> Parameters {
        let window_time = if milliseconds == 0 { 0 } else { ticks(self.ticks_per_second, milliseconds) };
        Parameters { window_time, ..self }
    }

    /// The same with this rest time. Unit: ms
    pub const fn with_rest_time_ms(self, milliseconds: u32) -> Parameters {
        Parameters { rest_time: ticks(self.ticks_per_second, milliseconds), ..self }
    }
}

/// A time in whole ticks, rounded up; from 1 to `u32::MAX`.
const fn ticks(ticks_per_second: u32, milliseconds: u32) -> u32 {
    let ticks = (ticks_per_second as u64 * milliseconds as u64).div_ceil(1000);
    if ticks == 0 {
        1
    } else if ticks > u32::MAX as u64 {
        u32::MAX
    } else {
        ticks as u32
    }
}

/// A parameter that can't be used, and the rule it breaks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Invalid {
    /// Field of [`Parameters`].
    pub parameter: &'static str,
    /// Values that the parameter may have.
    pub rule: &'static str,
}

impl fmt::Display for Invalid {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(out, "{} must be {}", self.parameter, self.rule)
    }
}

/// Checked [`Parameters`]; this type dereferences to them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Settings {
    parameters: Parameters,
    rest_samples: u32,
    nearby: [u32; 4],
}

/// Longest time that can be set; the sum of two such times never wraps. Unit: ticks
pub const LONGEST_TIME: u32 = 1 << 30;

impl Settings {
    /// Checks every parameter; the error names the first that breaks its rule.
    pub const fn new(parameters: Parameters) -> Result<Settings, Invalid> {
        let p = &parameters;
        let broken = if p.ticks_per_second == 0 {
            Some(("ticks_per_second", "at least 1"))
        } else if p.window > i32::MAX as u32 {
            Some(("window", "less than 2^31 counts"))
        } else if p.window_time > LONGEST_TIME {
            Some(("window_time", "at most 2^30 ticks"))
        } else if p.rest_time == 0 || p.rest_time > LONGEST_TIME {
            Some(("rest_time", "1 to 2^30 ticks"))
        } else if p.following_error_time_out > LONGEST_TIME {
            Some(("following_error_time_out", "at most 2^30 ticks"))
        } else if p.command_scale.0 == 0 || p.command_scale.1 <= 0 {
            Some(("command_scale", "a fraction with a non-zero upper and a positive lower part"))
        } else if p.encoder_step == 0 {
            Some(("encoder_step", "at least 1 count"))
        } else if p.jump == 0 {
            Some(("jump", "at least 1 count"))
        } else if p.turn == 1 || p.turn > i32::MAX as u32 || command_turn(p).is_none() {
            Some(("turn", "0, or 2 to 2^31 - 1 counts and a whole number of command counts"))
        } else {
            None
        };
        match broken {
            Some((parameter, rule)) => Err(Invalid { parameter, rule }),
            None => Ok(Settings {
                parameters,
                rest_samples: rest_samples(parameters.window),
                nearby: nearby(parameters.window, parameters.window_fraction),
            }),
        }
    }
}

/// [`Parameters::turn`] in command counts; none if that is no whole number, or 2^31 or more. Unit: command counts
const fn command_turn(p: &Parameters) -> Option<u32> {
    let (upper, lower) = (p.command_scale.0.unsigned_abs() as u64, p.command_scale.1.unsigned_abs() as u64);
    // Never 0 where the scale is checked; said here so that no panic is linked.
    let upper = if upper == 0 { 1 } else { upper };
    let turn = p.turn as u64 * lower;
    if turn.is_multiple_of(upper) && turn / upper <= i32::MAX as u64 {
        Some((turn / upper) as u32)
    } else {
        None
    }
}

impl Settings {
    /// [`Parameters::turn`] in command counts, 0 if positions do not wrap. Unit: command counts
    pub(crate) fn command_turn(&self) -> Option<u32> {
        command_turn(&self.parameters)
    }

    /// Windows near the set one, narrowest first. Unit: counts
    pub(crate) fn nearby(&self) -> &[u32; 4] {
        &self.nearby
    }

    /// Largest number of samples of a rest that are summed, so that sums of squares of errors inside the window stay
    /// within 62 bits.
    pub fn rest_samples(&self) -> u32 {
        self.rest_samples
    }
}

/// Windows 5 % and 1 % narrower, 1 % and 5 % wider; at least one count apart, but of those at 1 % only the one on whose
/// side the window before rounding lies. Unit: counts
const fn nearby(window: u32, fraction: u8) -> [u32; 4] {
    let far = if window < 20 { 1 } else { window / 20 };
    let (narrower, wider) = match window / 100 {
        0 if fraction < 128 => (1, 0),
        0 => (0, 1),
        near => (near, near),
    };
    [window.saturating_sub(far), window.saturating_sub(narrower), window + wider, window + far]
}

const fn rest_samples(window: u32) -> u32 {
    let widest = 2 * window as u64 + 1;
    let most = (1 << 62) / (widest * widest);
    if most > 1 << 16 { 1 << 16 } else { most as u32 }
}

impl core::error::Error for Invalid {}

impl Deref for Settings {
    type Target = Parameters;

    fn deref(&self) -> &Parameters {
        &self.parameters
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(change: impl Fn(&mut Parameters), broken: Option<&str>) {
        let mut parameters = Parameters::at(1_000_000);
        change(&mut parameters);
        assert_eq!(Settings::new(parameters).err().map(|invalid| invalid.parameter), broken);
    }

    #[test]
    fn times_in_milliseconds_become_ticks() {
        let times = |parameters: Parameters| (parameters.window_time, parameters.rest_time);
        assert_eq!(times(Parameters::at(1_000_000)), (10_000, 20_000));
        assert_eq!(times(Parameters::at(1000)), (10, 20));
        assert_eq!(times(Parameters::at(30)), (1, 1));
        assert_eq!(times(Parameters::at(4000).with_window_time_ms(0).with_rest_time_ms(3)), (0, 12));
        assert_eq!(times(Parameters::at(u32::MAX).with_rest_time_ms(u32::MAX)), (42_949_673, u32::MAX));
        check(|p| *p = Parameters::at(0), Some("ticks_per_second"));
    }

    #[test]
    fn the_broken_parameter_is_named() {
        check(|_| (), None);
        check(|p| p.window = 0, None);
        check(|p| p.window = 1 << 31, Some("window"));
        check(|p| p.ticks_per_second = 0, Some("ticks_per_second"));
        check(|p| p.window_time = LONGEST_TIME + 1, Some("window_time"));
        check(|p| p.rest_time = 0, Some("rest_time"));
        check(|p| p.following_error_time_out = u32::MAX, Some("following_error_time_out"));
        check(|p| p.command_scale = (0, 1), Some("command_scale"));
        check(|p| p.command_scale = (-3, 7), None);
        check(|p| p.command_scale = (1, -1), Some("command_scale"));
        check(|p| p.encoder_step = 0, Some("encoder_step"));
        check(|p| p.jump = 0, Some("jump"));
        check(|p| p.turn = 1, Some("turn"));
        check(|p| p.turn = 1 << 31, Some("turn"));
        check(|p| p.turn = 2, None);
        check(|p| (p.turn, p.command_scale) = (360, (7, 1)), Some("turn"));
    }
}
