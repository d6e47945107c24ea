//! Short shifts through firmware and frames, one axis wearing: the alarm is on that axis, and what the monitor sends
//! of drift is what the core gives for the same records.

use std::collections::BTreeSet;

use stillpoint::decode::{Decoder, DeviceEvent};
use stillpoint::source::rehearsal::monitor::{AxisInfo, Monitor};
use stillpoint::source::rehearsal::transplanter::{NAMES, axes_wearing};
use stillpoint_core::Record;
use stillpoint_core::drift::DriftSettings;
use stillpoint_core::wire::alarm::{Alarm, AlarmEvent, Subject};
use stillpoint_core::wire::drift::Drift;
use stillpoint_tests::shift::full::RATE;
use stillpoint_tests::shift::watched::Watched;

/// Long enough for every kind to have a baseline before wear shows. Unit: h
const HOURS: f64 = 0.4;

/// What a monitor sent in one shift.
#[derive(Default)]
struct Shift {
    /// By axis; each with the number of its kind.
    records: [Vec<(u32, Record)>; 3],
    drifts: Vec<Drift>,
    alarms: Vec<Alarm>,
}

fn shift(worn: &str) -> (Vec<AxisInfo>, Shift) {
    let axes = axes_wearing(|name| name == worn);
    let (mut monitor, known) = Monitor::with_axes(axes, 3, RATE, Some(HOURS)).expect("a machine");
    let (mut decoder, mut line, mut shift) = (Decoder::default(), vec![], Shift::default());
    let mut add = |event: DeviceEvent| match event {
        DeviceEvent::Move(message) => {
            shift.records[usize::from(message.axis)].push((message.kind, message.record))
        }
        DeviceEvent::Drift(drift) => shift.drifts.push(drift),
        DeviceEvent::Alarm(alarm) => shift.alarms.push(alarm),
        _ => (),
    };
    while monitor.seconds() < HOURS * 3600.0 {
        (0..RATE / 10).for_each(|_| _ = monitor.step(&mut line));
        decoder.push(&line, &mut add);
        line.clear();
    }
    monitor.finish(&mut line);
    decoder.push(&line, &mut add);
    decoder.finish(&mut add);
    (known, shift)
}

/// The findings of the core on the records of an axis, as a monitor sends them.
fn expected(axis: u8, known: &AxisInfo, records: &[(u32, Record)]) -> Vec<Drift> {
    let mut watched = Watched::new(known.settings, DriftSettings::at(known.settings.ticks_per_second));
    for (kind, record) in records {
        assert_eq!(watched.step(record).unwrap_or(0), *kind, "{} move {}", known.name, record.number);
    }
    let drifts = watched.seen.iter().flat_map(|(kind, seen)| {
        seen.findings.iter().map(move |reported| Drift {
            axis,
            kind: *kind,
            number: reported.number,
            change: reported.finding.change,
            score: reported.finding.score,
            direction: reported.finding.direction.into(),
            since: reported.finding.since,
            smallest: reported.finding.smallest,
            promise: reported.finding.promise.into(),
            moves: reported.moves,
            since_earliest: reported.finding.since_within.0,
            since_latest: reported.finding.since_within.1,
            middle: reported.finding.middle,
            returned: reported.finding.returned,
        })
    });
    drifts.collect()
}

#[test]
fn drift_is_alarmed_on_the_worn_axis_alone_and_reported_as_the_core_finds_it() {
    std::thread::scope(|scope| {
        for (worn, name) in NAMES.into_iter().enumerate() {
            scope.spawn(move || check(worn, name));
        }
    });
}

fn check(worn: usize, name: &str) {
    let (known, shift) = shift(name);
    let drifting = shift.drifts.iter().filter(|drift| drift.is_drift());
    let kinds: BTreeSet<(usize, u32)> = drifting.map(|drift| (usize::from(drift.axis), drift.kind)).collect();
    assert_eq!(kinds, BTreeSet::from([(worn, 1), (worn, 2)]), "{name} wears");
    let alarms = shift
        .alarms
        .iter()
        .filter(|alarm| alarm.subject == Subject::Drift && alarm.event == AlarmEvent::AlarmOccurs);
    let alarmed: BTreeSet<usize> = alarms.map(|alarm| usize::from(alarm.axis)).collect();
    assert_eq!(alarmed, BTreeSet::from([worn]), "{name} wears");
    for (axis, (known, records)) in (0..).zip(known.iter().zip(&shift.records)) {
        let mut sent: Vec<Drift> = shift.drifts.iter().filter(|drift| drift.axis == axis).copied().collect();
        sent.sort_by_key(|drift| drift.kind);
        assert_eq!(sent, expected(axis, known, records), "{name} wears, axis {axis}");
    }
    let moves: usize = shift.records.iter().map(Vec::len).sum();
    println!("{name} wears: {moves} moves, {} drifts sent", shift.drifts.len());
}
