//! In: options of a measurement, in units and milliseconds. Out: settings of the core, in counts and ticks.

use stillpoint_core::{Definition, Fraction, LONGEST_TIME, Parameters, Settings};

use crate::error::Error;
use crate::trace::Layout;

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
    /// Feedback counts per command count, where the two differ.
    pub command_scale: (i32, i32),
    /// Smallest change the feedback can show, if known. Unit: that of the recording
    pub encoder_step: Option<Fraction>,
    /// Fastest the machine can move; anything faster is a fault of the signal. Unit: unit/s
    pub max_speed: Option<f64>,
    /// Whether command and samples share a clock.
    pub synchronous: bool,
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
            rest_time: ticks("--rest-time-ms", self.rest_time_ms)?.max(1),
            command_scale: self.command_scale,
            encoder_step: self.encoder_step(layout),
            jump: self.jump(layout),
            definition: self.definition,
            synchronous: self.synchronous,
            ..Parameters::at(layout.ticks_per_second)
        };
        Settings::new(parameters).map_err(|invalid| match invalid.parameter {
            "window" => too_wide(),
            other => unusable(&format!("--{}", other.replace('_', "-")), "", invalid.rule, "see --help"),
        })
    }

    /// Unit: counts
    fn encoder_step(&self, layout: &Layout) -> u32 {
        let counts = |step: Fraction| (step.to_f64() * layout.counts_per_unit.to_f64()).round() as u32;
        self.encoder_step.map_or(layout.encoder_step, counts).max(1)
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
