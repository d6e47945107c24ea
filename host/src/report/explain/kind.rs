//! In: the moves of one kind. Out: which signature prevails, the evidence of it, and what to change.

use serde::Serialize;
use stillpoint_core::{Outcome, Signature};

use super::evidence::{Scale, Stops, evidence, goes_beyond, leads};
use super::figures::{FigureLine, Figures};
use super::trend::{TrendLine, trend};
use crate::analysis::quantile::median;
use crate::analysis::signature_share::{Prevailing, SignatureShare, prevailing, share_interval, shares};
use crate::report::advice::{Typical, advice};
use crate::report::kind_moves::KindMoves;
use crate::report::move_report::MoveReport;
use crate::report::number::plain_to;

/// Narrowest window in encoder steps, as for the reasons of a move.
const FEWEST_STEPS: f64 = 2.0;
/// Narrowest window in rest noises (rms), likewise.
const FEWEST_NOISES: f64 = 3.0;
/// The same for stops that come inside over and over.
const FEWEST_NOISES_OF_ENTRIES: f64 = 6.0;
/// Window entries of such a stop.
const MANY_ENTRIES: f64 = 5.0;
/// Stops with a frequency from which on a lever is for that frequency: the fewest that show what is typical.
const FEWEST_FREQUENCIES: usize = 6;
/// Signatures that are explained.
const EXPLAINED: usize = 2;
/// A signature that does not prevail is explained too if at least this share of all such stops has it: the lower end of its
/// interval, so that one stop of five gives no lever.
const WORTH_EXPLAINING: f64 = 0.1;

/// How many stops have a signature, as other tools read it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ShareLine {
    /// Which.
    pub signature: &'static str,
    /// Stops that have it.
    pub stops: usize,
    /// Their share of the stops with a signature.
    pub share: f64,
    /// Ends of its 95 % interval.
    pub share_95: [f64; 2],
}

/// Evidence and advice for the stops with one signature, as other tools read them.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CauseLine {
    /// The signature.
    pub signature: &'static str,
    /// Its stops.
    pub stops: usize,
    /// In a sentence.
    pub evidence: String,
    /// In figures.
    pub figures: Vec<FigureLine>,
    /// What to change first; empty where there is nothing to gain, or nothing is known.
    pub lever: String,
    /// What to change next.
    pub second: String,
    /// What they cost.
    pub trade_off: String,
}

/// One kind of moves, as other tools read it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct KindLine {
    /// The kind in words.
    pub kind: String,
    /// Its moves that settled or did not.
    pub moves: usize,
    /// Median settling time, unsettled moves as the latest; none if that is unsettled.
    pub median_settling_s: Option<f64>,
    /// Moves that did not settle.
    pub unsettled: usize,
    /// Ends of the 95 % interval of their share.
    pub unsettled_95: [f64; 2],
    /// The signatures that occur, the most frequent first.
    pub signatures: Vec<ShareLine>,
    /// The signature that prevails, or `mixed` or `too few moves`.
    pub prevails: &'static str,
    /// Moves that would show which prevails; none unless there are too few.
    pub moves_needed: Option<usize>,
    /// Why the window is too small to judge by; empty if it is not.
    pub window_too_small: String,
    /// Of the signature that prevails, and of those that are shown to be a tenth of all such stops or more: two at most. Of too
    /// few moves, evidence of the most frequent one only, without a lever.
    pub causes: Vec<CauseLine>,
    /// How the ringing frequency changes; none where that can't be said.
    pub frequency: Option<TrendLine>,
    /// Why that can't be said; empty if it can.
    pub frequency_refused: String,
}

/// Whether a move says something of settling.
pub fn counts(report: &MoveReport) -> bool {
    report.outcome.is_whole()
}

/// One kind.
pub fn line(kind: &KindMoves, scale: Scale) -> KindLine {
    let moves: Vec<&MoveReport> = kind.groups.iter().flatten().copied().collect();
    let signatures: Vec<Signature> = moves.iter().filter_map(|report| signature(report)).collect();
    let shares = shares(&signatures);
    let prevailing = prevailing(&shares);
    let (prevails, moves_needed) = match prevailing {
        Prevailing::One(signature) => (signature.word(), None),
        Prevailing::Mixed => ("mixed", None),
        Prevailing::TooFew(needed) => ("too few moves", Some(needed)),
    };
    let unsettled = moves.iter().filter(|report| report.outcome == Outcome::Unsettled).count();
    let (low, high) = share_interval(unsettled, moves.len());
    let trend = trend(&moves);
    let changed = trend.as_ref().ok().filter(|trend| trend.shown);
    KindLine {
        kind: kind.name.clone(),
        moves: moves.len(),
        median_settling_s: median_settling(&moves),
        unsettled,
        unsettled_95: [low, high],
        signatures: shares.iter().map(|share| share_line(share, signatures.len())).collect(),
        prevails,
        moves_needed,
        window_too_small: window_too_small(&moves, scale).unwrap_or_default(),
        causes: causes(&shares, prevailing, (&moves, changed), scale),
        frequency_refused: trend.as_ref().err().cloned().unwrap_or_default(),
        frequency: trend.ok(),
    }
}

fn signature(report: &MoveReport) -> Option<Signature> {
    let word = report.signature.as_deref()?;
    Signature::ALL.into_iter().find(|signature| signature.word() == word)
}

/// Unsettled moves as the latest; `None` where the median is one of them. Unit: s
fn median_settling(moves: &[&MoveReport]) -> Option<f64> {
    let times: Vec<f64> = moves.iter().map(|report| report.settling_s.unwrap_or(f64::INFINITY)).collect();
    median(&times).filter(|median| median.is_finite())
}

fn share_line(share: &SignatureShare, of: usize) -> ShareLine {
    ShareLine {
        signature: share.signature.word(),
        stops: share.stops,
        share: share.stops as f64 / of as f64,
        share_95: [share.interval.0, share.interval.1],
    }
}

/// `moves` with the trend of the ringing frequency, where it changed.
fn causes(
    shares: &[SignatureShare],
    prevailing: Prevailing,
    moves: (&[&MoveReport], Option<&TrendLine>),
    scale: Scale,
) -> Vec<CauseLine> {
    let is_worth = |share: &&SignatureShare| match prevailing {
        Prevailing::One(signature) if signature == share.signature => true,
        Prevailing::TooFew(_) => share.stops == shares[0].stops,
        _ => {
            let has_lever = advice(share.signature, &Typical::default()).is_some();
            has_lever && share.interval.0 >= WORTH_EXPLAINING
        }
    };
    let cause = |share: &SignatureShare| {
        let cause = cause(share.signature, moves, scale);
        match prevailing {
            Prevailing::TooFew(_) => cause.without_lever(),
            _ => cause,
        }
    };
    shares.iter().filter(is_worth).take(EXPLAINED).map(cause).collect()
}

impl CauseLine {
    /// Evidence alone.
    fn without_lever(self) -> CauseLine {
        let none = String::new;
        CauseLine { lever: none(), second: none(), trade_off: none(), ..self }
    }
}

fn cause(of: Signature, (moves, changed): (&[&MoveReport], Option<&TrendLine>), scale: Scale) -> CauseLine {
    let stops: Vec<&MoveReport> =
        moves.iter().copied().filter(|report| signature(report) == Some(of)).collect();
    let figures = Figures::of(&stops);
    let settling_s = median_settling(&stops);
    let typical_hz = figures.ringing_hz.filter(|hz| hz.values >= FEWEST_FREQUENCIES).map(|hz| hz.median);
    let typical = Typical {
        ringing_hz: changed.map(|trend| trend.last_hz).or(typical_hz),
        settling_s,
        standing: figures.standing.map(|share| share.median),
        leads: leads(&figures),
        is_beyond: goes_beyond(&figures, scale.window),
        frequency_change: changed.map(|trend| trend.change),
        may_last: typical_hz.is_some() && figures.decay_s.is_none() && settling_s.is_none(),
    };
    let no_frequency = most_frequent(stops.iter().filter_map(|stop| stop.ringing_reason.as_deref()));
    let advice = advice(of, &typical);
    let words = |of: fn(&crate::report::advice::Advice) -> &String| {
        advice.as_ref().map(of).cloned().unwrap_or_default()
    };
    CauseLine {
        signature: of.word(),
        stops: stops.len(),
        evidence: evidence(
            of,
            &Stops { count: stops.len(), figures: &figures, no_frequency, settling_s },
            scale,
        ),
        figures: figures.lines(scale.unit),
        lever: words(|advice| &advice.lever),
        second: words(|advice| &advice.second),
        trade_off: words(|advice| &advice.trade_off),
    }
}

/// The text that occurs most often; the first of those that are as frequent.
pub fn most_frequent<'a>(texts: impl Iterator<Item = &'a str>) -> Option<&'a str> {
    let mut counts: Vec<(&str, usize)> = Vec::new();
    for text in texts {
        match counts.iter_mut().find(|(known, _)| *known == text) {
            Some((_, count)) => *count += 1,
            None => counts.push((text, 1)),
        }
    }
    counts.into_iter().rev().max_by_key(|(_, count)| *count).map(|(text, _)| text)
}

/// Why the window is too small for its encoder or its noise.
fn window_too_small(moves: &[&MoveReport], scale: Scale) -> Option<String> {
    let Scale { window, encoder_step, unit } = scale;
    // A window of just two steps may come out a hair smaller.
    if window < FEWEST_STEPS * encoder_step * (1.0 - 1e-9) {
        let step = plain_to(encoder_step, 3);
        return Some(format!("it is below two encoder steps of {step} {unit}: one step decides"));
    }
    let noises: Vec<f64> = moves.iter().filter_map(|report| report.rest_noise_rms).collect();
    let entries: Vec<f64> = moves.iter().map(|report| f64::from(report.window_entries)).collect();
    let (noise, entries) = (median(&noises)?, median(&entries)?);
    let noise_text = plain_to(noise, 2);
    if window < FEWEST_NOISES * noise {
        return Some(format!(
            "it is below three times the rest noise of {noise_text} {unit} (rms): noise or slow swings decide"
        ));
    }
    (window < FEWEST_NOISES_OF_ENTRIES * noise && entries >= MANY_ENTRIES).then(|| {
        let entries = plain_to(entries, 2);
        format!(
            "it is entered {entries} times, and below six times the rest noise of {noise_text} {unit} (rms)"
        )
    })
}
