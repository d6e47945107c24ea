//! In: an axis and a time. Out: when each of its moves ended and how, kind by kind.

use super::axes::KnownAxis;
use super::database::Store;
use super::kind;
use super::kinds::Kind;
use super::moves::Reports;
use crate::error::Error;
use crate::report::moment::Moment;

/// Length of the intervals by which kinds are found. Unit: s
const INTERVAL: i64 = 300;

/// The moves of one kind, in the order of time.
#[derive(Clone, Debug, PartialEq)]
pub struct KindMoments {
    /// The kind; none for moves that have none.
    pub kind: Option<Kind>,
    /// Its moves.
    pub moments: Vec<Moment>,
}

impl Store {
    /// All moves of an axis whose command ended within a time: its kinds in the order in which they were met, then the
    /// moves without a kind. Memory: 32 bytes a move. Unit: µs since 1970, UTC
    pub fn moments(&self, known: &KnownAxis, within: (i64, i64)) -> Result<Vec<KindMoments>, Error> {
        let kinds = self.kinds(known, INTERVAL, within)?;
        let mut all: Vec<KindMoments> = kinds
            .into_iter()
            .filter(|kind| kind.number() > 0)
            .map(|kind| KindMoments { kind: Some(kind), moments: Vec::new() })
            .collect();
        let mut of_none = KindMoments { kind: None, moments: Vec::new() };
        let reports = Reports::new(self, known)?;
        self.stored_moves(known, within, false, &mut |stored, _| {
            let id = kind::id(stored.boot, stored.wire.kind);
            let is_it = |one: &&mut KindMoments| one.kind.as_ref().is_some_and(|kind| kind.ids.contains(&id));
            let of = all.iter_mut().find(is_it).unwrap_or(&mut of_none);
            of.moments.extend(reports.moment(stored));
            Ok(())
        })?;
        all.push(of_none);
        all.retain(|of| !of.moments.is_empty());
        for of in &mut all {
            of.moments.sort_by_key(|moment| moment.at);
        }
        Ok(all)
    }
}
