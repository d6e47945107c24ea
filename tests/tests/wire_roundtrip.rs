//! In: whatever the stages may find, extremes included. Out: the same, through frames, bit for bit.

use proptest::collection::vec;
use proptest::prelude::*;
use stillpoint_core::record::{Outcome, Reasons, Record};
use stillpoint_core::settings::{Definition, Parameters};
use stillpoint_core::settling::peaks::Speed;
use stillpoint_core::wire::command::{Acknowledge, Apply, CaptureNext, Command, DumpSince, SetClock};
use stillpoint_core::wire::crc::{LargeTable, SmallTable};
use stillpoint_core::wire::finding::{Finding, Severity, Which};
use stillpoint_core::wire::frame::{Frame, Payload, Read, encode, encode_body};
use stillpoint_core::wire::header::{Header, Numbers, Way};
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::receive::{Event, Receiver};
use stillpoint_core::wire::record::Move;
use stillpoint_core::wire::settings::Settings;
use stillpoint_core::wire::status::{Cause, Gap, Hello, Missing, Position, Reset, Status};
use stillpoint_core::wire::watch::{Alarm, AlarmState, Baseline, Drift, Subject};
use stillpoint_core::wire::{LONGEST_BODY, LONGEST_FRAME};

/// Any number, the edges of every width often.
fn wild() -> impl Strategy<Value = u64> {
    let edges = [0, 1, 127, 128, u64::from(u32::MAX >> 1), 1 << 31, u64::from(u32::MAX), 1 << 63, u64::MAX];
    prop_oneof![proptest::sample::select(edges.to_vec()), any::<u64>()]
}

/// Numbers to fill fields with, one after the other.
struct Draw(std::vec::IntoIter<u64>);

impl Draw {
    fn next(&mut self) -> u64 {
        self.0.next().expect("numbers enough")
    }

    fn u32(&mut self) -> u32 {
        self.next() as u32
    }

    fn bool(&mut self) -> bool {
        self.next() & 1 != 0
    }

    fn time(&mut self) -> Option<u32> {
        self.bool().then(|| self.u32())
    }

    fn one_of<T: Copy>(&mut self, variants: &[T]) -> T {
        variants[(self.next() % variants.len() as u64) as usize]
    }
}

fn record(draw: &mut Draw) -> Record {
    let outcomes = [Outcome::Settled, Outcome::Unsettled, Outcome::Interrupted, Outcome::Untrusted];
    Record {
        number: draw.u32(),
        start: draw.next(),
        command_end: draw.next(),
        travel: draw.u32() as i32,
        outcome: draw.one_of(&outcomes),
        reasons: Reasons::from_bits(draw.next() as u16),
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
    }
}

fn parameters(draw: &mut Draw) -> Parameters {
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

fn watch(draw: &mut Draw, kind: usize) -> Message<'static> {
    let (axis, number, at) = (draw.next() as u8, draw.u32(), draw.next());
    let subjects =
        [Subject::Drift, Subject::Unsettled, Subject::FollowingError, Subject::Signal, Subject::Gap];
    let states = [
        AlarmState::Normal,
        AlarmState::Unacknowledged,
        AlarmState::Acknowledged,
        AlarmState::ReturnedToNormalUnacknowledged,
        AlarmState::LatchedUnacknowledged,
        AlarmState::LatchedAcknowledged,
        AlarmState::Shelved,
        AlarmState::SuppressedByDesign,
        AlarmState::OutOfService,
    ];
    let (settling_median, settling_p95, kind_of_move) = (draw.u32(), draw.u32(), draw.next() as u16);
    match kind {
        0 => Message::Baseline(Baseline {
            axis,
            kind: kind_of_move,
            at,
            moves: number,
            settling_median,
            settling_p95,
        }),
        1 => Message::Drift(Drift {
            axis,
            kind: kind_of_move,
            number,
            change: draw.u32() as i32,
            score: draw.u32(),
        }),
        _ => {
            let (subject, state) = (draw.one_of(&subjects), draw.one_of(&states));
            let (alarm, value, limit) = (draw.u32(), draw.next() as i64, draw.next() as i64);
            Message::Alarm(Alarm { alarm, axis, subject, state, at, number, value, limit })
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

fn command(draw: &mut Draw, kind: usize) -> Command {
    let axis = draw.next() as u8;
    match kind {
        0 => Command::Identify,
        1 => Command::Apply(Apply { axis, parameters: (&parameters(draw)).into() }),
        2 => {
            let (boot, priority, sequence) = (draw.u32(), draw.next() as u8, draw.u32());
            Command::DumpSince(DumpSince { boot, priority, sequence })
        }
        3 => Command::CaptureNext(CaptureNext { axis, stops: draw.u32() }),
        4 => Command::Acknowledge(Acknowledge { alarm: draw.u32() }),
        _ => Command::SetClock(SetClock { now: draw.next() as i64 }),
    }
}

/// Encodes, receives byte by byte, and hands over what was read, borrowed from the receiver.
fn through<'p, P: Payload<'p>>(header: &Header, payload: &P, check: impl FnOnce(&Header, Event)) {
    let mut buffer = [0; LONGEST_FRAME];
    let frame = encode::<SmallTable>(header, payload, &mut buffer).expect("fits a frame");
    let mut body = [0; LONGEST_BODY];
    let body = encode_body::<SmallTable>(header, payload, &mut body).expect("fits a body");
    let body = Frame::check::<LargeTable>(body).expect("sealed");
    let (kind, bytes) = (body.kind(), body.payload());
    assert_eq!(postcard::to_slice(payload, &mut [0; 300]).unwrap(), [&[kind], bytes].concat());
    let mut receiver = Receiver::<LargeTable>::new(P::WAY);
    let (last, others) = frame.split_last().expect("bytes");
    for byte in others {
        assert_eq!(receiver.step(&mut &[*byte][..]), None);
    }
    let mut left = std::slice::from_ref(last);
    let event = receiver.step(&mut left).expect("a frame");
    check(header, event);
}

fn same(message: Message<'_>, draw: &mut Draw) {
    let header = Numbers::new(Way::FromDevice, draw.u32()).take(message.priority());
    let header = Header { sequence: draw.u32(), replay: draw.bool(), ..header };
    through(&header, &message, |header, event| {
        let Event::Frame(frame) = event else { panic!("{event:?}") };
        assert_eq!(frame.header, *header);
        assert_eq!(frame.read(), Ok(Read { payload: message, extra: 0 }));
    });
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn a_record_survives(numbers in vec(wild(), 40), axis: u8, inferred: bool) {
        let mut draw = Draw(numbers.into_iter());
        let record = record(&mut draw);
        let sent = Move::new(axis, inferred, &record);
        prop_assert_eq!((Record::from(&sent), sent.axis, sent.is_inferred()), (record, axis, inferred));
        same(Message::Move(sent), &mut draw);
    }

    #[test]
    fn every_other_message_survives(numbers in vec(wild(), 40), kind in 0..8_usize) {
        let mut draw = Draw(numbers.into_iter());
        let message = match kind {
            0..3 => watch(&mut draw, kind),
            3 => hello(&mut draw),
            4 => gap(&mut draw),
            5 => Message::Status(status(&mut draw)),
            6 => finding(&mut draw),
            _ => {
                let settings = Settings::new(draw.next() as u8, &parameters(&mut draw), None);
                Message::Settings(Settings { pending: draw.bool(), ..settings })
            }
        };
        same(message, &mut draw);
    }

    #[test]
    fn every_command_survives(numbers in vec(wild(), 40), kind in 0..6_usize) {
        let mut draw = Draw(numbers.into_iter());
        let command = command(&mut draw, kind);
        let header = Numbers::new(Way::FromHost, draw.u32()).take(command.priority());
        through(&header, &command, |header, event| {
            let Event::Frame(frame) = event else { panic!("{event:?}") };
            assert_eq!((frame.header, frame.read()), (*header, Ok(Read { payload: command, extra: 0 })));
        });
    }

    #[test]
    fn parameters_survive(numbers in vec(wild(), 40)) {
        let parameters = parameters(&mut Draw(numbers.into_iter()));
        let sent = stillpoint_core::wire::settings::Parameters::from(&parameters);
        prop_assert_eq!(Parameters::from(&sent), parameters);
    }
}
