//! In: a page. Out: the same as text for a terminal, without its pictures and its lines to sign on.

use super::model::{self as page, Block, Page, Table};
use crate::report::printable::printable;
use crate::report::table::{Column, drawn, fitted};

/// The page; `width` in characters limits its tables, which leave out columns from the right.
pub fn plain(page: &Page, width: usize) -> String {
    let mut text = String::new();
    if let Some(stamp) = &page.verdict {
        text += &format!("{}\n", printable(&stamp.heading));
        stamp.text.iter().for_each(|sentence| text += &format!("{}\n", printable(sentence)));
    }
    page.blocks.iter().for_each(|one| text += &block(one, width));
    text
}

fn block(block: &Block, width: usize) -> String {
    match block {
        Block::Heading(text) => format!("\n{}\n", printable(text)),
        Block::Text(text) => format!("  {}\n", printable(text)),
        Block::List(texts) => texts.iter().map(|text| format!("  {}\n", printable(text))).collect(),
        Block::Facts(facts) => {
            let line =
                |(name, value): &(String, String)| format!("  {}: {}\n", printable(name), printable(value));
            facts.iter().map(line).collect()
        }
        Block::Table(table) => of_table(table, width),
        Block::Picture(_) | Block::Lines(_) | Block::NewSheet => String::new(),
    }
}

fn of_table(table: &Table, width: usize) -> String {
    let headings: Vec<String> = table.columns.iter().map(heading).collect();
    let lines = headings.iter().map(|heading| heading.lines().count()).max().unwrap_or(1);
    let column = |(at, column): (usize, &page::Column)| Column {
        // All headings stand on the last line.
        heading: "\n".repeat(lines - headings[at].lines().count().max(1)) + &headings[at],
        spare: at.min(usize::from(u8::MAX)) as u8,
        is_text: column.is_text,
        cells: table
            .rows
            .iter()
            .map(|row| row.cells.get(at).map_or(String::new(), |cell| printable(cell)))
            .collect(),
    };
    let (mut columns, dropped) = fitted(table.columns.iter().enumerate().map(column).collect(), width);
    let mut text = drawn(&mut columns);
    if !table.caption.is_empty() {
        text += &format!("{}\n", printable(&table.caption));
    }
    let remarks = table.rows.iter().filter(|row| !row.remark.is_empty());
    remarks.for_each(|row| text += &format!("* {}: {}\n", printable(&row.cells[0]), printable(&row.remark)));
    if !dropped.is_empty() {
        text += &format!("Too narrow for: {}\n", dropped.join(", "));
    }
    text
}

/// A heading over numbers has a word on each line, so that its column stays narrow.
fn heading(column: &page::Column) -> String {
    let text = printable(&column.heading);
    if column.is_text { text } else { text.replace(' ', "\n") }
}

#[cfg(test)]
mod tests {
    use super::page::{Row, Sign, Stamp};
    use super::*;

    #[test]
    fn a_narrow_terminal_leaves_out_columns_and_names_them() {
        let row = |cells: [&str; 3], remark: &str| Row {
            cells: cells.map(str::to_owned).to_vec(),
            remark: remark.to_owned(),
            is_bold: false,
        };
        let table = Table {
            columns: vec![
                page::Column::text("axis"),
                page::Column::number("now ms"),
                page::Column::text("last"),
            ],
            rows: vec![row(["dibble", "12.0", "long words"], "why")],
            ..Table::default()
        };
        let page = Page {
            verdict: Some(Stamp { sign: Sign::Plain, heading: "steady".to_owned(), text: Vec::new() }),
            blocks: vec![Block::Heading("Axes".to_owned()), Block::Table(table)],
            ..Page::default()
        };
        assert_eq!(
            plain(&page, 80),
            "steady\n\nAxes\n         now\naxis      ms  last\ndibble  12.0  long words\n* dibble: why\n"
        );
        assert_eq!(
            plain(&page, 16),
            "steady\n\nAxes\n         now\naxis      ms\ndibble  12.0\n* dibble: why\nToo narrow for: last\n"
        );
    }
}
