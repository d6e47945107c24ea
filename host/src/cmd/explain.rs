//! In: recordings of an axis, or a store. Out: why its stops are slow, and what to change, as text or JSON.

use std::path::PathBuf;
use std::process::ExitCode;

use clap::Args;
use jiff::tz::TimeZone;

use super::measuring::{self, Measuring};
use super::moves::Within;
use super::output::{Form, notify, print, width};
use super::recording_options::{Columns, Scale};
use super::recordings::{Reader, Recorded};
use crate::error::Error;
use crate::report::compare::Group;
use crate::report::explain::table::table;
use crate::report::explain::{AxisMoves, Explained, NoteLine};
use crate::report::rungs::{Change, DatedMove, Rungs};
use crate::report::wall_time;
use crate::store::axes::KnownAxis;
use crate::store::drifts::StoredDrift;
use crate::store::{Store, time};

/// Find out why stops are slow, and what to change
///
/// Says kind by kind which signature prevails, the evidence of it, what to change first and next, and what that costs;
/// then which part of the rest errors follows direction or position, and how the ringing frequency changes. What too few
/// moves can't show is not said. Of a store, moves since the last note on an axis are explained; --until before that note
/// explains those before. The section Advice of core/METHOD.md defines each number.
#[derive(Args)]
#[command(after_help = EXAMPLES, override_usage = USAGE)]
pub struct Arguments {
    /// Recordings of one axis
    #[arg(required_unless_present = "store", conflicts_with = "store", value_name = "FILE")]
    files: Vec<PathBuf>,
    /// Half-width of the position window, in the unit of the recording
    #[arg(long, value_name = "W", required_unless_present = "store", conflicts_with = "store")]
    #[arg(allow_negative_numbers = true)]
    window: Option<String>,
    #[command(flatten)]
    within: Option<Within>,
    /// How the result is printed
    #[arg(long, value_enum, default_value = "table")]
    format: Form,
    #[command(flatten)]
    measuring: Measuring,
    #[command(flatten)]
    columns: Columns,
    #[command(flatten)]
    scale: Scale,
}

const USAGE: &str = "stillpoint explain --window <W> [OPTIONS] <FILE>...
       stillpoint explain --store <PATH> [OPTIONS]";

const EXAMPLES: &str = "\
Examples:
  stillpoint explain axis.csv --window 0.05
  stillpoint explain monday/*.csv --window 0.05 --format json
  stillpoint explain --store shift.store --axis tray_shuttle --since 2h

Tuning moves the machine: follow the manuals of drive and machine, and leave it to a qualified person.

Exit status: 0 done, also where too few moves were recorded; 1 a recording can't be used; 2 wrong arguments.";

/// Unit: µs
const SECOND: i64 = 1_000_000;

/// Measures or reads the moves, and explains them.
pub fn run(arguments: &Arguments) -> Result<ExitCode, Error> {
    let (axes, caution) = match &arguments.within {
        Some(within) => stored(within)?,
        None => (vec![recorded(arguments)?], None),
    };
    let explained = Explained::new(&axes);
    let text = match arguments.format {
        Form::Json => explained.json()?,
        Form::Table => {
            table(&explained, width(), &TimeZone::system())
                + &caution.map_or(String::new(), |caution| format!("Caution: {caution}\n"))
        }
    };
    print(&text)?;
    Ok(ExitCode::SUCCESS)
}

/// The moves of the recordings, as those of one axis.
fn recorded(arguments: &Arguments) -> Result<AxisMoves, Error> {
    let window = arguments.window.as_deref().map(measuring::window).transpose()?;
    let reader = Reader::new(window, &arguments.measuring, (&arguments.columns, &arguments.scale))?;
    let Recorded { moves, encoder_step, .. } = reader.with_own_curves().all(&arguments.files)?;
    let first = moves.first().map_or(String::new(), |report| report.axis.clone());
    let name = match arguments.files.len() {
        1 => first,
        count => format!("{first} and {} more", count - 1),
    };
    Ok(AxisMoves { name, moves, encoder_step, note: None })
}

/// The moves of a store since the last note on each axis: moves of different settings say nothing together. And what must
/// stand beside what is said of them.
fn stored(within: &Within) -> Result<(Vec<AxisMoves>, Option<&'static str>), Error> {
    let store = within.open()?;
    if let Some(text) = within.no_moves(&store, &TimeZone::system())? {
        notify(text);
    }
    let interval = within.interval(&store)?;
    let mut axes: Vec<(KnownAxis, Vec<DatedMove>)> = Vec::new();
    for known in store.find_axes(within.axis.as_deref())? {
        let moves = store.dated_moves(&known, interval, true)?;
        // A monitor whose memory was erased is another one to the store.
        let is_same = |(_, others): &&mut (KnownAxis, Vec<DatedMove>)| {
            let of = |moves: &[DatedMove]| {
                moves.last().map(|last| (last.report.file.clone(), last.report.axis.clone()))
            };
            of(others) == of(&moves)
        };
        match axes.last_mut().filter(is_same) {
            Some((newest, others)) => {
                *newest = known;
                others.extend(moves);
            }
            None if moves.is_empty() => {}
            None => axes.push((known, moves)),
        }
    }
    let caution = store.caution(&axes.iter().map(|(known, _)| known.clone()).collect::<Vec<_>>())?;
    let newest = |(known, moves): &(KnownAxis, Vec<DatedMove>)| {
        since_last_note(&store, known, moves, interval).transpose()
    };
    Ok((axes.iter().filter_map(newest).collect::<Result<_, _>>()?, caution))
}

/// The moves since the last note within a time, or since the one before where there are none yet. Unit: µs since 1970, UTC
fn since_last_note(
    store: &Store,
    known: &KnownAxis,
    moves: &[DatedMove],
    (since, until): (i64, i64),
) -> Result<Option<AxisMoves>, Error> {
    let mut notes = store.changes_of(known)?;
    notes.retain(|note| since < note.at && note.at < until);
    let changes: Vec<Change> =
        notes.into_iter().map(|note| Change { at: note.at, text: note.text }).collect();
    let mut groups = Rungs::new(&changes, moves, (i64::MIN, i64::MAX)).groups;
    if let Some(empty) = groups.pop_if(|group| group.moves.is_empty()) {
        let (axis, text) = (&known.axis.name, empty.note);
        notify(format_args!(
            "{axis}: no move yet since the note \"{text}\"; the moves before it are explained"
        ));
    }
    let Some(Group { note: text, moves: explained, .. }) = groups.pop() else { return Ok(None) };
    let begin = explained.first().and_then(|first| moves.iter().find(|one| one.report == *first));
    let at =
        changes.iter().rev().map(|change| change.at).find(|at| begin.is_some_and(|begin| *at <= begin.start));
    let left_out = moves.len() - explained.len();
    if let (Some(begin), Some(last)) = (begin, moves.last()) {
        notify_of_drift(store, known, (begin.end, last.end))?;
    }
    Ok(explained.first().map(|first| AxisMoves {
        name: first.axis.clone(),
        // A store does not hold the encoder step: a count is one.
        encoder_step: 1.0 / first.counts_per_unit,
        note: at.map(|at| NoteLine { text, at, since: time::text(at), left_out }),
        moves: explained.clone(),
    }))
}

/// Says when a drift that stands at the end of the explained moves came within them: those before it are pooled with those
/// since. `begin` is the command end of the first one, `end` that of the last. The time is one that `--since` reads, to the
/// second. Unit: µs since 1970, UTC
fn notify_of_drift(store: &Store, known: &KnownAxis, (begin, end): (i64, i64)) -> Result<(), Error> {
    let zone = TimeZone::system();
    let axis = &known.axis.name;
    let drifts = store.drifts(Some(axis), (begin, end.saturating_add(1)), &zone)?;
    let is_own = |drift: &&StoredDrift| {
        (drift.device, drift.axis) == (known.device, known.axis.axis) && drift.end.is_none()
    };
    let since = drifts.iter().filter(is_own).filter_map(|drift| drift.since).max();
    if let Some(since) = since.filter(|since| begin < since - since.rem_euclid(SECOND)) {
        let since = wall_time::second(since, &zone);
        notify(format_args!(
            "{axis}: a drift came at {since} and stands; moves before and since are explained together: \
             --since \"{since}\" explains the axis as it is now"
        ));
    }
    Ok(())
}
