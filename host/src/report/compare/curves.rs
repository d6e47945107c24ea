//! In: the moves of a kind, group by group. Out: for each window, how long each group takes to settle.

use stillpoint_core::Definition;

use crate::analysis::quantile::median;
use crate::analysis::stop_curves::{Curve, Spread, round_windows, settling, windows};
use crate::report::kind_moves::KindMoves;
use crate::report::move_report::MoveReport;

/// A window of less than this much of the rest noise (rms) is one of chance, as in the reasons of a move.
const FEWEST_NOISES: f64 = 3.0;

/// The settling curves of one kind.
#[derive(Clone, Debug, PartialEq)]
pub struct KindCurves {
    /// The kind in words.
    pub kind: String,
    /// Windows, the narrowest first. Unit: that of position
    pub windows: Vec<f64>,
    /// Windows below this show mostly chance: three times the median rest noise (rms). Unit: that of position
    pub noise: f64,
    /// For each group its number of moves and, for each window, the spread of their settling times; none without moves.
    pub groups: Vec<(usize, Vec<Option<Spread>>)>,
}

/// The curves of a kind at all windows that matter; at `most` of them at most.
pub fn curves(kind: &KindMoves, most: usize) -> KindCurves {
    at(kind, |curves| windows(curves, most))
}

/// The curves of a kind at round windows, and at `set` if the times there are of the same definition, the last entry.
pub fn round_curves(kind: &KindMoves, (set, definition): (f64, Definition)) -> KindCurves {
    at(kind, |curves| {
        let mut windows = round_windows(curves);
        windows.retain(|window| (window - set).abs() > 1e-9 * set);
        windows.extend(Some(set).filter(|_| definition == Definition::LastEntry));
        windows.sort_by(f64::total_cmp);
        windows
    })
}

fn at(kind: &KindMoves, windows: impl Fn(&[Curve]) -> Vec<f64>) -> KindCurves {
    let curve = |report: &&MoveReport| report.settling_curve.clone();
    let groups: Vec<Vec<Curve>> = kind.groups.iter().map(|moves| moves.iter().map(curve).collect()).collect();
    let windows = windows(&groups.concat());
    let spreads = |moves: &Vec<&MoveReport>| {
        let settlings =
            |window: f64| moves.iter().map(|report| settling_at(report, window)).collect::<Vec<f64>>();
        (moves.len(), windows.iter().map(|window| Spread::of(&settlings(*window))).collect())
    };
    let groups = kind.groups.iter().map(spreads).collect();
    let noises: Vec<f64> = kind.groups.iter().flatten().filter_map(|report| report.rest_noise_rms).collect();
    let noise = FEWEST_NOISES * median(&noises).unwrap_or(0.0);
    KindCurves { kind: kind.name.clone(), windows, noise, groups }
}

/// Settling time of a move for a window: as it was measured where it was measured for that window by the last entry, else by
/// its curve, which knows it between two windows only; +∞ if it did not settle. Unit: s
fn settling_at(report: &MoveReport, window: f64) -> f64 {
    match report.window == window && report.definition == Definition::LastEntry {
        true => report.settling_s.unwrap_or(f64::INFINITY),
        false => settling(&report.settling_curve, window),
    }
}

impl KindCurves {
    /// The group with the smallest median at a window, if it is the only one, all groups have moves, and it is not chance.
    pub fn best(&self, window: usize) -> Option<usize> {
        if self.windows.get(window).is_none_or(|window| *window < self.noise) {
            return None;
        }
        let middles: Vec<f64> = self
            .groups
            .iter()
            .map(|(_, at)| at.get(window).copied().flatten().map(|spread| spread.middle))
            .collect::<Option<_>>()?;
        let least = middles.iter().copied().fold(f64::INFINITY, f64::min);
        let mut best = middles.iter().enumerate().filter(|(_, middle)| **middle == least);
        let (at, _) = best.next()?;
        best.next().is_none().then_some(at)
    }
}
