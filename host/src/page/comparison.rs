//! In: groups of moves, compared. Out: the page that says whether a change helped.

use super::about;
use super::model::{Block, Column, Page, Row, Sign, Stamp, Table};
use crate::analysis::comparison::Side;
use crate::analysis::median_interval::median_ends;
use crate::plot::Drawn;
use crate::report::compare::ladder::{KindLadder, Rung};
use crate::report::compare::ladder_table::{best, caution, median, verdict};
use crate::report::compare::table::{Heading, interval, middle, say_nothing};
use crate::report::compare::{Compared, GroupLine, PairLine};
use crate::report::{number, table};

/// All that the page says.
#[derive(Clone, Debug)]
pub struct Comparison<'a> {
    /// What was found.
    pub compared: &'a Compared,
    /// By what it was measured.
    pub heading: &'a Heading,
    /// The answer in a sentence.
    pub answer: String,
    /// Of settings one after another: those of each kind; else empty.
    pub ladders: &'a [KindLadder],
    /// How it was compared: names, each with its value.
    pub settings: Vec<(String, String)>,
    /// What moves were noticed for, group by group, a sentence each.
    pub cautions: Vec<String>,
    /// Settling curves of the kinds with most moves.
    pub pictures: Vec<Drawn>,
    /// The recordings of each group.
    pub recordings: Table,
    /// When the page was made: local, and UTC.
    pub made: String,
}

/// The page.
pub fn page(compared: &Comparison) -> Page {
    let groups = &compared.compared.groups;
    let names: Vec<&str> = groups.iter().map(|group| group.name.as_str()).collect();
    let mut page = Page {
        about: "Stillpoint, comparison of settling".to_owned(),
        heading: match names.len() {
            2 | 3 => names.join(" → "),
            count => format!("{count} {}", if compared.ladders.is_empty() { "groups" } else { "settings" }),
        },
        verdict: Some(Stamp {
            sign: Sign::Plain,
            heading: compared.answer.clone(),
            text: vec!["Each kind of moves has its own verdict below; the sentence above is that of the kind with most moves.".to_owned()],
        }),
        blocks: blocks(compared),
        foot: about::foot(&compared.made),
    };
    let heading = |text: &str| Block::Heading(text.to_owned());
    page.blocks.extend([heading("What was changed"), changed(compared)]);
    page.blocks.extend([heading("How it was compared"), Block::Facts(compared.settings.clone())]);
    page.blocks.push(heading("Cautions"));
    page.blocks.push(about::list(compared.cautions.clone()));
    page.blocks.extend([heading("Signatures"), Block::Lines(about::lines())]);
    page.blocks.extend(compared.pictures.iter().cloned().map(Block::Picture));
    if !compared.recordings.rows.is_empty() {
        page.blocks.extend([heading("Recordings"), Block::Table(compared.recordings.clone())]);
    }
    about::safety(&mut page);
    page
}

/// What was found.
fn blocks(compared: &Comparison) -> Vec<Block> {
    let pairs = Block::Table(pairs(compared.compared));
    if compared.ladders.is_empty() {
        return vec![pairs];
    }
    let heading = |text: &str| Block::Heading(text.to_owned());
    let mut blocks = vec![heading("One setting after another")];
    for ladder in compared.ladders {
        blocks.push(Block::Text(format!("{}: {}.", ladder.kind, best(ladder).join(" "))));
        blocks.push(Block::Table(rungs(ladder, &compared.compared.groups)));
    }
    let caution = caution(compared.ladders).join(" ");
    blocks.extend(Some(caution).filter(|caution| !caution.is_empty()).map(Block::Text));
    blocks.extend([heading("Each pair that was compared"), pairs]);
    blocks
}

/// A row for each setting of one kind of moves.
fn rungs(ladder: &KindLadder, groups: &[GroupLine]) -> Table {
    let row = |rung: &Rung| {
        let side = Side::of(&rung.settling_s);
        let (against, pair) = match (&rung.best, &rung.first) {
            (Some((best, pair)), _) => (*best, Some(pair)),
            (None, pair) => (ladder.rungs[0].group, pair.as_ref()),
        };
        let share = 100.0 * side.unsettled as f64 / side.moves as f64;
        let share =
            if side.moves == 0 { String::new() } else { format!(" ({} %)", number::plain_to(share, 2)) };
        Row {
            cells: vec![
                (rung.group + 1).to_string(),
                groups[rung.group].note.clone().unwrap_or(table::DASH.to_owned()),
                side.moves.to_string(),
                format!("{}{share}", side.unsettled),
                format!("{}{}", median(&rung.settling_s), ends(&rung.settling_s)),
                pair.map_or(table::DASH.to_owned(), |pair| format!("{}: {}", against + 1, verdict(pair))),
            ],
            remark: pair.map_or(String::new(), |pair| pair.reason.clone()),
            is_bold: rung.group == ladder.best && ladder.claim.is_some(),
        }
    };
    let columns = vec![
        Column::number("setting"),
        Column::text("changed before it"),
        Column::number("moves"),
        Column::number("unsettled"),
        Column::number("median ms (95 %)"),
        Column::text("against the best before it, ms"),
    ];
    let caption =
        "Bold: the best that was shown. Moves that did not settle count as later than all others.".to_owned();
    Table { caption, columns, rows: ladder.rungs.iter().map(row).collect() }
}

/// The interval of a median, in brackets, on one line; empty for too few moves.
fn ends(settling_s: &[f64]) -> String {
    let end = |seconds: f64| match seconds.is_finite() {
        true => number::fixed(1e3 * seconds, 1),
        false => "unsettled".to_owned(),
    };
    median_ends(settling_s, 0.95)
        .map_or(String::new(), |(low, high)| format!(" ({}\u{A0}to\u{A0}{})", end(low), end(high)))
}

/// The groups with their notes.
fn changed(compared: &Comparison) -> Block {
    let groups = compared.compared.groups.iter().enumerate().map(|(at, group)| {
        let omitted = match group.omitted {
            0 => String::new(),
            omitted => format!("; {}", say_nothing(omitted)),
        };
        let note = match (&group.note, at) {
            (Some(note), _) => format!("{note}; "),
            // The first group is what the others were changed from.
            (None, 0) => String::new(),
            (None, _) => "nothing was stated; ".to_owned(),
        };
        (group.name.clone(), format!("{note}{}{omitted}", number::count(group.moves, "move")))
    });
    Block::Facts(groups.collect())
}

/// A row for each kind between each two groups.
fn pairs(compared: &Compared) -> Table {
    let several = compared.groups.len() > 2;
    let row = |pair: &PairLine| {
        let groups = several.then(|| format!("{} → {}", pair.before, pair.after));
        let shift = pair
            .shift_s
            .map_or(table::DASH.to_owned(), |shift| format!("{} ms", number::fixed(1e3 * shift, 1)));
        let cells = [
            pair.kind.clone(),
            format!("{} → {}", pair.n_before, pair.n_after),
            format!("{} → {}", pair.unsettled_before, pair.unsettled_after),
            middle(pair.median_before_s, pair.n_before),
            middle(pair.median_after_s, pair.n_after),
            shift,
            pair.shift_95_s.map_or(table::DASH.to_owned(), |ends| interval(ends, pair.confidence)),
            pair.verdict.to_owned(),
        ];
        Row {
            cells: groups.into_iter().chain(cells).collect(),
            remark: pair.reason.clone(),
            is_bold: matches!(pair.verdict, "faster" | "slower"),
        }
    };
    let mut columns: Vec<Column> = several.then(|| Column::text("groups")).into_iter().collect();
    columns.push(Column::text("kind of move"));
    let numbers = ["moves", "unsettled", "median before ms", "median after ms", "median difference"];
    columns.extend(numbers.map(Column::number));
    columns.extend([Column::text("interval"), Column::text("verdict")]);
    Table {
        caption: "Difference: after less before, negative if settling is sooner. Moves that did not settle count as later \
                  than all others."
            .to_owned(),
        columns,
        rows: compared.pairs.iter().map(row).collect(),
    }
}
