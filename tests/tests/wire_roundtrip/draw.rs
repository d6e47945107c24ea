//! In: any numbers. Out: messages and commands with them in every field.

use serde::de::DeserializeOwned;
use stillpoint_core::wire::alarm::{Action, Alarm, Arranged, Arrangement};
use stillpoint_core::wire::command::{
    self, Acknowledge, Act, Apply, CaptureNext, Command, Declare, DumpSince, SetClock,
};
use stillpoint_core::wire::drift::{Baseline, Drift, Explained, Kind, Restart};
use stillpoint_core::wire::finding::{Finding, Severity, Which};
use stillpoint_core::wire::job;
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::ringing::Ringing;
use stillpoint_core::wire::settings;
use stillpoint_core::wire::settings::Settings;
use stillpoint_core::wire::status::{Cause, Gap, Hello, Missing, Position, Reset, Status};
use stillpoint_core::{Definition, Outcome, Parameters, Reasons, Record, Signature, Speed};

/// Numbers to fill fields with, one after the other.
pub(crate) struct Draw(pub(crate) std::vec::IntoIter<u64>);

impl Draw {
    pub(crate) fn next(&mut self) -> u64 {
        self.0.next().expect("numbers enough")
    }

    pub(crate) fn u32(&mut self) -> u32 {
        self.next() as u32
    }

    pub(crate) fn bool(&mut self) -> bool {
        self.next() & 1 != 0
    }

    fn time(&mut self) -> Option<u32> {
        self.bool().then(|| self.u32())
    }

    fn one_of<T: Copy>(&mut self, variants: &[T]) -> T {
        variants[(self.next() % variants.len() as u64) as usize]
    }
}

pub(crate) fn record(draw: &mut Draw) -> Record {
    let outcomes = [Outcome::Settled, Outcome::Unsettled, Outcome::Interrupted, Outcome::Untrusted];
    Record {
        number: draw.u32(),
        start: draw.next(),
        command_end: draw.next(),
        travel: draw.u32() as i32,
        outcome: draw.one_of(&outcomes),
        reasons: Reasons::from_bits(draw.next() & 0xFFFF_FFFF_FFFF),
        settling: draw.time(),
        settling_u: draw.u32(),
        settling_95: draw.u32(),
        first_entry: draw.time(),
        confirmation: draw.time(),
        stabilization: draw.time(),
        window_entries: draw.u32(),
        overshoot: draw.u32(),
        peak_following_error: draw.u32(),
        error_at_command_end: draw.u32() as i32,
        rest_error: draw.bool().then(|| draw.next() as i64),
        rest_noise_rms: draw.time(),
        peak_speed: Speed { distance: draw.u32(), time: draw.u32() },
        held: draw.next(),
        command_end_u: draw.u32(),
        settling_wider: draw.time(),
        settling_narrower: draw.time(),
        gaps: draw.u32(),
        longest_gap: draw.u32(),
        signature: draw.bool().then(|| draw.one_of(&Signature::ALL)),
        turning_points: draw.u32(),
        turning_spacing: draw.time().and_then(std::num::NonZeroU32::new),
        cruise_lag: draw.bool().then(|| draw.u32() as i32),
        standing: draw.bool().then(|| draw.u32() as u8 & 15),
    }
}

pub(crate) fn parameters(draw: &mut Draw) -> Parameters {
    Parameters {
        ticks_per_second: draw.u32(),
        window: draw.u32(),
        window_time: draw.u32(),
        rest_time: draw.u32(),
        following_error_window: draw.u32(),
        following_error_time_out: draw.u32(),
        command_scale: (draw.u32() as i32, draw.u32() as i32),
        encoder_step: draw.u32(),
        jump: draw.u32(),
        definition: draw.one_of(&[Definition::LastEntry, Definition::Iso9283, Definition::TargetReached]),
        synchronous: draw.bool(),
        turn: draw.u32(),
        window_fraction: draw.u32() as u8,
    }
}

fn status(draw: &mut Draw) -> Status {
    Status {
        axis: draw.next() as u8,
        now: draw.next(),
        moving: draw.bool(),
        position: draw.one_of(&[Position::Outside, Position::Inside, Position::TargetReached]),
        following_error: draw.bool(),
        error: draw.u32() as i32,
        moves: draw.u32(),
        small: draw.u32(),
        samples: draw.next(),
        gaps: draw.u32(),
        lost_events: draw.u32(),
        overruns: draw.u32(),
        lost_frames: [draw.u32(), draw.u32(), draw.u32(), draw.u32()],
        queue_depth: draw.next() as u16,
        queue_most: draw.next() as u16,
        replay_left: draw.u32(),
        last_command: draw.time(),
        refused_commands: draw.u32(),
    }
}

/// Any of the `variants` variants of an enum, by its index on the wire.
fn variant<T: DeserializeOwned>(draw: &mut Draw, variants: u64) -> T {
    postcard::from_bytes(&[(draw.next() % variants) as u8]).expect("a variant")
}

fn arrangement(draw: &mut Draw) -> Arrangement {
    Arrangement {
        axis: draw.next() as u8,
        subject: variant(draw, 7),
        latching: draw.bool(),
        on_delay: draw.next(),
        off_delay: draw.next(),
        re_alarm_time: draw.next(),
        longest_shelving: draw.next(),
        priority: variant(draw, 4),
    }
}

fn alarm(draw: &mut Draw) -> Alarm {
    Alarm {
        alarm: draw.u32(),
        axis: draw.next() as u8,
        subject: variant(draw, 7),
        state: variant(draw, 9),
        at: draw.next(),
        number: draw.u32(),
        value: draw.next() as i64,
        limit: draw.next() as i64,
        event: variant(draw, 13),
        priority: variant(draw, 4),
        category: variant(draw, 4),
        kind: draw.u32(),
    }
}

fn drift(draw: &mut Draw) -> Drift {
    Drift {
        axis: draw.next() as u8,
        kind: draw.u32(),
        number: draw.u32(),
        change: draw.u32() as i32,
        score: draw.u32(),
        direction: variant(draw, 2),
        since: draw.u32(),
        smallest: draw.u32(),
        promise: variant(draw, 5),
        moves: draw.u32(),
        since_earliest: draw.u32(),
        since_latest: draw.u32(),
        middle: draw.u32(),
        returned: draw.bool(),
    }
}

fn baseline(draw: &mut Draw) -> Baseline {
    Baseline {
        axis: draw.next() as u8,
        kind: draw.u32(),
        at: draw.next(),
        moves: draw.u32(),
        settling_median: draw.u32(),
        settling_p95: draw.u32(),
        settling_mean: draw.u32(),
        unsettled: draw.u32(),
        from: draw.next(),
        median_is_empty: draw.bool(),
        provisional: draw.bool(),
    }
}

fn ringing(draw: &mut Draw) -> Ringing {
    // Any bits but those of no number, which is equal to nothing.
    let mut number = || Some(f32::from_bits(draw.u32())).filter(|number| !number.is_nan()).unwrap_or(0.5);
    let [frequency, frequency_u, damping, damping_u, tail, amplitude] = core::array::from_fn(|_| number());
    let (axis, number, refusal) = (draw.next() as u8, draw.u32(), draw.next() as u8);
    Ringing { axis, number, refusal, frequency, frequency_u, damping, damping_u, tail, amplitude }
}

fn explained(draw: &mut Draw) -> Explained {
    Explained {
        axis: draw.next() as u8,
        at: draw.next(),
        cause: variant(draw, 4),
        key: draw.u32(),
        permille: std::array::from_fn(|_| draw.next() as i16),
    }
}

fn kind_of_moves(draw: &mut Draw) -> Kind {
    Kind {
        axis: draw.next() as u8,
        kind: draw.u32(),
        at: draw.next(),
        forward: draw.bool(),
        distance: draw.u32(),
        speed_distance: draw.u32(),
        speed_time: draw.u32(),
        instead_of: draw.u32(),
        moves: draw.u32(),
    }
}

fn watch(draw: &mut Draw, kind: usize) -> Message<'static> {
    match kind {
        0 => Message::Baseline(baseline(draw)),
        1 => Message::Drift(drift(draw)),
        2 => Message::Alarm(alarm(draw)),
        3 => Message::Kind(kind_of_moves(draw)),
        4 => {
            let (axis, kind, at, why) = (draw.next() as u8, draw.u32(), draw.next(), variant(draw, 3));
            Message::Restart(Restart { axis, kind, at, why })
        }
        _ => {
            let refused = draw.bool().then(|| draw.next() as u8);
            Message::Arranged(Arranged { arrangement: arrangement(draw), refused })
        }
    }
}

fn finding(draw: &mut Draw) -> Message<'static> {
    let which = [Which::FeedbackMissing, Which::WrongRatio, Which::IllegalTransitions];
    Message::Finding(Finding {
        axis: draw.next() as u8,
        which: draw.one_of(&which),
        severity: draw.one_of(&[Severity::Warning, Severity::Fault]),
        figure: draw.u32(),
        proposed: draw.bool().then(|| (draw.u32() as i32, draw.u32() as i32)),
        at: draw.next(),
    })
}

fn hello(draw: &mut Draw) -> Message<'static> {
    let resets = [Reset::Unknown, Reset::PowerOn, Reset::BrownOut, Reset::Pin, Reset::Watchdog, Reset::Fault];
    Message::Hello(Hello {
        device: std::array::from_fn(|_| draw.next() as u8),
        board: draw.one_of(&["", "rehearsal", "thirty-two bytes are still fine."]),
        firmware: draw.one_of(&["", "0.1.0", "0.1.0 µ"]),
        oldest: draw.next() as u8,
        axes: draw.next() as u8,
        ticks_per_second: draw.u32(),
        reset: draw.one_of(&resets),
        clock: draw.bool().then(|| draw.next() as i64),
    })
}

fn gap(draw: &mut Draw) -> Message<'static> {
    let causes = [Cause::Unknown, Cause::Overrun, Cause::QueueFull, Cause::LinkDown, Cause::LogWrapped];
    let missing = [
        Missing::Samples { axis: draw.next() as u8, first: draw.next() },
        Missing::Frames { priority: draw.next() as u8, first: draw.u32() },
    ];
    Message::Gap(Gap { missing: draw.one_of(&missing), count: draw.u32(), cause: draw.one_of(&causes) })
}

fn wire_parameters(draw: &mut Draw) -> settings::Parameters {
    let drift = settings::DriftConfig {
        false_alarms_per_axis_month_milli: draw.u32(),
        smallest_change_permille: draw.u32(),
        smallest_change: draw.u32(),
        moves_per_hour: draw.u32(),
        baseline: draw.u32(),
    };
    let limits = settings::Limits {
        settling: draw.u32(),
        settling_permille: draw.u32(),
        unsettled_permille: draw.u32(),
        kind: draw.u32(),
    };
    settings::Parameters {
        inferred: draw.bool(),
        drift,
        baseline_minutes: draw.u32(),
        limits,
        ..(&parameters(draw)).into()
    }
}

pub(crate) fn command(draw: &mut Draw, kind: usize) -> Command {
    let axis = draw.next() as u8;
    match kind {
        0 => Command::Identify,
        1 => Command::Apply(Apply { axis, parameters: wire_parameters(draw) }),
        2 => {
            let (boot, priority, sequence) = (draw.u32(), draw.next() as u8, draw.u32());
            Command::DumpSince(DumpSince { boot, priority, sequence })
        }
        3 => Command::CaptureNext(CaptureNext { axis, stops: draw.u32() }),
        4 => Command::Acknowledge(Acknowledge { alarm: draw.u32() }),
        5 => Command::SetClock(SetClock { now: draw.next() as i64 }),
        6 => {
            let (alarm, time) = (draw.u32(), draw.next());
            let actions = [
                Action::Reset,
                Action::Shelve(time),
                Action::Unshelve,
                Action::OutOfService,
                Action::ReturnToService,
            ];
            Command::Act(Act { alarm, action: draw.one_of(&actions) })
        }
        7 => Command::Declare(Declare { axis, kind: draw.u32(), add: draw.bool() }),
        8 => Command::Job(command::Job { axis, number: draw.u32() }),
        _ => Command::Arrange(arrangement(draw)),
    }
}

/// Any but a move.
pub(crate) fn message(draw: &mut Draw, kind: usize) -> Message<'static> {
    match kind {
        0..6 => watch(draw, kind),
        6 => hello(draw),
        7 => gap(draw),
        8 => Message::Status(status(draw)),
        9 => finding(draw),
        10 => {
            let (axis, at, number) = (draw.next() as u8, draw.next(), draw.u32());
            Message::Job(job::Job { axis, at, number })
        }
        11 => Message::Explained(explained(draw)),
        12 => Message::Ringing(ringing(draw)),
        _ => {
            let refused = draw.bool().then(|| draw.next() as u8);
            let (axis, pending, parameters) = (draw.next() as u8, draw.bool(), wire_parameters(draw));
            Message::Settings(Settings { axis, refused, pending, parameters })
        }
    }
}
