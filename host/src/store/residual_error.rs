//! In: an axis, a time, a limit of the settling time. Out: the errors that remain at that limit, kind by kind.
//!
//! Settling curves are read from their frames: about 5 ms for an hour of an axis that makes two moves a second.

use std::collections::BTreeMap;

use stillpoint_core::Record;

use super::axes::KnownAxis;
use super::database::Store;
use super::kind;
use crate::analysis::residual_error::{ResidualErrors, SLOT, Stop};
use crate::error::Error;

impl Store {
    /// By [`kind::id`]. Moves that were interrupted or can't be trusted, and moves without a curve, are excluded.
    pub fn residual_errors(
        &self,
        known: &KnownAxis,
        within: (i64, i64),
        limit_s: f64,
    ) -> Result<BTreeMap<i64, ResidualErrors>, Error> {
        let settings = self.settings(known).map_err(|error| self.fault(&error))?;
        let mut kinds = BTreeMap::new();
        self.stored_moves(known, within, true, &mut |stored, details| {
            let record = Record::from(&stored.wire);
            let Some(settings) = stored.settings(&settings).filter(|_| record.outcome.is_whole()) else {
                return Ok(());
            };
            let stop = Stop {
                time_s: stored.at as f64 * 1e-6,
                settling: record.settling,
                curve: &details.curve,
                window: settings.window,
            };
            let errors = kinds
                .entry(kind::id(stored.boot, stored.wire.kind))
                .or_insert_with(|| ResidualErrors::new(SLOT));
            errors.step(&stop, (limit_s * f64::from(settings.ticks_per_second)) as u32);
            Ok(())
        })?;
        Ok(kinds)
    }
}
