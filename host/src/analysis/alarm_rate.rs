//! In: when alarms called for a person, and when they cleared. Out: how many, how thick, for how long.
//!
//! The figures of ANSI/ISA-18.2-2016, 16.4 and IEC 62682, by a public secondary text. Where those leave a
//! choice it is said here and in METHOD.md: bins are fixed from the start of the period, a span counts
//! its first instant and leaves out its last.

use std::collections::BTreeMap;
use std::time::Duration;

/// Very likely to be acceptable for one person, and the most one can manage. Unit: 1/h
pub const AVERAGE_PER_HOUR: (f64, f64) = (6.0, 12.0);
/// The same for ten minutes. Unit: 1/(10 min)
pub const AVERAGE_PER_10_MIN: (f64, f64) = (1.0, 2.0);
/// The span in which peaks and floods are counted.
pub const TEN_MINUTES: Duration = Duration::from_secs(600);
/// A flood begins with more than so many in ten minutes; also the highest peak that is acceptable.
pub const FLOOD_START: usize = 10;
/// It ends with fewer than so many in ten minutes.
pub const FLOOD_END: usize = 5;
/// An alarm chatters that comes so often within a minute. Source: secondary; the standard names no number.
pub const CHATTER: (usize, Duration) = (3, Duration::from_secs(60));
/// An alarm is stale that stands for longer than this.
pub const STALE: Duration = Duration::from_secs(24 * 3600);
/// Longest period that is counted: a longer one comes from a broken clock. Unit: about 200 years
pub const LONGEST: Duration = Duration::from_secs(200 * 366 * 24 * 3600);
const DAY: Duration = Duration::from_secs(24 * 3600);

/// One call for a person.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Annunciation {
    /// When, on any clock that all share.
    pub at: Duration,
    /// Which alarm.
    pub point: u32,
    /// When its condition cleared; none if it stands.
    pub cleared: Option<Duration>,
}

/// The time looked at; its last instant is left out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Period {
    /// First instant.
    pub from: Duration,
    /// The instant after.
    pub until: Duration,
}

/// An alarm that stood for too long.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stale {
    /// Which alarm.
    pub point: u32,
    /// When it began to stand.
    pub at: Duration,
    /// How long it stood, up to the end of the period.
    pub stood: Duration,
}

/// A stretch with more alarms than a person can answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Flood {
    /// First bin.
    pub first: usize,
    /// The bin after the last.
    pub end: usize,
    /// Annunciations in it.
    pub count: usize,
}

/// The figures of one period.
#[derive(Clone, Debug, PartialEq)]
pub struct AlarmRate {
    /// Annunciations in the period.
    pub total: usize,
    /// Annunciations given that lie outside of it; they count as standing at most.
    pub outside: usize,
    /// Unit: 1/h
    pub average_per_hour: f64,
    /// Unit: 1/(10 min)
    pub average_per_10_min: f64,
    /// Annunciations in each ten minutes from the start; the last may be shorter.
    pub bins: Vec<usize>,
    /// The fullest of them.
    pub most_in_a_bin: usize,
    /// Most in any ten minutes.
    pub most_in_10_min: usize,
    /// Bins with more than ten. Unit: %
    pub bins_over_10_percent: f64,
    /// In order of time.
    pub floods: Vec<Flood>,
    /// Share of the period in floods. Unit: %
    pub flood_time_percent: f64,
    /// Annunciations of each alarm, the busiest first.
    pub by_point: Vec<(u32, usize)>,
    /// Alarms that chatter, and the most of each in any minute, the worst first.
    pub chattering: Vec<(u32, usize)>,
    /// Alarms that stood for too long in the period, the longest first.
    pub stale: Vec<Stale>,
    /// Most of those that were stale on one day, days counted from the start.
    pub most_stale_on_a_day: usize,
}

impl AlarmRate {
    /// Counts, in whatever order they are; none for a period without length or beyond [`LONGEST`].
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
        let points = by_point(&counted);
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
            by_point: busiest(points.iter().map(|(point, times)| (*point, times.len()))),
            chattering: chattering(&points),
            most_stale_on_a_day: most_stale_on_a_day(&stale, period),
            floods,
            bins,
            stale,
        })
    }

    /// Share of all annunciations that the `count` busiest alarms make; 0 if there are none. Unit: %
    pub fn top_share_percent(&self, count: usize) -> f64 {
        let top: usize = self.by_point.iter().take(count).map(|(_, times)| times).sum();
        if self.total == 0 { 0.0 } else { 100.0 * top as f64 / self.total as f64 }
    }
}

/// The bin an instant of the period lies in.
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

/// Time from the first bin to the end of the last, which may be cut short by the end of the period.
fn span(first: usize, end: usize, length: Duration) -> Duration {
    let edge = |bin: usize| length.min(TEN_MINUTES * bin as u32);
    edge(end) - edge(first)
}

/// A flood begins in a bin over its start and lasts to the first bin below its end.
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

/// Most of these sorted instants within any span that leaves out its last instant.
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

fn by_point(sorted: &[Annunciation]) -> BTreeMap<u32, Vec<Duration>> {
    let mut points: BTreeMap<u32, Vec<Duration>> = BTreeMap::new();
    for one in sorted {
        points.entry(one.point).or_default().push(one.at);
    }
    points
}

/// The most first; equal ones by number.
fn busiest(points: impl Iterator<Item = (u32, usize)>) -> Vec<(u32, usize)> {
    let mut points: Vec<_> = points.collect();
    points.sort_by_key(|(point, count)| (std::cmp::Reverse(*count), *point));
    points
}

fn chattering(points: &BTreeMap<u32, Vec<Duration>>) -> Vec<(u32, usize)> {
    let (enough, span) = CHATTER;
    let most = points.iter().map(|(point, times)| (*point, most_within(times, span)));
    busiest(most.filter(|(_, most)| *most >= enough))
}

/// Stretches for which alarms stood, up to the end of the period; one that is raised again meanwhile stands on.
fn stretches(annunciations: &[Annunciation], until: Duration) -> Vec<Stale> {
    let mut ordered: Vec<&Annunciation> = annunciations.iter().filter(|one| one.at < until).collect();
    ordered.sort_unstable_by_key(|one| (one.point, one.at));
    let mut stretches: Vec<Stale> = vec![];
    for one in ordered {
        let end = one.cleared.map_or(until, |cleared| cleared.clamp(one.at, until));
        match stretches.last_mut() {
            Some(last) if last.point == one.point && one.at < last.at + last.stood => {
                last.stood = last.stood.max(end - last.at);
            }
            _ => stretches.push(Stale { point: one.point, at: one.at, stood: end - one.at }),
        }
    }
    stretches
}

/// Alarms that stood for longer than is right at some instant of the period.
fn stale(annunciations: &[Annunciation], period: Period) -> Vec<Stale> {
    let mut stale = stretches(annunciations, period.until);
    stale.retain(|one| one.stood > STALE && one.at + one.stood > period.from);
    stale.sort_by_key(|one| (std::cmp::Reverse(one.stood), one.point, one.at));
    stale
}

/// An alarm is stale on a day if on some instant of it it has stood for longer than is right.
fn most_stale_on_a_day(stale: &[Stale], period: Period) -> usize {
    let mut days: BTreeMap<u128, usize> = BTreeMap::new();
    for one in stale {
        let day = |instant: Duration| instant.saturating_sub(period.from).as_nanos() / DAY.as_nanos();
        // Its last instant is left out.
        let last = one.at + one.stood - Duration::from_nanos(1);
        for day in day(one.at + STALE)..=day(last) {
            *days.entry(day).or_default() += 1;
        }
    }
    days.into_values().max().unwrap_or(0)
}
