//! In: the values of version 1, and those that version 2 appended. Out: the golden bytes of version 2.
//!
//! Version 2 is open: this file grows with it until a release closes it.

use stillpoint_core::wire::alarm::{Alarm, Subject};
use stillpoint_core::wire::command::{self, Apply, Command, Declare};
use stillpoint_core::wire::drift::{Baseline, Cause, Drift, Explained};
use stillpoint_core::wire::frame::Payload as _;
use stillpoint_core::wire::header::Header;
use stillpoint_core::wire::job;
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::record::Move;
use stillpoint_core::wire::ringing::Ringing;
use stillpoint_core::wire::settings::{Limits, Parameters, Settings};

use crate::{Golden, v01};

/// The frames of [`v01::messages`] as version 2 writes them, in the same order.
const MESSAGES: [&str; 16] = [
    "0502570b020101012f0102030405060708090a0b0972656865617273616c05302e312e300103c0843d01018080 \
     82e288d2a306907a0f0100",
    "0522570b0205390301390b01ff170701a94601837d05dd9688e500",
    "0532570b0209ffffffff0f0902390110f0ffffff0f904efc4d0a0bc801280203040307270a3e6d838700",
    "0572570b0205090902390110f0ffffff0f904efc4d0a0bc801280203040307270aee4bdb9900",
    "0512570b0212ad020401048095f52a960198f201949d0201010101057a697d9500",
    "0512570b0204ae0207010ac0a9070201608ca97800",
    "0512570b020daf02070103280c027edadf1600",
    "0512570b0207b0020a0104010e01920190018095f52ab4f669e500",
    "0522570b02083a0802c082ea0d020208053901d0d9110102010101040c031f03010405cb9b406f00",
    "0512570b0201020103010110c0843dec15904ea09c01ffffffff0f0cff3fee050180808080040103f40305d00f \
     901c010101010101010105cbd82b5200",
    "0512570b0207ac020201393f1b8004a0c0cb0dc09a0ce0a712ffffff0f92f4012903c313a09c0114029c18c8dc \
     03fff00483028003f0f512d00f04010101010101010101010105d10935de00",
    "0512570b020da09c01050104a047b830850208e017d4160480180101010522bfbda200",
    "0502570b020505060301150180a8b0fe10a0478a04800401010304f4f1a4d700",
    "0512570b021bb1020b010980d59283110180808008f0f512d00f021feb4a2d1900",
    "0512570b0210b2020c010280d592831102c1ea9b1f00",
    "0512570b0205b3020d01020110c096b10280c8ceb40d80c0f4a46b02050f3ac77f00",
];

/// The frames of [`v01::commands`].
const COMMANDS: [&str; 9] = [
    "03820701010101051d14e09f00",
    "03820701010d0202d7960801ad027236cc0e00",
    "03820701010903030102a474894300",
    "038207010108040403225ff74b00",
    "03820701010f05058085d6fd88d2a306c278decf00",
    "038207010103010110c0843dec15904ea09c01ffffffff0f0cff3fee050180808080040103f40305d00f901c01 \
     0101010101010105b2b9462e00",
    "03820701010e0606030180c0f4a46b40a979e400",
    "03820701010507070104051997422f00",
    "038207010104080801020114c096b10280c8ceb40d80c0f4a46b027388afd600",
];

/// What a device sends.
pub(crate) fn messages() -> Vec<Golden<Message<'static>>> {
    let as_before = as_version_2(v01::messages(), &MESSAGES);
    let header = as_before[0].1;
    let appended = [a_move(), settings(), baseline(), drift(), job(), explained(), alarm(), ringing()];
    let appended = APPENDED
        .iter()
        .zip(appended)
        .map(|(hex, message)| Golden(hex, Header { priority: message.priority(), ..header }, message));
    as_before.into_iter().chain(appended).collect()
}

/// Frames whose appended fields have values.
const APPENDED: [&str; 8] = [
    "0512570b0201050201393f1b8004a0c0cb0dc09a0ce0a712ffffff0f92f4012903c313a09c0113029c18c8dc03 \
     fff00483028003f0f512d00f1d8380808008051d8fc802c00c02b817e9207307b09f01c313a6d9016200",
    "0512570b0201030102020101010101010101010101010101010101130180dddb0180c007c0b802320a044a6f43 \
     8d00",
    "0512570b0201020401010101010fe0f30102c0caba150101143fd10800",
    "0512570b020106050104a047010103e01701010dc217ef1798f20101aa03ccb900",
    "0512570b02010e0e0180d5928311e920b51d924100",
    "0512570b0201140f0180d592831103e9209c02c6018c014e1c030101010bffff03feff031f2af31b00",
    "0502570b02010306090206010101010101010105f04dc4d900",
    "0522570b02010410023901010392410103803d0101023e0101023c0101023d058089436b032d0300",
];

fn a_move() -> Message<'static> {
    Message::Move(Move {
        flags2: 0x8000_0003,
        reasons2: 5,
        command_end_u: 29,
        settling_wider: -21_000,
        settling_narrower: 800,
        gaps: 2,
        longest_gap: 3000,
        job: 4201,
        shape: 0x73,
        turning_points: 7,
        turning_spacing: 20_400,
        cruise_lag: -1_250,
        ..v01::a_move()
    })
}

fn parameters() -> Parameters {
    let limits = Limits { settling: 40_000, settling_permille: 50, unsettled_permille: 10, kind: 4 };
    Parameters {
        synchronous: true,
        turn: 3_600_000,
        window_fraction: 128,
        baseline_minutes: 960,
        limits,
        ..Parameters::default()
    }
}

fn settings() -> Message<'static> {
    Message::Settings(Settings { axis: 2, refused: None, pending: true, parameters: parameters() })
}

fn baseline() -> Message<'static> {
    Message::Baseline(Baseline {
        settling_mean: 31_200,
        unsettled: 2,
        from: 45_000_000,
        median_is_empty: true,
        provisional: true,
        ..Baseline::default()
    })
}

fn drift() -> Message<'static> {
    Message::Drift(Drift {
        axis: 1,
        kind: 4,
        number: 9_120,
        since: 3_040,
        since_earliest: 3_010,
        since_latest: 3_055,
        middle: 31_000,
        returned: true,
        ..Drift::default()
    })
}

fn job() -> Message<'static> {
    Message::Job(job::Job { axis: 1, at: 4_570_000_000, number: 4_201 })
}

fn explained() -> Message<'static> {
    let permille = [142, 99, 70, 39, 14, -2, 0, 0, 0, 0, i16::MIN, i16::MAX];
    Message::Explained(Explained { axis: 1, at: 4_570_000_000, cause: Cause::Job, key: 4_201, permille })
}

fn ringing() -> Message<'static> {
    Message::Ringing(Ringing {
        axis: 2,
        number: 57,
        refusal: 0,
        frequency: 18.25,
        frequency_u: 0.0625,
        damping: 0.125,
        damping_u: 0.0078125,
        tail: 0.03125,
        amplitude: 275.0,
    })
}

fn alarm() -> Message<'static> {
    Message::Alarm(Alarm { alarm: 9, subject: Subject::UnsettledLimit, ..Alarm::default() })
}

/// What a host sends.
pub(crate) fn commands() -> Vec<Golden<Command>> {
    let as_before = as_version_2(v01::commands(), &COMMANDS);
    let header = as_before[0].1;
    let appended = [
        ("03820701010109070104019f7b65ea00", Command::Declare(Declare { axis: 1, kind: 4, add: true })),
        (
            "0382070101010909ffe92089cf591200",
            Command::Job(command::Job { axis: command::Job::ALL_AXES, number: 4_201 }),
        ),
        (
            "03820701010103010201010101010101010101010101010101130180dddb0180c007c0b802320a049af8eee700",
            Command::Apply(Apply { axis: 2, parameters: parameters() }),
        ),
    ];
    let appended = appended.map(|(hex, command)| Golden(hex, header, command));
    as_before.into_iter().chain(appended).collect()
}

fn as_version_2<P>(payloads: Vec<Golden<P>>, frames: &[&'static str]) -> Vec<Golden<P>> {
    assert_eq!(payloads.len(), frames.len(), "a payload of version 1 without its frame here");
    let pairs = payloads.into_iter().zip(frames);
    pairs
        .map(|(Golden(_, header, payload), hex)| Golden(hex, Header { version: 2, ..header }, payload))
        .collect()
}
