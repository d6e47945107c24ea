//! In: the record of each move, limits that a person gives. Out: figures of the two alarms about these limits.
//!
//! A move that does not settle counts as one that settles later than any limit. An interrupted or untrusted move may
//! have settled or not, and does not count.

use stillpoint_core::share::Share;
use stillpoint_core::wire::alarm::Subject;
use stillpoint_core::{Outcome, Record};

use super::alarms::Figure;
use super::config::StopLimits;

/// Share of the moves that may settle later than the limit, where a person gives none. Unit: per mille
const SETTLING_PERMILLE: u32 = 100;

/// The moves of one axis against its limits.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct LimitMonitor {
    settling: Share,
    unsettled: Share,
}

/// The subjects and the shares that a person allows, 0 where there is no limit. Unit: per mille
pub(super) fn shares(limits: &StopLimits) -> [(Subject, u32); 2] {
    let settling = match (limits.settling, limits.settling_permille) {
        (0, _) => 0,
        (_, 0) => SETTLING_PERMILLE,
        (_, permille) => permille,
    };
    [(Subject::SettlingLimit, settling), (Subject::UnsettledLimit, limits.unsettled_permille)]
}

impl LimitMonitor {
    /// Adds a move of a kind; returns a figure where the moves show that a share is above its limit, or below it again.
    pub(super) fn step(
        &mut self,
        limits: &StopLimits,
        axis: u8,
        kind: u32,
        record: &Record,
    ) -> [Option<Figure>; 2] {
        let unsettled = match record.outcome {
            Outcome::Settled => false,
            Outcome::Unsettled => true,
            Outcome::Interrupted | Outcome::Untrusted => return [None; 2],
        };
        if limits.kind != 0 && limits.kind != kind {
            return [None; 2];
        }
        let late = unsettled || record.settling.is_some_and(|settling| settling > limits.settling);
        let [of_settling, of_unsettled] = shares(limits);
        let counts =
            [(&mut self.settling, of_settling, late), (&mut self.unsettled, of_unsettled, unsettled)];
        counts.map(|(share, (subject, limit), exceeds)| {
            let shown = if limit > 0 { share.step(limit, exceeds) } else { None }?;
            let (value, number) = (shown.permille().into(), record.number);
            Some(Figure { number, kind, ..Figure::new(axis, subject, value) })
        })
    }
}
