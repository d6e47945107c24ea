//! In: what a monitor reports of a drift, and what is known beside it. Out: its story, in one sentence.

use stillpoint_core::wire::drift::{Direction, Drift, Promise};

use super::number::{fixed, plain_to};

/// A drift, with what makes its numbers readable.
#[derive(Clone, Debug, PartialEq)]
pub struct Story<'a> {
    /// As the monitor reports it.
    pub drift: &'a Drift,
    /// Of the monitor. Unit: ticks/s
    pub ticks_per_second: f64,
    /// When the change came; none where its moves are not known.
    pub since: Option<Since>,
    /// How many alarms of the axis come by chance, as set; none if it is not known. Unit: alarms/month
    pub by_chance: Option<f64>,
    /// Whether the baseline was still growing.
    pub is_provisional: bool,
    /// When the drift of this kind was found first, if this is not the first time.
    pub first: Option<String>,
}

/// The moves of an interval.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Interval {
    /// Mean settling time of those that settled; none if at least half did not. Unit: s
    pub mean_s: Option<f64>,
    /// Share of those that did not settle; interrupted and untrusted moves are not counted.
    pub unsettled: f64,
}

/// How far a drift went, by the mean of the moves that settled in an interval.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Growth {
    /// Its change when it was found. Unit: s
    pub found_s: f64,
    /// Mean of the baseline; none of a monitor that does not send it. Unit: s
    pub baseline_s: Option<f64>,
    /// The last interval, while it stands.
    pub last: Option<Interval>,
    /// The interval that is farthest from the baseline.
    pub most: Option<Interval>,
}

impl Growth {
    /// Of a drift as it begins. Unit: ticks/s
    pub fn of(drift: &Drift, ticks_per_second: f64) -> Growth {
        let baseline_s = Some(f64::from(drift.middle) / ticks_per_second).filter(|middle| *middle > 0.0);
        Growth { found_s: f64::from(drift.change) / ticks_per_second, baseline_s, ..Growth::default() }
    }

    /// Change of an interval against the baseline; none if at least half of its moves did not settle. Unit: s
    pub fn change(&self, interval: Option<Interval>) -> Option<f64> {
        Some(interval?.mean_s? - self.baseline_s?)
    }

    /// `; by the mean of the moves that settled, at most slower by 9.0 ms (18.0 %); now slower by 7.3 ms (14.6 %)`; empty if
    /// nothing is known. The statistic is named, as tables beside it state medians of all moves.
    pub fn text(&self) -> String {
        let Some(baseline) = self.baseline_s else { return String::new() };
        let most = self.most.filter(|most| self.last != Some(*most));
        let is_mean = most.or(self.last).is_some_and(|first| first.mean_s.is_some());
        let named = if is_mean { "; by the mean of the moves that settled, " } else { "; " };
        let most = most.map(|most| format!("{} {}", most.utmost(), most.text(baseline)));
        let last = self.last.map(|last| format!("now {}", last.text(baseline)));
        let parts: Vec<String> = [most, last].into_iter().flatten().collect();
        if parts.is_empty() { String::new() } else { format!("{named}{}", parts.join("; ")) }
    }
}

impl Interval {
    /// What an interval is called that is farthest from the baseline.
    const fn utmost(&self) -> &'static str {
        if self.mean_s.is_some() { "at most" } else { "at worst" }
    }

    fn text(&self, baseline: f64) -> String {
        let Some(mean) = self.mean_s else { return "most moves do not settle".to_owned() };
        let direction = if mean >= baseline { "slower" } else { "faster" };
        let size = milliseconds((mean - baseline).abs(), baseline);
        let unsettled = match self.unsettled > 0.0 {
            true => format!(", and {} % do not settle{NOT_COUNTED}", plain_to(100.0 * self.unsettled, 2)),
            false => String::new(),
        };
        format!("{direction} by {size}{unsettled}")
    }
}

/// Of what a share of unsettled moves is one.
const NOT_COUNTED: &str = " (interrupted moves not counted)";

/// `4.8 ms (9.6 %)`. Unit: s
fn milliseconds(change: f64, baseline: f64) -> String {
    format!("{} ms ({} %)", fixed(1e3 * change, 1), fixed(100.0 * change / baseline, 1))
}

/// Ends a drift of moves whose baseline was discarded.
pub const BEGUN_ANEW: &str = "the watch over it began anew";

/// When a change came, in words.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Since {
    /// The likeliest instant.
    pub at: String,
    /// The 95 % interval; none if the monitor sends none.
    pub interval: Option<[String; 2]>,
}

impl Story<'_> {
    /// The sentence, without the name of the axis and the kind; none if nothing drifts and nothing has.
    pub fn text(&self, stood: bool) -> Option<String> {
        if self.drift.returned {
            return Some("back at baseline".to_owned());
        }
        if self.drift.is_drift() {
            let parts = [Some(self.change()), self.provisional(), self.chance(), self.again()];
            return Some(parts.into_iter().flatten().collect());
        }
        stood.then(|| "the drift has ended, but the moves are not shown to be back at baseline".to_owned())
    }

    /// `slower by 4.8 ms (9.6 %) since 14:02 (13:58 to 14:05)`.
    fn change(&self) -> String {
        let direction = if self.drift.direction == Direction::Up { "slower" } else { "faster" };
        let change = f64::from(self.drift.change).abs();
        let milliseconds = fixed(1e3 * change / self.ticks_per_second, 1);
        let middle = f64::from(self.drift.middle);
        let share =
            if middle > 0.0 { format!(" ({} %)", fixed(100.0 * change / middle, 1)) } else { String::new() };
        let since = self.since.as_ref().map(Since::text).unwrap_or_default();
        format!("{direction} by {milliseconds} ms{share}{since}")
    }

    fn provisional(&self) -> Option<String> {
        self.is_provisional.then(|| ", against provisional limits: the baseline still grows".to_owned())
    }

    fn chance(&self) -> Option<String> {
        match self.drift.promise {
            Promise::Held | Promise::Short => self.by_chance.filter(|rate| *rate > 0.0).map(by_chance),
            Promise::Dependent => Some(
                ", how many such alarms come by chance is not known: the moves depend on each other"
                    .to_owned(),
            ),
            Promise::Learning | Promise::NoBaseline => None,
        }
    }

    fn again(&self) -> Option<String> {
        self.first.as_ref().map(|first| format!("; again, first at {first}"))
    }
}

impl Since {
    fn text(&self) -> String {
        let interval = self.interval.as_ref().map(|[from, to]| format!(" ({from} to {to})"));
        format!(" since {}{}", self.at, interval.unwrap_or_default())
    }
}

/// Unit: alarms/month
fn by_chance(rate: f64) -> String {
    let few = |number: f64| plain_to(number, 2);
    match (few(rate), few(1.0 / rate)) {
        (one, _) if one == "1" => ", one such alarm a month comes by chance".to_owned(),
        (number, _) if rate > 1.0 => format!(", {number} such alarms a month come by chance"),
        (_, one) if one == "1" => ", one such alarm a month comes by chance".to_owned(),
        (_, months) => format!(", one such alarm in {months} months comes by chance"),
    }
}

/// How many moves of the kind lie between the first that a change may have concerned and the last of a report: by the
/// likeliest instant of the change, and by the ends of its interval. None of what the monitor does not send.
pub fn moves_since(drift: &Drift) -> Option<(u32, Option<[u32; 2]>)> {
    // `since` counts the last move before the change.
    let moves = |since: u32| drift.moves.checked_sub(since.checked_add(1)?);
    let interval = [drift.since_earliest, drift.since_latest];
    let [from, to] = interval.map(moves);
    Some((moves(drift.since)?, from.zip(to).map(|(from, to)| [from, to]).filter(|_| drift.since_latest > 0)))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn drift() -> Drift {
        let (change, middle, score) = (4_800, 50_000, 261);
        Drift { change, middle, score, promise: Promise::Held, ..Drift::default() }
    }

    fn story(drift: &Drift) -> Story<'_> {
        let [at, from, to] = ["14:02", "13:58", "14:05"].map(str::to_owned);
        let since = Some(Since { at, interval: Some([from, to]) });
        let (ticks_per_second, by_chance) = (1e6, Some(1.0));
        Story { drift, ticks_per_second, since, by_chance, is_provisional: false, first: None }
    }

    #[track_caller]
    fn check(drift: Drift, change: impl Fn(&mut Story), expected: &str) {
        let mut story = story(&drift);
        change(&mut story);
        assert_eq!(story.text(false).as_deref(), Some(expected));
    }

    #[test]
    fn a_drift_has_one_sentence() {
        let (by, since) = ("slower by 4.8 ms (9.6 %)", "since 14:02 (13:58 to 14:05)");
        let chance = "one such alarm a month comes by chance";
        check(drift(), |_| (), &format!("{by} {since}, {chance}"));
        let again = |story: &mut Story| story.first = Some("13:10".to_owned());
        check(drift(), again, &format!("{by} {since}, {chance}; again, first at 13:10"));
        check(drift(), |story| story.since = None, &format!("{by}, {chance}"));
        let no_interval = |story: &mut Story| {
            story.since.iter_mut().for_each(|since| since.interval = None);
        };
        check(drift(), no_interval, &format!("{by} since 14:02, {chance}"));
        let provisional = "against provisional limits: the baseline still grows";
        check(
            drift(),
            |story| story.is_provisional = true,
            &format!("{by} {since}, {provisional}, {chance}"),
        );
        let faster = Drift { direction: Direction::Down, change: -4_800, middle: 0, ..drift() };
        check(faster, |_| (), &format!("faster by 4.8 ms {since}, {chance}"));
    }

    #[test]
    fn what_comes_by_chance_is_said_as_it_was_set_or_not_at_all() {
        let words = |rate, promise| {
            let drift = Drift { promise, ..drift() };
            let text = Story { by_chance: rate, ..story(&drift) }.text(false).unwrap();
            text.split_once("14:05)").map(|(_, chance)| chance.to_owned()).unwrap()
        };
        assert_eq!(words(Some(2.5), Promise::Short), ", 2.5 such alarms a month come by chance");
        assert_eq!(words(Some(0.25), Promise::Held), ", one such alarm in 4 months comes by chance");
        assert_eq!(words(None, Promise::Held), "");
        assert_eq!(words(Some(1.0), Promise::Learning), "");
        assert!(words(Some(1.0), Promise::Dependent).contains("is not known"));
    }

    #[test]
    fn an_end_says_whether_the_moves_are_back() {
        let ended = Drift { score: 100, ..drift() };
        assert_eq!(story(&ended).text(false), None, "nothing has drifted");
        assert!(story(&ended).text(true).unwrap().contains("not shown to be back"));
        let back = Drift { returned: true, ..ended };
        assert_eq!(story(&back).text(true).as_deref(), Some("back at baseline"));
    }

    #[test]
    fn growth_is_stated_as_far_as_it_is_known() {
        let growth = Growth::of(&drift(), 1e6);
        assert_eq!((growth.found_s, growth.baseline_s, growth.text()), (0.0048, Some(0.05), String::new()));
        let interval = |mean_s: f64| Some(Interval { mean_s: Some(mean_s), unsettled: 0.0 });
        let of = |last, most| Growth { last, most, ..growth }.text();
        let mean = "; by the mean of the moves that settled, ";
        let (most, now) = ("at most slower by 9.0 ms (18.0 %)", "now slower by 7.3 ms (14.6 %)");
        assert_eq!(of(interval(0.0573), interval(0.059)), format!("{mean}{most}; {now}"));
        assert_eq!(of(interval(0.0573), interval(0.0573)), format!("{mean}{now}"), "it is the most");
        assert_eq!(of(None, interval(0.059)), format!("{mean}{most}"));
        let failing = |mean_s, unsettled| Some(Interval { mean_s, unsettled });
        let share = "and 25 % do not settle (interrupted moves not counted)";
        assert_eq!(of(failing(Some(0.0573), 0.25), None), format!("{mean}{now}, {share}"));
        let none = failing(None, 0.6);
        assert_eq!(of(none, none), "; now most moves do not settle");
        let worst = "; at worst most moves do not settle";
        assert_eq!(of(interval(0.0573), none), format!("{worst}; {now}"));
        assert_eq!(of(interval(0.045), None), format!("{mean}now faster by 5.0 ms (10.0 %)"));
        let unknown = Growth { baseline_s: None, most: interval(0.059), ..growth };
        assert_eq!((unknown.text(), unknown.change(unknown.most)), (String::new(), None));
    }

    #[test]
    fn moves_since_a_change_count_back_from_the_last() {
        let drift = Drift { moves: 3_072, since: 3_040, ..drift() };
        assert_eq!(moves_since(&drift), Some((31, None)));
        let known = Drift { since_earliest: 3_010, since_latest: 3_071, ..drift };
        assert_eq!(moves_since(&known), Some((31, Some([61, 0]))));
        assert_eq!(moves_since(&Drift::default()), None, "not sent");
    }
}
