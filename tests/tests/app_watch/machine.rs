//! In: settling times. Out: the messages of a monitor about an invented axis that has them, sorted.

use stillpoint_core::wire::alarm::Alarm;
use stillpoint_core::wire::command::{Apply, Command};
use stillpoint_core::wire::drift::{Baseline, Drift, Kind, Restart};
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::settings;
use stillpoint_core::wire::settings::DriftConfig;
use stillpoint_core::{Parameters, Reading, Record};
use stillpoint_firmware::sampler::Raw;
use stillpoint_firmware::tap::Register;
use stillpoint_tests::monitor::{Monitor, Received};

/// Samples of a move and its rest, and of the move alone; a sample a millisecond.
const SAMPLES: u32 = 140;
const MOVING: u32 = 20;
const TICKS: u32 = 1000;
/// Moves of a kind that its baseline has at least; they take 42 s, and the baseline a minute.
pub(crate) const BASELINE: u32 = 100;
/// Travels of the invented axis, repeated in this order: three kinds. Unit: counts
pub(crate) const TRAVELS: [i32; 3] = [10_000, 5_000, -15_000];

pub(crate) fn parameters() -> Parameters {
    Parameters { window: 50, ..Parameters::at(1_000_000) }
}

/// Command that applies parameters and drift configuration to the axis.
pub(crate) fn apply(config: DriftConfig, parameters: Parameters) -> Command {
    let parameters = settings::Parameters { drift: config, baseline_minutes: 1, ..(&parameters).into() };
    Command::Apply(Apply { axis: 0, parameters })
}

/// A false-alarm rate so high that limits are certain after few moves; with this scatter none occur all the same.
pub(crate) fn drift_config() -> DriftConfig {
    let false_alarms_per_axis_month_milli = 1_000_000;
    DriftConfig {
        false_alarms_per_axis_month_milli,
        moves_per_hour: 1_800,
        baseline: BASELINE,
        ..DriftConfig::default()
    }
}

/// The invented axis: after each move its error falls in a straight line.
pub(crate) struct Machine {
    pub(crate) monitor: Monitor,
    moves: u32,
    stands: i32,
    /// Error of the last sample. Unit: counts
    error: i32,
    pub(crate) received: Vec<Received>,
}

impl Machine {
    pub(crate) fn new() -> Machine {
        let mut monitor = Monitor::new(parameters(), TICKS);
        monitor.send(&apply(drift_config(), parameters()));
        let mut machine = Machine { monitor, moves: 0, stands: 0, error: 0, received: vec![] };
        // A move that was not seen from its beginning has no kind.
        machine.step(0, Some(40), true);
        machine
    }

    /// Makes one move that settles about `settling` samples after its end; `None`: it never settles.
    pub(crate) fn step(&mut self, travel: i32, settling: Option<u32>, listen: bool) {
        let scatter = (self.moves.wrapping_mul(2_654_435_761) >> 16) % 4000;
        for sample in 0..SAMPLES {
            let command = self.stands + travel * sample.min(MOVING) as i32 / MOVING as i32;
            let since = 1000 * sample.saturating_sub(MOVING);
            let error = settling.map_or(400, |settling| {
                let remaining = (1000 * settling + scatter).saturating_sub(since);
                (remaining / settling / 2).min(400) as i32
            });
            // The rest before ends with the sample at which the command still stands.
            let error = if sample == 0 {
                self.error
            } else if sample < MOVING {
                0
            } else {
                error
            };
            self.error = error;
            let reading =
                Reading { tick: (self.moves * SAMPLES + sample) * TICKS, command, feedback: command - error };
            if listen {
                self.received.extend(self.monitor.sample([reading]));
            } else {
                let word = |position: i32| Register::Whole(position as u32);
                let (command, feedback) = (word(reading.command), word(reading.feedback));
                self.monitor.app.sample(reading.tick, &[Raw { command, feedback }]);
            }
        }
        self.stands += travel;
        self.moves += 1;
    }

    /// Repeats all travels `rounds` times and returns the messages; `second` gives the settling time of the second kind
    /// in a round. Unit of `second`: samples
    pub(crate) fn rounds(&mut self, rounds: u32, second: impl Fn(u32) -> Option<u32>) -> Vec<Received> {
        for round in 0..rounds {
            for travel in TRAVELS {
                self.step(travel, if travel == TRAVELS[1] { second(round) } else { Some(40) }, true);
            }
        }
        std::mem::take(&mut self.received)
    }
}

/// What `pick` returns of each message that it accepts.
pub(crate) fn select<T>(received: &[Received], pick: impl Fn(&Message) -> Option<T>) -> Vec<T> {
    received.iter().filter_map(|(_, message)| pick(message)).collect()
}

pub(crate) fn drifts(received: &[Received]) -> Vec<Drift> {
    select(received, |message| if let Message::Drift(drift) = message { Some(*drift) } else { None })
}

pub(crate) fn kinds(received: &[Received]) -> Vec<Kind> {
    select(received, |message| if let Message::Kind(kind) = message { Some(*kind) } else { None })
}

pub(crate) fn restarts(received: &[Received]) -> Vec<Restart> {
    select(received, |message| if let Message::Restart(restart) = message { Some(*restart) } else { None })
}

/// Baselines that are complete.
pub(crate) fn baselines(received: &[Received]) -> Vec<Baseline> {
    select(received, |message| match message {
        Message::Baseline(baseline) if !baseline.provisional => Some(*baseline),
        _ => None,
    })
}

pub(crate) fn alarms(received: &[Received]) -> Vec<Alarm> {
    select(received, |message| if let Message::Alarm(alarm) = message { Some(*alarm) } else { None })
}

/// Kind and record of each move.
pub(crate) fn moves(received: &[Received]) -> Vec<(u32, Record)> {
    select(received, |message| {
        if let Message::Move(sent) = message { Some((sent.kind, Record::from(sent))) } else { None }
    })
}
