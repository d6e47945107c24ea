//! In: a store, and either the notes in it or intervals of time. Out: groups of moves, one for each setting of an axis.

use super::super::local_time::LocalTime;
use super::super::output::notify;
use super::Arguments;
use crate::analysis::comparison::Terms;
use crate::error::Error;
use crate::report::compare::{Basis, Group};
use crate::report::move_report::{MoveReport, definition_name};
use crate::report::number::plain;
use crate::report::rungs::{Change, DatedMove, Rungs, inside};
use crate::store::axes::KnownAxis;
use crate::store::{Options, Store, time};

/// One interval of time and its name. Unit: µs since 1970, UTC
struct Named {
    name: String,
    since: i64,
    until: i64,
}

/// The groups of moves that a store has, and what they have in common.
pub(super) fn groups(
    arguments: &Arguments,
    path: &std::path::Path,
    terms: Terms,
) -> Result<(Vec<Group>, Basis), Error> {
    let (store, here) = (Store::open(path, &Options::default())?, LocalTime::here());
    let axes = one_axis(&store, arguments.axis.as_deref())?;
    let moves = |within: (i64, i64)| -> Result<Vec<DatedMove>, Error> {
        let moves = axes.iter().map(|known| store.dated_moves(known, within, true));
        Ok(moves.collect::<Result<Vec<_>, _>>()?.concat())
    };
    let mut groups = if arguments.by_note {
        let within = here.interval(arguments.since.as_deref(), arguments.until.as_deref())?;
        let name = axes.first().map_or("", |known| known.axis.name.as_str());
        by_note(name, &changes(&store, &axes)?, &moves(within)?, within)?
    } else {
        let intervals = intervals(&arguments.groups, &here)?;
        let group = |one: Named| {
            let moves = inside((one.since, one.until), &moves((one.since, one.until.saturating_add(1)))?);
            Ok(Group { name: one.name, moves, ..Group::default() })
        };
        intervals.into_iter().map(group).collect::<Result<Vec<_>, Error>>()?
    };
    if groups.iter().all(|group| group.moves.is_empty()) {
        return Err(no_moves(&store, &axes)?);
    }
    groups.iter_mut().for_each(|group| group.files = vec![path.display().to_string()]);
    // It holds for all of them.
    groups[0].cautions.extend(store.caution(&axes)?.map(str::to_owned));
    refuse_other_settings(&groups)?;
    let encoder_step = encoder_step(&store, &axes)?;
    let unit = axes.first().map_or(String::new(), |known| known.axis.unit.clone());
    Ok((groups, Basis { terms, unit, encoder_step, sample_period_s: 0.0 }))
}

/// That no move lies in the intervals, and when there are some.
fn no_moves(store: &Store, axes: &[KnownAxis]) -> Result<Error, Error> {
    let span = store.move_span(axes)?.map(|(first, last)| [first, last].map(time::text));
    Ok(Error::Store {
        file: store.path().display().to_string(),
        wrong: "no move of this axis lies in these times as a whole".to_owned(),
        remedy: match span {
            Some([first, last]) => format!("its moves are from {first} to {last}"),
            None => "it has none".to_owned(),
        },
    })
}

/// The axis of that name, once for each time its monitor's memory was erased.
fn one_axis(store: &Store, wanted: Option<&str>) -> Result<Vec<KnownAxis>, Error> {
    let axes = store.find_axes(wanted)?;
    let Some(first) = axes.first() else {
        return Err(Error::Store {
            file: store.path().display().to_string(),
            wrong: "has no moves".to_owned(),
            remedy: "watch a monitor with `stillpoint watch --store`".to_owned(),
        });
    };
    if axes.iter().all(|known| known.axis.name == first.axis.name) {
        return Ok(axes);
    }
    let mut names: Vec<&str> = axes.iter().map(|known| known.axis.name.as_str()).collect();
    names.dedup();
    Err(Error::Option {
        option: "--axis".to_owned(),
        value: wanted.unwrap_or("not given").to_owned(),
        wrong: "settings are those of one axis".to_owned(),
        remedy: format!("give one of: {}", names.join(", ")),
    })
}

fn ends_before(value: &str, since: i64) -> Error {
    Error::Option {
        option: "INTERVAL".to_owned(),
        value: value.to_owned(),
        wrong: "ends before it begins".to_owned(),
        remedy: format!("give a time after {}", time::text(since)),
    }
}

/// The changes of an axis, each once.
fn changes(store: &Store, axes: &[KnownAxis]) -> Result<Vec<Change>, Error> {
    let Some(newest) = axes.last() else { return Ok(Vec::new()) };
    let notes = store.changes_of(newest)?;
    Ok(notes.into_iter().map(|note| Change { at: note.at, text: note.text }).collect())
}

fn by_note(
    axis: &str,
    changes: &[Change],
    moves: &[DatedMove],
    within: (i64, i64),
) -> Result<Vec<Group>, Error> {
    let Rungs { groups, between } = Rungs::new(changes, moves, within);
    if between > 0 {
        let (verb, moves) = if between == 1 { ("belongs", "move") } else { ("belong", "moves") };
        notify(format_args!("{between} {moves} during which a note was given {verb} to no setting"));
    }
    if groups.len() > 1 {
        return Ok(groups);
    }
    Err(Error::Option {
        option: "--by-note".to_owned(),
        value: axis.to_owned(),
        wrong: "no note lies between its moves in this time".to_owned(),
        remedy:
            "note each change with `stillpoint note --store PATH --who NAME TEXT`, or compare intervals: \
            `stillpoint compare --store PATH 14:00..14:20 14:30..14:50`"
                .to_owned(),
    })
}

/// The intervals that the arguments name, `A..B` or `NAME=A..B`; none overlaps another.
fn intervals(arguments: &[String], here: &LocalTime) -> Result<Vec<Named>, Error> {
    let mut all: Vec<Named> = Vec::new();
    for argument in arguments {
        let found = interval(argument, here)?;
        if let Some(other) = all.iter().find(|one| one.since < found.until && found.since < one.until) {
            return Err(Error::Option {
                option: "INTERVAL".to_owned(),
                value: argument.clone(),
                wrong: format!("overlaps {}", other.name),
                remedy: "compare times that have no move in common".to_owned(),
            });
        }
        all.push(found);
    }
    Ok(all)
}

fn interval(argument: &str, here: &LocalTime) -> Result<Named, Error> {
    let (name, times) = match argument.split_once('=') {
        Some((name, times)) if !name.trim().is_empty() => (name.trim(), times),
        _ => (argument, argument),
    };
    let Some((since, until)) = times.split_once("..") else {
        return Err(Error::Option {
            option: "INTERVAL".to_owned(),
            value: argument.to_owned(),
            wrong: "is no interval of time".to_owned(),
            remedy: "with --store give A..B, such as 14:00..14:20, or --by-note".to_owned(),
        });
    };
    let begin = here.last("INTERVAL", since)?;
    let end = here.first_after(begin, "INTERVAL", until)?;
    if begin >= end {
        return Err(ends_before(argument, begin));
    }
    Ok(Named { name: name.to_owned(), since: begin, until: end })
}

/// Moves that were measured in different ways are not comparable.
fn refuse_other_settings(groups: &[Group]) -> Result<(), Error> {
    let way = |report: &MoveReport| {
        let MoveReport { window, window_time_s, definition, unit, .. } = report;
        format!(
            "± {} {unit} for {} ms, {}",
            plain(*window),
            plain(1e3 * window_time_s),
            definition_name(*definition)
        )
    };
    let mut all = groups.iter().flat_map(|group| &group.moves);
    let Some(first) = all.next().map(way) else { return Ok(()) };
    let Some(other) = all.map(way).find(|other| *other != first) else { return Ok(()) };
    Err(Error::Option {
        option: "--store".to_owned(),
        value: groups.iter().flat_map(|group| &group.files).next().cloned().unwrap_or_default(),
        wrong: format!("the monitor measured with a window of {first}, and later of {other}"),
        remedy: "compare times with one window: give --since or --until, or intervals".to_owned(),
    })
}

/// Smallest change of feedback that the monitor knows of. Unit: that of position
fn encoder_step(store: &Store, axes: &[KnownAxis]) -> Result<f64, Error> {
    let mut step: f64 = 0.0;
    for known in axes {
        step = step.max(f64::from(store.encoder_step(known)?.max(1)) / known.axis.counts_per_unit);
    }
    Ok(step)
}
