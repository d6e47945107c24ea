//! In: the name or number of an axis. Out: the axes with moves that it means, with their names and scales.

use rusqlite::{CachedStatement, OptionalExtension, Row, params};

use super::database::Store;
use super::devices::Axis;
use crate::error::Error;
use crate::source::rehearsal;

/// An axis with moves in the store.
#[derive(Clone, Debug, PartialEq)]
pub struct KnownAxis {
    /// Number of its monitor in this store.
    pub device: i64,
    /// Name and scale; counts if nobody gave them.
    pub axis: Axis,
}

impl Store {
    /// The axes that have moves, in the order of devices and numbers.
    pub fn axes(&self) -> Result<Vec<KnownAxis>, Error> {
        self.read_axes().map_err(|error| self.fault(&error))
    }

    fn read_axes(&self) -> rusqlite::Result<Vec<KnownAxis>> {
        // One look-up per axis: to read all moves would take long, and so would a comparison of pairs, which no index serves.
        let next = |where_| -> rusqlite::Result<CachedStatement> {
            self.connection.prepare_cached(&format!(
                "SELECT moves.device, moves.axis, name, unit, counts_per_unit, window, source FROM moves
                LEFT JOIN axes ON axes.device = moves.device AND axes.axis = moves.axis
                WHERE {where_} ORDER BY moves.device, moves.axis LIMIT 1"
            ))
        };
        let mut axis = next("moves.device = ?1 AND moves.axis > ?2")?;
        let mut device = next("moves.device > ?1 AND ?2 IS NOT NULL")?;
        let (mut known, mut after) = (Vec::new(), (-1_i64, 0_u8));
        let read = |row: &Row| self.known_axis(row);
        loop {
            let here = axis.query_row(params![after.0, after.1], read).optional()?;
            let found = match here {
                None => device.query_row(params![after.0, after.1], read).optional()?,
                here => here,
            };
            let Some(found) = found else { return Ok(known) };
            after = (found.device, found.axis.axis);
            known.push(found);
        }
    }

    fn known_axis(&self, row: &Row) -> rusqlite::Result<KnownAxis> {
        let text = |place| row.get::<_, Option<String>>(place);
        let axis: u8 = row.get(1)?;
        let axis = Axis {
            axis,
            name: text(2)?.unwrap_or_else(|| format!("axis {axis}")),
            unit: text(3)?.unwrap_or_else(|| "count".to_owned()),
            counts_per_unit: row.get::<_, Option<f64>>(4)?.unwrap_or(1.0),
            window: row.get(5)?,
            source: text(6)?.unwrap_or_else(|| self.path().display().to_string()),
        };
        Ok(KnownAxis { device: row.get(0)?, axis })
    }

    /// What must stand beside results of these axes: that they are of a rehearsal, if one of them is.
    pub fn caution(&self, axes: &[KnownAxis]) -> Result<Option<&'static str>, Error> {
        let read = |known: &KnownAxis| -> rusqlite::Result<bool> {
            let sql = "SELECT board FROM devices WHERE id = ?1";
            let board = self.connection.prepare_cached(sql)?.query_row([known.device], |row| row.get(0));
            let board: Option<String> = board.optional()?.flatten();
            Ok(known.axis.source == rehearsal::BOARD || board.as_deref() == Some(rehearsal::BOARD))
        };
        for known in axes {
            if read(known).map_err(|error| self.fault(&error))? {
                return Ok(Some(rehearsal::INVENTED));
            }
        }
        Ok(None)
    }

    /// Axes of a name or number, all if none; an error lists the names there are.
    pub fn find_axes(&self, wanted: Option<&str>) -> Result<Vec<KnownAxis>, Error> {
        let all = self.axes()?;
        let Some(wanted) = wanted else { return Ok(all) };
        let is_it = |known: &&KnownAxis| known.axis.name == wanted || known.axis.axis.to_string() == wanted;
        let found: Vec<KnownAxis> = all.iter().filter(is_it).cloned().collect();
        if !found.is_empty() {
            return Ok(found);
        }
        let names: Vec<&str> = all.iter().map(|known| known.axis.name.as_str()).collect();
        Err(Error::Option {
            option: "--axis".to_owned(),
            value: wanted.to_owned(),
            wrong: format!("{} has no moves of such an axis", self.path().display()),
            remedy: if names.is_empty() {
                "it has none at all".to_owned()
            } else {
                format!("it has: {}", names.join(", "))
            },
        })
    }
}
