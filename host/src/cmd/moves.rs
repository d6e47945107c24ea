//! In: a store and a time. Out: its moves, as `measure` prints them; with `--plot` a picture too.

mod picture;

use std::path::PathBuf;
use std::process::ExitCode;

use clap::Args;
use jiff::tz::TimeZone;

use super::local_time::LocalTime;
use super::output::{Output, OutputFormat, notify, print};
use crate::error::Error;
use crate::plot::Format;
use crate::report::wall_time;
use crate::store::moves::MoveQuery;
use crate::store::{Options, Store};

/// Print the moves of a store
///
/// Axis by axis, in the order of time: the same records as `measure` and `watch` print, with the kind of each.
#[derive(Args)]
#[command(after_help = EXAMPLES)]
pub struct Arguments {
    #[command(flatten)]
    within: Within,
    /// How they are printed
    #[arg(long, value_enum, default_value = "table")]
    format: OutputFormat,
    /// Leave settling curves and ringing out, which is faster
    #[arg(long)]
    no_curves: bool,
    /// Also draw settling time against time, kind by kind: FILE.svg, FILE.png or FILE.html
    #[arg(long, value_name = "FILE")]
    plot: Option<PathBuf>,
}

const EXAMPLES: &str = "\
Examples:
  stillpoint moves --store shift.store --axis tray_shuttle --since 2h
  stillpoint moves --store shift.store --since 2026-05-04T06:00:00Z --until 2026-05-04T14:00:00Z --format csv
  stillpoint moves --store shift.store --since 14:00 --until 14:20
  stillpoint moves --store shift.store --since 8h --plot moves.html

Lengths are in the unit that the field `unit` names, speeds in that per second, times in s. In CSV the points of
settling_curve are parted by `;`, each of them window : settling s; a text that a spreadsheet would calculate has an
apostrophe before it.";

/// Which store, and what of it.
#[derive(Args, Clone)]
pub(super) struct Within {
    /// File that `watch --store` or `rehearse --store` has written
    #[arg(long, value_name = "PATH")]
    pub(super) store: PathBuf,
    /// Name or number of an axis
    #[arg(long, value_name = "A")]
    pub(super) axis: Option<String>,
    /// From this time on: 14:00 (the last one, in this computer's time zone), a date, RFC 3339, or how long ago: 30m, 2h, 3d
    #[arg(long, value_name = "T")]
    since: Option<String>,
    /// Before this time, likewise
    #[arg(long, value_name = "T")]
    until: Option<String>,
    /// Within a named interval of the store
    #[arg(long, value_name = "NAME", conflicts_with_all = ["since", "until"])]
    shift: Option<String>,
}

impl Within {
    /// Opens the store.
    pub(super) fn open(&self) -> Result<Store, Error> {
        Store::open(&self.store, &Options::default())
    }

    /// The interval. Unit: µs since 1970, UTC
    pub(super) fn interval(&self, store: &Store) -> Result<(i64, i64), Error> {
        if let Some(shift) = &self.shift {
            return store.shift(shift);
        }
        LocalTime::here().interval(self.since.as_deref(), self.until.as_deref())
    }

    /// That there are no moves in the time, and when there are some; none if there are. Times are those of the zone.
    pub(super) fn no_moves(&self, store: &Store, zone: &TimeZone) -> Result<Option<String>, Error> {
        let axes = store.find_axes(self.axis.as_deref())?;
        if store.has_moves(&axes, self.interval(store)?)? {
            return Ok(None);
        }
        let Some((first, last)) = store.move_span(&axes)? else {
            return Ok(Some("no moves: the store holds none".to_owned()));
        };
        let [first, last] = [first, last].map(|at| wall_time::second(at, zone));
        let zone = wall_time::zone(zone);
        Ok(Some(format!("no moves in this period; the store holds moves from {first} to {last} ({zone})")))
    }

    /// The query for its moves.
    pub(super) fn query(&self, store: &Store, details: bool) -> Result<MoveQuery, Error> {
        let (since, until) = self.interval(store)?;
        Ok(MoveQuery { axis: self.axis.clone(), since, until, details })
    }
}

/// Prints the moves.
pub fn run(arguments: &Arguments) -> Result<ExitCode, Error> {
    if let Some(path) = &arguments.plot {
        Format::of(path)?;
    }
    let store = arguments.within.open()?;
    let query = arguments.within.query(&store, !arguments.no_curves)?;
    if let Some(path) = &arguments.plot {
        picture::draw(
            path,
            &store,
            (query.axis.as_deref(), (query.since, query.until)),
            &TimeZone::system(),
        )?;
    }
    if let Some(text) = arguments.within.no_moves(&store, &TimeZone::system())? {
        if arguments.format == OutputFormat::Table {
            print(&(text + "\n"))?;
            return Ok(ExitCode::SUCCESS);
        }
        notify(text);
    }
    let mut output = Output::for_store(arguments.format)?;
    store.moves(&query, &mut |report| Ok(output.write(report)?))?;
    output.finish()?;
    Ok(ExitCode::SUCCESS)
}
