//! In: invented sheets of every difficulty. Out: what each picture of them must hold.

use resvg::usvg::roxmltree::Document;
use stillpoint_core::Definition;

use super::{PlottedMove, Sheet, StopTrace, TWICE_U, html, png, strips, svg};
use crate::report::fixture::{self, Shape};
use crate::report::move_report::{MoveReport, definition_name};

type Move = (MoveReport, StopTrace);

fn moves(shapes: &[Shape], count: u32, rest_s: f64) -> Vec<Move> {
    let one = |number: u32| {
        let points = fixture::points(shapes[number as usize % shapes.len()], rest_s, number);
        (fixture::measured(number, &points), StopTrace { points, ..StopTrace::default() })
    };
    (1..=count).map(one).collect()
}

fn sheet(moves: &[Move]) -> Sheet<'_> {
    let moves = moves.iter().map(|(report, samples)| PlottedMove { report, samples }).collect();
    Sheet { moves, chosen: None, plus_minus: TWICE_U, heading: "Tray shuttle".to_owned(), notes: &[] }
}

/// The SVG is XML with a title and a description, has no coordinate that is not finite, and every word of `labels`.
fn check(case: &str, moves: &[Move], labels: &[&str]) {
    let picture = svg(&sheet(moves));
    let document = Document::parse(&picture).unwrap_or_else(|error| panic!("{case}: {error}"));
    let root = document.root_element();
    assert_eq!(root.attribute("role"), Some("img"), "{case}");
    for name in ["title", "desc"] {
        let element = root.children().find(|node| node.has_tag_name(name)).expect(case);
        assert!(element.text().is_some_and(|text| !text.is_empty()), "{case}: {name}");
    }
    for attribute in document.descendants().flat_map(|node| node.attributes()) {
        let value = attribute.value();
        assert!(!value.contains("NaN") && !value.contains("inf"), "{case}: {}={value}", attribute.name());
    }
    let words: Vec<&str> =
        document.descendants().filter(|n| n.has_tag_name("text")).filter_map(|n| n.text()).collect();
    for label in labels {
        assert!(words.iter().any(|text| text.contains(label)), "{case}: {label:?} not in {words:#?}");
    }
}

#[test]
fn every_kind_of_recording_has_its_pictures() {
    check("no moves", &[], &["no moves", "nothing to draw"]);
    let marks = ["command end", "last entry", "confirmation", "window ± 0.01 mm", "± 2u", "one count"];
    check("one ringing move", &moves(&[fixture::ringing], 1, 0.6), &marks);
    check(
        "lag",
        &moves(&[fixture::lag], 3, 0.6),
        &["error cut, it reaches", "3 moves: 3 settled", "3 settled"],
    );
    let unsettled = ["no last entry to mark", "unsettled, outside the window", "2 unsettled"];
    check("offset", &moves(&[|t| 25.0 + fixture::lag(t)], 2, 0.6), &unsettled);
    check("zero error", &flat(0.0), &["settled in 0.00 ± 0.42 ms", "window ± 0.01 mm"]);
    check("far off", &flat(1e12), &["no last entry to mark", "settled for no window"]);
}

/// Moves whose error never changes.
fn flat(error: f64) -> Vec<Move> {
    let mut moves = moves(&[|_| 0.0], 2, 0.4);
    for (report, samples) in &mut moves {
        samples.points.iter_mut().for_each(|point| point.1 = error);
        *report = fixture::measured(report.number, &samples.points);
    }
    moves
}

#[test]
fn hostile_names_and_numbers_do_no_harm() {
    let mut moves = moves(&[fixture::ringing], 5, 0.3);
    for (i, (report, samples)) in moves.iter_mut().enumerate() {
        report.file = format!("{}<tray>&\"{i}\".csv", "long/".repeat(200));
        report.axis = "\u{0}axis\u{1b}[31m]]>".to_owned();
        report.reason = "<script>alert(1)</script>".repeat(50);
        let odd = [f64::NAN, f64::INFINITY, -1.0, 0.0, 1e300][i];
        (report.window, report.counts_per_unit, report.travel) = (odd, odd, odd);
        (report.settling_s, report.confirmation_s, report.settling_u_s) = (Some(odd), Some(odd), Some(odd));
        report.settling_curve.push((odd, Some(odd)));
        samples.points[5] = (odd, odd);
    }
    for at in 0..moves.len() {
        check(&format!("odd number {at}"), &moves[at..=at], &[]);
    }
    check("all odd", &moves, &["5 moves"]);
    let reports: Vec<MoveReport> = moves.iter().map(|one| one.0.clone()).collect();
    let page = html(&sheet(&moves), &reports).unwrap();
    assert!(!page.contains("<script"), "markup in a name must stay text");
}

#[test]
fn several_axes_and_units_stay_apart() {
    let mut mixed = moves(&[fixture::ringing, fixture::lag], 3, 0.6);
    mixed[0].0.axis = "gripper turntable".to_owned();
    mixed[0].0.unit = "deg".to_owned();
    mixed[2].1.points.retain(|point| !(0.02..0.06).contains(&point.0));
    mixed[2].1.gaps.push((0.02, 0.06));
    check(
        "one of three in deg",
        &mixed,
        &["± 0.01 deg, 0.01 mm", "The only move in deg", "1 settled, marked"],
    );
    mixed.rotate_left(1);
    check(
        "two of three in mm",
        &mixed,
        &["The 2 moves in mm from command end (1 in other units)", "2 settled, marked"],
    );
    let picture = svg(&Sheet { chosen: Some(1), ..sheet(&mixed) });
    for expected in ["Move 3 of tray shuttle, 60 mm", ">gap<"] {
        assert!(picture.contains(expected), "{expected}");
    }
}

/// The line of a strip is not drawn over its own gaps; a point between two of them is a dot.
#[test]
fn a_strip_breaks_where_it_has_no_values() {
    let mut moves = moves(&[fixture::ringing], 1, 0.3);
    let points: Vec<(f64, f64)> = (0..8).map(|k| (0.01 * f64::from(k), f64::from(k))).collect();
    let gaps = vec![(points[3].0, points[4].0), (points[4].0, points[5].0)];
    let [whole, broken] = [Vec::new(), gaps].map(|gaps| {
        let line = strips::Line { name: "", points: points.clone(), gaps };
        moves[0].1.strips = vec![strips::Strip { label: "effort".to_owned(), lines: vec![line] }];
        let picture = svg(&sheet(&moves));
        ["<path", "<circle"].map(|sign| picture.matches(sign).count())
    });
    assert_eq!(broken, [whole[0] + 1, whole[1] + 1], "two lines and a dot");
}

#[test]
fn no_samples_at_all_are_reported() {
    let bare = [(fixture::report(1, Some(0.08)), StopTrace::default())];
    check("no samples", &bare, &["its stop cannot be drawn", "no stop can be drawn"]);
}

#[test]
fn ten_thousand_moves_stay_one_light_picture() {
    let some = moves(&[fixture::ringing, fixture::lag, fixture::hunting], 60, 0.2);
    let many: Vec<Move> = some.iter().cycle().take(10_000).cloned().collect();
    check("10,000 moves", &many, &["All 10000 moves", "of 10000 moves drawn, grey: range of all"]);
    let size = svg(&sheet(&many)).len();
    assert!(size < 500_000, "{size} bytes");
}

/// The PNG has twice the pixels of the SVG and is not blank.
#[test]
fn the_png_has_the_size_of_the_sheet() {
    for (case, moves) in [("no moves", Vec::new()), ("ringing", moves(&[fixture::ringing], 2, 0.4))] {
        let picture = svg(&sheet(&moves));
        let pixels = resvg::tiny_skia::Pixmap::decode_png(&png(&picture).unwrap()).expect(case);
        let document = Document::parse(&picture).unwrap();
        let size = |name| document.root_element().attribute(name).and_then(|text| text.parse::<f64>().ok());
        assert_eq!(size("width").map(|w| (2.0 * w).ceil()), Some(f64::from(pixels.width())), "{case}");
        assert_eq!(size("height").map(|h| (2.0 * h).ceil()), Some(f64::from(pixels.height())), "{case}");
        assert!(pixels.pixels().iter().any(|pixel| pixel.red() < 60), "{case}");
    }
}

#[test]
fn the_chosen_move_is_drawn_large_else_the_slowest() {
    let moves = moves(&[fixture::ringing, fixture::lag], 4, 0.6);
    let slowest =
        moves.iter().max_by(|a, b| f64::total_cmp(&a.0.settling_s.unwrap(), &b.0.settling_s.unwrap()));
    let slowest = slowest.unwrap().0.number;
    for (chosen, expected) in [(Some(2), 3), (None, slowest), (Some(99), slowest)] {
        let picture = svg(&Sheet { chosen, ..sheet(&moves) });
        assert!(picture.contains(&format!("Move {expected}: settling curve<")), "{chosen:?}");
    }
}

#[test]
fn the_page_needs_nothing_else() {
    let moves = moves(&[fixture::ringing, fixture::hunting], 4, 0.6);
    let reports: Vec<MoveReport> = moves.iter().map(|one| one.0.clone()).collect();
    let notes = ["A < B & C.".to_owned()];
    let page = html(&Sheet { notes: &notes, ..sheet(&moves) }, &reports).unwrap();
    for load in ["<script", "<link", "<img", "@import", "src=", "href=", "url(http", "url(//"] {
        assert!(!page.contains(load), "{load}");
    }
    // The only addresses are the names of XML vocabularies, which nothing fetches.
    assert_eq!(page.matches("http").count(), page.matches("xmlns=\"http://www.w3.org/2000/svg\"").count());
    assert_eq!(page.matches("<svg ").count(), 6, "each picture wide and narrow");
    let mut names: Vec<&str> =
        page.split("clipPath id=\"").skip(1).filter_map(|rest| rest.split('"').next()).collect();
    let all = names.len();
    names.sort_unstable();
    names.dedup();
    assert_eq!((names.len(), all > 0), (all, true), "names of clip paths are unique on the page");
    assert_eq!(page.matches("<tr class=\"settled\">").count(), 2);
    assert!(page.contains("A &lt; B &amp; C."), "notes are escaped");
    let empty = html(&sheet(&[]), &[]).unwrap();
    assert!(empty.contains("No moves were found."));
}

#[test]
fn what_is_no_svg_is_refused_with_a_remedy() {
    let error = png("not a picture").unwrap_err().to_string();
    assert!(error.contains("SVG instead"), "{error}");
}

/// The font travels with the program: words leave ink even where no font is installed.
#[test]
fn words_are_drawn_in_the_png() {
    let dark = |picture: &str| {
        let pixels = resvg::tiny_skia::Pixmap::decode_png(&png(picture).unwrap()).unwrap();
        pixels.pixels().iter().filter(|pixel| pixel.red() < 100).count()
    };
    let picture = svg(&sheet(&[]));
    let silent = picture.replace("<text", "<desc").replace("</text", "</desc");
    assert!(dark(&picture) > dark(&silent) + 1_000, "{} and {}", dark(&picture), dark(&silent));
}

/// Under another definition the picture still marks the last entry, not the time that definition reports.
#[test]
fn the_last_entry_is_marked_whatever_the_definition() {
    for definition in [Definition::LastEntry, Definition::Iso9283, Definition::TargetReached] {
        let mut report = fixture::measured(1, &fixture::points(fixture::ringing, 0.3, 1));
        let entry = report.settling_s.unwrap();
        report.definition = definition;
        report.confirmation_s = Some(entry + report.window_time_s);
        if definition != Definition::LastEntry {
            report.settling_s = Some(entry * 0.6);
        }
        let samples = StopTrace { points: fixture::points(fixture::ringing, 0.3, 1), ..StopTrace::default() };
        let moves = vec![PlottedMove { report: &report, samples: &samples }];
        let text =
            svg(&Sheet { moves, chosen: None, plus_minus: TWICE_U, heading: String::new(), notes: &[] });
        let marked = format!("last entry {:.1}", entry * 1e3);
        assert!(text.contains(&marked), "{definition:?}: {marked}");
        assert_eq!(
            text.contains(&format!(" by {}", definition_name(definition))),
            definition != Definition::LastEntry
        );
    }
}
