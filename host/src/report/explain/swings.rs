//! In: what is known of all axes. Out: which of them swing at one frequency, as they do where something shakes the machine.
//!
//! One axis says nothing: a loop that swings by itself and a swing from outside both have one frequency in all its kinds.

use super::AxisLine;
use super::kind::{CauseLine, KindLine};
use crate::report::number::plain_to;

/// Frequencies that differ by less than this part are taken for one. Ours.
const SAME: f64 = 0.03;
/// Fewest stops whose median frequency counts, as for a lever.
const FEWEST: usize = 6;
/// Share of standing from which on an axis sticks and jumps; that comes from no outside.
const STICKS: f64 = 0.5;

/// For each axis the sentence about the others that swing as it does; empty where none does.
pub fn shared(axes: &[AxisLine]) -> Vec<String> {
    let swings: Vec<Vec<f64>> =
        axes.iter().map(|axis| axis.kinds.iter().flat_map(of_kind).collect()).collect();
    let sentence = |at: usize| {
        let is_like = |other: usize, hz: f64| swings[other].iter().any(|one| (one / hz - 1.0).abs() < SAME);
        let others = |hz: f64| (0..axes.len()).filter(move |other| *other != at && is_like(*other, hz));
        let hz = swings[at].iter().copied().find(|hz| others(*hz).next().is_some())?;
        let names: Vec<&str> = others(hz).map(|other| axes[other].axis.as_str()).collect();
        Some(format!(
            "at {} Hz here and on {}: rather something that shakes the machine than loops that swing alike",
            plain_to(hz, 2),
            names.join(", ")
        ))
    };
    (0..axes.len()).map(|at| sentence(at).unwrap_or_default()).collect()
}

/// Frequencies of the swings of a kind that are not shown to decay. Unit: Hz
fn of_kind(kind: &KindLine) -> impl Iterator<Item = f64> {
    kind.causes.iter().filter_map(|cause| frequency(cause, kind))
}

fn frequency(cause: &CauseLine, kind: &KindLine) -> Option<f64> {
    let figure = |name: &str| cause.figures.iter().find(|figure| figure.name == name);
    let enough =
        |name: &str| figure(name).filter(|figure| figure.stops >= FEWEST).map(|figure| figure.median);
    match cause.signature {
        "hunting" if figure("standing").is_none_or(|share| share.median < STICKS) => {
            enough("period_s").map(f64::recip)
        }
        "ringing" if figure("decay_s").is_none() && kind.median_settling_s.is_none() => enough("ringing_hz"),
        _ => None,
    }
}
