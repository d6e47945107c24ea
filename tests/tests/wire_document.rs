//! In: `core/WIRE.md`. Out: every worked frame in it decoded, compared with the text beside it, and encoded again.

use std::fmt::Debug;

use serde::Serialize;
use stillpoint::checksum::FastCrc;
use stillpoint_core::wire::alarm::{Action, AlarmEvent as E, AlarmPriority, AlarmState, Category, Subject};
use stillpoint_core::wire::command::Command;
use stillpoint_core::wire::crc::SmallTable;
use stillpoint_core::wire::drift::{self, Direction, Promise, RestartReason};
use stillpoint_core::wire::finding::{Severity, Which as W};
use stillpoint_core::wire::frame::{Frame, Payload, Read, encode_body};
use stillpoint_core::wire::header::{self, Priority};
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::receive::{Event, Receiver};
use stillpoint_core::wire::record::Outcome;
use stillpoint_core::wire::settings::Definition;
use stillpoint_core::wire::status::{Cause, Position, Reset};
use stillpoint_core::wire::{LONGEST_BODY, LONGEST_FRAME};
use stillpoint_core::{CurvePoint, Reading};

const DOCUMENT: &str = include_str!("../../core/WIRE.md");

fn hex(text: &str) -> Vec<u8> {
    let digits: Vec<u8> =
        text.chars().filter_map(|digit| digit.to_digit(16)).map(|digit| digit as u8).collect();
    assert!(digits.len().is_multiple_of(2), "whole bytes: {text}");
    digits.chunks(2).map(|pair| pair[0] << 4 | pair[1]).collect()
}

fn hex_of(bytes: &[u8], between: &str) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect::<Vec<_>>().join(between)
}

/// One block: the body, the frame on a link, and the text beside each piece of the body, in order.
#[derive(Default)]
struct Worked {
    body: Vec<u8>,
    frame: Vec<u8>,
    pieces: Vec<String>,
}

fn worked() -> Vec<Worked> {
    let blocks = DOCUMENT.split("```bytes\n").skip(1).map(|rest| rest.split("```").next().unwrap());
    blocks.map(|block| block.lines().fold(Worked::default(), Worked::with)).collect()
}

impl Worked {
    fn with(mut self, line: &str) -> Worked {
        if let Some(frame) = line.strip_prefix("= ") {
            self.frame.extend(hex(frame));
            return self;
        }
        let (bytes, text) = line.split_once("  ").unwrap_or((line, ""));
        let bytes = hex(bytes);
        self.body.extend(&bytes);
        self.pieces.push(text.split(';').next().unwrap().trim().to_string());
        self
    }

    /// The last lines of the block as they follow from its other bytes; whoever changes a block copies them from here.
    fn check_end(&self) {
        let content = &self.body[..self.body.len() - 4];
        let crc = crc32fast::hash(content).to_le_bytes();
        let body = [content, &crc].concat();
        let mut frame = vec![0; cobs::max_encoding_length(body.len()) + 1];
        let length = cobs::encode(&body, &mut frame);
        frame.truncate(length + 1);
        let lines: Vec<String> = frame.chunks(48).map(|line| format!("= {}", hex_of(line, ""))).collect();
        let end = format!("{:26}; CRC-32\n{}", hex_of(&crc, " "), lines.join("\n"));
        assert!(body == self.body && frame == self.frame, "{:?} must end with\n{end}", self.pieces);
    }
}

/// The text of each piece stands in what was decoded, in the same order; returns the name and priority of the kind.
fn check<'a, P: Payload<'a> + Debug>(worked: &Worked, frame: &Frame<'a>) -> (String, Priority) {
    let Ok(Read { payload, extra: 0 }) = frame.read::<P>() else { panic!("{:?}", frame.read::<P>()) };
    let decoded = format!("{:?}, {payload:?}", frame.header);
    let mut rest = &decoded[..];
    for piece in &worked.pieces {
        let at = rest.find(&piece[..]).unwrap_or_else(|| panic!("{piece:?} is not next in {rest}"));
        rest = &rest[at + piece.len()..];
    }
    let mut buffer = [0; LONGEST_FRAME];
    let written = encode_body::<SmallTable>(&frame.header, &payload, &mut buffer).expect("fits");
    assert_eq!(
        hex_of(written, " "),
        hex_of(&worked.body, " "),
        "the bytes now written, and those of the document"
    );
    assert_eq!(payload.priority(), frame.header.priority);
    let name = format!("{payload:?}");
    (name.split(['(', ' ']).next().unwrap().to_string(), payload.priority())
}

#[test]
fn every_worked_frame_decodes_to_its_text() {
    let mut kinds = [vec![], vec![]];
    for worked in worked() {
        worked.check_end();
        let direction = if worked.body[0] & 0x80 == 0 {
            header::Direction::FromDevice
        } else {
            header::Direction::FromHost
        };
        let mut receiver = Receiver::<FastCrc>::new(direction);
        let mut bytes = &worked.frame[..];
        let Some(Event::Frame(frame)) = receiver.step(&mut bytes) else {
            panic!("no frame: {:?}", worked.pieces)
        };
        let (name, priority) = match direction {
            header::Direction::FromDevice => check::<Message>(&worked, &frame),
            header::Direction::FromHost => check::<Command>(&worked, &frame),
        };
        let row = format!("| {} | `{name}` | {priority:?} |", frame.kind());
        assert!(DOCUMENT.contains(&row), "no row {row}");
        println!("ran worked bytes: {name}, {} on a link", worked.frame.len());
        kinds[direction as usize].push(frame.kind());
    }
    kinds.iter_mut().for_each(Vec::dedup);
    assert_eq!(kinds, [(0..Message::KINDS).collect::<Vec<u8>>(), (0..Command::KINDS).collect()]);
}

/// The list in the document names every variant at its place.
fn check_variants<T: Serialize + Debug>(name: &str, variants: &[T]) {
    for (place, variant) in variants.iter().enumerate() {
        assert_eq!(postcard::to_slice(variant, &mut [0; 8]).unwrap(), &[place as u8]);
    }
    let names: Vec<String> = variants.iter().map(|variant| format!("{variant:?}")).collect();
    let line = format!("- `{name}`: {}\n", names.join(", "));
    assert!(DOCUMENT.contains(&line), "no line {line}");
}

#[test]
fn every_variant_has_its_index() {
    use {AlarmState as A, Cause as C, Outcome as O, Reset as R, Subject as S};
    check_variants("Outcome", &[O::Settled, O::Unsettled, O::Interrupted, O::Untrusted]);
    check_variants("Definition", &[Definition::LastEntry, Definition::Iso9283, Definition::TargetReached]);
    check_variants("Position", &[Position::Outside, Position::Inside, Position::TargetReached]);
    let resets = [R::Unknown, R::PowerOn, R::BrownOut, R::Pin, R::Watchdog, R::Fault, R::Software];
    check_variants("Reset", &resets);
    let causes = [C::Unknown, C::Overrun, C::QueueFull, C::LinkDown, C::LogWrapped, C::LogFailed, C::Tap];
    check_variants("Gap.cause", &causes);
    let subjects =
        [S::Drift, S::Unsettled, S::FollowingError, S::Signal, S::Gap, S::SettlingLimit, S::UnsettledLimit];
    check_variants("Subject", &subjects);
    let which = [
        W::FeedbackMissing,
        W::CommandDead,
        W::Swapped,
        W::WrongSign,
        W::WrongRatio,
        W::CommandNearLimit,
        W::FeedbackNearLimit,
        W::IllegalTransitions,
    ];
    check_variants("Which", &which);
    check_variants("Severity", &[Severity::Warning, Severity::Fault]);
    let states = [
        A::Normal,
        A::Unacknowledged,
        A::Acknowledged,
        A::ReturnedToNormalUnacknowledged,
        A::LatchedUnacknowledged,
        A::LatchedAcknowledged,
        A::Shelved,
        A::SuppressedByDesign,
        A::OutOfService,
    ];
    check_variants("AlarmState", &states);
}

#[test]
fn every_variant_of_the_watch_has_its_index() {
    check_variants(
        "RestartReason",
        &[RestartReason::Settings, RestartReason::Declared, RestartReason::Dropped],
    );
    check_variants("Direction", &[Direction::Up, Direction::Down]);
    let promises =
        [Promise::Learning, Promise::NoBaseline, Promise::Dependent, Promise::Short, Promise::Held];
    check_variants("Promise", &promises);
    use drift::Cause;
    check_variants("Explained.cause", &[Cause::HourOfDay, Cause::ShortPause, Cause::LongPause, Cause::Job]);
    let events = [
        E::Unknown,
        E::AlarmOccurs,
        E::ReturnToNormal,
        E::ReAlarm,
        E::Acknowledge,
        E::Reset,
        E::Shelve,
        E::Unshelve,
        E::ShelvingExpired,
        E::SuppressByDesign,
        E::Unsuppress,
        E::OutOfService,
        E::ReturnToService,
    ];
    check_variants("AlarmEvent", &events);
    use AlarmPriority as P;
    check_variants("AlarmPriority", &[P::Low, P::Medium, P::High, P::Highest]);
    use Category as C;
    let categories = [C::Failure, C::FunctionCheck, C::OutOfSpecification, C::MaintenanceRequired];
    check_variants("Category", &categories);
    // Shelving has its time behind it.
    let line = "- `Action`: Reset, Shelve, Unshelve, OutOfService, ReturnToService\n";
    assert!(DOCUMENT.contains(line));
    let actions =
        [Action::Reset, Action::Shelve(7), Action::Unshelve, Action::OutOfService, Action::ReturnToService];
    for (place, action) in actions.iter().enumerate() {
        assert_eq!(postcard::to_slice(action, &mut [0; 8]).unwrap()[0], place as u8);
    }
}

fn example(name: &str) -> Worked {
    let is_it = |worked: &Worked| worked.pieces.iter().any(|piece| piece == name);
    worked().into_iter().find(is_it).expect("an example of each kind")
}

#[test]
fn statements_about_the_examples_hold() {
    let body = example("Curve").body;
    let Message::Curve(curve) = Frame::check::<SmallTable>(&body).unwrap().read::<Message>().unwrap().payload
    else {
        panic!("no curve")
    };
    let points =
        [(3071, Some(0)), (2559, Some(9000)), (2047, Some(9000)), (1791, Some(25_002)), (1535, None)];
    let points = points.map(|(window, settling)| CurvePoint { window, settling });
    assert_eq!(curve.points().collect::<Vec<_>>(), points);

    let body = example("Trace").body;
    let Message::Trace(trace) = Frame::check::<SmallTable>(&body).unwrap().read::<Message>().unwrap().payload
    else {
        panic!("no trace")
    };
    let listed =
        DOCUMENT.split("the readings (tick, command, feedback) are ").nth(1).unwrap().split('.').next();
    let listed: String = listed.unwrap().split_whitespace().collect::<Vec<_>>().join(" ").replace('−', "-");
    let form =
        |reading: Reading| format!("({}, {}, {})", reading.tick as i32, reading.command, reading.feedback);
    assert_eq!(trace.readings().map(form).collect::<Vec<_>>().join(", "), listed);

    let body = example("Move").body;
    let Message::Move(sent) = Frame::check::<SmallTable>(&body).unwrap().read::<Message>().unwrap().payload
    else {
        panic!("no move")
    };
    let record = stillpoint_core::Record::from(&sent);
    assert_eq!((record.settling, record.first_entry), (Some(31_250), Some(30_000)));
    assert_eq!((record.confirmation, record.stabilization), (Some(41_250), Some(1_250)));
    assert_eq!((record.settling_95, record.command_end), (80, 28_700_000));
}

#[test]
fn the_sizes_are_those_in_the_text() {
    assert_eq!((LONGEST_BODY, LONGEST_FRAME), (254, 256));
    assert!(DOCUMENT.contains("at most 254 bytes in every version") && DOCUMENT.contains("256 at most"));
}
