//! The alarm and its rates give what a slow and obvious twin gives, whatever happens.

use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;

use proptest::prelude::*;
use stillpoint_core::alarm::{Action, AlarmInstance, Answer, NEVER, Parameters, Settings, Side};
use stillpoint_core::alarm::{Event, State};
use stillpoint_tests::alarm::{Twin, after, rows};
use stillpoint_tests::alarm_rate::{AlarmRate, Annunciation, Period};
use stillpoint_tests::rounds::cases;

#[test]
fn the_twin_has_the_same_table() {
    assert_eq!(rows(State::after), rows(after));
}

/// An event of an alarm, and its delay after the event before. Unit: ticks
#[derive(Clone, Debug)]
enum Happening {
    Number(u64, i64),
    Time(u64),
    Hold(u64),
    Act(u64, Action),
}

fn happenings() -> impl Strategy<Value = Vec<Happening>> {
    let action = prop_oneof![
        4 => Just(Action::Acknowledge),
        2 => Just(Action::Reset),
        2 => prop_oneof![0..40_u64, Just(u64::MAX)].prop_map(Action::Shelve),
        1 => Just(Action::Unshelve),
        1 => Just(Action::SuppressByDesign),
        2 => Just(Action::Unsuppress),
        1 => Just(Action::OutOfService),
        2 => Just(Action::ReturnToService),
    ];
    let number = prop_oneof![9 => 5..15_i64, 1 => any::<i64>()];
    let happening = prop_oneof![
        6 => (0..4_u64, number).prop_map(|(wait, value)| Happening::Number(wait, value)),
        1 => (0..40_u64).prop_map(Happening::Time),
        2 => (0..8_u64).prop_map(Happening::Hold),
        2 => (0..4_u64, action).prop_map(|(wait, action)| Happening::Act(wait, action)),
    ];
    prop::collection::vec(happening, 0..200)
}

fn parameters() -> impl Strategy<Value = Parameters> {
    (8..12_i64, any::<bool>(), 0..3_i64, 0..5_u64, 0..5_u64, any::<bool>(), 0..20_u64, 0..30_u64).prop_map(
        |(limit, below, deadband, on_delay, off_delay, latching, re_alarm_time, longest_shelving)| {
            Parameters {
                limit,
                side: if below { Side::Below } else { Side::Above },
                deadband,
                on_delay,
                off_delay,
                latching,
                re_alarm_time,
                longest_shelving,
                ..Parameters::default()
            }
        },
    )
}

fn event(action: Action) -> (Event, u64) {
    match action {
        Action::Acknowledge => (Event::Acknowledge, 0),
        Action::Reset => (Event::Reset, 0),
        Action::Shelve(time) => (Event::Shelve, time),
        Action::Unshelve => (Event::Unshelve, 0),
        Action::SuppressByDesign => (Event::SuppressByDesign, 0),
        Action::Unsuppress => (Event::Unsuppress, 0),
        Action::OutOfService => (Event::OutOfService, 0),
        Action::ReturnToService => (Event::ReturnToService, 0),
    }
}

/// What must hold in every state, whatever led to it.
fn sound(point: &AlarmInstance, settings: &Settings, now: u64) -> Result<(), TestCaseError> {
    let abnormal = point.is_abnormal();
    match point.state() {
        State::Unacknowledged | State::Acknowledged => prop_assert!(abnormal),
        State::Shelved | State::SuppressedByDesign | State::OutOfService => (),
        _ => prop_assert!(!abnormal),
    }
    // Nothing comes by itself before it is due; then something does.
    let due = point.due(settings);
    for (at, changes) in [(due.saturating_sub(1).max(now), false), (due, true)] {
        if now < due && due < NEVER {
            let mut later = *point;
            let step = later.hold(settings, at);
            let turned = later.is_abnormal() != abnormal;
            prop_assert_eq!(step.is_some() || turned, changes, "held at {}, due at {}", at, due);
        }
    }
    // Shelved or not, after the longest shelving it is not, and it stands as the condition does.
    let mut later = *point;
    later.wait(settings, now + settings.longest_shelving);
    prop_assert_ne!(later.state(), State::Shelved);
    if point.state() == State::Shelved {
        prop_assert_eq!(later.state() == State::Unacknowledged, abnormal);
    }
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..cases(1000) })]

    #[test]
    fn an_alarm_never_leaves_its_table(parameters in parameters(), happenings in happenings()) {
        let settings = Settings::new(parameters).unwrap();
        let (mut point, mut twin) = (AlarmInstance::default(), Twin::new(parameters));
        let (mut now, mut last) = (0, None);
        for happening in happenings {
            let (from, due) = (point.state(), twin.due);
            let (step, expected) = match happening {
                Happening::Number(wait, value) => {
                    now += wait;
                    last = Some(value);
                    (point.step(&settings, value, now), twin.number(value, now))
                }
                Happening::Time(wait) => {
                    now += wait;
                    (point.wait(&settings, now), twin.time(now))
                }
                Happening::Hold(wait) => {
                    now += wait;
                    let expected = match last {
                        Some(value) => twin.number(value, now),
                        None => twin.time(now),
                    };
                    prop_assert_eq!(point.value(), last);
                    (point.hold(&settings, now), expected)
                }
                Happening::Act(wait, action) => {
                    now += wait;
                    let before = point;
                    let (event, time) = event(action);
                    let step = match point.act(&settings, action, now) {
                        Answer::Done(step) => Some(step),
                        Answer::Rejected(rejected) => {
                            prop_assert_eq!((rejected.action, rejected.state), (action, from));
                            prop_assert_eq!(point, before);
                            None
                        }
                    };
                    (step, twin.act(event, time, now))
                }
            };
            prop_assert_eq!(step.map(|step| step.state), expected);
            prop_assert_eq!((point.state(), point.is_abnormal()), (twin.state, twin.abnormal));
            if let Some(step) = step {
                prop_assert_eq!((step.from, step.at, step.limit), (from, now, parameters.limit));
                let table = after(from, step.event, parameters.latching, point.is_abnormal());
                prop_assert_eq!(table, Some(step.state));
                let early = step.event == Event::ShelvingExpired && due.is_none_or(|due| due > now);
                prop_assert!(!early, "expired before its time");
            }
            sound(&point, &settings, now)?;
        }
    }

    #[test]
    fn rates_are_those_of_counting_one_by_one(
        seconds in prop::collection::vec((0..12_000_u64, 0..3_u32, 0..400_000_u64), 0..300),
        from in 0..3000_u64,
        length in 1..8000_u64,
    ) {
        let given: Vec<Annunciation> = seconds.iter().map(|(at, alarm, stood)| Annunciation {
            at: Duration::from_secs(*at),
            alarm: *alarm,
            cleared: (*stood < 300_000).then(|| Duration::from_secs(at + stood)),
        }).collect();
        let period = Period { from: Duration::from_secs(from), until: Duration::from_secs(from + length) };
        let rate = AlarmRate::new(&given, period).unwrap();
        let times: Vec<u64> =
            seconds.iter().map(|one| one.0).filter(|at| (from..from + length).contains(at)).collect();
        let within = |from: u64, span: u64| times.iter().filter(|at| (from..from + span).contains(at)).count();
        let bins: Vec<usize> =
            (0..length.div_ceil(600)).map(|bin| within(from + bin * 600, 600)).collect();
        prop_assert_eq!(rate.total, times.len());
        prop_assert_eq!(rate.total + rate.outside, given.len());
        prop_assert_eq!(rate.most_in_10_min, times.iter().map(|at| within(*at, 600)).max().unwrap_or(0));
        prop_assert!(rate.most_in_10_min >= rate.most_in_a_bin);
        // A bin is in a flood if, going back, one over 10 comes before one under 5.
        let flooded = |bin: usize| {
            let decides = bins[..=bin].iter().rev().find(|count| **count > 10 || **count < 5);
            decides.is_some_and(|count| *count > 10)
        };
        for bin in 0..bins.len() {
            let found = rate.floods.iter().any(|flood| (flood.first..flood.end).contains(&bin));
            prop_assert_eq!(found, flooded(bin), "bin {}", bin);
        }
        let in_flood = (0..length).filter(|at| flooded((at / 600) as usize)).count();
        prop_assert!((rate.flood_time_percent - 100.0 * in_flood as f64 / length as f64).abs() < 1e-9);
        prop_assert_eq!(rate.bins, bins);
        prop_assert_eq!(rate.by_alarm.iter().map(|alarm| alarm.1).sum::<usize>(), rate.total);
        for alarm in 0..3 {
            let times = || seconds.iter().filter(|one| one.1 == alarm).map(|one| one.0);
            let inside = || times().filter(|at| (from..from + length).contains(at));
            let most = inside().map(|at| inside().filter(|other| (at..at + 60).contains(other)).count()).max();
            let found = rate.chattering.iter().find(|one| one.0 == alarm).map(|one| one.1);
            prop_assert_eq!(found, most.filter(|most| *most >= 3));
        }
    }

    #[test]
    fn stale_alarms_are_those_of_looking_every_hour(
        hours in prop::collection::vec((0..400_u64, 0..6_u32, 0..100_u64), 0..20),
        from in 0..300_u64,
        length in 1..200_u64,
    ) {
        let hour = |hour: u64| Duration::from_secs(hour * 3600);
        let given: Vec<Annunciation> = hours.iter().map(|(at, alarm, stood)| Annunciation {
            at: hour(*at),
            alarm: *alarm,
            cleared: (*stood < 90).then(|| hour(at + stood)),
        }).collect();
        let stands = |alarm: u32, now: u64| hours.iter().any(|(at, one, stood)| {
            *one == alarm && *at <= now && (now < at + stood || *stood >= 90)
        });
        // Raised at the very instant it clears, it stands anew.
        let joined = |alarm: u32, now: u64| now > 0 && stands(alarm, now - 1) && hours.iter().any(|(at, one, stood)| {
            *one == alarm && *at < now && (now < at + stood || *stood >= 90)
        });
        let mut days = BTreeMap::<u64, BTreeSet<u32>>::new();
        for alarm in 0..6 {
            let mut stood = 0;
            for now in 0..from + length {
                stood = if !stands(alarm, now) { 0 } else if joined(alarm, now) { stood + 1 } else { 1 };
                // In its 25th hour.
                if stood > 24 && now >= from {
                    days.entry((now - from) / 24).or_default().insert(alarm);
                }
            }
        }
        let period = Period { from: hour(from), until: hour(from + length) };
        let rate = AlarmRate::new(&given, period).unwrap();
        let alarms: BTreeSet<u32> = rate.stale.iter().map(|one| one.alarm).collect();
        prop_assert_eq!(alarms, days.values().flatten().copied().collect());
        prop_assert_eq!(rate.most_stale_on_a_day, days.values().map(|day| day.len()).max().unwrap_or(0));
    }
}
