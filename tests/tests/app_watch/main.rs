//! Kinds, baselines and drift through real bytes: what the monitor reports and when; the core gives the same for the
//! same moves.

use stillpoint_core::drift::LIMIT;
use stillpoint_core::wire::alarm::{Action, AlarmState, Subject};
use stillpoint_core::wire::command::{Act, Command, Declare};
use stillpoint_core::wire::drift::{Baseline, Direction, Drift, Promise, RestartReason};
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::settings::DriftConfig;
use stillpoint_core::wire::status::Reset;
use stillpoint_core::{Outcome, Parameters, Settings};
use stillpoint_firmware::app::{App, Identity};
use stillpoint_firmware::memory::MemoryFlash;
use stillpoint_firmware::store::Store;
use stillpoint_tests::emulator::{image, printed};

use machine::{
    BASELINE, Machine, TRAVELS, alarms, apply, baselines, drift_config, drifts, kinds, moves, parameters,
    restarts, select,
};
use twin::twin;

mod machine;
mod twin;

#[test]
fn kinds_are_reported_once_and_their_numbers_are_never_reused() {
    let mut machine = Machine::new();
    let received = machine.rounds(40, |_| Some(40));
    let met: Vec<_> = kinds(&received).iter().map(|kind| (kind.kind, kind.forward, kind.distance)).collect();
    assert_eq!(met, [(1, true, 10_000), (2, true, 5_000), (3, false, 15_000)]);
    for (kind, record) in moves(&received) {
        let place = TRAVELS.iter().position(|travel| *travel == record.travel).expect("a travel of the axis");
        assert_eq!(kind, place as u32 + 1, "{record:?}");
    }
    let first = |wanted: &dyn Fn(&Message) -> bool| received.iter().position(|(_, message)| wanted(message));
    let met = first(&|message| matches!(message, Message::Kind(kind) if kind.kind == 2));
    let moved = first(&|message| matches!(message, Message::Move(sent) if sent.kind == 2));
    assert!(met.is_some() && met < moved, "the kind is reported before its first move");

    // Twelve new kinds, six travels out and back: each replaces the kind unseen for longest once eight are known.
    for travel in 1..=6 {
        machine.step(travel * 40_000, Some(40), true);
        machine.step(travel * -40_000, Some(40), true);
    }
    machine.step(TRAVELS[0], Some(40), true);
    let received = std::mem::take(&mut machine.received);
    let new = kinds(&received);
    assert_eq!(new.iter().map(|kind| kind.kind).collect::<Vec<_>>(), (4..=15).collect::<Vec<_>>());
    let gone: Vec<u32> = new.iter().map(|kind| kind.instead_of).collect();
    assert_eq!(gone, [0, 0, 0, 0, 0, 1, 2, 3, 4, 5, 6, 7], "the first kind was seen first");
    assert_eq!(new[5].moves, 40);
    let dropped: Vec<_> = restarts(&received).iter().map(|restart| (restart.kind, restart.why)).collect();
    assert_eq!(dropped, (1..=7).map(|kind| (kind, RestartReason::Dropped)).collect::<Vec<_>>());
}

#[test]
fn a_slowdown_is_drift_and_an_alarm_on_its_kind_and_no_other() {
    let mut machine = Machine::new();
    let received = machine.rounds(200, |_| Some(40));
    assert!(alarms(&received).is_empty() && drifts(&received).iter().all(|drift| !drift.is_drift()));
    let full = baselines(&received);
    assert_eq!(
        full.iter().map(|baseline| (baseline.kind, baseline.moves >= BASELINE)).collect::<Vec<_>>(),
        [1, 2, 3].map(|kind| (kind, true))
    );
    let spans = full.iter().map(|baseline| (baseline.at - baseline.from) / 1_000_000);
    assert!(spans.clone().all(|seconds| (60..75).contains(&seconds)), "{:?}", spans.collect::<Vec<_>>());
    let means = full.iter().map(|baseline| baseline.settling_mean.abs_diff(baseline.settling_median));
    assert!(means.max() < Some(2_000) && full.iter().all(|baseline| baseline.unsettled == 0), "{full:?}");
    assert!(full.iter().all(|baseline| baseline.settling_median.abs_diff(40_000) < 8_000), "{full:?}");

    // The promise of a kind may change, too.
    let begun_or_ended = |received: &[_]| {
        let mut drifts = drifts(received);
        drifts.retain(|drift| drift.is_drift() || drift.returned);
        drifts
    };
    let received = machine.rounds(60, |_| Some(52));
    let [drift] = begun_or_ended(&received)[..] else { panic!("{:?}", drifts(&received)) };
    assert_eq!((drift.kind, drift.direction, drift.is_drift()), (2, Direction::Up, true));
    assert!(drift.since.abs_diff(200) <= 24 && drift.moves < 260, "{drift:?}");
    assert!((4_000..=16_000).contains(&drift.change), "{drift:?}");
    let [alarm] = alarms(&received)[..] else { panic!("{:?}", alarms(&received)) };
    assert_eq!((alarm.subject, alarm.kind, alarm.limit), (Subject::Drift, 2, LIMIT.into()));
    assert_eq!((alarm.state, alarm.value), (AlarmState::Unacknowledged, drift.score.into()));
    assert_eq!(alarm.number, drift.number);

    // Put right again: the alarm ends when the drift does.
    let received = machine.rounds(100, |_| Some(40));
    let [drift] = begun_or_ended(&received)[..] else { panic!("{:?}", drifts(&received)) };
    assert!(drift.kind == 2 && drift.returned && !drift.is_drift(), "{drift:?}");
    let [alarm] = alarms(&received)[..] else { panic!("{:?}", alarms(&received)) };
    assert_eq!((alarm.alarm, alarm.state), (1, AlarmState::ReturnedToNormalUnacknowledged));
    assert!(alarm.value < LIMIT.into(), "{alarm:?}");
}

#[test]
fn moves_that_never_settle_count() {
    let mut machine = Machine::new();
    machine.rounds(200, |_| Some(40));
    let received = machine.rounds(40, |round| (round % 2 == 0).then_some(40));
    assert!(moves(&received).iter().any(|(kind, record)| (*kind, record.outcome) == (2, Outcome::Unsettled)));
    let drifts = drifts(&received);
    assert!(drifts.iter().any(|drift| drift.kind == 2 && drift.is_drift()), "{drifts:?}");
    assert!(drifts.iter().all(|drift| drift.kind == 2));
    assert!(alarms(&received).iter().any(|alarm| alarm.subject == Subject::Drift));
}

#[test]
fn a_missing_baseline_is_reported() {
    let mut machine = Machine::new();
    let received = machine.rounds(40, |_| None);
    let reported: Vec<_> =
        drifts(&received).iter().map(|drift| (drift.kind, drift.promise, drift.moves)).collect();
    assert_eq!(reported, [(2, Promise::NoBaseline, 32)]);
}

#[test]
fn what_is_declared_good_is_learnt_anew() {
    let mut machine = Machine::new();
    machine.rounds(200, |_| Some(40));
    assert!(drifts(&machine.rounds(60, |_| Some(52))).iter().any(Drift::is_drift));
    let declare = |kind| Command::Declare(Declare { axis: 0, kind, add: false });
    assert!(
        machine.monitor.send(&declare(7)).iter().all(|(_, message)| !matches!(message, Message::Restart(_)))
    );
    let received = machine.monitor.send(&declare(2));
    let [restart] = restarts(&received)[..] else { panic!("{received:?}") };
    assert_eq!((restart.kind, restart.why), (2, RestartReason::Declared));
    assert_eq!(alarms(&received)[0].state, AlarmState::ReturnedToNormalUnacknowledged);
    let received = machine.rounds(200, |_| Some(52));
    assert!(drifts(&received).iter().all(|drift| !drift.is_drift()), "{:?}", drifts(&received));
    let [baseline] = baselines(&received)[..] else { panic!("{:?}", baselines(&received)) };
    assert!(baseline.kind == 2 && baseline.settling_median > 46_000, "{baseline:?}");
    let received = machine.monitor.send(&declare(0));
    assert_eq!(
        restarts(&received).iter().map(|restart| (restart.kind, restart.why)).collect::<Vec<_>>(),
        [(0, RestartReason::Declared)]
    );
    let received = machine.rounds(200, |_| Some(52));
    assert_eq!(baselines(&received).len(), 3);
    assert!(alarms(&machine.monitor.send(&Command::Act(Act { alarm: 1, action: Action::Reset }))).is_empty());
}

#[test]
fn other_settings_begin_the_watch_anew_and_bad_ones_are_refused_by_name() {
    let mut machine = Machine::new();
    machine.rounds(50, |_| Some(40));
    for (config, name) in [
        (DriftConfig { baseline: 47, ..drift_config() }, "baseline"),
        (
            DriftConfig { false_alarms_per_axis_month_milli: u32::MAX, ..drift_config() },
            "false_alarms_per_axis_month",
        ),
        (DriftConfig { smallest_change_permille: 10_001, ..drift_config() }, "smallest_change_permille"),
        (DriftConfig { smallest_change: u32::MAX, ..drift_config() }, "smallest_change"),
        (DriftConfig { moves_per_hour: 1_000_001, ..drift_config() }, "moves_per_hour"),
    ] {
        let received = machine.monitor.send(&apply(config, parameters()));
        let names = select(&received, |message| {
            if let Message::Settings(settings) = message { settings.refused_name() } else { None }
        });
        assert_eq!(names, [name]);
    }
    assert_eq!(restarts(&machine.rounds(1, |_| Some(40))), [], "refused settings change nothing");
    for (config, parameters) in [
        (drift_config(), Parameters { window: 60, ..parameters() }),
        (DriftConfig { baseline: 80, ..drift_config() }, Parameters { window: 60, ..parameters() }),
    ] {
        assert_eq!(restarts(&machine.monitor.send(&apply(config, parameters))), []);
        let received = machine.rounds(200, |_| Some(40));
        let why: Vec<_> = restarts(&received).iter().map(|restart| (restart.kind, restart.why)).collect();
        assert_eq!(why, [(0, RestartReason::Settings)]);
        assert_eq!(baselines(&received).len(), 3);
        assert_eq!(kinds(&received), [], "kinds stay what they are");
    }
}

#[test]
fn the_core_gives_the_same_for_the_same_moves() {
    let mut machine = Machine::new();
    let mut received = machine.rounds(400, |round| if round < 300 { Some(40) } else { Some(50) });
    received.extend(machine.monitor.finish());
    let expected = twin(&moves(&received));
    let found = select(&received, |message| match message {
        Message::Drift(drift) => Some(Message::Drift(*drift)),
        Message::Baseline(baseline) => Some(Message::Baseline(Baseline { at: 0, ..*baseline })),
        _ => None,
    });
    assert!(found.iter().any(|message| matches!(message, Message::Baseline(found) if found.provisional)));
    assert_eq!(found, expected);
    let promises: Vec<Promise> = drifts(&received).iter().map(|drift| drift.promise).collect();
    assert!(promises.contains(&Promise::Short) || promises.contains(&Promise::Held), "{promises:?}");
}

/// For thirty moves nothing is transmitted and no time remains: their evidence is not lost.
#[test]
fn moves_that_find_the_queue_full_are_judged_all_the_same() {
    let full = |silent: u32| {
        let mut machine = Machine::new();
        for round in 0..BASELINE + 70 {
            for travel in TRAVELS {
                machine.step(travel, Some(40), !(30..30 + silent).contains(&round));
            }
        }
        baselines(&machine.received)
    };
    assert_eq!(full(10), full(0));
}

#[test]
fn drift_settings_outlive_a_restart() {
    let mut flash = vec![0xFF; 16 * 4096];
    let identity = Identity { device: [0; 12], board: "test", reset: Reset::PowerOn, period: 1000 };
    let settings = Settings::new(parameters()).expect("settings");
    let mut app: App<1, _> =
        App::new(identity, [settings], MemoryFlash::with_content(&mut flash[..])).expect("the flash opens");
    app.receive(&stillpoint::command::CommandEncoder::new(1).encode(&apply(drift_config(), parameters())));
    drop(app);
    let store = Store::open(MemoryFlash::with_content(&mut flash[..])).expect("the flash opens");
    let stored = store.saved_settings(0).expect("settings were stored").drift;
    let defaults = DriftConfig { smallest_change_permille: 100, smallest_change: 2000, ..drift_config() };
    assert_eq!(stored, defaults, "open settings are stored as the defaults they resolve to");
}

/// Instructions on a Cortex-M4F, ±40, as they stand in core/METHOD.md. The kind is found within a tick, whose bar
/// is 2,000; the others between ticks.
#[test]
fn no_more_instructions_than_are_written_down() {
    let Some(image) = image("count_watch") else { return };
    let text = printed(&image);
    for (name, most) in [
        ("worst_kind_of_8_instructions", 1_200),
        ("worst_kind_of_16_instructions", 1_640),
        ("worst_drift_instructions", 20_200),
    ] {
        let found = text.lines().find_map(|line| line.strip_prefix(name)?.trim().parse::<u32>().ok());
        let found = found.unwrap_or_else(|| panic!("{name} is not printed: {text}"));
        println!("ran {name} {found}, at most {most}");
        assert!(found <= most, "{name}: {found} is more than {most}");
    }
}
