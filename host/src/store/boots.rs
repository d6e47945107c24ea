//! In: ticks of one start of a device, and when frames of it came. Out: wall time, tied to the ticks once and for all.

use std::collections::HashMap;

use rusqlite::{Connection, OptionalExtension, params};

use super::Store;
use crate::error::Error;

/// Where the ticks of one start lie in wall time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Boot {
    /// Unit: ticks/s
    pub ticks_per_second: u32,
    /// UTC at tick 0. Unit: µs since 1970
    pub epoch: i64,
}

impl Boot {
    /// UTC at a tick. Unit: µs since 1970
    pub fn at(&self, ticks: u64) -> i64 {
        self.epoch.saturating_add(self.scale(ticks, 1_000_000))
    }

    /// A length of time. Unit: ns
    pub fn nanoseconds(&self, ticks: u32) -> i64 {
        self.scale(u64::from(ticks), 1_000_000_000)
    }

    fn scale(&self, ticks: u64, per_second: u64) -> i64 {
        let scaled = u128::from(ticks) * u128::from(per_second) / u128::from(self.ticks_per_second.max(1));
        i64::try_from(scaled).unwrap_or(i64::MAX)
    }
}

/// How wall time came to be known.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum From {
    /// The device's own clock had been set. Unit: µs since 1970 at tick 0
    Device(i64),
    /// A live frame told this tick when it came.
    Arrival(u64),
    /// Nothing better than a frame out of the log: the start lies no later than this.
    Replay(u64),
}

/// All starts known.
#[derive(Debug, Default)]
pub(super) struct Boots(HashMap<(i64, u32), Boot>);

/// Rate of a device that never told it; later versions of the wire tell it in every settings frame. Unit: ticks/s
const UNTOLD_RATE: u32 = 1_000_000;

impl Boots {
    /// The start, if it is tied to wall time.
    pub(super) fn known(
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

    /// The start; if it is new it is tied to wall time now.
    pub(super) fn tie(
        &mut self,
        store: &Connection,
        (device, boot): (i64, u32),
        from: From,
        arrived: i64,
    ) -> rusqlite::Result<Boot> {
        if let Some(known) = self.known(store, device, boot)? {
            return Ok(known);
        }
        let rate: Option<u32> = store
            .prepare_cached("SELECT ticks_per_second FROM devices WHERE id = ?1")?
            .query_row([device], |row| row.get(0))?;
        let new = Boot { ticks_per_second: rate.unwrap_or(UNTOLD_RATE), epoch: 0 };
        let (epoch, word) = match from {
            From::Device(epoch) => (epoch, "device"),
            From::Arrival(ticks) => (arrived.saturating_sub(new.at(ticks)), "arrival"),
            From::Replay(ticks) => {
                let next = next(store, device, boot)?.unwrap_or(arrived).min(arrived);
                (next.saturating_sub(new.at(ticks)), "replay")
            }
        };
        let new = Boot { epoch, ..new };
        store
            .prepare_cached(
                "INSERT INTO boots (device, boot, ticks_per_second, epoch_us, epoch_from) VALUES (?1, ?2, ?3, ?4, ?5)",
            )?
            .execute(params![device, boot, new.ticks_per_second, epoch, word])?;
        self.0.insert((device, boot), new);
        Ok(new)
    }

    /// What is in memory no longer holds.
    pub(super) fn forget(&mut self) {
        self.0.clear();
    }
}

impl Store {
    /// When the newest start of a monitor began, if anything of it is stored. Unit: µs since 1970, UTC
    pub fn began(&self, number: &[u8; 12]) -> Result<Option<i64>, Error> {
        let sql = "SELECT epoch_us FROM boots JOIN devices ON devices.id = device
            WHERE number = ?1 ORDER BY generation DESC, boot DESC LIMIT 1";
        let found = self.connection.query_row(sql, [&number[..]], |row| row.get(0)).optional();
        found.map_err(|error| self.fault(&error))
    }
}

/// When the device started next: the start before must have ended by then. Unit: µs since 1970, UTC
fn next(store: &Connection, device: i64, boot: u32) -> rusqlite::Result<Option<i64>> {
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
        assert_eq!(boot.nanoseconds(25), 2_500);
        assert_eq!(Boot { ticks_per_second: 1, epoch: i64::MAX }.at(u64::MAX), i64::MAX);
        assert_eq!(Boot { ticks_per_second: 0, epoch: 0 }.at(3), 3_000_000);
    }
}
