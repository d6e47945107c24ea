//! In: pages written by `stillpoint measure --report`. Out: whether HTML and PDF say the same, whole, on good paper.

use std::process::{Command, Stdio};

use crate::made::recording;
use crate::{Folder, measure, stops, text};

/// Whether the tools are there that read PDF; says so if not, in the form that `tests/run` counts.
pub(crate) fn has_reader() -> bool {
    let found =
        Command::new("pdftotext").arg("-v").stdout(Stdio::null()).stderr(Stdio::null()).status().is_ok();
    if !found {
        eprintln!("\nSKIPPED: no pdftotext to read pages with\n");
    }
    found
}

pub(crate) fn tool(name: &str, arguments: &[&str]) -> String {
    let output = Command::new(name).args(arguments).output().expect("it runs");
    assert!(output.status.success(), "{name} {arguments:?}: {}", text(&output.stderr));
    text(&output.stdout)
}

/// All that is not a blank.
fn letters(text: &str) -> String {
    text.chars().filter(|letter| !letter.is_whitespace()).collect()
}

/// What a reader of the HTML page sees outside its pictures and its foot.
fn seen_in_html(html: &str) -> String {
    let body = &html[html.find("<main>").expect("a body")..html.find("<footer>").expect("a foot")];
    let mut seen = String::new();
    for part in body.split("<svg ").enumerate().map(|(at, part)| match at {
        0 => part,
        _ => part.split_once("</svg>").expect("whole pictures").1,
    }) {
        let mut inside = false;
        for letter in part.chars() {
            match letter {
                '<' => inside = true,
                '>' => (inside, seen) = (false, seen + " "),
                letter if !inside => seen.push(letter),
                _ => {}
            }
        }
    }
    let named =
        [("&lt;", "<"), ("&gt;", ">"), ("&quot;", "\""), ("&#x27;", "'"), ("&#x2f;", "/"), ("&amp;", "&")];
    named.iter().fold(seen, |seen, (name, letter)| seen.replace(name, letter))
}

/// The sheets of a PDF, without their feet and without the headings of tables that only repeat.
fn seen_in_pdf(path: &str, heading: &str) -> Vec<String> {
    let all = tool("pdftotext", &["-raw", path, "-"]);
    let sheets: Vec<&str> = all.split('\u{c}').filter(|sheet| !sheet.trim().is_empty()).collect();
    let count = sheets.len();
    let body = |(at, sheet): (usize, &&str)| {
        let number = letters(&format!("Page {} of {count}", at + 1));
        let sheet = letters(sheet);
        let end = sheet.rfind("stillpoint0.").expect("a foot with the version");
        assert!(sheet[end..].ends_with(&number), "{}", &sheet[end..]);
        // List marks are decoration.
        let body = sheet[..end].replace('•', "");
        let is_repeated = at > 0 && body.starts_with(heading);
        if is_repeated { body[heading.len()..].to_owned() } else { body }
    };
    sheets.iter().enumerate().map(body).collect()
}

/// The headings of the table of moves, as letters.
fn heading_of_moves(html: &str) -> String {
    let tables: Vec<&str> = html.split("<thead>").skip(1).collect();
    let head = tables.last().and_then(|table| table.split("</thead>").next()).expect("a table of moves");
    letters(&seen_in_html(&format!("<main>{head}<footer>")))
}

/// Writes both pages of a recording and returns HTML, path of the PDF, exit status.
fn pages(folder: &Folder, file: &str, more: &[&str]) -> (String, String, Option<i32>) {
    let [html, pdf] = ["page.html", "page.pdf"].map(|name| folder.path(name));
    // The time of writing is the one thing in which both may differ.
    let wrote = |page: &str| measure(&[&[file, "--report", page], more].concat()).status.code();
    let status = wrote(&html);
    assert_eq!(wrote(&pdf), status);
    (std::fs::read_to_string(html).expect("a page"), pdf, status)
}

/// Compares the text of both, without the instant at which each was made, up to the heading `next` after it. Returns the
/// number of sheets.
#[track_caller]
pub(crate) fn same_text(html: &str, pdf: &str, next: &str) -> usize {
    let without_time = |text: &str| {
        let at = text.find("Pagemade").expect("the time of the page") + "Pagemade".len();
        let end = at + text[at..].find(&letters(next)).expect("the next heading");
        format!("{}{}", &text[..at], &text[end..])
    };
    let sheets = seen_in_pdf(pdf, &heading_of_moves(html));
    let (html, pdf) = (without_time(&letters(&seen_in_html(html))), without_time(&sheets.concat()));
    let differs = html.chars().zip(pdf.chars()).position(|(one, other)| one != other);
    let near = differs.map(|at| {
        let near = |text: &str| text.chars().skip(at.saturating_sub(40)).take(80).collect::<String>();
        (near(&html), near(&pdf))
    });
    assert!(near.is_none() && html.chars().count() == pdf.chars().count(), "HTML and PDF differ: {near:?}");
    sheets.len()
}

#[test]
fn both_pages_say_the_same_on_all_their_sheets() {
    if !has_reader() {
        return;
    }
    let folder = Folder::new("same");
    for (moves, limit, status) in [(0, "60", 3), (1, "60", 0), (12, "41", 3), (500, "60", 0)] {
        let file = folder.write("axis.csv", recording(&stops(moves, 0.01), 10.0));
        let changed = folder.write("changes.csv", "name,old,new,unit\nbelt,42,68,Hz\n");
        let more = ["--limit-ms", limit, "--changed", "by hand & with care", "--changed", &changed];
        let (html, pdf, found) = pages(&folder, &file, &more);
        assert_eq!(found, Some(status), "{moves} moves");
        let sheets = same_text(&html, &pdf, "What was changed");
        assert!(if moves == 500 { sheets > 8 } else { sheets <= 4 }, "{moves} moves on {sheets} sheets");
        let hash = tool("sha256sum", &[&file]);
        for part in
            ["belt 42 → 68", "by hand &amp; with care", &hash[..64], "axis.csv", "Signatures", "± 0.01"]
        {
            assert!(
                html.replace('\u{a0}', " ").contains(part),
                "{part:?} is not on the page of {moves} moves"
            );
        }
        let html = html.replace('\u{a0}', " ");
        assert_eq!(
            (html.matches("in 95 of 100 cases").count(), html.contains("2u")),
            (1, false),
            "one ± a page"
        );
        // Every move has its row, and the heading of the table stands on every sheet with moves.
        let rows =
            html.rsplit("<h2>Moves</h2>").next().map_or(0, |rows| rows.matches("settled</td>").count());
        assert_eq!(rows, moves);
        let heading = heading_of_moves(&html);
        let all = tool("pdftotext", &["-raw", &pdf, "-"]);
        let is_of_moves = |sheet: &String| sheet.contains("000settled");
        let sheets: Vec<String> = all.split('\u{c}').map(letters).filter(is_of_moves).collect();
        assert!(
            sheets.len() >= moves.div_ceil(70) && sheets.iter().all(|sheet| sheet.contains(&heading)),
            "{sheets:?}"
        );
    }
}

#[test]
fn names_cannot_break_a_page() {
    let folder = Folder::new("names");
    let name = format!("<b onload=x>&\"'{}{{{{ 7*7 }}}}.csv", "long".repeat(40));
    let file = folder.write(&name, recording(&stops(2, 0.01), 10.0));
    let hostile = "</title><script>alert(1)</script> 軸 \u{202e}";
    let (html, pdf, status) = pages(&folder, &file, &["--limit-ms", "60", "--name", hostile]);
    assert_eq!(status, Some(0));
    assert!(!html.contains("<b onload") && !html.contains("<script"), "names are escaped");
    assert!(html.contains("{{ 7*7 }}") && html.contains("軸"), "and stand as they are");
    for outside in ["src=", "<link", "@import", "url(http", "href="] {
        assert!(!html.contains(outside), "{outside:?} would load something");
    }
    if has_reader() {
        // The font of the PDF has no such letter, and says so.
        same_text(&html.replace('軸', "\u{FFFD}"), &pdf, "What was changed");
    }
}

#[test]
fn the_pdf_is_tagged_and_fits_its_paper() {
    if !has_reader() {
        return;
    }
    let folder = Folder::new("paper");
    let file = folder.write("axis.csv", recording(&stops(12, 0.01), 10.0));
    for (paper, size) in [("a4", "595.276 x 841.89 pts (A4)"), ("letter", "612 x 792 pts (letter)")] {
        let (html, pdf, _) = pages(&folder, &file, &["--limit-ms", "60", "--paper", paper]);
        let about = tool("pdfinfo", &[&pdf]);
        assert!(about.contains(size) && about.contains("Tagged:          yes"), "{about}");
        assert!(html.contains(&format!("size: {} portrait", if paper == "a4" { "A4" } else { "letter" })));
        let tree = tool("pdfinfo", &["-struct-text", &pdf]);
        for part in ["H1", "H2", "Table", "THead", "TH", "Figure"] {
            assert!(tree.contains(part), "{part} is not in {tree}");
        }
    }
}
