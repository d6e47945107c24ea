//! In: recordings from before a change and after it. Out: whether it helped, as text or JSON; with `--plot` a picture too,
//! with `--report` a page to be handed over.

use std::path::PathBuf;
use std::process::ExitCode;

use clap::Args;

use super::group::GroupPaths;
use super::measuring::{Measuring, window};
use super::option_value::{positive, probability};
use super::output::{Form, print, width};
use super::page_options::PageOptions;
use super::recording_options::{Columns, Scale};
use super::recordings::Reader;
use crate::analysis::comparison::{Margin, Terms};
use crate::error::Error;
use crate::plot::Format;
use crate::plot::figure::Figure;
use crate::plot::spread::{Chart, Series};
use crate::report::compare::curves::{KindCurves, curves, round_curves};
use crate::report::compare::ladder::ladders;
use crate::report::compare::ladder_table;
use crate::report::compare::table::{Heading, answer, table};
use crate::report::compare::{Basis, Compared, Group, GroupLine, by_kind};
use crate::report::kind_moves::KindMoves;
use crate::report::move_report::definition_name;
use crate::report::number;
use crate::report::number::plain;

mod page;
mod stored;

/// Find out whether a change made an axis settle faster
///
/// Measures recordings from before and after the change, compares moves of the same kind (direction, distance and speed),
/// and says by how much they settle sooner or later, with an interval; or why that can't be said. Moves that do not settle
/// count as later than all others. Several settings are compared pair by pair, and window by window: which is best may
/// depend on the window. With --store the moves come from a store: --by-note compares each setting with the first one and
/// with the best before it, intervals of time are compared like recordings. The sections Comparison and Settings one after
/// another of core/METHOD.md define each number.
#[derive(Args)]
#[command(after_help = EXAMPLES)]
pub struct Arguments {
    /// BEFORE AFTER [AFTER2 …]: each a recording, a folder of recordings, or NAME=FILE,FILE…; with --store an interval of
    /// time, A..B or NAME=A..B
    #[arg(required_unless_present = "by_note", num_args = 2.., value_name = "RECORDINGS")]
    groups: Vec<String>,
    /// Half-width of the position window, in the unit of the recordings
    #[arg(long, value_name = "W", allow_negative_numbers = true, required_unless_present = "store")]
    window: Option<String>,
    /// Compare moves of this store, as its monitor measured them
    #[arg(long, value_name = "PATH", conflicts_with_all = ["window", "Measuring", "Columns", "Scale"])]
    store: Option<PathBuf>,
    /// Compare the settings between the notes of the store; see `stillpoint note`
    #[arg(long, requires = "store", conflicts_with_all = ["groups", "note", "note_file"])]
    by_note: bool,
    /// Name or number of the axis in the store
    #[arg(long, value_name = "A", requires = "store")]
    axis: Option<String>,
    /// With --by-note from this time on: 14:00, RFC 3339, or how long ago: 30m, 2h, 3d
    #[arg(long, value_name = "T", requires = "by_note")]
    since: Option<String>,
    /// With --by-note before this time
    #[arg(long, value_name = "T", requires = "by_note")]
    until: Option<String>,
    /// Change of settling time that is too small to matter
    #[arg(long, value_name = "M", value_parser = positive, allow_negative_numbers = true)]
    margin_ms: Option<f64>,
    /// The same as a part of the median before: 5%
    #[arg(long, value_name = "P%", value_parser = percent, conflicts_with = "margin_ms")]
    margin: Option<f64>,
    /// Probability with which each interval holds
    #[arg(long, value_name = "C", value_parser = probability, default_value = "0.95")]
    confidence: f64,
    /// What was changed, in words; the first belongs to AFTER, the second to AFTER2
    #[arg(long, value_name = "TEXT")]
    note: Vec<String>,
    /// What was changed, as CSV of name, old, new, unit; the first belongs to AFTER, the second to AFTER2
    #[arg(long, value_name = "CSV")]
    note_file: Vec<PathBuf>,
    /// How the result is printed
    #[arg(long, value_enum, default_value = "table")]
    format: Form,
    /// Draw the settling curves of all groups with their spread; the name ends in .svg, .png or .html
    #[arg(long, value_name = "FILE")]
    plot: Option<PathBuf>,
    #[command(flatten)]
    measuring: Measuring,
    #[command(flatten)]
    page: PageOptions,
    #[command(flatten)]
    columns: Columns,
    #[command(flatten)]
    scale: Scale,
}

const EXAMPLES: &str = "\
Examples:
  stillpoint compare before.csv after.csv --window 0.05
  stillpoint compare monday/ tuesday/ --window 0.05 --margin-ms 5 --note 'belt 42 -> 68 Hz'
  stillpoint compare gain_1=a.csv,b.csv gain_2=c.csv,d.csv gain_4=e.csv --window 3 --plot gains.svg
  stillpoint compare before.csv after.csv --window 0.05 --note-file changes.csv --format json
  stillpoint compare before.csv after.csv --window 0.05 --note 'belt 42 -> 68 Hz' --report change.pdf
  stillpoint compare --store shift.store --by-note --axis tray_shuttle --since 13:00
  stillpoint compare --store shift.store --axis dibble 14:00..14:20 'gain 60=14:30..14:50'

A time of day is the last one until now, or the first after the beginning of its interval, in this computer's time zone.
A note file has a line for each parameter: name, old, new, unit; with or without a header.

Exit status: 0 done, whatever the verdict; 1 a recording can't be used; 2 wrong arguments.";

/// Windows in the picture: all that the core tells apart.
const DRAWN_WINDOWS: usize = 200;
/// Kinds with a picture of their own; those with most moves.
const DRAWN_KINDS: usize = 3;

/// A part in percent, with or without the sign.
fn percent(text: &str) -> Result<f64, String> {
    let number: Option<f64> = text.trim_end_matches('%').trim().parse().ok();
    let number = number.filter(|number: &f64| number.is_finite() && *number > 0.0 && *number < 100.0);
    number
        .map(|number| number / 100.0)
        .ok_or_else(|| "give a part of the median before, such as 5%".to_owned())
}

/// Compares the groups.
pub fn run(arguments: &Arguments) -> Result<ExitCode, Error> {
    arguments.page.check()?;
    if let Some(path) = &arguments.plot {
        Format::of(path)?;
    }
    let (groups, basis) = groups(arguments)?;
    let kinds = by_kind(&groups, &basis);
    let heading = heading(arguments, &groups, &basis);
    let ladders = if arguments.by_note { ladders(&groups, &kinds, &basis) } else { Vec::new() };
    let compared = match arguments.by_note {
        true => Compared::of_ladders(&groups, &kinds, &ladders),
        false => Compared::new(&groups, &kinds, &basis),
    };
    let sentence = match arguments.by_note {
        true => ladder_table::answer(&ladders, &heading),
        false => answer(&compared, &heading),
    };
    if let Some(path) = &arguments.plot {
        let text = match arguments.by_note {
            true => ladder_table::table(&compared, &ladders, &heading, usize::MAX),
            false => table(&compared, &[], &heading, usize::MAX),
        };
        draw(path, (sentence.clone(), text), (&compared, &kinds), &heading)?;
    }
    arguments
        .page
        .write(|| page::page(&groups, &basis, (&compared, &kinds, &heading), (sentence, &ladders)))?;
    let text = match (arguments.format, arguments.by_note) {
        (Form::Json, _) => compared.json().map_err(Error::from)?,
        (Form::Table, true) => ladder_table::table(&compared, &ladders, &heading, width()),
        (Form::Table, false) => table(&compared, &shown_curves(&groups, &kinds), &heading, width()),
    };
    print(&(text + &cautions(arguments, &groups)))?;
    Ok(ExitCode::SUCCESS)
}

/// The cautions of a store; those of recordings were printed while they were read.
fn cautions(arguments: &Arguments, groups: &[Group]) -> String {
    if arguments.store.is_none() || arguments.format == Form::Json {
        return String::new();
    }
    groups.iter().flat_map(|group| &group.cautions).map(|caution| format!("\nCaution: {caution}\n")).collect()
}

/// The settling curves of kinds that two groups have at least, at round windows and at the one that was set.
fn shown_curves(groups: &[Group], kinds: &[KindMoves]) -> Vec<KindCurves> {
    let Some(set) = groups.iter().find_map(|group| group.moves.first()) else { return Vec::new() };
    let is_shown = |kind: &&KindMoves| kind.groups.iter().filter(|moves| !moves.is_empty()).count() > 1;
    kinds.iter().filter(is_shown).map(|kind| round_curves(kind, (set.window, set.definition))).collect()
}

/// Reads all groups.
fn groups(arguments: &Arguments) -> Result<(Vec<Group>, Basis), Error> {
    let margin = match (arguments.margin_ms, arguments.margin) {
        (_, Some(share)) => Margin::Share(share),
        (ms, None) => Margin::Time(ms.unwrap_or(0.0) * 1e-3),
    };
    let terms = Terms { confidence: arguments.confidence, margin };
    let (mut groups, basis) = match &arguments.store {
        Some(path) => stored::groups(arguments, path, terms)?,
        None => recorded(arguments, terms)?,
    };
    if !arguments.by_note {
        let notes = super::notes::all(&arguments.note, &arguments.note_file, groups.len() - 1)?;
        groups.iter_mut().skip(1).zip(notes).for_each(|(group, note)| group.note = note);
    }
    Ok((groups, basis))
}

/// Reads and measures recordings.
fn recorded(arguments: &Arguments, terms: Terms) -> Result<(Vec<Group>, Basis), Error> {
    let window = window(arguments.window.as_deref().unwrap_or_default())?;
    let reader = Reader::new(Some(window), &arguments.measuring, (&arguments.columns, &arguments.scale))?;
    let paths = GroupPaths::all(&arguments.groups)?;
    let mut basis = Basis { terms, unit: String::new(), encoder_step: 0.0, sample_period_s: 0.0 };
    let mut groups = Vec::new();
    for GroupPaths { name, files } in paths {
        let recorded = reader.all(&files)?;
        if groups.is_empty() {
            basis.unit = recorded.unit.clone();
        }
        if basis.unit != recorded.unit {
            return Err(super::recordings::other_unit(&name, &recorded.unit, &basis.unit));
        }
        basis.encoder_step = basis.encoder_step.max(recorded.encoder_step);
        basis.sample_period_s = basis.sample_period_s.max(recorded.sample_period_s);
        groups.push(Group {
            name,
            files: files.iter().map(|file| file.display().to_string()).collect(),
            note: String::new(),
            moves: recorded.moves,
            cautions: recorded.notes,
        });
    }
    Ok((groups, basis))
}

fn heading(arguments: &Arguments, groups: &[Group], basis: &Basis) -> Heading {
    let report = groups.iter().find_map(|group| group.moves.first());
    let unknown = arguments.window.clone().unwrap_or_else(|| "–".to_owned());
    let (window, time, definition) = report.map_or((unknown, 0.0, ""), |report| {
        (plain(report.window), report.window_time_s, definition_name(report.definition))
    });
    Heading {
        window: format!("± {window} {} for {} ms", basis.unit, plain(1e3 * time)),
        definition: definition.to_owned(),
        unit: basis.unit.clone(),
    }
}

/// Draws the curves with the answer above and the text beside them.
fn draw(
    path: &std::path::Path,
    (answer, text): (String, String),
    (compared, kinds): (&Compared, &[KindMoves]),
    heading: &Heading,
) -> Result<(), Error> {
    let note = |group: &GroupLine| Some(format!("{}: {}", group.name, group.note.as_ref()?));
    let figure = Figure {
        heading: answer,
        subject: heading.window.clone() + ", " + &heading.definition,
        charts: charts(compared, kinds, heading),
        notes: compared.groups.iter().filter_map(note).collect(),
        text,
    };
    Ok(figure.draw(path)?)
}

/// The pictures of the kinds with most moves.
fn charts(compared: &Compared, kinds: &[KindMoves], heading: &Heading) -> Vec<Chart> {
    let mut shown: Vec<&KindMoves> = kinds.iter().collect();
    // The least of all groups counts: a kind that one of them lacks comes last.
    shown.sort_by_key(|kind| std::cmp::Reverse(kind.groups.iter().map(Vec::len).min()));
    shown.truncate(DRAWN_KINDS);
    let window =
        kinds.iter().flat_map(|kind| kind.groups.iter().flatten()).next().map(|report| report.window);
    let chart = |kind| chart(curves(kind, DRAWN_WINDOWS), compared, (&heading.unit, window));
    shown.into_iter().map(chart).collect()
}

/// The picture of one kind.
fn chart(curves: KindCurves, compared: &Compared, (unit, window): (&str, Option<f64>)) -> Chart {
    let series = compared.groups.iter().zip(curves.groups).map(|(group, (moves, spreads))| Series {
        name: format!("{}, {}", group.name, number::count(moves, "move")),
        spreads,
    });
    Chart {
        title: curves.kind,
        series: series.collect(),
        windows: curves.windows,
        unit: unit.to_owned(),
        window,
        bound: None,
    }
}
