//! In: pages written by `stillpoint compare` and `stillpoint window`. Out: whether they say what the commands print.

use crate::made::recording;
use crate::pages::{has_reader, same_text, tool};
use crate::{Folder, run, stops, text};

/// Runs a command with both pages, and returns its stdout, the HTML, and the path of the PDF.
fn pages(folder: &Folder, arguments: &[&str]) -> (String, String, String) {
    let [html, pdf] = ["page.html", "page.pdf"].map(|name| folder.path(name));
    let mut printed = String::new();
    for page in [&html, &pdf] {
        let output = run(&[arguments, &["--report", page]].concat());
        assert_eq!(output.status.code(), Some(0), "{}", text(&output.stderr));
        printed = text(&output.stdout);
    }
    (printed, std::fs::read_to_string(html).expect("a page"), pdf)
}

#[track_caller]
fn check(html: &str, parts: &[&str]) {
    let html = html.replace('\u{a0}', " ");
    parts.iter().for_each(|part| assert!(html.contains(part), "{part:?} is not on the page"));
}

#[test]
fn a_comparison_is_handed_over_with_verdict_note_and_hashes() {
    let folder = Folder::new("compare");
    let before = folder.write("before.csv", recording(&stops(48, 0.02), 10.0));
    let after = folder.write("after.csv", recording(&stops(48, 0.01), 10.0));
    let arguments =
        ["compare", &before, &after, "--window", "0.01", "--margin-ms", "5", "--note", "belt <42> -> 68 Hz"];
    let (printed, html, pdf) = pages(&folder, &arguments);
    let answer = printed.lines().next().expect("an answer");
    let hash = tool("sha256sum", &[&after]);
    check(&html, &[answer, "belt &lt;42&gt; -&gt; 68 Hz", &hash[..64], "<td class=\"word\">faster</td>"]);
    check(&html, &["Accepted by, date", "after, 24 moves: median", "Stillpoint only listens"]);
    assert_eq!(html.matches("<svg").count(), 2, "a picture for each kind");
    if has_reader() {
        same_text(&html, &pdf, "Cautions");
    }
}

#[test]
fn windows_are_handed_over_with_their_promise() {
    let folder = Folder::new("window");
    let file = folder.write("axis.csv", recording(&stops(240, 0.01), 10.0));
    let (printed, html, pdf) = pages(&folder, &["window", &file, "--settling-ms", "40"]);
    let answer = printed.lines().next().expect("an answer");
    check(&html, &[answer, "95 % of all such moves", "axis.csv", "SHA-256", "120 moves"]);
    if has_reader() {
        same_text(&html, &pdf, "Cautions");
    }
    // Too few moves: the page says so instead of a window.
    let few = folder.write("few.csv", recording(&stops(12, 0.01), 10.0));
    let (_, html, _) = pages(&folder, &["window", &few]);
    check(&html, &["No window can be stated", "59 moves are needed"]);
}
