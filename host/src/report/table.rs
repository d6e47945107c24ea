//! In: measured moves. Out: a table for people, one block per axis and window, and a closing summary.

use std::collections::HashMap;

use comfy_table::{Cell, CellAlignment, Table, presets};

use super::line::MoveLine;
use super::printable::printable;
use super::{number, summary};

/// A column: its heading, how readily it is given up on a narrow terminal (0: never), its cells.
struct Column {
    heading: String,
    spare: u8,
    cells: Vec<String>,
}

/// The table as text, ending in a line break. Columns that don't fit into `width` characters are left
/// out and named; `colour` adds ANSI colour to the outcome, which is always there as a word too.
pub fn table(lines: &[MoveLine], colour: bool, width: Option<usize>) -> String {
    let mut text = String::new();
    for (heading, moves) in blocks(lines) {
        text.push_str(&heading);
        text.push('\n');
        let (mut columns, left_out) = fitted(columns(&moves), width.unwrap_or(usize::MAX));
        let drawn = drawn(&mut columns);
        text.push_str(&if colour { coloured(&drawn) } else { drawn });
        for reason in reasons(&moves) {
            text.push_str(&format!("* {reason}\n"));
        }
        if !left_out.is_empty() {
            text.push_str(&format!("Too narrow for: {}\n", left_out.join(", ")));
        }
        text.push('\n');
    }
    text.push_str(&closing(lines));
    text
}

/// Moves that share everything a heading says, in order of first appearance.
fn blocks(lines: &[MoveLine]) -> Vec<(String, Vec<&MoveLine>)> {
    let mut blocks: Vec<(String, Vec<&MoveLine>)> = Vec::new();
    let mut place: HashMap<String, usize> = HashMap::new();
    for line in lines {
        let heading = format!(
            "{} · {} · window ± {} {} for {} ms · {}",
            printable(&line.file),
            printable(&line.axis),
            number::plain_to(line.window, 6),
            printable(&line.unit),
            number::plain(1e3 * line.window_time_s),
            printable(&line.definition)
        );
        let at = *place.entry(heading.clone()).or_insert(blocks.len());
        if at == blocks.len() {
            blocks.push((heading, Vec::new()));
        }
        blocks[at].1.push(line);
    }
    blocks
}

fn columns(moves: &[&MoveLine]) -> Vec<Column> {
    let unit = moves.first().map_or_else(String::new, |line| printable(&line.unit));
    let places = moves.iter().map(|line| number::count_decimals(line.counts_per_unit)).max().unwrap_or(3);
    let column = |heading: &str, spare, cell: &dyn Fn(&MoveLine) -> String| Column {
        heading: heading.replace("{unit}", &unit),
        spare,
        cells: moves.iter().map(|line| cell(line)).collect(),
    };
    let time = |value: Option<f64>, line: &MoveLine| {
        value.map_or(DASH.to_owned(), |s| number::milliseconds_beside(s, line.settling_u_s))
    };
    let length = |value: f64| number::fixed(value, places);
    // One digit beyond the count: a mean over many samples resolves it.
    let mean = |value: Option<f64>| value.map_or(DASH.to_owned(), |v| number::fixed(v, places + 1));
    let mut columns = vec![
        column("move", 0, &|line| line.number.to_string()),
        column("start\ns", 3, &|line| number::fixed(line.start_s, 3)),
        column("travel\n{unit}", 2, &|line| length(line.travel)),
        column("\noutcome", 0, &|line| {
            format!("{}{}", printable(&line.outcome), if line.reason.is_empty() { "" } else { "*" })
        }),
        column("settling\nms ± 2u", 0, &|line| {
            line.settling_s.map_or(DASH.to_owned(), |s| number::milliseconds(s, line.settling_u_s))
        }),
        column("first\nentry ms", 6, &|line| time(line.first_entry_s, line)),
        column("confir-\nmation ms", 5, &|line| time(line.confirmation_s, line)),
        column("over-\nshoot {unit}", 1, &|line| length(line.overshoot)),
        column("rest\nerror {unit}", 4, &|line| mean(line.rest_error)),
        column("rest\nrms {unit}", 7, &|line| mean(line.rest_noise_rms)),
        column("\nsignature", 2, &|line| line.signature.as_deref().map_or(DASH.to_owned(), printable)),
        column("\nkind", 3, &|line| line.kind.as_deref().map_or(DASH.to_owned(), printable)),
    ];
    // Where no shape was looked for and no kind was told, a column of dashes would only take room.
    let is_spare = |heading: &str| heading.ends_with("signature") || heading.ends_with("kind");
    columns.retain(|column| !is_spare(&column.heading) || column.cells.iter().any(|cell| cell != DASH));
    columns
}

/// Stands for a value that does not exist, so that no column has holes.
const DASH: &str = "–";

/// The columns that fit into `width` characters, and the names of the others.
fn fitted(mut columns: Vec<Column>, width: usize) -> (Vec<Column>, Vec<String>) {
    let mut left_out = Vec::new();
    while columns.iter().map(|column| column.width() + GAP).sum::<usize>() > width.saturating_add(GAP) {
        let Some((at, _)) =
            columns.iter().enumerate().filter(|(_, c)| c.spare > 0).max_by_key(|(_, c)| c.spare)
        else {
            break;
        };
        left_out.push(columns.remove(at).heading.replace("-\n", "").replace('\n', " ").trim().to_owned());
    }
    (columns, left_out)
}

/// Blanks between columns.
const GAP: usize = 2;

impl Column {
    fn width(&self) -> usize {
        let cells = self.cells.iter().map(|cell| cell.chars().count());
        cells.chain(self.heading.lines().map(|part| part.chars().count())).max().unwrap_or(0)
    }
}

fn drawn(columns: &mut [Column]) -> String {
    let mut table = Table::new();
    table.load_style(presets::NOTHING);
    table.set_header(columns.iter().map(|column| Cell::new(&column.heading)));
    for row in 0..columns.first().map_or(0, |column| column.cells.len()) {
        table.add_row(columns.iter_mut().map(|column| std::mem::take(&mut column.cells[row])));
    }
    for (at, column) in table.column_iter_mut().enumerate() {
        column.set_padding((0, GAP as u16));
        let is_word = ["outcome", "signature", "kind"].iter().any(|word| columns[at].heading.ends_with(word));
        column.set_cell_alignment(if is_word { CellAlignment::Left } else { CellAlignment::Right });
    }
    table.lines().map(|line| line.trim_end().to_owned() + "\n").collect()
}

/// The drawn table with each outcome in its colour, found by its place under the heading.
fn coloured(drawn: &str) -> String {
    let at = drawn.lines().find_map(|line| line.find("outcome").map(|byte| line[..byte].chars().count()));
    let paint = |line: &str| {
        let (byte, _) = line.char_indices().nth(at?)?;
        let (before, rest) = line.split_at(byte);
        let outcome = rest.split([' ', '*']).next()?;
        let code = [("settled", 32), ("unsettled", 31), ("interrupted", 33), ("untrusted", 35)]
            .into_iter()
            .find(|(name, _)| *name == outcome)?
            .1;
        Some(format!("{before}\x1b[{code}m{outcome}\x1b[0m{}\n", &rest[outcome.len()..]))
    };
    drawn.lines().map(|line| paint(line).unwrap_or_else(|| format!("{line}\n"))).collect()
}

/// Every reason once, with the moves it is about: `moves 3, 7–9: …`.
fn reasons(moves: &[&MoveLine]) -> Vec<String> {
    let mut reasons: Vec<(&str, Vec<u32>)> = Vec::new();
    let mut place: HashMap<&str, usize> = HashMap::new();
    for line in moves.iter().filter(|line| !line.reason.is_empty()) {
        let at = *place.entry(&line.reason).or_insert(reasons.len());
        if at == reasons.len() {
            reasons.push((&line.reason, Vec::new()));
        }
        reasons[at].1.push(line.number);
    }
    let told = |(reason, numbers): (&str, Vec<u32>)| {
        let plural = if numbers.len() == 1 { "" } else { "s" };
        format!("move{plural} {}: {}", ranges(&numbers), printable(reason))
    };
    reasons.into_iter().map(told).collect()
}

/// Runs of moves that are named; how many more there are is said.
const RUNS: usize = 20;

/// `1, 3–5` for 1, 3, 4, 5.
fn ranges(numbers: &[u32]) -> String {
    let (mut text, mut left) = (Vec::new(), numbers.len());
    for run in numbers.chunk_by(|a, b| a.checked_add(1) == Some(*b)).take(RUNS) {
        let [first, last] = [run.first(), run.last()].map(|end| end.copied().unwrap_or_default());
        text.push(if first == last { first.to_string() } else { format!("{first}–{last}") });
        left -= run.len();
    }
    let more = if left == 0 { String::new() } else { format!(" and {left} more") };
    text.join(", ") + &more
}

fn closing(lines: &[MoveLine]) -> String {
    let counts = summary::counts_text(lines);
    summary::settling_text(lines).map_or(format!("{counts}\n"), |settling| format!("{counts}; {settling}\n"))
}

#[cfg(test)]
mod tests;
