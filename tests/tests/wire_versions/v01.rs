//! In: values. Out: the golden bytes of version 1. Never edited once released: what was once written stays readable.
//!
//! Fields that a later version appends are zero here, hence the `..Default::default()` everywhere.
#![allow(clippy::needless_update)]

use stillpoint_core::wire::alarm::{Alarm, AlarmState, Subject};
use stillpoint_core::wire::command::{Acknowledge, Apply, CaptureNext, Command, DumpSince, SetClock};
use stillpoint_core::wire::curve::Curve;
use stillpoint_core::wire::drift::{Baseline, Drift};
use stillpoint_core::wire::finding::{Finding, Severity, Which};
use stillpoint_core::wire::header::{Direction, Header, Priority};
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::record::{Move, Outcome};
use stillpoint_core::wire::settings::{Definition, Parameters, Settings};
use stillpoint_core::wire::status::{Cause, Gap, Hello, Missing, Position, Reset, Status};
use stillpoint_core::wire::trace::Trace;

use crate::{Golden, Golden as G};

mod watch;

fn header(priority: Priority, sequence: u32) -> Header {
    Header {
        version: 1,
        direction: Direction::FromDevice,
        replay: false,
        priority,
        boot: 0x0002_0B57,
        sequence,
    }
}

fn parameters() -> Parameters {
    Parameters {
        ticks_per_second: 1_000_000,
        window: 2796,
        window_time: 10_000,
        rest_time: 20_000,
        following_error_window: u32::MAX,
        following_error_time_out: 0,
        command_scale: (-4096, 375),
        encoder_step: 1,
        jump: 1 << 30,
        definition: Definition::Iso9283,
        inferred: false,
        ..Default::default()
    }
}

pub(crate) fn a_move() -> Move {
    Move {
        axis: 1,
        number: 57,
        flags: 0x3F,
        outcome: Outcome::Settled,
        reasons: 1 << 9,
        start: 28_500_000,
        duration: 200_000,
        held: 300_000,
        travel: -16_777_216,
        settling: 31_250,
        settling_u: 41,
        settling_95: -2,
        first_entry: -1_250,
        confirmation: 10_000,
        stabilization: 0,
        window_entries: 2,
        overshoot: 3_100,
        peak_following_error: 61_000,
        error_at_command_end: -40_000,
        rest_error: -130,
        rest_noise_rms: 384,
        peak_speed_distance: 310_000,
        peak_speed_time: 2_000,
        ..Default::default()
    }
}

fn status() -> Status {
    Status {
        axis: 2,
        now: 29_000_000,
        moving: false,
        position: Position::TargetReached,
        following_error: false,
        error: -3,
        moves: 57,
        small: 1,
        samples: 290_000,
        gaps: 1,
        lost_events: 0,
        overruns: 1,
        lost_frames: [0, 0, 0, 12],
        queue_depth: 3,
        queue_most: 31,
        replay_left: 0,
        last_command: Some(4),
        refused_commands: 0,
        ..Default::default()
    }
}

fn hello() -> Hello<'static> {
    Hello {
        device: [0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11],
        board: "rehearsal",
        firmware: "0.1.0",
        oldest: 1,
        axes: 3,
        ticks_per_second: 1_000_000,
        reset: Reset::PowerOn,
        clock: Some(1_767_225_600_000_000),
        ..Default::default()
    }
}

fn curve() -> Curve<'static> {
    let points = &[1, 0xA9, 0x46, 1, 0x83, 0x7D, 0];
    Curve { axis: 1, number: 57, first: 0, last: true, window: 3071, points, ..Default::default() }
}

fn trace() -> Trace<'static> {
    let readings = &[0x0B, 0xC8, 0x01, 0x28, 0x02, 0x00, 0x04, 0x03, 0x00, 0x27];
    let (tick, command, feedback) = (0xFFFF_FFF0, 5_000, 4_990);
    let (number, first, last, factor) = (57, 0, false, 10);
    Trace { axis: 2, number, first, last, tick, command, feedback, readings, factor, ..Default::default() }
}

fn baseline() -> Baseline {
    let (settling_median, settling_p95, at) = (31_000, 36_500, 90_000_000);
    Baseline { axis: 1, kind: 4, at, moves: 150, settling_median, settling_p95, ..Default::default() }
}

fn alarm() -> Alarm {
    Alarm {
        alarm: 3,
        axis: 1,
        subject: Subject::Drift,
        state: AlarmState::Unacknowledged,
        at: 4_560_000_000,
        number: 9_120,
        value: 34_100,
        limit: 33_000,
        ..Default::default()
    }
}

fn finding() -> Finding {
    let (which, severity, at) = (Which::WrongRatio, Severity::Fault, 90_000_000);
    Finding { axis: 1, which, severity, figure: 0, proposed: Some((73, 72)), at, ..Default::default() }
}

/// What a device says.
pub(crate) fn messages() -> Vec<Golden<Message<'static>>> {
    [measured(), watched(), watch::messages()].concat()
}

/// What a device said before fields were appended: it is still read, with zeros for them.
pub(crate) fn shorter_messages() -> Vec<Golden<Message<'static>>> {
    let settings = Settings {
        axis: 0,
        refused: Some(1),
        pending: false,
        parameters: parameters(),
        ..Default::default()
    };
    let drift = Drift { axis: 1, kind: 4, number: 9_120, change: 3_100, score: 261, ..Default::default() };
    vec![
        G(
            "0511570b0201020103010110c0843dec15904ea09c01ffffffff0f0cff3fee050180808080040105e7d43f9c00",
            header(Priority::Move, 0),
            Message::Settings(settings),
        ),
        G(
            "0511570b0207ac020201393f1b8004a0c0cb0dc09a0ce0a712ffffff0f92f4012903c313a09c0117029c18c8 \
             dc03fff00483028003f0f512d00f81739a0100",
            header(Priority::Move, 300),
            Message::Move(a_move()),
        ),
        G(
            "0511570b0211a09c01050104a047b8308502c637f1c200",
            header(Priority::Move, 20_000),
            Message::Drift(drift),
        ),
        G(
            "0501570b020505060301130180a8b0fe10a047e89404d083042f4617a700",
            header(Priority::Alarm, 5),
            Message::Alarm(alarm()),
        ),
    ]
}

/// The same of commands.
pub(crate) fn shorter_commands() -> Vec<Golden<Command>> {
    let apply = Apply { axis: 0, parameters: parameters(), ..Default::default() };
    vec![G(
        "038107010103010110c0843dec15904ea09c01ffffffff0f0cff3fee050180808080040105d7e0a5a300",
        Header { direction: Direction::FromHost, boot: 7, ..header(Priority::Alarm, 1) },
        Command::Apply(apply),
    )]
}

fn measured() -> Vec<Golden<Message<'static>>> {
    let again = Header { replay: true, ..header(Priority::Trace, 9) };
    vec![
        G(
            "0501570b020101012f0102030405060708090a0b0972656865617273616c05302e312e300103c0843d01018080 \
             82e288d2a306c2562d5600",
            header(Priority::Alarm, 0),
            Message::Hello(hello()),
        ),
        G(
            "0521570b0205390301390b01ff170701a94601837d053e14969e00",
            header(Priority::Curve, 57),
            Message::Curve(curve()),
        ),
        G(
            "0531570b0209ffffffff0f0902390110f0ffffff0f904efc4d0a0bc801280203040307270ac01663e300",
            header(Priority::Trace, u32::MAX),
            Message::Trace(trace()),
        ),
        G(
            "0571570b0205090902390110f0ffffff0f904efc4d0a0bc801280203040307270a5143c45000",
            again,
            Message::Trace(trace()),
        ),
    ]
}

fn watched() -> Vec<Golden<Message<'static>>> {
    let gap = |missing, count, cause| Message::Gap(Gap { missing, count, cause, ..Default::default() });
    let samples = Missing::Samples { axis: 0, first: 120_000 };
    let frames = Missing::Frames { priority: 3, first: 40 };
    vec![
        G(
            "0511570b0216ad020401048095f52a960198f201949d02b8f40a9d00",
            header(Priority::Move, 301),
            Message::Baseline(baseline()),
        ),
        G(
            "0511570b0204ae0207010ac0a907020119e6d46900",
            header(Priority::Move, 302),
            gap(samples, 2, Cause::Overrun),
        ),
        G(
            "0511570b020daf02070103280c02b0b615ab00",
            header(Priority::Move, 303),
            gap(frames, 12, Cause::QueueFull),
        ),
        G(
            "0511570b0207b0020a0104010e01920190018095f52a5774779e00",
            header(Priority::Move, 304),
            Message::Finding(finding()),
        ),
        G(
            "0521570b02083a0802c082ea0d020208053901d0d9110102010101040c031f030104059168c60200",
            header(Priority::Curve, 58),
            Message::Status(status()),
        ),
    ]
}

/// What a host asks.
pub(crate) fn commands() -> Vec<Golden<Command>> {
    [basic_commands(), watch::commands()].concat()
}

fn basic_commands() -> Vec<Golden<Command>> {
    let header =
        |sequence| Header { direction: Direction::FromHost, boot: 7, ..header(Priority::Alarm, sequence) };
    let since = DumpSince { boot: 0x0002_0B57, priority: 1, sequence: 301, ..Default::default() };
    let clock = SetClock { now: 1_767_225_629_000_000, ..Default::default() };
    vec![
        G("0381070101010105800e08ae00", header(0), Command::Identify),
        G("03810701010d0202d7960801ad02bc5a06b300", header(2), Command::DumpSince(since)),
        G(
            "038107010109030301026148047a00",
            header(3),
            Command::CaptureNext(CaptureNext { axis: 1, stops: 2, ..Default::default() }),
        ),
        G(
            "038107010108040403c15878c500",
            header(4),
            Command::Acknowledge(Acknowledge { alarm: 3, ..Default::default() }),
        ),
        G("03810701010f05058085d6fd88d2a306bb12a3de00", header(5), Command::SetClock(clock)),
    ]
}
