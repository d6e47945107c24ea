//! In: when alarms were annunciated, and when they cleared. Out: their rates, floods, chattering and stale alarms.
//!
//! No command uses it yet; the alarm tests do. The measures of ANSI/ISA-18.2-2016, 16.4 and IEC 62682, after a public
//! secondary text. Our choices where it leaves one: bins are fixed from the start of the period; a span includes its
//! first instant and excludes its last.

use std::collections::BTreeMap;
use std::time::Duration;

/// Rate that is very likely acceptable for one operator, and the largest manageable rate. Unit: 1/h
pub const AVERAGE_PER_HOUR: (f64, f64) = (6.0, 12.0);
/// The same for ten minutes. Unit: 1/(10 min)
pub const AVERAGE_PER_10_MIN: (f64, f64) = (1.0, 2.0);
/// The span in which peaks and floods are counted.
pub const TEN_MINUTES: Duration = Duration::from_secs(600);
/// A flood begins above this count in ten minutes; also the highest acceptable peak.
pub const FLOOD_START: usize = 10;
/// A flood ends below this count in ten minutes.
pub const FLOOD_END: usize = 5;
/// An alarm chatters from this count within a minute on. Source: secondary; the standard gives no number.
pub const CHATTER: (usize, Duration) = (3, Duration::from_secs(60));
/// An alarm is stale if it stands for longer than this.
pub const STALE: Duration = Duration::from_secs(24 * 3600);
/// Longest valid period, about 200 years: a longer one comes from a broken clock.
pub const LONGEST: Duration = Duration::from_secs(200 * 366 * 24 * 3600);
const DAY: Duration = Duration::from_secs(24 * 3600);

/// One annunciation of an alarm.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Annunciation {
    /// When, on a clock common to all.
    pub at: Duration,
    /// Which alarm.
    pub alarm: u32,
    /// When its condition cleared; `None` if it stands.
    pub cleared: Option<Duration>,
}

/// The period of the statistics; its last instant is excluded.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Period {
    /// First instant.
    pub from: Duration,
    /// First instant after it.
    pub until: Duration,
}

/// An alarm that stood for too long.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stale {
    /// Which alarm.
    pub alarm: u32,
    /// When it was raised.
    pub at: Duration,
    /// For how long it stood, up to the end of the period.
    pub stood: Duration,
}

/// A time with more alarms than an operator can answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Flood {
    /// First bin.
    pub first: usize,
    /// The bin after the last.
    pub end: usize,
    /// Annunciations in it.
    pub count: usize,
}

/// Statistics of one period.
#[derive(Clone, Debug, PartialEq)]
pub struct AlarmRate {
    /// Annunciations in the period.
    pub total: usize,
    /// Annunciations outside the period; they can only count as stale.
    pub outside: usize,
    /// Unit: 1/h
    pub average_per_hour: f64,
    /// Unit: 1/(10 min)
    pub average_per_10_min: f64,
    /// Annunciations in each ten minutes from the start; the last bin may be shorter.
    pub bins: Vec<usize>,
    /// Largest of them.
    pub most_in_a_bin: usize,
    /// Most in any ten minutes.
    pub most_in_10_min: usize,
    /// Bins with more than ten. Unit: %
    pub bins_over_10_percent: f64,
    /// In order of time.
    pub floods: Vec<Flood>,
    /// Share of the period in floods. Unit: %
    pub flood_time_percent: f64,
    /// Annunciations of each alarm, the most frequent first.
    pub by_alarm: Vec<(u32, usize)>,
    /// Chattering alarms with their largest count in any minute, the worst first.
    pub chattering: Vec<(u32, usize)>,
    /// Stale alarms in the period, the longest first.
    pub stale: Vec<Stale>,
    /// Largest number of stale alarms on one day, days counted from the start.
    pub most_stale_on_a_day: usize,
}

impl AlarmRate {
    /// From annunciations in any order; `None` for an empty period or one beyond [`LONGEST`].
    pub fn new(annunciations: &[Annunciation], period: Period) -> Option<AlarmRate> {
        let length = period.until.checked_sub(period.from)?;
        if length.is_zero() || length > LONGEST {
            return None;
        };
        let inside = |one: &&Annunciation| one.at >= period.from && one.at < period.until;
        let mut counted: Vec<Annunciation> = annunciations.iter().filter(inside).copied().collect();
        counted.sort_unstable();
        let times: Vec<Duration> = counted.iter().map(|one| one.at).collect();
        let bins = bins(&times, period.from, length);
        let floods = floods(&bins);
        let flooded: Duration = floods.iter().map(|flood| span(flood.first, flood.end, length)).sum();
        let over = bins.iter().filter(|count| **count > FLOOD_START).count();
        let alarms = by_alarm(&counted);
        let stale = stale(annunciations, period);
        Some(AlarmRate {
            total: times.len(),
            outside: annunciations.len() - times.len(),
            average_per_hour: times.len() as f64 * 3600.0 / length.as_secs_f64(),
            average_per_10_min: times.len() as f64 * 600.0 / length.as_secs_f64(),
            most_in_a_bin: bins.iter().copied().max().unwrap_or(0),
            most_in_10_min: most_within(&times, TEN_MINUTES),
            bins_over_10_percent: 100.0 * over as f64 / bins.len() as f64,
            flood_time_percent: 100.0 * flooded.as_secs_f64() / length.as_secs_f64(),
            by_alarm: busiest(alarms.iter().map(|(alarm, times)| (*alarm, times.len()))),
            chattering: chattering(&alarms),
            most_stale_on_a_day: most_stale_on_a_day(&stale, period),
            floods,
            bins,
            stale,
        })
    }

    /// Share of the `count` most frequent alarms in all annunciations; 0 if there are none. Unit: %
    pub fn top_share_percent(&self, count: usize) -> f64 {
        let top: usize = self.by_alarm.iter().take(count).map(|(_, times)| times).sum();
        if self.total == 0 { 0.0 } else { 100.0 * top as f64 / self.total as f64 }
    }
}

/// The bin of an instant of the period.
fn bin(since_start: Duration) -> usize {
    (since_start.as_nanos() / TEN_MINUTES.as_nanos()) as usize
}

fn bins(times: &[Duration], from: Duration, length: Duration) -> Vec<usize> {
    let mut bins = vec![0; length.as_nanos().div_ceil(TEN_MINUTES.as_nanos()) as usize];
    for time in times {
        bins[bin(*time - from)] += 1;
    }
    bins
}

/// Time from the first bin to the end of the last, cut at the end of the period.
fn span(first: usize, end: usize, length: Duration) -> Duration {
    let edge = |bin: usize| length.min(TEN_MINUTES * bin as u32);
    edge(end) - edge(first)
}

/// A flood begins in a bin above [`FLOOD_START`] and lasts to the first bin below [`FLOOD_END`].
fn floods(bins: &[usize]) -> Vec<Flood> {
    let mut floods: Vec<Flood> = vec![];
    let mut flooded = false;
    for (bin, count) in bins.iter().enumerate() {
        let on = if flooded { *count >= FLOOD_END } else { *count > FLOOD_START };
        match floods.last_mut() {
            Some(flood) if flooded && on => (flood.end, flood.count) = (bin + 1, flood.count + count),
            _ if on => floods.push(Flood { first: bin, end: bin + 1, count: *count }),
            _ => (),
        }
        flooded = on;
    }
    floods
}

/// Largest number of these sorted instants within any span that excludes its last instant.
fn most_within(times: &[Duration], span: Duration) -> usize {
    let mut first = 0;
    let mut most = 0;
    for (index, time) in times.iter().enumerate() {
        while *time - times[first] >= span {
            first += 1;
        }
        most = most.max(index + 1 - first);
    }
    most
}

fn by_alarm(sorted: &[Annunciation]) -> BTreeMap<u32, Vec<Duration>> {
    let mut alarms: BTreeMap<u32, Vec<Duration>> = BTreeMap::new();
    for one in sorted {
        alarms.entry(one.alarm).or_default().push(one.at);
    }
    alarms
}

/// The largest count first; equal counts by number.
fn busiest(alarms: impl Iterator<Item = (u32, usize)>) -> Vec<(u32, usize)> {
    let mut alarms: Vec<_> = alarms.collect();
    alarms.sort_by_key(|(alarm, count)| (std::cmp::Reverse(*count), *alarm));
    alarms
}

fn chattering(alarms: &BTreeMap<u32, Vec<Duration>>) -> Vec<(u32, usize)> {
    let (enough, span) = CHATTER;
    let counts = alarms.iter().map(|(alarm, times)| (*alarm, most_within(times, span)));
    busiest(counts.filter(|(_, most)| *most >= enough))
}

/// Times for which alarms stood, up to the end of the period; an alarm raised again while it stands is still one.
fn standing(annunciations: &[Annunciation], until: Duration) -> Vec<Stale> {
    let mut ordered: Vec<&Annunciation> = annunciations.iter().filter(|one| one.at < until).collect();
    ordered.sort_unstable_by_key(|one| (one.alarm, one.at));
    let mut standing: Vec<Stale> = vec![];
    for one in ordered {
        let end = one.cleared.map_or(until, |cleared| cleared.clamp(one.at, until));
        match standing.last_mut() {
            Some(last) if last.alarm == one.alarm && one.at < last.at + last.stood => {
                last.stood = last.stood.max(end - last.at);
            }
            _ => standing.push(Stale { alarm: one.alarm, at: one.at, stood: end - one.at }),
        }
    }
    standing
}

/// Alarms that were stale at some instant of the period.
fn stale(annunciations: &[Annunciation], period: Period) -> Vec<Stale> {
    let mut stale = standing(annunciations, period.until);
    stale.retain(|one| one.stood > STALE && one.at + one.stood > period.from);
    stale.sort_by_key(|one| (std::cmp::Reverse(one.stood), one.alarm, one.at));
    stale
}

/// An alarm is stale on a day if it is stale at some instant of that day.
fn most_stale_on_a_day(stale: &[Stale], period: Period) -> usize {
    let mut days: BTreeMap<u128, usize> = BTreeMap::new();
    for one in stale {
        let day = |instant: Duration| instant.saturating_sub(period.from).as_nanos() / DAY.as_nanos();
        // Its last instant is excluded.
        let last = one.at + one.stood - Duration::from_nanos(1);
        for day in day(one.at + STALE)..=day(last) {
            *days.entry(day).or_default() += 1;
        }
    }
    days.into_values().max().unwrap_or(0)
}
