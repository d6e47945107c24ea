//! In: values of the watch over the moves, of alarms, and of what fields were appended for them. Out: their golden bytes.
#![allow(clippy::needless_update)]

use stillpoint_core::wire::alarm::{
    Action, Alarm, AlarmEvent, AlarmPriority, Arranged, Arrangement, Category, Subject,
};
use stillpoint_core::wire::command::{Act, Apply, Command, Declare};
use stillpoint_core::wire::drift::{Direction, Drift, Kind, Promise, Restart, RestartReason};
use stillpoint_core::wire::header::{self, Header, Priority};
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::record::Move;
use stillpoint_core::wire::settings::{DriftConfig, Parameters, Settings};

use super::{a_move, alarm, header, parameters};
use crate::{Golden, Golden as G};

fn proposed_parameters() -> Parameters {
    let watch = DriftConfig {
        false_alarms_per_axis_month_milli: 500,
        smallest_change_permille: 0,
        smallest_change: 2_000,
        moves_per_hour: 3_600,
        baseline: 0,
        ..Default::default()
    };
    Parameters { drift: watch, ..parameters() }
}

fn drift() -> Drift {
    Drift {
        axis: 1,
        kind: 4,
        number: 9_120,
        change: 3_100,
        score: 261,
        direction: Direction::Up,
        since: 3_040,
        smallest: 2_900,
        promise: Promise::Held,
        moves: 3_072,
        ..Default::default()
    }
}

fn an_alarm() -> Alarm {
    let (event, priority) = (AlarmEvent::AlarmOccurs, AlarmPriority::Medium);
    let category = Category::MaintenanceRequired;
    Alarm { value: 261, limit: 256, event, priority, category, kind: 4, ..alarm() }
}

fn kind() -> Kind {
    Kind {
        axis: 1,
        kind: 9,
        at: 4_570_000_000,
        forward: true,
        distance: 16_777_216,
        speed_distance: 310_000,
        speed_time: 2_000,
        instead_of: 2,
        moves: 31,
        ..Default::default()
    }
}

fn arrangement() -> Arrangement {
    Arrangement {
        axis: 1,
        subject: Subject::Drift,
        latching: true,
        on_delay: 0,
        off_delay: 5_000_000,
        re_alarm_time: 3_600_000_000,
        longest_shelving: 28_800_000_000,
        priority: AlarmPriority::High,
        ..Default::default()
    }
}

/// What a device says.
pub(super) fn messages() -> Vec<Golden<Message<'static>>> {
    let settings = Settings { refused: Some(1), parameters: proposed_parameters(), ..Default::default() };
    let restart =
        Restart { axis: 1, kind: 2, at: 4_570_000_000, why: RestartReason::Dropped, ..Default::default() };
    let arranged = Arranged { arrangement: arrangement(), refused: None, ..Default::default() };
    vec![
        G(
            "0511570b0201020103010110c0843dec15904ea09c01ffffffff0f0cff3fee050180808080040103f40305d0 \
             0f901c05a1215ad200",
            header(Priority::Move, 0),
            Message::Settings(settings),
        ),
        G(
            "0511570b0207ac020201393f1b8004a0c0cb0dc09a0ce0a712ffffff0f92f4012903c313a09c0118029c18c8 \
             dc03fff00483028003f0f512d00f045102d14f00",
            header(Priority::Move, 300),
            Message::Move(Move { kind: 4, ..a_move() }),
        ),
        G(
            "0511570b020da09c01050104a047b83085020ce017d4160480182d96a6c200",
            header(Priority::Move, 20_000),
            Message::Drift(drift()),
        ),
        G(
            "0501570b020505060301150180a8b0fe10a0478a048004010103040c1cf32500",
            header(Priority::Alarm, 5),
            Message::Alarm(an_alarm()),
        ),
        G(
            "0511570b021bb1020b010980d59283110180808008f0f512d00f021f2867b9aa00",
            header(Priority::Move, 305),
            Message::Kind(kind()),
        ),
        G(
            "0511570b0210b2020c010280d592831102335e533600",
            header(Priority::Move, 306),
            Message::Restart(restart),
        ),
        G(
            "0511570b0205b3020d01020110c096b10280c8ceb40d80c0f4a46b0205283d197d00",
            header(Priority::Move, 307),
            Message::Arranged(arranged),
        ),
    ]
}

/// What a host asks.
pub(super) fn commands() -> Vec<Golden<Command>> {
    let header = |sequence| Header {
        direction: header::Direction::FromHost,
        boot: 7,
        ..header(Priority::Alarm, sequence)
    };
    let apply = Apply { axis: 0, parameters: proposed_parameters(), ..Default::default() };
    let act = Act { alarm: 3, action: Action::Shelve(28_800_000_000) };
    vec![
        G(
            "038107010103010110c0843dec15904ea09c01ffffffff0f0cff3fee050180808080040103f40305d00f901c \
             05efe9379400",
            header(1),
            Command::Apply(apply),
        ),
        G("03810701010e0606030180c0f4a46b9b8c189800", header(6), Command::Act(act)),
        G(
            "03810701010907070104dfd20c1b00",
            header(7),
            Command::Declare(Declare { axis: 1, kind: 4, ..Default::default() }),
        ),
        G(
            "038107010104080801020114c096b10280c8ceb40d80c0f4a46b028b65f82400",
            header(8),
            Command::Arrange(arrangement()),
        ),
    ]
}
