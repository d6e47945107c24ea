//! In: the kinds of one axis, and its moves in their order. Out: its rest errors by direction and position, and what they show.

use serde::Serialize;
use stillpoint_core::Signature;

use super::evidence::Scale;
use super::figures::with_interval;
use super::run::longest_run;
use crate::analysis::median_interval::{MedianInterval, median_interval};
use crate::analysis::offset_by_place::{Arrival, Part, Parts, Refusal, Shown, offset_by_place};
use crate::analysis::quantile::median;
use crate::report::kind_moves::KindMoves;
use crate::report::move_report::MoveReport;
use crate::report::number::plain_to;

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
    /// In the unit of position; growth with position in ppm.
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
    /// The same everywhere and both ways; none where it can't be told.
    pub constant: Option<PartLine>,
    /// Changes its sign with the direction; positive: stops short of the target.
    pub by_direction: Option<PartLine>,
    /// None: the distance alone can't show a scale error; see `per_position_ppm`.
    pub per_distance_ppm: Option<PartLine>,
    /// What they show, in words, parted by semicolons; empty where nothing can be told.
    pub finding: String,
    /// Why something can't be told; empty if nothing.
    pub refused: String,
    /// Growth with position, in ppm; positive: feedback covers less than the command.
    pub per_position_ppm: Option<PartLine>,
    /// Moves at rest of the longest run without a break, from which the parts are.
    pub moves: usize,
    /// Places where they end; a position reached from both sides is two.
    pub places: usize,
    /// How far the axis's zero must lie from the middle of the positions for a scale error to make the constant.
    pub zero_beyond: Option<f64>,
}

/// The rest errors of an axis. `moves` are all of it, also those that say nothing of settling.
pub fn offset(kinds: &[KindMoves], moves: &[MoveReport], scale: Scale) -> OffsetLine {
    let errors = kinds.iter().filter_map(|kind| Some(kind_line(kind, rest_error(kind)?)));
    let arrivals: Vec<Arrival> = longest_run(moves).into_iter().filter_map(arrival).collect();
    let line = OffsetLine { kinds: errors.collect(), moves: arrivals.len(), ..OffsetLine::default() };
    let least = (SMALL * scale.window).max(STEP * scale.encoder_step).max(rest_noise(kinds));
    match offset_by_place(&arrivals, scale.window) {
        Ok(parts) => with_parts(line, &parts, least, scale.unit),
        Err(Refusal::Confounded(most)) if most <= least => {
            OffsetLine { finding: nothing_beyond(least, scale.unit), ..line }
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

fn kind_line(kind: &KindMoves, error: MedianInterval) -> KindOffsetLine {
    KindOffsetLine {
        kind: kind.name.clone(),
        forward: kind.typical.forward,
        distance: kind.typical.distance,
        moves: error.values,
        rest_error: error.median,
        rest_error_95: error.ends.map(|(low, high)| [low, high]),
    }
}

/// A move that stands, and is whole. The rest error of one that lags or creeps is in part what still comes in.
fn arrival((report, position): (&MoveReport, f64)) -> Option<Arrival> {
    let comes_in = [Signature::Lag, Signature::Creep].map(|signature| Some(signature.word()));
    let stands = report.outcome.is_whole() && !comes_in.contains(&report.signature.as_deref());
    let error = report.rest_error.filter(|_| stands)?;
    Some(Arrival { forward: report.travel > 0.0, position, error })
}

fn why(refusal: Refusal) -> &'static str {
    match refusal {
        Refusal::FewMoves => {
            "six moves at rest in each direction are needed, without a missing move between them; one that lags or creeps still \
             comes in"
        }
        Refusal::Confounded(_) => {
            "a constant force, friction, backlash and a scale error look alike in these moves: each direction ends at \
             positions of its own, or at too few. Moves to three positions or more, each from both sides, would tell"
        }
    }
}

fn with_parts(line: OffsetLine, parts: &Parts, least: f64, unit: &str) -> OffsetLine {
    let shown = parts.shown(least);
    let part = |part: Part, times: f64, shown: bool| PartLine {
        value: part.value * times,
        interval_95: [(part.value - part.half_width) * times, (part.value + part.half_width) * times],
        shown,
    };
    let sentences = sentences(parts, shown, unit);
    OffsetLine {
        constant: Some(part(parts.constant, 1.0, shown.constant)),
        by_direction: Some(part(parts.by_direction, 1.0, shown.by_direction)),
        per_position_ppm: Some(part(parts.per_position, 1e6, shown.per_position)),
        places: parts.places,
        zero_beyond: Some(parts.zero_beyond()).filter(|beyond| shown.constant && beyond.is_finite()),
        refused: undecided(parts, shown, least),
        finding: match sentences.is_empty() {
            true => none_shown(parts, least, unit),
            false => sentences.join("; "),
        },
        ..line
    }
}

/// What the parts show: each with every cause that makes such a part.
fn sentences(parts: &Parts, shown: Shown, unit: &str) -> Vec<String> {
    let size = |part: Part, times: f64, unit: &str| {
        let ends = Some((part.value - part.half_width, part.value + part.half_width));
        with_interval(&MedianInterval { median: part.value, ends, values: 0 }.size(), times, unit)
    };
    let mut sentences = Vec::new();
    if shown.constant {
        let place = if parts.constant.value < 0.0 { "above" } else { "below" };
        let zero = match parts.zero_beyond() {
            beyond if beyond.is_finite() => {
                format!(", or a scale error if the axis's zero is over {} {unit} away", floor(beyond))
            }
            _ => String::new(),
        };
        sentences.push(format!(
            "everywhere, feedback stands {} {place} the target: a constant force such as gravity, without integral \
             action, or different zeros of command and feedback, which no other load changes{zero}",
            size(parts.constant, 1.0, unit)
        ));
    }
    if shown.by_direction {
        let place = if parts.by_direction.value < 0.0 { "beyond" } else { "short of" };
        let size = size(parts.by_direction, 1.0, unit);
        sentences
            .push(format!("by direction, feedback stands {size} {place} the target: friction or backlash"));
    }
    if shown.per_position {
        let amount = if parts.per_position.value < 0.0 { "more" } else { "less" };
        let size = size(parts.per_position, 1e6, "ppm");
        sentences.push(format!(
            "with position, feedback covers {size} {amount} than the command: a scale error, or a force that grows with \
             position, as of a spring or a hose"
        ));
    }
    sentences
}

/// With two digits, rounded towards zero.
fn floor(length: f64) -> String {
    let unit = 10f64.powf(length.log10().floor() - 1.0);
    plain_to((length / unit).floor() * unit, 2)
}

/// What it means that no part is shown.
fn none_shown(parts: &Parts, least: f64, unit: &str) -> String {
    let is_small = |part: Part, least: f64| part.value.abs() + part.half_width <= least;
    let all_small = is_small(parts.constant, least)
        && is_small(parts.by_direction, least)
        && is_small(parts.per_position, least / parts.range);
    match all_small {
        true => nothing_beyond(least, unit),
        false => format!(
            "no single part: the intervals reach beyond {} {unit}, so neither an error nor its absence is known",
            plain_to(least, 2)
        ),
    }
}

fn nothing_beyond(least: f64, unit: &str) -> String {
    format!("nothing beyond {} {unit}, and less is not worth acting on", plain_to(least, 2))
}

/// Why a constant that is there is not shown.
fn undecided(parts: &Parts, shown: Shown, least: f64) -> String {
    let has_constant = parts.constant.is_beyond(least) && !shown.constant;
    match has_constant {
        true => "whether a constant force acts too: growth with position can make a constant, as the axis's zero is not known"
            .to_owned(),
        false => String::new(),
    }
}
