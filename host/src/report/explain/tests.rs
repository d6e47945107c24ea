//! In: invented moves of each signature. Out: whether the words about them are those that were last read.

use jiff::tz::TimeZone;
use stillpoint_core::Outcome;

use super::table::table;
use super::{AxisMoves, Explained};
use crate::report::fixture;
use crate::report::kind_moves;
use crate::report::move_report::MoveReport;

/// Texts that were read; each begins with a line `== signature`.
const GOLDEN: &str = include_str!("golden.txt");

/// Moves there and, if `back`, back in turn, each changed by `change`, which is given a number that scatters about 1.
fn axis_of(back: bool, count: u32, signature: &str, change: impl Fn(&mut MoveReport, f64)) -> AxisMoves {
    let one = |number: u32| {
        let scatter = 1.0 + 0.002 * (f64::from(number * 37 % 23) - 11.0);
        let mut report = MoveReport {
            signature: Some(signature.to_owned()),
            travel: if back && number.is_multiple_of(2) { -60.0 } else { 60.0 },
            ringing_hz: None,
            ringing_u_hz: None,
            damping_ratio: None,
            overshoot: 0.0,
            window_entries: 1,
            rest_error: Some(0.0),
            rest_noise_rms: Some(0.001),
            ..fixture::report(number, Some(0.06 * scatter))
        };
        change(&mut report, scatter);
        report
    };
    AxisMoves {
        name: "tray shuttle".to_owned(),
        moves: (1..=count).map(one).collect(),
        encoder_step: 0.001,
        note: None,
    }
}

/// The same, all forward.
fn axis(count: u32, signature: &str, change: impl Fn(&mut MoveReport, f64)) -> AxisMoves {
    axis_of(false, count, signature, change)
}

/// A move that did not settle.
fn unsettled(report: &mut MoveReport) {
    (report.outcome, report.settling_s) = (Outcome::Unsettled, None);
    (report.settling_u_s, report.confirmation_s) = (None, None);
}

/// One axis for each signature.
fn invented() -> Vec<(&'static str, AxisMoves)> {
    let sign = |report: &MoveReport| report.travel.signum();
    vec![
        ("clean", axis(24, "clean", |report, scatter| report.settling_s = Some(0.006 * scatter))),
        (
            "lag",
            axis(24, "lag", |report, scatter| {
                (report.cruise_lag_s, report.tail_s) = (Some(0.014 * scatter), Some(0.012 * scatter));
                report.error_at_command_end = 0.12 * scatter * sign(report);
            }),
        ),
        (
            "ringing",
            axis(43, "ringing", |report, scatter| {
                report.ringing_hz = Some((18.4 - 0.01 * f64::from(report.number)) * (0.9 + 0.1 * scatter));
                (report.damping_ratio, report.turning_points) = (Some(0.055 * scatter), Some(4));
            }),
        ),
        (
            "creep",
            axis(24, "creep", |report, scatter| {
                (report.cruise_lag_s, report.tail_s) = (Some(0.002 * scatter), Some(0.18 * scatter));
                report.error_at_command_end = 0.05 * scatter * sign(report);
            }),
        ),
        (
            "overshoot",
            axis(24, "overshoot", |report, scatter| {
                (report.cruise_lag_s, report.overshoot) = (Some(-0.001 * scatter), 0.024 * scatter);
            }),
        ),
        (
            "hunting",
            axis(24, "hunting", |report, scatter| {
                unsettled(report);
                (report.turning_spacing_s, report.standing) = (Some(0.125 * scatter), Some(0.8125));
                report.settling_curve = vec![(0.019, Some(0.1)), (0.016, None)];
                report.rest_error = None;
            }),
        ),
        (
            "hunting",
            axis(24, "hunting", |report, scatter| {
                unsettled(report);
                (report.turning_spacing_s, report.standing) = (Some(0.02 * scatter), Some(0.0625));
                report.settling_curve = vec![(0.019, Some(0.1)), (0.016, None)];
                report.rest_error = None;
            }),
        ),
        (
            "offset",
            axis_of(true, 24, "offset", |report, scatter| {
                unsettled(report);
                report.rest_error = Some(0.024 * scatter * sign(report));
            }),
        ),
        (
            "clean",
            // From home to three positions, and back by way of the middle one.
            axis(48, "clean", |report, scatter| {
                report.settling_s = Some(0.006 * scatter);
                report.travel = [60.0, 60.0, 60.0, -60.0, -60.0, -60.0][report.number as usize % 6];
                report.rest_error = Some(0.05 + 0.02 * scatter * sign(report));
            }),
        ),
        ("unsure", axis(24, "unsure", |_, _| ())),
        (
            "mixed",
            axis(24, "ringing", |report, _| {
                let other = report.number % 4 > 1;
                report.signature = Some(if other { "lag" } else { "ringing" }.to_owned());
                report.window_entries = 7;
                report.rest_noise_rms = Some(0.002);
            }),
        ),
        ("too few moves", axis(5, "lag", |report, scatter| report.cruise_lag_s = Some(0.014 * scatter))),
    ]
}

fn text_of(axis: &AxisMoves) -> String {
    table(&Explained::new(std::slice::from_ref(axis)), 80, &TimeZone::UTC)
}

#[test]
fn each_signature_has_its_words() {
    // The last lines are the same for all.
    let of = |axis: &AxisMoves| text_of(axis).split("\nIn brackets").next().unwrap_or_default().to_owned();
    let found: String = invented().iter().map(|(name, axis)| format!("== {name}\n{}", of(axis))).collect();
    assert!(found == GOLDEN, "what it says has changed; read it, then paste it into golden.txt:\n{found}");
}

#[test]
fn lines_fit_and_json_has_the_same_words() {
    for (name, axis) in invented() {
        let text = text_of(&axis);
        assert!(text.lines().all(|line| line.chars().count() <= 80), "{name}: {text}");
        let json: serde_json::Value =
            serde_json::from_str(&Explained::new(&[axis]).json().unwrap()).expect("one JSON object");
        let kind = &json["axes"][0]["kinds"][0];
        assert_eq!(kind["prevails"], name, "{kind}");
        let words = text.split_whitespace().collect::<Vec<_>>().join(" ");
        for cause in kind["causes"].as_array().expect("causes") {
            for field in ["evidence", "lever", "second", "trade_off"] {
                assert!(words.contains(cause[field].as_str().expect("a text")), "{name}: {field} of {cause}");
            }
        }
    }
}

#[test]
fn moves_measured_otherwise_are_left_out_and_counted() {
    let mut axis = axis(24, "lag", |_, _| ());
    axis.moves[..4].iter_mut().for_each(|report| report.window = 0.02);
    axis.moves[5].outcome = Outcome::Untrusted;
    axis.moves[5].reason = "samples are missing".to_owned();
    let explained = Explained::new(&[axis]);
    let found = &explained.axes[0];
    let counted: usize = found.kinds.iter().map(|kind| kind.moves).sum();
    assert_eq!((found.measured_otherwise, found.omitted, counted), (4, 1, 19));
    let text = table(&explained, 500, &TimeZone::UTC);
    let words = "; not counted, as settling is not known: 1 move (mostly: samples are missing); left out, as measured with \
        another window: 4 moves";
    assert!(text.contains(words), "{text}");
}

/// The reason of each limit of the window: encoder step, rest noise, entries.
#[test]
fn a_window_too_small_is_named() {
    let reason = |step: f64, noise: f64, entries: u32| {
        let mut axis = axis(24, "unsure", |report, _| {
            (report.rest_noise_rms, report.window_entries) = (Some(noise), entries);
        });
        axis.encoder_step = step;
        let explained = Explained::new(&[axis]);
        explained.axes[0].kinds[0].window_too_small.clone()
    };
    assert_eq!(reason(0.005, 0.001, 9), "");
    assert_eq!(reason(0.001, 0.002, 4), "");
    assert!(reason(0.0051, 0.001, 1).contains("two encoder steps"));
    assert!(reason(0.001, 0.0034, 1).contains("three times the rest noise"));
    assert!(reason(0.001, 0.002, 5).contains("entered 5 times"));
}

/// Kinds are those of `compare` and `window`.
#[test]
fn kinds_go_by_direction() {
    let axis = axis_of(true, 24, "lag", |_, _| ());
    let kinds = kind_moves::by_kind(&[&axis.moves], (0.001, "mm"), super::kind::counts);
    let explained = Explained::new(std::slice::from_ref(&axis));
    let names: Vec<&str> = explained.axes[0].kinds.iter().map(|kind| kind.kind.as_str()).collect();
    assert_eq!(names, kinds.iter().map(|kind| kind.name.as_str()).collect::<Vec<_>>());
    assert_eq!(names.len(), 2);
}

/// Said where most stops of the kind show both.
#[test]
fn two_oscillations_are_evidence_of_ringing() {
    let evidence = |with_two: u32| {
        let axis = axis(40, "ringing", |report, scatter| {
            let two = (Some(21.0 * scatter), Some(27.0 * scatter));
            // Either may be the larger one.
            let (first, second) = if report.number.is_multiple_of(3) { (two.1, two.0) } else { two };
            if report.number <= with_two {
                (report.first_mode_hz, report.second_mode_hz) = (first, second);
            }
        });
        Explained::new(&[axis]).axes[0].kinds[0].causes[0].evidence.clone()
    };
    let line = evidence(30);
    assert!(line.contains("shows two oscillations in all samples of 30 of 40, at 20.98"), "{line}");
    assert!(line.contains(" and 26.97"), "{line}");
    assert!(!evidence(20).contains("oscillations"), "{}", evidence(20));
}

/// What the report says of the rest errors of an axis whose moves end at these positions, with this error there; it begins at 0.
fn rest_errors(targets: &[f64], error: impl Fn(f64, f64) -> f64) -> super::offset::OffsetLine {
    offset_of(targets, error, |report| report)
}

/// The same, of moves that are changed so.
fn offset_of(
    targets: &[f64],
    error: impl Fn(f64, f64) -> f64,
    change: impl Fn(MoveReport) -> MoveReport,
) -> super::offset::OffsetLine {
    let mut at = 0.0;
    let one = |(number, target): (u32, &f64)| {
        let travel = target - std::mem::replace(&mut at, *target);
        let scatter = 0.0002 * (f64::from(number * 37 % 23) - 11.0);
        MoveReport {
            travel,
            rest_error: Some(error(travel.signum(), *target) + scatter),
            rest_noise_rms: Some(0.001),
            ..fixture::report(number, Some(0.06))
        }
    };
    let moves = (1..).zip(targets).map(one).map(change).collect();
    let axis = AxisMoves { name: "tray shuttle".to_owned(), moves, encoder_step: 0.001, note: None };
    Explained::new(&[axis]).axes.remove(0).offset
}

/// Causes that the sentences name.
fn named(line: &super::offset::OffsetLine) -> [bool; 3] {
    ["a constant force", "friction or backlash", "a scale error"].map(|cause| line.finding.contains(cause))
}

#[test]
fn a_scale_error_of_strokes_from_home_names_no_force() {
    let targets: Vec<f64> =
        (0..60).map(|at| [540.0, 0.0, 180.0, 0.0, 300.0, 0.0, 60.0, 0.0][at % 8]).collect();
    let line = rest_errors(&targets, |_, at| 200e-6 * at);
    assert_eq!(named(&line), [false, false, true], "{line:?}");
    assert_eq!(named(&rest_errors(&targets, |sign, _| 0.05 * sign)), [false, true, false]);
    assert!(rest_errors(&targets, |_, _| 0.05).finding.contains("a constant force such as gravity"));
}

/// What still comes in is no friction, although it changes its sign with the direction.
#[test]
fn rest_errors_of_stops_that_lag_name_no_cause() {
    let targets: Vec<f64> =
        (0..60).map(|at| [540.0, 0.0, 180.0, 0.0, 300.0, 0.0, 60.0, 0.0][at % 8]).collect();
    let lagging = |report: MoveReport| MoveReport { signature: Some("lag".to_owned()), ..report };
    let line = offset_of(&targets, |sign, _| 0.05 * sign, lagging);
    assert!(line.finding.is_empty() && line.refused.contains("still comes in"), "{line:?}");
}

/// To and fro between two positions every cause looks like another.
#[test]
fn a_shuttle_between_two_positions_names_no_cause() {
    let targets: Vec<f64> = (0..60).map(|at| [540.0, 0.0][at % 2]).collect();
    for [force, backlash, scale] in [[0.05, 0.0, 0.0], [0.0, 0.05, 0.0], [0.0, 0.0, 0.05], [0.02, 0.03, 0.04]]
    {
        let line = rest_errors(&targets, |sign, at| force + sign * backlash + scale * at / 540.0);
        assert!(
            named(&line) == [false; 3] && line.refused.contains("from both sides, would tell"),
            "{line:?}"
        );
    }
}

/// Axes that swing at one frequency, and a third that does not; the first with a median of 25 Hz.
#[test]
fn swings_at_one_frequency_on_two_axes_come_from_outside() {
    let swinging = |name: &str, spacing: f64, standing: f64| {
        let axis = axis(24, "hunting", |report, scatter| {
            unsettled(report);
            (report.turning_spacing_s, report.standing) = (Some(spacing * scatter), Some(standing));
        });
        AxisMoves { name: name.to_owned(), ..axis }
    };
    let axes = [swinging("tray", 0.02, 0.1), swinging("dibble", 0.0203, 0.1), swinging("gripper", 0.03, 0.1)];
    let line = |axes: &[AxisMoves]| -> Vec<String> {
        Explained::new(axes).axes.iter().map(|axis| axis.swings.clone()).collect()
    };
    let found = line(&axes);
    assert!(found[0].starts_with("at 25 Hz here and on dibble: rather something that shakes"), "{found:?}");
    assert!(found[1].contains("on tray:") && found[2].is_empty(), "{found:?}");
    assert_eq!(line(&[swinging("tray", 0.02, 0.1), swinging("dibble", 0.02, 0.8)]), ["", ""], "one sticks");
}
