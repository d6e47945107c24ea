//! In: a page. Out: one HTML file that needs nothing else, for the screen and for paper.

use minijinja::{Environment, Value, context};

use super::model::{Block, Page, Row, Sign, Table};
use super::paper::Paper;
use super::text::shown;
use crate::error::Error;

/// The page as HTML.
pub(super) fn html(page: &Page, paper: Paper) -> Result<String, Error> {
    render(page, paper).map_err(|error| Error::Picture(Box::new(error)))
}

fn render(page: &Page, paper: Paper) -> Result<String, minijinja::Error> {
    let mut environment = Environment::new();
    environment.add_template("page.html", include_str!("page.html"))?;
    let stamp = page.verdict.as_ref().map(|stamp| {
        let sign = match stamp.sign {
            Sign::Pass => "pass",
            Sign::Fail => "fail",
            Sign::Plain => "",
        };
        context! { sign, heading => shown(&stamp.heading), text => all(&stamp.text) }
    });
    environment.get_template("page.html")?.render(context! {
        paper => paper.css(),
        about => shown(&page.about),
        heading => shown(&page.heading),
        stamp,
        blocks => page.blocks.iter().map(block).collect::<Vec<Value>>(),
        foot => shown(&page.foot),
    })
}

fn all(texts: &[String]) -> Vec<String> {
    texts.iter().map(|text| shown(text)).collect()
}

fn block(block: &Block) -> Value {
    match block {
        Block::Heading(text) => context! { kind => "heading", text => shown(text) },
        Block::Text(text) => context! { kind => "text", text => shown(text) },
        Block::List(texts) => context! { kind => "list", texts => all(texts) },
        Block::Facts(facts) => {
            let facts = facts.iter().map(|(name, value)| (shown(name), shown(value)));
            context! { kind => "facts", facts => facts.collect::<Vec<(String, String)>>() }
        }
        Block::Table(table) => of_table(table),
        Block::Picture(drawn) => {
            context! { kind => "picture", title => shown(&drawn.title), svg => drawn.svg.as_str() }
        }
        Block::Lines(labels) => context! { kind => "lines", labels => all(labels) },
        Block::NewSheet => context! { kind => "new sheet" },
    }
}

fn of_table(table: &Table) -> Value {
    let columns = table.columns.iter().map(|column| (shown(&column.heading), column.is_text));
    let row = |row: &Row| {
        let cells = row.cells.iter().zip(&table.columns);
        let cells = cells.map(|(cell, column)| (shown(cell), column.is_text)).collect::<Vec<_>>();
        context! { cells, remark => shown(&row.remark), is_bold => row.is_bold }
    };
    context! {
        kind => "table",
        caption => shown(&table.caption),
        columns => columns.collect::<Vec<_>>(),
        rows => table.rows.iter().map(row).collect::<Vec<Value>>(),
    }
}
