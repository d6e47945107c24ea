//! In: groups of moves, compared. Out: the page that says whether a change helped.

use super::about;
use super::model::{Block, Column, Page, Row, Sign, Stamp, Table};
use crate::plot::Drawn;
use crate::report::compare::table::{Heading, interval, middle};
use crate::report::compare::{Compared, PairLine};
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
    /// Of settings one after another: the best of each kind, and what to be careful about; else empty.
    pub ladder: Vec<String>,
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
        heading: names.join(" → "),
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
    if compared.ladder.is_empty() {
        return vec![pairs];
    }
    let heading = Block::Heading("One setting after another".to_owned());
    vec![heading, about::list(compared.ladder.clone()), pairs]
}

/// The groups with their notes.
fn changed(compared: &Comparison) -> Block {
    let groups = compared.compared.groups.iter().enumerate().map(|(at, group)| {
        let omitted = match group.omitted {
            0 => String::new(),
            omitted => format!("; {omitted} more say nothing of settling"),
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
