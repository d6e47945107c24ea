//! In: an axis, a time, a limit of the settling time. Out: the errors left at that limit, kind by kind.
//!
//! Settling curves are read from their frames: about 5 ms for an hour of an axis that makes two moves a second.

use std::collections::BTreeMap;

use stillpoint_core::{Outcome, Record};

use super::moves::Known;
use super::{Store, kind};
use crate::analysis::left::{Left, SLOT, Stop};
use crate::error::Error;

impl Store {
    /// By [`kind::id`]. Moves that were interrupted or can't be trusted, and moves without a curve, say nothing.
    pub fn left(
        &self,
        known: &Known,
        within: (i64, i64),
        limit_s: f64,
    ) -> Result<BTreeMap<i64, Left>, Error> {
        let settings = self.settings(known).map_err(|error| self.fault(&error))?;
        let mut kinds = BTreeMap::new();
        self.rows(known, within, true, &mut |row, curve| {
            let record = Record::from(&row.told);
            let says = matches!(record.outcome, Outcome::Settled | Outcome::Unsettled);
            let Some(settings) = row.settings(&settings).filter(|_| says) else { return Ok(()) };
            let stop = Stop {
                time_s: row.at as f64 * 1e-6,
                settling: record.settling,
                curve: &curve,
                window: settings.window,
            };
            let left = kinds.entry(kind::id(row.boot, row.told.kind)).or_insert_with(|| Left::new(SLOT));
            left.step(&stop, (limit_s * f64::from(settings.ticks_per_second)) as u32);
            Ok(())
        })?;
        Ok(kinds)
    }
}
