//! In: the kinds of one axis. Out: its rest errors by direction and distance, and what they show.

use serde::Serialize;

use super::evidence::Scale;
use super::figures::with_interval;
use crate::analysis::median_interval::{MedianInterval, median_interval};
use crate::analysis::offset_by_direction::{
    FEWEST_KINDS, KindOffset, Part, Parts, Refusal, offset_by_direction,
};
use crate::analysis::quantile::median;
use crate::report::kind_moves::KindMoves;

/// A rest error below this is not worth acting on. Unit: windows
const SMALL: f64 = 0.1;
/// What a reading can't tell. Unit: encoder steps
const STEP: f64 = 0.5;

/// Rest errors of one kind, as other tools read them. Lengths in the unit of position.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct KindOffsetLine {
    /// The kind in words.
    pub kind: String,
    /// Towards larger positions.
    pub forward: bool,
    /// Typical distance.
    pub distance: f64,
    /// Moves with a rest error: those that stand, inside the window or beside it.
    pub moves: usize,
    /// Median of command − feedback at rest.
    pub rest_error: f64,
    /// Ends of its 95 % interval; none for too few moves.
    pub rest_error_95: Option<[f64; 2]>,
}

/// A part of the rest errors, as other tools read it.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct PartLine {
    /// In the unit of position; a part of the distance in ppm.
    pub value: f64,
    /// Ends of its 95 % interval, in the same unit.
    pub interval_95: [f64; 2],
    /// Whether it is beyond zero by enough to act on.
    pub shown: bool,
}

/// Rest errors of an axis, as other tools read them.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct OffsetLine {
    /// Kind by kind.
    pub kinds: Vec<KindOffsetLine>,
    /// The same in both directions; none where it can't be told.
    pub constant: Option<PartLine>,
    /// Changes its sign with the direction; positive: stops short of the target.
    pub by_direction: Option<PartLine>,
    /// Of the distance, in ppm.
    pub per_distance_ppm: Option<PartLine>,
    /// What they show, in words; empty where nothing can be told.
    pub finding: String,
    /// Why something can't be told; empty if nothing.
    pub refused: String,
}

/// The rest errors of the kinds of an axis.
pub fn offset(kinds: &[KindMoves], scale: Scale) -> OffsetLine {
    let errors = kinds.iter().filter_map(|kind| Some((kind, rest_error(kind)?)));
    let errors: Vec<(&KindMoves, MedianInterval)> = errors.collect();
    let usable: Vec<KindOffset> = errors
        .iter()
        .filter(|(_, error)| error.ends.is_some())
        .map(|(kind, error)| KindOffset {
            forward: kind.typical.forward,
            distance: kind.typical.distance,
            error: *error,
        })
        .collect();
    let line = OffsetLine { kinds: errors.iter().map(kind_line).collect(), ..OffsetLine::default() };
    match offset_by_direction(&usable) {
        Ok(parts) => {
            let least = (SMALL * scale.window).max(STEP * scale.encoder_step).max(rest_noise(kinds));
            with_parts(line, &parts, (least, farthest(&usable)), scale)
        }
        Err(refusal) => OffsetLine { refused: why(refusal).to_owned(), ..line },
    }
}

/// Median rest noise of all moves. A rest that scatters by more than its mean still comes in, or swings. Unit: that of
/// position
fn rest_noise(kinds: &[KindMoves]) -> f64 {
    let moves = kinds.iter().flat_map(|kind| kind.groups.iter().flatten());
    median(&moves.filter_map(|report| report.rest_noise_rms).collect::<Vec<f64>>()).unwrap_or(0.0)
}

fn rest_error(kind: &KindMoves) -> Option<MedianInterval> {
    let errors: Vec<f64> = kind.groups.iter().flatten().filter_map(|report| report.rest_error).collect();
    median_interval(&errors)
}

fn kind_line((kind, error): &(&KindMoves, MedianInterval)) -> KindOffsetLine {
    KindOffsetLine {
        kind: kind.name.clone(),
        forward: kind.typical.forward,
        distance: kind.typical.distance,
        moves: error.values,
        rest_error: error.median,
        rest_error_95: error.ends.map(|(low, high)| [low, high]),
    }
}

/// Unit: that of position
fn farthest(kinds: &[KindOffset]) -> f64 {
    kinds.iter().map(|kind| kind.distance).fold(0.0, f64::max)
}

fn why(refusal: Refusal) -> &'static str {
    match refusal {
        Refusal::OneDirection => "six moves at rest of a kind in each direction are needed",
        Refusal::UnlikeDistances => {
            "the directions have no distance in common: what grows with distance would look like direction"
        }
    }
}

fn with_parts(line: OffsetLine, parts: &Parts, (least, farthest): (f64, f64), scale: Scale) -> OffsetLine {
    let part = |part: Part, times: f64, least: f64| PartLine {
        value: part.value * times,
        interval_95: [(part.value - part.half_width) * times, (part.value + part.half_width) * times],
        shown: part.is_beyond(least),
    };
    let line = OffsetLine {
        constant: Some(part(parts.constant, 1.0, least)),
        by_direction: Some(part(parts.by_direction, 1.0, least)),
        // Over the farthest distance it must be worth acting on too.
        per_distance_ppm: parts.per_distance.map(|share| part(share, 1e6, least / farthest)),
        ..line
    };
    let refused = match parts.per_distance {
        Some(_) => String::new(),
        None => format!(
            "growth with distance: {FEWEST_KINDS} kinds are needed, of distances that differ by a factor of two. A scale \
             error would be part of what is shown"
        ),
    };
    OffsetLine { finding: finding(parts, &line, (least, farthest), scale), refused, ..line }
}

/// What it means that no part is shown.
fn none_shown(line: &OffsetLine, (least, farthest): (f64, f64), unit: &str) -> String {
    let bounds = [least, least, 1e6 * least / farthest];
    let is_small = |(line, least): (&Option<PartLine>, f64)| {
        line.is_none_or(|line| line.interval_95.iter().all(|end| end.abs() <= least))
    };
    let all_small =
        [line.constant, line.by_direction, line.per_distance_ppm].iter().zip(bounds).all(is_small);
    let least = crate::report::number::plain_to(least, 2);
    match all_small {
        true => format!("nothing beyond {least} {unit}; less is not worth acting on"),
        false => format!(
            "no single part: the intervals reach beyond {least} {unit}, so neither an error nor its absence is known"
        ),
    }
}

/// What the parts show, as sentences without a last point.
fn finding(parts: &Parts, line: &OffsetLine, (least, farthest): (f64, f64), scale: Scale) -> String {
    let shown = |line: Option<PartLine>| line.is_some_and(|line| line.shown);
    let text = |part: Part, times: f64| {
        let ends = Some((part.value - part.half_width, part.value + part.half_width));
        with_interval(&MedianInterval { median: part.value, ends, values: 0 }.size(), times)
    };
    let unit = scale.unit;
    let mut sentences = Vec::new();
    if shown(line.constant) {
        let sign = if parts.constant.value < 0.0 { "-" } else { "+" };
        let size = text(parts.constant, 1.0);
        sentences.push(format!(
            "the same both ways, {sign}({size}) {unit}: a constant force, such as gravity, without integral action"
        ));
    }
    if shown(line.by_direction) {
        let place = if parts.by_direction.value < 0.0 { "beyond" } else { "short of" };
        let size = text(parts.by_direction, 1.0);
        sentences.push(format!("by direction, {size} {unit} {place} the target: friction or backlash"));
    }
    if let Some(share) = parts.per_distance.filter(|_| shown(line.per_distance_ppm)) {
        let place = if share.value < 0.0 { "too far" } else { "too short" };
        sentences.push(format!("with distance, {} ppm {place}: a scale error", text(share, 1e6)));
    }
    if sentences.is_empty() {
        return none_shown(line, (least, farthest), unit);
    }
    sentences.join("; ")
}
