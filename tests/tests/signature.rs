//! The signature of simulated stops whose cause is known, because each is simulated with and without it.
//!
//! Bars: 95 of 100 dominated stops are named rightly and 2 wrongly at most, of each signature 88 rightly; 60 of 100 mixed
//! stops get an advice, and 80 of 100 of those would have been helped by it. `tests/src/stops/caused` has the axes.
//! Real recordings have no known cause: what is said of them is listed, as it was when each was looked at.

use std::collections::BTreeMap;

use stillpoint::report::move_report::MoveReport;
use stillpoint_core::Signature;
use stillpoint_tests::chance::Chance;
use stillpoint_tests::published::path;
use stillpoint_tests::recording::{moves, options};
use stillpoint_tests::rounds::{rounds, seed};
use stillpoint_tests::signature_twin::{cruise_lag, turning_points};
use stillpoint_tests::stops::caused::table::{Judged, Table};

/// Drawn after the last change of rules, truth and axes.
const SEED: u64 = 2_148_717;

#[test]
fn stops_have_the_signature_of_their_cause() {
    let table = Table::new(seed(SEED), rounds(840) as usize);
    println!("{table}");
    let (all, right, wrong) = table.dominated();
    assert!(
        all > 500 && right * 100 >= all * 95 && wrong * 100 <= all * 2,
        "{right} right, {wrong} wrong of {all}"
    );
    for truth in &Signature::ALL[..7] {
        let (all, right, _) = table.of(*truth);
        assert!(all >= 25 && right * 100 >= all * 88, "{truth:?}: {right} of {all}");
    }
    let (mixed, advised, helped) = table.mixed();
    assert!(advised * 100 >= mixed * 60, "advice in {advised} of {mixed}");
    assert!(helped * 100 >= advised * 80, "helped {helped} of {advised}");
}

/// The same numbers from the stored samples.
#[test]
fn the_features_of_a_record_are_those_of_its_samples() {
    let (mut chance, mut lags, mut turns) = (Chance::new(seed(77)), 0, 0);
    for judged in (0..rounds(210) as usize).filter_map(|number| Judged::draw(number, &mut chance)) {
        let (record, parameters) = (&judged.record, &judged.stop.parameters);
        let period = f64::from(judged.stop.readings[1].tick - judged.stop.readings[0].tick);
        let expected = cruise_lag(&judged.stop.readings).map(|samples| samples * period);
        assert_eq!(record.cruise_lag.is_some(), expected.is_some());
        if let (Some(lag), Some(expected)) = (record.cruise_lag, expected) {
            let away = (f64::from(lag) - expected).abs();
            assert!(away <= 2.0 + 0.01 * expected.abs(), "cruise lag {lag}, by the samples {expected}");
            lags += 1;
        }
        // Where noise is above the hysteresis, the larger one counts: either must agree.
        let fine = (parameters.window / 2).max(3);
        let found =
            [fine, 2 * fine].map(|hysteresis| turning_points(&judged.stop.readings, parameters, hysteresis));
        assert!(
            found.contains(&record.turning_points),
            "{} turning points, {found:?}",
            record.turning_points
        );
        turns += u32::from(record.turning_points > 2);
    }
    assert!(lags > 150 && turns > 20, "{lags} lags, {turns} stops with turning points");
}

/// What is said of the moves of each recording, with a window of 5 counts (6 for `pid_step`).
const SAID: [(&str, &str); 50] = [
    ("07_r01__0p0020_0p0060_0p0000_2000_2", "offset"),
    ("07_r01__0p0040_0p0060_0p0000_2000_2", "creep"),
    ("07_r01__0p0060_0p0060_0p0000_2000_2", "creep"),
    ("07_r01__0p0080_0p0060_0p0000_2000_2", "creep"),
    ("07_r01__0p0100_0p0060_0p0000_2000_2", "offset"),
    ("07_r02__0p0100_0p0060_0p0000_2000_2", "offset"),
    ("07_r02__0p0100_0p0100_0p0000_2000_2", "offset"),
    ("07_r02__0p0100_0p0200_0p0000_2000_2", "creep"),
    ("07_r02__0p0100_0p0300_0p0000_2000_2", "creep"),
    ("07_r02__0p0100_0p0400_0p0000_2000_2", "ringing"),
    ("07_r03__0p0100_0p0400_0p0000_2000_2", "offset"),
    ("07_r03__0p0100_0p0400_0p0001_2000_2", "creep"),
    ("07_r03__0p0100_0p0400_0p0002_2000_2", "creep"),
    ("07_r03__0p0100_0p0400_0p0004_2000_2", "creep"),
    ("07_r04__0p0100_0p0400_0p0001_2000_2", "creep"),
    ("07_r04__0p0200_0p0400_0p0001_2000_2", "creep"),
    ("07_r04__0p0400_0p0400_0p0001_2000_2", "offset"),
    ("07_r04__0p0800_0p0400_0p0001_2000_2", "ringing"),
    ("07_r05__0p0400_0p0400_0p0001_2000_2", "ringing"),
    ("07_r05__0p0400_0p1000_0p0001_2000_2", "ringing"),
    ("07_r05__0p0400_0p2000_0p0001_2000_2", "ringing"),
    ("07_r05__0p0400_0p4000_0p0001_2000_2", "ringing"),
    ("07_r06__0p0400_0p1000_0p00002_2000_2", "ringing"),
    ("07_r06__0p0400_0p1000_0p00005_2000_2", "ringing"),
    ("07_r06__0p0400_0p1000_0p0001_2000_2", "ringing"),
    ("07_r06__0p0400_0p1000_0p0002_2000_2", "creep"),
    ("07_r06__0p0400_0p2000_0p0001_2000_2", "ringing"),
    ("07_r06__0p0400_0p2000_0p0002_2000_2", "creep"),
    ("07_r06__0p0400_0p2000_0p0004_2000_2", "creep"),
    ("07_r06__0p0400_0p2000_0p0008_2000_2", "creep"),
    ("07_r07__0p0400_0p2000_0p0002_1000_2", "overshoot"),
    ("07_r07__0p0400_0p2000_0p0002_2000_2", "creep"),
    ("07_r07__0p0400_0p2000_0p0002_3000_2", "creep"),
    ("07_r07__0p0400_0p2000_0p0002_3500_2", "creep"),
    ("07_r07__0p0400_0p2000_0p0002_4000_2", "ringing"),
    ("07_rold__10_10_001_1000_2000", "ringing"),
    ("07_rold__10_10_002_1000_2000", "overshoot"),
    ("07_rold__10_10_004_1000_2000", "offset"),
    ("07_rold__10_10_0_1000_2000", "ringing"),
    ("07_rold__10_10_1_1000_2000", "offset"),
    ("07_rold__10_20_004_1000_2000", "creep"),
    ("07_rold__10_20_0_1000_2000", "ringing"),
    ("07_rold__10_20_0_1000_2940", "overshoot"),
    ("07_rold__10_30_0_1000_2000", "ringing"),
    ("07_rold__10_40_004_1000_2000", "overshoot"),
    ("07_rold__10_60_004_1000_2000", "overshoot"),
    ("07_rold__15_10_0_1000_2000", "ringing"),
    ("07_rold__20_10_0_1000_2000", "ringing"),
    ("07_rold__20_20_0_1000_2000", "ringing"),
    ("pid_step", "creep unsure creep creep creep creep creep creep"),
];

#[test]
fn real_recordings_are_called_what_they_were_called_when_they_were_looked_at() {
    let mut said = BTreeMap::new();
    for (folder, window) in [("recordings/geared-motor", "5"), ("recordings/step-drive", "6")] {
        let files =
            std::fs::read_dir(path(folder)).expect("a folder").map(|entry| entry.expect("an entry").path());
        for file in files.filter(|file| file.extension().is_some_and(|extension| extension == "csv")) {
            let word = |line: &MoveReport| line.signature.clone().unwrap_or_else(|| "none".to_owned());
            let words: Vec<String> = moves(&file, &options(window)).iter().map(word).collect();
            let name = file.file_stem().expect("a name").to_string_lossy().into_owned();
            println!("ran {name}: {}", words.join(" "));
            said.insert(name, words.join(" "));
        }
    }
    let expected = SAID.map(|(name, words)| (name.to_owned(), words.to_owned()));
    assert_eq!(said, BTreeMap::from(expected));
}
