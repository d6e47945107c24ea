//! In: ticks of one start of a device, and when frames of it came. Out: wall time, fixed once for each start.

use std::collections::HashMap;

use rusqlite::{Connection, OptionalExtension, named_params, params};

use super::{devices, insert};

/// Where the ticks of one start lie in wall time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Boot {
    /// Unit: ticks/s
    pub(super) ticks_per_second: u32,
    /// UTC at tick 0. Unit: µs since 1970
    pub(super) epoch: i64,
}

impl Boot {
    /// UTC at a tick. Unit: µs since 1970
    pub(super) fn at(&self, ticks: u64) -> i64 {
        self.epoch.saturating_add(self.scale(ticks, 1_000_000))
    }

    /// A length of time. Unit: ns
    pub(super) fn nanoseconds(&self, ticks: impl Into<u64>) -> i64 {
        self.scale(ticks.into(), 1_000_000_000)
    }

    fn scale(&self, ticks: u64, per_second: u64) -> i64 {
        let scaled = u128::from(ticks) * u128::from(per_second) / u128::from(self.ticks_per_second.max(1));
        i64::try_from(scaled).unwrap_or(i64::MAX)
    }
}

/// What the wall time of a start follows from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum EpochSource {
    /// The device's own clock had been set. Unit: µs since 1970 at tick 0
    Device(i64),
    /// A live frame names this tick, which was just past when the frame came.
    Arrival(u64),
    /// A frame out of the log names this tick: the start lies no later than that.
    Replay(u64),
}

/// Starts whose wall time was looked up or fixed.
#[derive(Debug, Default)]
pub(super) struct Boots(HashMap<(i64, u32), Boot>);

impl Boots {
    /// The start, if its wall time is known.
    pub(super) fn find(
        &mut self,
        store: &Connection,
        device: i64,
        boot: u32,
    ) -> rusqlite::Result<Option<Boot>> {
        if let Some(known) = self.0.get(&(device, boot)) {
            return Ok(Some(*known));
        }
        let mut statement = store
            .prepare_cached("SELECT ticks_per_second, epoch_us FROM boots WHERE device = ?1 AND boot = ?2")?;
        let found = statement
            .query_row(params![device, boot], |row| {
                Ok(Boot { ticks_per_second: row.get(0)?, epoch: row.get(1)? })
            })
            .optional()?;
        Ok(found.inspect(|found| {
            self.0.insert((device, boot), *found);
        }))
    }

    /// The start; if its wall time is not known, it is fixed now and for good.
    pub(super) fn find_or_date(
        &mut self,
        store: &Connection,
        (device, boot): (i64, u32),
        source: EpochSource,
        arrived: i64,
    ) -> rusqlite::Result<Boot> {
        if let Some(known) = self.find(store, device, boot)? {
            return Ok(known);
        }
        // No row follows from frames of a device without a rate.
        let rate = devices::rate(store, device)?.unwrap_or(1);
        let new = Boot { ticks_per_second: rate, epoch: 0 };
        let (epoch, word) = match source {
            EpochSource::Device(epoch) => (epoch, "device"),
            EpochSource::Arrival(ticks) => (arrived.saturating_sub(new.at(ticks)), "arrival"),
            EpochSource::Replay(ticks) => {
                let end = next_epoch(store, device, boot)?.unwrap_or(arrived).min(arrived);
                (end.saturating_sub(new.at(ticks)), "replay")
            }
        };
        let new = Boot { epoch, ..new };
        let columns = named_params! {
            "device": device,
            "boot": boot,
            "ticks_per_second": new.ticks_per_second,
            "epoch_us": epoch,
            "epoch_from": word,
        };
        insert::one(store, "INSERT INTO boots", columns)?;
        self.0.insert((device, boot), new);
        Ok(new)
    }

    /// Number of starts in memory.
    pub(super) fn len(&self) -> usize {
        self.0.len()
    }

    /// Drops what is in memory, because the file has changed or it is too much.
    pub(super) fn clear(&mut self) {
        self.0.clear();
    }
}

/// When the device started next: the start before it had ended by then. Unit: µs since 1970, UTC
fn next_epoch(store: &Connection, device: i64, boot: u32) -> rusqlite::Result<Option<i64>> {
    let sql = "SELECT epoch_us FROM boots WHERE device = ?1 AND boot > ?2 ORDER BY boot LIMIT 1";
    store.prepare_cached(sql)?.query_row(params![device, boot], |row| row.get(0)).optional()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_scaled_without_overflow() {
        let boot = Boot { ticks_per_second: 10_000_000, epoch: 1_000 };
        assert_eq!(boot.at(25), 1_002);
        assert_eq!(boot.nanoseconds(25_u32), 2_500);
        assert_eq!(Boot { ticks_per_second: 1, epoch: i64::MAX }.at(u64::MAX), i64::MAX);
        assert_eq!(Boot { ticks_per_second: 0, epoch: 0 }.at(3), 3_000_000);
    }
}
