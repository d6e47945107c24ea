//! In: nothing. Out: what changes settling times on a machine, or its work, other than wear, by name.
//!
//! A nuisance is what an alarm should not come from. The word is that of nuisance alarms (ANSI/ISA-18.2) and of nuisance
//! factors in the design of experiments. The sizes are plausible and invented.

use clap::ValueEnum;

/// What changes settling times, or the work, other than wear. The comment of each is its line in `rehearse --help`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Nuisance {
    /// 8 to 20 % slower when cold: at the start and after a pause
    WarmUp,
    /// Slower, then faster by 2.5 to 10 % over 24 h
    DailyTemperature,
    /// Jobs of 30 to 120 min, 4 or 8 % slower or faster
    ProductChanges,
    /// A fifth to two fifths of the dibble's moves much slower
    TwoHumps,
    /// Standstill of 15 min after every 2 h of work
    Breaks,
    /// Machine off from hour 8 to hour 72 of every 168
    Weekend,
    /// The tray shuttle's slack belt is as new after 3/4 of the shift
    RetensionedBelt,
    /// Noise of the feedback twenty times as large
    SensorNoise,
}
