//! In: the trends of all kinds of an axis. Out: how it stands, in one line: the state of its worst kind, and why.

use serde::Serialize;

use super::trend::TrendLine;

/// How a kind stands; the worst is the largest.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum State {
    /// None of the others is known.
    Steady,
    /// The monitor has no baseline of it yet, so that nothing is known to be normal.
    Learning,
    /// No move of the axis within the time.
    NoMoves,
    /// Moves, but too few for a trend.
    TooFew,
    /// A drift to slower stands that the monitor found.
    Drifting,
    /// The last interval settles later than the limit.
    Late,
    /// More moves do not settle than before, or half or more in the last interval.
    NotSettling,
}

impl State {
    /// In words.
    pub const fn word(self) -> &'static str {
        match self {
            State::Steady => "steady",
            State::Learning => "learning",
            State::NoMoves => "no moves",
            State::TooFew => "too few moves",
            State::Drifting => "drifting",
            State::Late => "late",
            State::NotSettling => "not settling",
        }
    }

    /// Whether a person must do something about it.
    pub fn needs_action(self) -> bool {
        self >= State::Drifting
    }

    fn of(line: &TrendLine) -> State {
        let has_baseline = matches!(line.baseline_from.as_str(), "monitor" | "asked");
        let is_late = line.limit_s.zip(line.last_s).is_some_and(|(limit, last)| last > limit);
        let is_unsettled = line.last_s.is_none() && line.unsettled > 0;
        match (is_unsettled || line.unsettled_rose == Some(true), is_late) {
            (true, _) => State::NotSettling,
            (_, true) => State::Late,
            _ if line.drifts_up == Some(true) => State::Drifting,
            _ if !has_baseline => State::Learning,
            _ => State::Steady,
        }
    }
}

/// An axis at a glance, as other tools read it. Times in seconds. Add fields at the end, never rename.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Glance {
    /// Name of the axis.
    pub axis: String,
    /// Of its worst kind.
    pub state: State,
    /// That kind, in words; empty if there is none.
    pub kind: String,
    /// Since when it is so, on the clock of the store; none if that is not known. Unit: s
    pub since_s: Option<f64>,
    /// The statistic that is compared: `median`, `mean` or `p95`.
    pub measure: String,
    /// Of the last interval; none if half or more do not settle. Unit: s
    pub now_s: Option<f64>,
    /// Of the baseline. Unit: s
    pub normal_s: Option<f64>,
    /// The limit; none without one. Unit: s
    pub limit_s: Option<f64>,
    /// Moves of all its kinds that settled, did not, or were interrupted.
    pub moves: u64,
    /// Of these, unsettled.
    pub unsettled: u64,
    /// Seconds that all its kinds lost against their baselines; none without any.
    pub lost_s: Option<f64>,
    /// Whether that is a lower bound.
    pub lost_at_least: bool,
    /// End of the last interval, on the clock of the store: what is stated of now is of then. Unit: s
    pub to_s: Option<f64>,
    /// Length of the interval that begins at `since_s`, where only that interval is known and no instant. Unit: s
    pub since_interval_s: Option<f64>,
}

impl Glance {
    /// How much slower than normal it is now; as large as can be if that is not known. Unit: 1
    pub fn ratio(&self) -> f64 {
        self.now_s.zip(self.normal_s).map_or(f64::INFINITY, |(now, normal)| now / normal)
    }

    /// Of an axis by the lines of its kinds; `moves` are all its moves within the time.
    pub fn of(axis: &str, lines: &[&TrendLine], moves: u64) -> Glance {
        let ratio = |line: &TrendLine| {
            line.last_s.unwrap_or(f64::INFINITY) / line.compared_s().unwrap_or(f64::INFINITY)
        };
        let worse = |a: &&&TrendLine, b: &&&TrendLine| {
            State::of(a).cmp(&State::of(b)).then(ratio(a).total_cmp(&ratio(b)))
        };
        let worst = lines.iter().max_by(worse).copied();
        let none = if moves == 0 { State::NoMoves } else { State::TooFew };
        let state = worst.map_or(none, State::of);
        let since_s = worst.and_then(|line| since(line, state));
        let lost = lines.iter().filter_map(|line| line.lost_against_baseline_s);
        Glance {
            axis: axis.to_owned(),
            state,
            kind: worst.map_or(String::new(), |line| line.kind.clone()),
            since_s,
            measure: worst.map_or(String::new(), |line| line.measure.clone()),
            now_s: worst.and_then(|line| line.last_s),
            normal_s: worst.and_then(TrendLine::compared_s),
            limit_s: worst.and_then(|line| line.limit_s),
            moves,
            unsettled: lines.iter().map(|line| line.unsettled).sum(),
            lost_s: lost.reduce(|sum, one| sum + one),
            lost_at_least: lines.iter().any(|line| line.lost_at_least),
            to_s: worst.map(|line| line.to_s),
            since_interval_s: since_s.and(worst).filter(|_| state == State::Late).map(|line| line.interval_s),
        }
    }
}

/// Since when a kind is late: since it is beyond its limit, unless it was from the first interval on. Since when it drifts or fails: when the drift came, else the first
/// step that made it slower. Unit: s
fn since(line: &TrendLine, state: State) -> Option<f64> {
    if state == State::Late {
        return line.beyond_since_s.filter(|since| *since > line.from_s);
    }
    let changed = matches!(state, State::Drifting | State::NotSettling);
    line.drift_since_s.or(line.slower_since_s).filter(|_| changed)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(last_ms: Option<f64>) -> TrendLine {
        TrendLine {
            axis: "dibble".to_owned(),
            kind: "+25 mm at 400 mm/s (kind 1)".to_owned(),
            measure: "median".to_owned(),
            last_s: last_ms.map(|ms| 1e-3 * ms),
            baseline_median_s: Some(0.012),
            baseline_from: "monitor".to_owned(),
            limit_s: Some(0.04),
            interval_s: 300.0,
            moves: 100,
            lost_against_baseline_s: Some(2.0),
            ..TrendLine::default()
        }
    }

    #[test]
    fn the_worst_kind_names_the_state() {
        let drifting = TrendLine { drifts_up: Some(true), drift_since_s: Some(60.0), ..line(Some(20.0)) };
        let check = |lines: &[&TrendLine], state: State, since: Option<f64>| {
            let found = Glance::of("dibble", lines, 100);
            assert_eq!((found.state, found.since_s), (state, since), "{found:?}");
            let interval = since.filter(|_| state == State::Late).map(|_| 300.0);
            assert_eq!(found.since_interval_s, interval, "{found:?}");
        };
        check(&[&line(Some(12.0))], State::Steady, None);
        check(&[&line(Some(12.0)), &drifting], State::Drifting, Some(60.0));
        check(&[&line(Some(41.0)), &drifting], State::Late, None);
        let late = TrendLine { beyond_since_s: Some(300.0), last_s: Some(0.05), ..drifting.clone() };
        check(&[&late, &drifting], State::Late, Some(300.0));
        check(&[&TrendLine { from_s: 300.0, ..late }, &drifting], State::Late, None);
        let failing = TrendLine { unsettled: 60, ..line(None) };
        check(&[&drifting, &failing], State::NotSettling, None);
        check(
            &[&TrendLine { unsettled_rose: Some(true), ..drifting.clone() }],
            State::NotSettling,
            Some(60.0),
        );
        check(
            &[&TrendLine { baseline_from: "first interval".to_owned(), ..line(Some(12.0)) }],
            State::Learning,
            None,
        );
        check(&[], State::TooFew, None);
        assert_eq!(Glance::of("dibble", &[], 0).state, State::NoMoves);
    }

    #[test]
    fn costs_of_all_kinds_add_up() {
        let other = TrendLine {
            lost_against_baseline_s: Some(-0.5),
            unsettled: 3,
            lost_at_least: true,
            ..line(Some(11.0))
        };
        let found = Glance::of("dibble", &[&line(Some(12.0)), &other], 203);
        assert_eq!((found.lost_s, found.lost_at_least, found.unsettled), (Some(1.5), true, 3));
        assert_eq!(Glance::of("dibble", &[], 3).lost_s, None);
    }
}
