//! The rehearsal: records that come through firmware, frames and decoder equal those of `measure` on the
//! same samples, and those of the slow twin, a whole-array calculation that shares no code with the core.

use std::fmt::Write as _;

use stillpoint::decode::{DecodedMove, Decoder, DeviceEvent};
use stillpoint::measure::MeasureOptions;
use stillpoint::source::rehearsal::monitor::{AxisInfo, Monitor};
use stillpoint::trace::Choice;
use stillpoint::trace::choice::fraction;
use stillpoint_core::{Parameters, Reading};
use stillpoint_tests::recording::{measured, options};
use stillpoint_tests::run::run;
use stillpoint_tests::twin::{TwinSettings, Whole};

const RATE: u32 = 4000;
const SECONDS: f64 = 60.0;

/// Everything one minute of a shift gives: moves by axis, and the readings they were made of.
fn shift() -> (Vec<AxisInfo>, Vec<Vec<DecodedMove>>, Vec<Vec<Reading>>) {
    let (mut monitor, known) = Monitor::new(7, RATE, Some(SECONDS / 3600.0)).expect("a machine");
    let (mut decoder, mut line) = (Decoder::default(), vec![]);
    let (mut moves, mut readings) = (vec![vec![]; known.len()], vec![vec![]; known.len()]);
    let mut decode = |decoder: &mut Decoder, line: &mut Vec<u8>| {
        decoder.push(line, &mut |event| {
            if let DeviceEvent::Move(message) = event {
                moves[usize::from(message.axis)].push(*message);
            }
        });
        line.clear();
    };
    while monitor.seconds() < SECONDS {
        for (readings, reading) in readings.iter_mut().zip(monitor.step(&mut line)) {
            readings.push(reading);
        }
        decode(&mut decoder, &mut line);
    }
    monitor.finish(&mut line);
    decode(&mut decoder, &mut line);
    decoder.finish(&mut |event| assert!(!matches!(event, DeviceEvent::Move(_)), "a move without its curve"));
    let counts = decoder.counts();
    assert_eq!((counts.lost, counts.corrupt, counts.unreadable, counts.duplicates), (0, 0, 0, 0));
    (known, moves, readings)
}

/// As `--save-samples` writes it.
fn saved(known: &AxisInfo, readings: &[Reading]) -> std::path::PathBuf {
    let mut text = String::from("t_s,command,feedback\n");
    for (k, reading) in readings.iter().enumerate() {
        let second = k as f64 / f64::from(RATE);
        writeln!(text, "{second:.6},{},{}", reading.command, reading.feedback).expect("a string");
    }
    let path = std::env::temp_dir().join(format!("stillpoint-{}-{}.csv", known.name, std::process::id()));
    std::fs::write(&path, text).expect("a file is written");
    path
}

#[test]
fn device_measure_and_twin_agree() {
    let (known, moves, readings) = shift();
    for ((known, moves), readings) in known.iter().zip(&moves).zip(&readings) {
        assert!(moves.len() > 100, "{}: {} moves", known.name, moves.len());
        let path = saved(known, readings);
        // The window of the machine is no whole number of counts.
        let parts = u64::from(known.settings.window) * 256 + u64::from(known.settings.window_fraction);
        let window = format!("{parts}/256");
        let choice = Choice { counts_per_unit: fraction("", "1").ok(), ..Choice::default() };
        let found = measured(&path, &MeasureOptions { synchronous: false, ..options(&window) }, &choice);
        std::fs::remove_file(&path).ok();
        let lines = found.expect("the samples can be measured").0;
        assert_eq!(lines.len(), moves.len(), "{}", known.name);
        let per_second = f64::from(known.settings.ticks_per_second);
        for (line, message) in lines.iter().zip(moves) {
            let record = &message.record;
            let what = format!("{} move {}", known.name, line.number);
            let seconds = |ticks: Option<u32>| ticks.map(|ticks| f64::from(ticks) / per_second);
            assert_eq!(line.settling_s, seconds(record.settling), "{what}");
            assert_eq!(
                line.settling_u_s,
                record.settling.map(|_| f64::from(record.settling_u) / per_second),
                "{what}"
            );
            assert_eq!(line.outcome, record.outcome, "{what}");
            assert_eq!(line.stabilization_s, seconds(record.stabilization), "{what}");
            assert_eq!(line.overshoot, f64::from(record.overshoot), "{what}");
            assert_eq!(
                line.rest_noise_rms,
                record.rest_noise_rms.map(|rms| f64::from(rms) / 256.0),
                "{what}"
            );
            let curve: Vec<(f64, Option<f64>)> = message
                .curve
                .iter()
                .map(|point| (f64::from(point.window), seconds(point.settling)))
                .collect();
            // A report has the set window among its points.
            let others = |points: &[(f64, Option<f64>)]| {
                points.iter().copied().filter(|point| point.0 != line.window).collect::<Vec<_>>()
            };
            assert_eq!(others(&line.settling_curve), others(&curve), "{what}");
        }
        agrees_with_the_twin(known, moves, readings);
        println!("ran rehearsal: {}, {} moves", known.name, moves.len());
    }
}

fn agrees_with_the_twin(known: &AxisInfo, moves: &[DecodedMove], readings: &[Reading]) {
    let period = known.settings.ticks_per_second / RATE;
    let settings = TwinSettings {
        window: i64::from(known.settings.window),
        window_time: i64::from(known.settings.window_time / period),
    };
    // In samples, so that the twin's time stamps count samples too.
    let numbered: Vec<Reading> =
        readings.iter().zip(0..).map(|(reading, tick)| Reading { tick, ..*reading }).collect();
    let whole = Whole::new(&numbered);
    let twins = whole.moves(settings, (known.settings.rest_time / period) as usize);
    assert_eq!(twins.len(), moves.len(), "{}", known.name);
    // The twin counts from the sample that shows the final command, as on a shared clock.
    let shared = Parameters { synchronous: true, ..*known.settings };
    let in_ticks =
        readings.iter().zip(0_u32..).map(|(reading, k)| Reading { tick: k.wrapping_mul(period), ..*reading });
    let on_shared_clock = run(shared, in_ticks).moves;
    assert_eq!(twins.len(), on_shared_clock.len(), "{}", known.name);
    for ((twin, message), shared) in twins.iter().zip(moves).zip(&on_shared_clock) {
        let record = &message.record;
        let what = format!("{} move {}", known.name, record.number);
        assert_eq!(record.outcome.word(), twin.outcome, "{what}");
        assert_eq!(record.command_end, twin.command_end as u64 * u64::from(period), "{what}");
        assert_eq!(i64::from(record.overshoot), twin.overshoot, "{what}");
        let entry = twin.last_entry.filter(|_| twin.outcome == "settled");
        let latest = entry.map(|entry| (entry - twin.command_end) as u32 * period);
        let between = match (shared.record.settling, latest) {
            (Some(found), Some(latest)) => found <= latest && found + period >= latest,
            (found, latest) => found.is_none() && latest.is_none(),
        };
        assert!(between, "{what}: {:?}, twin {latest:?}", shared.record.settling);
    }
}
