//! In: options of a measurement, in units and milliseconds. Out: settings of the core, in counts and ticks.

use stillpoint_core::{Definition, Fraction, LONGEST_TIME, Parameters, Settings};

use super::slow_command;
use crate::error::Error;
use crate::trace::Layout;
use crate::trace::ratio::Ratio;

/// A command that comes in some rows only must stand for this many of its own periods, as for three samples otherwise.
const COMMANDS: f64 = 3.0;

/// Dead band over the rms of the noise, where only the dead band is given.
const SIGMAS: f64 = 4.5;

/// By what every move is measured.
#[derive(Clone, Copy, Debug)]
pub struct MeasureOptions {
    /// Half-width of the position window. Unit: that of the recording
    pub window: Fraction,
    /// How long feedback must stay inside. Unit: ms
    pub window_time_ms: f64,
    /// How long the command must stand to end a move. Unit: ms
    pub rest_time_ms: f64,
    /// Which settling time is reported.
    pub definition: Definition,
    /// Where the command stood before the first row, if the recording begins with a step. Unit: that of the recording
    pub from: Option<Ratio>,
    /// Smallest change the feedback can show, if known. Unit: that of the recording
    pub encoder_step: Option<Fraction>,
    /// Fastest the machine can move; anything faster is a fault of the signal. Unit: unit/s
    pub max_speed: Option<f64>,
    /// Whether command and samples share a clock.
    pub synchronous: bool,
    /// Whether positions begin anew after a turn.
    pub wrap: Wrap,
    /// Half-width of the band within which a noisy command stands, 0 for none; `None`: from the noise of the command.
    /// Unit: that of the recording
    pub command_dead_band: Option<f64>,
}

/// Whether positions begin anew after a turn, as on a rotary axis.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Wrap {
    /// Not known: a jump by close to a turn is a question.
    #[default]
    Unknown,
    /// They do not, however far they jump.
    Never,
    /// After this distance. Unit: that of the recording
    Turn(Fraction),
}

impl MeasureOptions {
    /// The settings in counts and ticks of a recording.
    pub fn settings(&self, layout: &Layout) -> Result<Settings, Error> {
        let ticks = |option: &str, ms: f64| -> Result<u32, Error> {
            let ticks = (ms * 1e-3 * f64::from(layout.ticks_per_second)).round();
            if (0.0..=f64::from(LONGEST_TIME)).contains(&ticks) {
                return Ok(ticks as u32);
            }
            let longest = (f64::from(LONGEST_TIME) * 1e3 / f64::from(layout.ticks_per_second)).floor();
            let remedy = format!("give milliseconds from 0 to {longest}");
            Err(unusable(option, ms, "can't be counted in the ticks of this recording", &remedy))
        };
        let too_wide = || {
            let wrong = "is wider than the 2^31 counts of this recording";
            unusable("--window", self.window.to_f64(), wrong, "check its unit")
        };
        let counts = layout.counts_per_unit.times(self.window).map_err(|_| too_wide())?;
        let parameters = Parameters {
            window: counts.floor(),
            window_fraction: counts.fraction(),
            window_time: ticks("--window-time-ms", self.window_time_ms)?,
            rest_time: ticks(
                "--rest-time-ms",
                self.rest_time_ms.max(COMMANDS * layout.command_period_s * 1e3),
            )?
            .max(1),
            command_scale: layout.command_scale,
            encoder_step: self.encoder_step(layout),
            jump: self.jump(layout),
            definition: self.definition,
            synchronous: self.counts_from_samples(layout),
            turn: self.turn(layout)?,
            ..Parameters::at(layout.ticks_per_second)
        };
        Settings::new(parameters).map_err(|invalid| match invalid.parameter {
            "window" => too_wide(),
            "turn" => {
                unusable("--wrap", self.turn_in_units(), invalid.rule, "check its unit and --command-scale")
            }
            other => unusable(&format!("--{}", other.replace('_', "-")), "", invalid.rule, "see --help"),
        })
    }

    /// Whether the core counts from samples: it knows their period alone and no noise, so slow and noisy commands are seen
    /// to afterwards.
    fn counts_from_samples(&self, layout: &Layout) -> bool {
        self.synchronous || slow_command::is_slow(layout) || self.dead_band(layout) > 0
    }

    /// Where the command stood before the first row, before the core scales it. Unit: command counts
    pub(super) fn command_before(&self, layout: &Layout) -> Result<Option<i32>, Error> {
        let Some(from) = self.from else { return Ok(None) };
        let (upper, lower) = layout.command_scale;
        let counts = from.to_f64() * layout.counts_per_unit.to_f64() * f64::from(lower) / f64::from(upper);
        let range = f64::from(i32::MIN)..=f64::from(i32::MAX);
        match Some(counts.round()).filter(|counts| range.contains(counts)) {
            Some(counts) => Ok(Some(counts as i32)),
            None => {
                let wrong = "is beyond the 2^31 counts of this recording";
                Err(unusable("--from", from.to_f64(), wrong, "check its unit"))
            }
        }
    }

    /// Unit: counts
    fn encoder_step(&self, layout: &Layout) -> u32 {
        let counts = |step: Fraction| (step.to_f64() * layout.counts_per_unit.to_f64()).round() as u32;
        self.encoder_step.map_or(layout.encoder_step, counts).max(1)
    }

    /// The turn in counts, which must be a whole number; 0 for none.
    fn turn(&self, layout: &Layout) -> Result<u32, Error> {
        let Wrap::Turn(turn) = self.wrap else { return Ok(0) };
        let per_unit = layout.counts_per_unit;
        let wrong = |wrong: &str, remedy: &str| unusable("--wrap", self.turn_in_units(), wrong, remedy);
        let counts = per_unit.times(turn).map_err(|_| wrong("has too many digits", "give fewer"))?;
        if counts.denominator() != 1 {
            let nearest = counts.to_f64().round() / per_unit.to_f64();
            let exact =
                format!("is {} counts of this recording, which must be a whole number", counts.to_f64());
            return Err(wrong(&exact, &format!("the nearest is --wrap {nearest}")));
        }
        u32::try_from(counts.numerator())
            .map_err(|_| wrong("is further than the 2^31 counts of this recording", "check its unit"))
    }

    fn turn_in_units(&self) -> f64 {
        if let Wrap::Turn(turn) = self.wrap { turn.to_f64() } else { 0.0 }
    }

    /// Noise of the command, or what the dead band implies if the recording shows none. Unit: feedback counts
    pub(super) fn command_rms(&self, layout: &Layout) -> f64 {
        let (upper, lower) = layout.command_scale;
        let scale = f64::from(upper).abs() / f64::from(lower);
        let rms = layout.command_noise.map(|noise| noise.rms);
        scale * rms.unwrap_or(f64::from(self.dead_band(layout)) / SIGMAS)
    }

    /// Half-width of the band within which a noisy command stands, 0 for none. Unit: command counts
    pub(super) fn dead_band(&self, layout: &Layout) -> u32 {
        let Some(width) = self.command_dead_band else {
            return layout.command_noise.map_or(0, |noise| noise.dead_band);
        };
        let (upper, lower) = layout.command_scale;
        let scale = f64::from(lower) / f64::from(upper).abs();
        (width * layout.counts_per_unit.to_f64() * scale).round().min(f64::from(1 << 30)) as u32
    }

    /// Furthest that feedback can come in one sample period.
    fn jump(&self, layout: &Layout) -> u32 {
        let Some(speed) = self.max_speed else { return u32::MAX };
        let counts = speed * layout.counts_per_unit.to_f64() * layout.sample_period_s;
        // A step of the encoder may always show; above that, half as much again covers uneven samples.
        (counts * 1.5 + f64::from(layout.encoder_step)).min(f64::from(u32::MAX)).max(1.0) as u32
    }
}

fn unusable(option: &str, value: impl ToString, wrong: &str, remedy: &str) -> Error {
    let (option, value) = (option.to_string(), value.to_string());
    Error::Option { option, value, wrong: wrong.to_string(), remedy: remedy.to_string() }
}
