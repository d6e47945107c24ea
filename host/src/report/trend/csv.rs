//! In: trends as lines. Out: CSV under the same field names as the JSON line.
//!
//! A list is one field: its entries are parted by `;`, their figures by `:`.

use std::io;

use super::TrendLine;
use crate::report::csv::Lines;

/// Writes a header, then one row per line.
pub fn csv(lines: &[TrendLine], out: impl io::Write) -> io::Result<()> {
    let mut rows = Lines::new(out);
    rows.write(fields(&TrendLine::default()).iter().map(|field| field.0))?;
    for line in lines {
        rows.write(fields(line).iter().map(|field| field.1.as_str()))?;
    }
    rows.finish()
}

/// A list as one field.
fn list(entries: impl Iterator<Item = String>) -> String {
    entries.collect::<Vec<String>>().join(";")
}

/// Names and texts, in order.
fn fields(line: &TrendLine) -> Vec<(&'static str, String)> {
    [found(line), lost(line), beside(line)].concat()
}

/// What was found of the settling time.
fn found(line: &TrendLine) -> Vec<(&'static str, String)> {
    let changes = line
        .change_points
        .iter()
        .map(|(at, from, to)| format!("{}:{}:{}", number(*at), number(*from), number(*to)));
    vec![
        ("axis", line.axis.clone()),
        ("kind", line.kind.clone()),
        ("measure", line.measure.clone()),
        ("from_s", number(line.from_s)),
        ("to_s", number(line.to_s)),
        ("intervals", line.intervals.to_string()),
        ("left_out", line.left_out.to_string()),
        ("warm_up_intervals", line.warm_up_intervals.to_string()),
        ("warm_up_p", optional(line.warm_up_p)),
        ("change_points", list(changes)),
        ("fitted_from_s", optional(line.fitted_from_s)),
        ("level_s", optional(line.level_s)),
        ("slope_s_per_h", optional(line.slope_s_per_h)),
        ("slope_low_s_per_h", optional(line.slope_low_s_per_h)),
        ("slope_high_s_per_h", optional(line.slope_high_s_per_h)),
        ("mann_kendall_p", optional(line.mann_kendall_p)),
        ("variance_factor", optional(line.variance_factor)),
        ("limit_s", optional(line.limit_s)),
        ("time_to_limit", line.time_to_limit.clone()),
        ("limit_earliest_s", optional(line.limit_earliest_s)),
        ("limit_latest_s", optional(line.limit_latest_s)),
    ]
}

/// What it costs, and what did not settle.
fn lost(line: &TrendLine) -> Vec<(&'static str, String)> {
    let shifts = line.shifts.iter().map(|(name, moves, lost, against)| {
        let name = name.replace([':', ';'], " ");
        format!("{name}:{moves}:{}:{}", number(*lost), optional(*against))
    });
    let unsettled =
        line.unsettled_intervals.iter().map(|(at, count, of)| format!("{}:{count}:{of}", number(*at)));
    vec![
        ("moves", line.moves.to_string()),
        ("lost_s", number(line.lost_s)),
        ("lost_against_baseline_s", optional(line.lost_against_baseline_s)),
        ("lost_parts", optional(line.lost_parts)),
        ("lost_against_baseline_parts", optional(line.lost_against_baseline_parts)),
        ("shifts", list(shifts)),
        ("settles_now", line.settles_now.map(|settles| settles.to_string()).unwrap_or_default()),
        ("not_settled_intervals", line.not_settled_intervals.to_string()),
        ("unsettled", line.unsettled.to_string()),
        ("unsettled_share", optional(line.unsettled_share)),
        ("unsettled_share_before", optional(line.unsettled_share_before)),
        ("unsettled_share_now", optional(line.unsettled_share_now)),
        ("unsettled_p", optional(line.unsettled_p)),
        ("unsettled_intervals", list(unsettled)),
        ("restarts", list(line.restarts.iter().map(|at| number(*at)))),
        ("baseline_s", optional(line.baseline_s)),
        ("baseline_from", line.baseline_from.clone()),
        ("warm_up_lost_s", optional(line.warm_up_lost_s)),
        ("limit_likely_s", optional(line.limit_likely_s)),
        ("limit_seen_s", optional(line.limit_seen_s)),
        ("limit_by", line.limit_by.clone()),
        ("last_s", optional(line.last_s)),
        ("drifts_up", line.drifts_up.map(|drifts| drifts.to_string()).unwrap_or_default()),
    ]
}

/// Levels side by side, and why figures are missing.
fn beside(line: &TrendLine) -> Vec<(&'static str, String)> {
    vec![
        ("since_s", optional(line.since_s)),
        ("slower_since_s", optional(line.slower_since_s)),
        ("mean_s", optional(line.mean_s)),
        ("median_s", optional(line.median_s)),
        ("p95_s", optional(line.p95_s)),
        ("median_reason", line.median_reason.clone()),
        ("last_mean_s", optional(line.last_mean_s)),
        ("last_median_s", optional(line.last_median_s)),
        ("last_p95_s", optional(line.last_p95_s)),
        ("baseline_mean_s", optional(line.baseline_mean_s)),
        ("baseline_median_s", optional(line.baseline_median_s)),
        ("baseline_p95_s", optional(line.baseline_p95_s)),
        ("slope_reason", line.slope_reason.clone()),
        ("limit_reason", line.limit_reason.clone()),
        ("unsettled_exact_p", optional(line.unsettled_exact_p)),
        ("unsettled_rose", line.unsettled_rose.map(|rose| rose.to_string()).unwrap_or_default()),
        ("interrupted", line.interrupted.to_string()),
        ("lost_at_least", line.lost_at_least.to_string()),
        ("lost_rests_s", number(line.lost_rests_s)),
        ("interval_s", number(line.interval_s)),
        ("drift_since_s", optional(line.drift_since_s)),
        ("explained", line.explained.join(";")),
        ("beyond_since_s", optional(line.beyond_since_s)),
    ]
}

/// Shortest text that reads back as the same number.
fn number(value: f64) -> String {
    if value.is_finite() { value.to_string() } else { String::new() }
}

fn optional(value: Option<f64>) -> String {
    value.map(number).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::super::tests::line;
    use super::*;

    #[test]
    fn names_values_and_order_are_those_of_the_json_line() {
        let mut bytes = Vec::new();
        csv(&[line(), TrendLine::default()], &mut bytes).unwrap();
        let mut reader = csv::Reader::from_reader(bytes.as_slice());
        let header = reader.headers().unwrap().clone();
        let text = serde_json::to_string(&line()).unwrap();
        let at: Vec<usize> =
            header.iter().map(|name| text.find(&format!("\"{name}\":")).expect(name)).collect();
        let json = serde_json::to_value(line()).unwrap();
        assert!(at.is_sorted() && json.as_object().unwrap().len() == header.len(), "{at:?}");
        let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
        assert_eq!(rows.len(), 2);
        for (name, text) in header.iter().zip(&rows[0]) {
            match &json[name] {
                serde_json::Value::Null => assert_eq!(text, "", "{name}"),
                serde_json::Value::String(expected) => assert_eq!(text, expected, "{name}"),
                serde_json::Value::Number(expected) => {
                    assert_eq!(text.parse().ok(), expected.as_f64(), "{name}")
                }
                serde_json::Value::Bool(expected) => assert_eq!(text, &expected.to_string(), "{name}"),
                list => {
                    let parts = text.split(';').filter(|part| !part.is_empty()).count();
                    assert_eq!(parts, list.as_array().unwrap().len(), "{name}");
                }
            }
        }
    }
}
