//! In: the moves of one axis. Out: which window and settling time its process can have, kind by kind.
//!
//! The field names are a contract: other tools read them. Add at the end, never rename.

pub mod table;

use std::io;

use serde::Serialize;
use stillpoint_core::Outcome;

use super::json;
use super::kind_moves::KindMoves;
use super::move_report::MoveReport;
use super::number;
use crate::analysis::comparison::FEWEST_FOR_DEPENDENCE;
use crate::analysis::dependence::Dependence;
use crate::analysis::quantile::median;
use crate::analysis::stop_curves::{self, Curve};
use crate::analysis::tolerance::fewest;
use crate::analysis::window_limit::{Point, Wish, times};

/// Correlation of neighbours from which on limits are too narrow by more than a few of a hundred; found by simulation.
const DEPENDENT: f64 = 0.3;
/// From here on no limit holds.
const MOST_DEPENDENT: f64 = 0.7;
/// Points of a whole curve.
const POINTS: usize = 24;
/// A settling time of fewer sample periods is one of chance, as in the reasons of a move.
const FEWEST_PERIODS: f64 = 5.0;
/// A window of less than this much of the rest noise (rms) is one of chance, likewise.
const FEWEST_NOISES: f64 = 3.0;
/// The same in encoder steps.
const FEWEST_STEPS: f64 = 2.0;

/// One point that is wished.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Choice {
    /// The whole curve.
    Curve,
    /// The smallest window for this time. Unit: s
    Settling(f64),
    /// The time for this window. Unit: that of position
    Window(f64),
}

/// What the machine does beside settling.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cycle {
    /// Time from part to part. Unit: s
    pub seconds: f64,
    /// Wait for settling in it, at each move. Unit: s
    pub wait: f64,
    /// Moves of a kind in a cycle.
    pub moves: f64,
}

/// What holds for all kinds.
#[derive(Clone, Debug)]
pub struct Basis {
    /// Share and confidence.
    pub wish: Wish,
    /// Which points.
    pub choice: Choice,
    /// For the time from part to part.
    pub cycle: Option<Cycle>,
    /// Name of the unit of position.
    pub unit: String,
    /// Smallest change of feedback. Unit: `unit`
    pub encoder_step: f64,
    /// Unit: s
    pub sample_period_s: f64,
}

/// A window and a settling time that go together, as other tools read them.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PointLine {
    /// Time from command end; none where the share of moves is not known to settle.
    pub settling_s: Option<f64>,
    /// The smallest window that the share of moves keeps from then on; none where none is known.
    pub window: Option<f64>,
    /// For the whole curve: no smaller window does.
    pub window_low: Option<f64>,
    /// For the whole curve: this window does.
    pub window_high: Option<f64>,
    /// What makes it meaningless: `encoder step`, `rest noise` or `sample period`; none if nothing.
    pub limited_by: Option<&'static str>,
    /// Time from part to part with this wait.
    pub cycle_s: Option<f64>,
    /// Parts per hour with this wait.
    pub parts_per_hour: Option<f64>,
}

/// One kind of moves, as other tools read it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct KindLine {
    /// The kind in words.
    pub kind: String,
    /// Its moves.
    pub moves: usize,
    /// The points, or the one that is wished; empty where nothing can be said.
    pub curve: Vec<PointLine>,
    /// Why nothing can be said, or what to be careful about; empty if nothing.
    pub reason: String,
    /// Moves that are needed for that share and confidence.
    pub moves_needed: usize,
    /// Median rest noise, root mean square; none where no move came to rest.
    pub rest_noise_rms: Option<f64>,
}

/// All kinds of an axis, as other tools read them.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Windows {
    /// Share of all moves that keep the window.
    pub share: f64,
    /// Probability with which that is so.
    pub confidence: f64,
    /// Kind by kind.
    pub kinds: Vec<KindLine>,
    /// Name of the unit of position.
    pub unit: String,
}

impl Windows {
    /// Of all kinds; their moves stand in the order in which they came.
    pub fn new(kinds: &[KindMoves], basis: &Basis) -> Windows {
        Windows {
            share: basis.wish.share,
            confidence: basis.wish.confidence,
            kinds: kinds.iter().map(|kind| line(&kind.name, &kind.groups[0], basis)).collect(),
            unit: basis.unit.clone(),
        }
    }

    /// One JSON object.
    pub fn json(&self) -> io::Result<String> {
        json::line(self)
    }
}

/// Whether the settling curve of a move is known.
pub fn counts(report: &MoveReport) -> bool {
    report.outcome != Outcome::Untrusted && !report.settling_curve.is_empty()
}

fn line(name: &str, moves: &[&MoveReport], basis: &Basis) -> KindLine {
    let curves: Vec<Curve> = moves.iter().map(|report| report.settling_curve.clone()).collect();
    let noises: Vec<f64> = moves.iter().filter_map(|report| report.rest_noise_rms).collect();
    let needed = fewest(basis.wish.share, basis.wish.confidence);
    let mut line = KindLine {
        kind: name.to_owned(),
        moves: moves.len(),
        curve: Vec::new(),
        reason: String::new(),
        moves_needed: needed,
        rest_noise_rms: median(&noises),
    };
    if moves.len() < needed {
        line.reason = format!("{needed} moves are needed for {}", promise(&basis.wish));
        return line;
    }
    let points = points(moves, &curves, basis);
    let correlations: Vec<f64> = points.iter().map(|point| point.dependence.correlation).collect();
    let correlation = median(&correlations).unwrap_or(0.0);
    line.reason = dependence(moves.len(), correlation, &basis.wish);
    if !is_too_dependent(moves.len(), correlation) {
        line.curve = points.iter().map(|point| point_line(point, line.rest_noise_rms, basis)).collect();
    }
    line
}

/// `95 % of moves at 95 % confidence`.
pub(super) fn promise(wish: &Wish) -> String {
    let percent = |part: f64| number::plain(100.0 * part);
    format!("{} % of moves at {} % confidence", percent(wish.share), percent(wish.confidence))
}

/// Whether moves follow each other so closely that no limit holds.
pub(super) fn is_too_dependent(moves: usize, correlation: f64) -> bool {
    moves >= FEWEST_FOR_DEPENDENCE && correlation > MOST_DEPENDENT
}

/// What the dependence of moves on each other means for the limits.
pub(super) fn dependence(moves: usize, correlation: f64, wish: &Wish) -> String {
    let follows = format!("each move follows the one before (correlation {})", number::fixed(correlation, 2));
    if moves < FEWEST_FOR_DEPENDENCE || correlation <= DEPENDENT {
        return String::new();
    }
    match is_too_dependent(moves, correlation) {
        true => format!("{follows}: no limit holds; record other moves or waits between them"),
        false => format!(
            "{follows}: limits hold in fewer than {} of 100 cases",
            number::plain(100.0 * wish.confidence)
        ),
    }
}

fn points(moves: &[&MoveReport], curves: &[Curve], basis: &Basis) -> Vec<Point> {
    let wish = &basis.wish;
    match basis.choice {
        Choice::Settling(time) => vec![wish.window(curves, time)],
        Choice::Curve => {
            let times = times(curves, POINTS, basis.sample_period_s);
            times
                .into_iter()
                .map(|time| wish.window(curves, time))
                .filter(|point| point.window.is_finite())
                .collect()
        }
        Choice::Window(window) => {
            let settlings: Vec<f64> =
                moves.iter().zip(curves).map(|(report, curve)| settling(report, curve, window)).collect();
            let settling = wish.settling(&settlings);
            let point = wish.window(curves, settling);
            vec![Point { settling, window, dependence: Dependence::of(&settlings), ..point }]
        }
    }
}

/// Settling time of a move for a window: by its curve, which counts whole samples, and not before it was measured where it was
/// measured for that window. So a window that is stated for this time is no wider.
fn settling(report: &MoveReport, curve: &Curve, window: f64) -> f64 {
    let by_curve = stop_curves::settling(curve, window);
    match report.window == window {
        true => by_curve.max(report.settling_s.unwrap_or(f64::INFINITY)),
        false => by_curve,
    }
}

fn point_line(point: &Point, rest_noise: Option<f64>, basis: &Basis) -> PointLine {
    let finite = |value: f64| Some(value).filter(|value| value.is_finite());
    let cycle_s =
        basis.cycle.map(|cycle| cycle.seconds + cycle.moves * (point.settling - cycle.wait)).and_then(finite);
    PointLine {
        settling_s: finite(point.settling),
        window: finite(point.window),
        window_low: finite(point.low).filter(|low| *low > 0.0),
        window_high: finite(point.high),
        limited_by: limit(point, rest_noise, basis),
        cycle_s,
        parts_per_hour: cycle_s.filter(|cycle| *cycle > 0.0).map(|cycle| 3600.0 / cycle),
    }
}

/// What makes a point meaningless.
fn limit(point: &Point, rest_noise: Option<f64>, basis: &Basis) -> Option<&'static str> {
    // A window of just two steps may come out a hair smaller.
    let below = |bound: f64| point.window < bound * (1.0 - 1e-9);
    if below(FEWEST_STEPS * basis.encoder_step) {
        Some("encoder step")
    } else if rest_noise.is_some_and(|noise| below(FEWEST_NOISES * noise)) {
        Some("rest noise")
    } else if point.settling > 0.0 && point.settling < FEWEST_PERIODS * basis.sample_period_s {
        Some("sample period")
    } else {
        None
    }
}
