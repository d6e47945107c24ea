//! In: moves against a limit, and how they were recorded. Out: the page on which an engineer signs.

use super::about;
use super::model::{Block, Column, Page, Row, Sign, Stamp, Table};
use stillpoint_core::Definition;

use crate::plot::Drawn;
use crate::report::cell::{TableField, cell, columns};
use crate::report::field::Form;
use crate::report::limit::{self, Checked, Line};
use crate::report::move_report::{KIND, MoveReport};
use crate::report::{number, summary, table};

/// Columns that are dropped sooner than this on a narrow terminal have no room on paper.
const MOST_SPARE: u8 = 4;

/// All that the page says.
#[derive(Clone, Debug)]
pub struct SignOff<'a> {
    /// Name of the axis or the machine.
    pub name: String,
    /// The moves, each with the number of its kind as its kind, and [`limit::as_judged`].
    pub moves: &'a [MoveReport],
    /// What they show.
    pub checked: &'a Checked,
    /// Half-width and window time: `± 0.05 mm held for 10 ms`.
    pub window: String,
    /// Which settling time is measured.
    pub definition: Definition,
    /// The time that the command must stand to end a move. Unit: s
    pub rest_time_s: f64,
    /// The recordings.
    pub recordings: Vec<Recording>,
    /// What was changed before, a sentence each.
    pub changed: Vec<String>,
    /// What was noticed of the recordings as a whole.
    pub notes: &'a [String],
    /// The pictures, the one of all settling times first.
    pub pictures: Vec<Drawn>,
    /// When the page was made: local, and UTC.
    pub made: String,
}

/// One recording and how it was read.
#[derive(Clone, Debug)]
pub struct Recording {
    /// Name and folder as they were given.
    pub file: String,
    /// What is to be known of it: names, each with its value.
    pub facts: Vec<(String, String)>,
}

/// The page.
pub fn page(signed: &SignOff) -> Page {
    let mut page = Page {
        about: "Stillpoint, sign-off of settling".to_owned(),
        heading: signed.name.clone(),
        verdict: Some(stamp(signed)),
        blocks: vec![Block::Table(by_kind(signed.checked))],
        foot: about::foot(&signed.made),
    };
    let heading = |text: &str| Block::Heading(text.to_owned());
    page.blocks.extend([heading("What was measured"), Block::Facts(measured(signed))]);
    page.blocks.push(heading("What was changed before"));
    page.blocks.push(match signed.changed.is_empty() {
        true => Block::Text("Nothing was stated.".to_owned()),
        false => Block::List(signed.changed.clone()),
    });
    let mut pictures = signed.pictures.iter().cloned().map(Block::Picture);
    page.blocks.extend(pictures.next());
    page.blocks.extend([heading("Cautions"), cautions(signed), heading("Signatures"), Block::Lines(lines())]);
    page.blocks.push(Block::NewSheet);
    if pictures.len() > 0 {
        page.blocks.push(heading("Pictures"));
        page.blocks.extend(pictures);
    }
    page.blocks.push(heading("How the verdict was found"));
    page.blocks.push(Block::List(limit::rule(&signed.checked.limit)));
    page.blocks.push(heading("Moves"));
    page.blocks.push(match signed.moves.is_empty() {
        true => Block::Text("No moves were found.".to_owned()),
        false => Block::Table(moves(signed)),
    });
    for recording in &signed.recordings {
        page.blocks.extend([heading("Recording"), Block::Facts(recording.facts.clone())]);
    }
    about::safety(&mut page);
    page
}

/// What is to be written on the lines.
fn lines() -> Vec<String> {
    ["Measured by, date", "Accepted by, date", "Machine, serial number"].map(str::to_owned).to_vec()
}

fn stamp(signed: &SignOff) -> Stamp {
    let checked = signed.checked;
    let sign = if checked.verdict.is_pass() { Sign::Pass } else { Sign::Fail };
    let text = vec![checked.wish(&signed.window), checked.found().join(" ")];
    Stamp { sign, heading: checked.heading(), text }
}

/// A row for each kind, and one for all moves.
fn by_kind(checked: &Checked) -> Table {
    let confidence = number::plain(100.0 * checked.limit.confidence);
    let row = |line: &Line| Row {
        cells: vec![
            line.name.clone(),
            line.counts.moves.to_string(),
            line.counts.within.to_string(),
            line.counts.late.to_string(),
            line.counts.unsettled.to_string(),
            line.counts.interrupted.to_string(),
            line.counts.untrusted.to_string(),
            line.slowest.map_or(table::DASH.to_owned(), |(settling, half, _)| limit::beside(settling, half)),
            line.bound.map_or(table::DASH.to_owned(), limit::share),
            line.verdict.word().to_owned(),
        ],
        remark: line.reason.clone(),
        is_bold: !line.verdict.is_pass(),
    };
    let of_no_kind = match checked.of_no_kind {
        0 => String::new(),
        count => format!(" {count} of them are of no known kind, as their travel is not known."),
    };
    let limit = limit::ms(checked.limit.settling_s);
    let mut columns = vec![Column::text("Kind of move")];
    let numbers = ["moves", &format!("within {limit}"), "late", "unsettled", "inter- rupted", "untrusted"];
    columns.extend(numbers.map(Column::number));
    columns.extend([Column::number("slowest"), Column::number(format!("share at least ({confidence} %)"))]);
    columns.push(Column::text("verdict"));
    Table {
        caption: format!(
            "± beside a time, everywhere on this page, holds the true value in 95 of 100 cases. Every move is listed below.{of_no_kind}"
        ),
        columns,
        rows: checked.kinds.iter().chain([&checked.all]).map(row).collect(),
    }
}

fn measured(signed: &SignOff) -> Vec<(String, String)> {
    let counts = summary::counts_text(signed.moves);
    let counts =
        summary::settling_text(signed.moves).map_or(counts.clone(), |text| format!("{counts}; {text}"));
    let files: Vec<&str> = signed.recordings.iter().map(|recording| recording.file.as_str()).collect();
    let facts = [
        ("Position window", signed.window.clone()),
        ("Settling", definition_in_words(signed.definition).to_owned()),
        (
            "Rest time",
            format!(
                "{} ms without a change of the command end a move",
                number::plain(1e3 * signed.rest_time_s)
            ),
        ),
        ("Moves", counts),
        ("Recordings", about::listed(&files, "recordings, each with its hash below")),
        ("Measured with", about::program()),
        ("Page made", signed.made.clone()),
    ];
    facts.map(|(name, value)| (name.to_owned(), value)).to_vec()
}

fn definition_in_words(definition: Definition) -> &'static str {
    match definition {
        Definition::LastEntry => {
            "last-entry: command end to the last entry into the window, which held until the next move"
        }
        Definition::Iso9283 => {
            "iso-9283: first crossing into the window to staying inside (ISO 9283:1998, 7.4)"
        }
        Definition::TargetReached => {
            "target-reached: command end to the window held for the window time (CiA 402, statusword bit 10)"
        }
    }
}

/// What a reader must be careful about: of the recordings, then of moves.
fn cautions(signed: &SignOff) -> Block {
    let moves: Vec<&MoveReport> = signed.moves.iter().collect();
    let mut cautions = signed.notes.to_vec();
    cautions.extend(table::reasons(&moves));
    about::list(cautions)
}

/// Every move with all fields that tables have, and what it shows of the limit.
fn moves(signed: &SignOff) -> Table {
    let moves: Vec<&MoveReport> = signed.moves.iter().collect();
    let fields: Vec<TableField> =
        columns(&moves).into_iter().filter(|field| field.column.spare <= MOST_SPARE).collect();
    let files = moves.iter().any(|report| report.file != moves[0].file);
    let mut columns: Vec<Column> = if files { vec![Column::text("recording")] } else { Vec::new() };
    let unit = moves.first().map_or("", |report| report.unit.as_str());
    columns.extend(fields.iter().map(|field| column(field, unit)));
    columns.push(Column::text(format!("within {}", limit::ms(signed.checked.limit.settling_s))));
    let number_of =
        |file: &str| signed.recordings.iter().position(|one| one.file == file).map_or(0, |at| at + 1);
    let row = |(report, shown): (&MoveReport, &limit::Shown)| {
        let decimals = number::count_decimals(report.counts_per_unit);
        let cells =
            fields.iter().map(|field| cell(field, report, decimals).unwrap_or(table::DASH.to_owned()));
        let first = files.then(|| number_of(&report.file).to_string());
        Row {
            cells: first.into_iter().chain(cells).chain([shown.word().to_owned()]).collect(),
            remark: report.reason.clone(),
            is_bold: !matches!(shown, limit::Shown::Within),
        }
    };
    Table {
        caption: "Settling is from command end, starts are from the beginning of the recording.".to_owned(),
        columns,
        rows: signed.moves.iter().zip(&signed.checked.shown).map(row).collect(),
    }
}

fn column(field: &TableField, unit: &str) -> Column {
    let title = field.column.title.replace("-\n", "").replace('\n', " ");
    let unit = field.column.decimals.unit().replace("{unit}", unit).replace(" ± 2u", "");
    let heading = if unit.is_empty() { title } else { format!("{title} {unit}") };
    Column {
        heading: heading.trim().to_owned(),
        is_text: field.field.form == Form::Text && field.field.name != KIND.name,
    }
}
