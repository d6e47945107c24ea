//! In: names that people give to intervals, and a monitor. Out: the intervals, and when its newest start began.

use rusqlite::{OptionalExtension, params};

use super::database::Store;
use crate::error::Error;

impl Store {
    /// Names an interval, such as a shift. Unit: µs since 1970, UTC
    pub fn name_shift(&self, name: &str, since: i64, until: i64) -> Result<(), Error> {
        let sql = "INSERT OR REPLACE INTO shifts (name, since_us, until_us) VALUES (?1, ?2, ?3)";
        self.connection.execute(sql, params![name, since, until]).map_err(|error| self.fault(&error))?;
        Ok(())
    }

    /// The interval of a shift; an error lists the names there are. Unit: µs since 1970, UTC
    pub fn shift(&self, name: &str) -> Result<(i64, i64), Error> {
        let shifts = self.shifts()?;
        let found = shifts.iter().find(|shift| shift.0 == name);
        found.map(|shift| (shift.1, shift.2)).ok_or_else(|| {
            let names: Vec<&str> = shifts.iter().map(|shift| shift.0.as_str()).collect();
            Error::Option {
                option: "--shift".to_owned(),
                value: name.to_owned(),
                wrong: "no shift has this name".to_owned(),
                remedy: match names[..] {
                    [] => "name one with `stillpoint store shift NAME --since T --until T --who NAME`"
                        .to_owned(),
                    _ => format!("one of: {}", names.join(", ")),
                },
            }
        })
    }

    /// Names of the shifts of a store that has frames of another monitor than this one; none if it has not.
    pub fn shifts_of_others(&self, number: &[u8; 12]) -> Result<Option<Vec<String>>, Error> {
        let sql = "SELECT EXISTS (SELECT 1 FROM devices WHERE number <> ?1)";
        let others = self.connection.query_row(sql, [&number[..]], |row| row.get(0));
        if !others.map_err(|error| self.fault(&error))? {
            return Ok(None);
        }
        Ok(Some(self.shifts()?.into_iter().map(|shift| shift.0).collect()))
    }

    /// All shifts: name, beginning, end. Unit: µs since 1970, UTC
    fn shifts(&self) -> Result<Vec<(String, i64, i64)>, Error> {
        let read = || -> rusqlite::Result<Vec<(String, i64, i64)>> {
            let mut statement =
                self.connection.prepare("SELECT name, since_us, until_us FROM shifts ORDER BY since_us")?;
            let rows = statement.query_map([], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)))?;
            rows.collect()
        };
        read().map_err(|error| self.fault(&error))
    }

    /// When the newest start of a monitor began, if one is stored. Unit: µs since 1970, UTC
    pub fn newest_start(&self, number: &[u8; 12]) -> Result<Option<i64>, Error> {
        let sql = "SELECT epoch_us FROM boots JOIN devices ON devices.id = device
            WHERE number = ?1 ORDER BY generation DESC, boot DESC LIMIT 1";
        let found = self.connection.query_row(sql, [&number[..]], |row| row.get(0)).optional();
        found.map_err(|error| self.fault(&error))
    }
}
