//! One rehearsal, and the same numbers of its moves in all outputs: what it prints itself, `moves`, `trend` and exports.

use std::collections::BTreeMap;

use super::trend::lines;
use super::*;

/// Length of the rehearsal. Unit: s
const LENGTH: f64 = 600.0;
/// What a quantile out of a sketch may be off, as a share of it.
const STEP: f64 = 0.01;

fn command(arguments: &[&str]) -> String {
    let output = std::process::Command::new(env!("CARGO_BIN_EXE_stillpoint")).args(arguments).output();
    String::from_utf8(output.expect("it runs").stdout).expect("UTF-8")
}

/// Settled and failed moves of a group, computed here from single moves.
#[derive(Default)]
struct Group {
    /// Unit: s
    settling: Vec<f64>,
    /// By outcome.
    counts: BTreeMap<String, u64>,
}

impl Group {
    fn add(&mut self, line: &serde_json::Value) {
        self.settling.extend(line["settling_s"].as_f64());
        self.settling.sort_by(f64::total_cmp);
        *self.counts.entry(line["outcome"].as_str().expect("a word").to_owned()).or_default() += 1;
    }

    fn count(&self, outcome: &str) -> u64 {
        self.counts.get(outcome).copied().unwrap_or(0)
    }

    fn sum(&self) -> f64 {
        self.settling.iter().sum()
    }

    fn mean(&self) -> f64 {
        self.sum() / self.settling.len() as f64
    }

    /// By rank among `others` more that rank behind.
    fn quantile(&self, share: f64, others: u64) -> Option<f64> {
        let last = (self.settling.len() + others as usize).checked_sub(1)?;
        self.settling.get((share * last as f64) as usize).copied()
    }
}

/// The moves in groups.
fn groups(
    moves: &[serde_json::Value],
    name: impl Fn(&serde_json::Value) -> String,
) -> BTreeMap<String, Group> {
    let mut groups: BTreeMap<String, Group> = BTreeMap::new();
    moves.iter().for_each(|line| groups.entry(name(line)).or_default().add(line));
    groups
}

fn near(what: &str, found: Option<f64>, expected: Option<f64>, share: f64) {
    let is_near = match found.zip(expected) {
        Some((found, expected)) => (found - expected).abs() <= share * expected + 1e-9,
        None => found == expected,
    };
    assert!(is_near, "{what}: {found:?}, not {expected:?}");
}

/// Each kind in `trend`.
fn check_trend(store: &str, moves: &[serde_json::Value]) {
    let text = |line: &serde_json::Value, name: &str| line[name].as_str().unwrap_or_default().to_owned();
    let name = |line: &serde_json::Value| text(line, "axis") + " " + &text(line, "kind");
    let groups = groups(moves, name);
    let trends = lines(store, &[]);
    assert!(trends.len() >= 6, "{trends:?}");
    for line in trends {
        let (name, group) = (name(&line), &groups[&name(&line)]);
        let counts =
            ["moves", "unsettled", "interrupted"].map(|field| line[field].as_u64().expect("a count"));
        assert_eq!(counts, ["settled", "unsettled", "interrupted"].map(|word| group.count(word)), "{name}");
        let figure = |field: &str| line[field].as_f64();
        let settled = figure("lost_s").zip(figure("lost_rests_s")).map(|(lost, rests)| lost - rests);
        near(&name, settled, Some(group.sum()), 0.0);
        near(&name, figure("mean_s"), Some(group.mean()), 0.0);
        near(&name, figure("p95_s"), group.quantile(0.95, group.count("unsettled")), STEP);
        if line["median_reason"] == "" && !line["median_s"].is_null() {
            near(&name, figure("median_s"), group.quantile(0.5, group.count("unsettled")), STEP);
        }
    }
}

/// Each tenth of the shift in what the rehearsal prints.
fn check_rehearsal(printed: &str, moves: &[serde_json::Value]) {
    let part = |line: &serde_json::Value| {
        (line["command_end_s"].as_f64().expect("a time") / LENGTH * 10.0).clamp(0.0, 9.0) as usize
    };
    let groups = groups(moves, |line| format!("{} {}", line["axis"].as_str().expect("a name"), part(line)));
    let (mut axis, mut rows) = (String::new(), 0);
    for row in printed.lines().skip(2).take_while(|row| !row.is_empty()) {
        // Only the first row of an axis has its name.
        let first = row.split_whitespace().next().unwrap_or_default();
        if first.parse::<f64>().is_err() {
            first.clone_into(&mut axis);
        }
        let cells: Vec<&str> = row.split_whitespace().rev().take(8).collect();
        let [worst, p95, median, mean, _, _, all, from] = cells[..] else { panic!("{row}") };
        let part = (from.parse::<f64>().expect("minutes") * 60.0 / LENGTH * 10.0).round() as usize;
        let group = &groups[&format!("{axis} {part}")];
        let ms = |seconds: Option<f64>| {
            seconds.map_or("–".to_owned(), |seconds| format!("{:.1}", 1e3 * seconds))
        };
        let quantile = |share| ms(group.quantile(share, group.count("unsettled")));
        let expected =
            [ms(Some(group.mean())), quantile(0.5), quantile(0.95), ms(group.settling.last().copied())];
        let found = [mean, median, p95, worst].map(str::to_owned);
        // A median in a gap is not stated.
        let has_median = found[1] != "–" || expected[1] == "–";
        assert!(
            found == expected || !has_median && [0, 2, 3].iter().all(|at| found[*at] == expected[*at]),
            "{row}"
        );
        assert_eq!(all.parse(), Ok(group.counts.values().sum::<u64>()), "{row}");
        rows += 1;
    }
    assert_eq!(rows, groups.len(), "{printed}");
}

/// Each axis in the exported summaries, which hold quantiles of the settled moves alone.
fn check_export(store: &str, moves: &[serde_json::Value]) {
    let file = Scratch::new("agree-export.csv");
    let export = ["store", "export", "--summaries", "--store", store, &file.text()];
    command(&export);
    let groups = groups(moves, |line| line["axis"].as_str().expect("a name").to_owned());
    let mut reader = csv::Reader::from_path(&file.0).expect("a file");
    let header = reader.headers().expect("a header").clone();
    let place = |name: &str| header.iter().position(|column| column == name).expect("a column");
    let mut sums: BTreeMap<String, (u64, f64)> = BTreeMap::new();
    for row in reader.records().map(|row| row.expect("a row")) {
        let figure = |name: &str| row[place(name)].parse::<f64>().ok();
        if figure("span_s") != Some(86_400.0) {
            continue;
        }
        let (name, settled) = (row[place("axis")].to_owned(), figure("settled").unwrap_or(0.0));
        let sum = sums.entry(name.clone()).or_default();
        *sum = (sum.0 + settled as u64, sum.1 + settled * figure("mean_s").unwrap_or(0.0));
        // Unless the rehearsal lies on both sides of midnight.
        if settled as usize == groups[&name].settling.len() {
            near(&name, figure("p50_s"), groups[&name].quantile(0.5, 0), STEP);
            near(&name, figure("p95_s"), groups[&name].quantile(0.95, 0), STEP);
        }
    }
    for (name, group) in &groups {
        assert_eq!(sums[name].0 as usize, group.settling.len(), "{name}");
        near(name, Some(sums[name].1), Some(group.sum()), 0.0);
    }
}

#[test]
fn the_same_number_is_the_same_everywhere() {
    let place = Scratch::new("agree");
    let hours = (LENGTH / 3600.0).to_string();
    let printed = command(&["rehearse", "--hours", &hours, "--seed", "3", "--store", &place.text()]);
    let moves = command(&["moves", "--no-curves", "--store", &place.text(), "--format", "jsonl"]);
    let moves: Vec<serde_json::Value> =
        moves.lines().map(|line| serde_json::from_str(line).expect("JSON")).collect();
    assert!(moves.len() > 1000, "{} moves", moves.len());
    check_rehearsal(&printed, &moves);
    check_trend(&place.text(), &moves);
    check_export(&place.text(), &moves);
}
