//! In: the size of the error at every sample of a move. Out: its settling curve, as fine as the samples.
//!
//! A stack holds each sample that no later one exceeds: what a window needs is the last of them outside it. The core's own
//! curve has four windows an octave, as many as a monitor can afford; for a choice of a window that is coarse.

use crate::report::field::WindowSettling;
use crate::report::move_report::MoveReport;

/// Samples held at most; beyond, those of about one size are joined.
const MOST: usize = 4096;
/// Windows that differ by less are one.
const RESOLUTION: f64 = 1.002;

/// A sample that no later one exceeds.
#[derive(Clone, Copy, Debug)]
struct Peak {
    /// Unit: s
    second: f64,
    /// When the sample after it came. Unit: s
    after: f64,
    size: f64,
}

/// The samples of a move that matter for its settling curve.
#[derive(Clone, Debug, Default)]
pub(crate) struct Envelope {
    /// Their sizes fall.
    peaks: Vec<Peak>,
}

impl Envelope {
    /// Adds one sample: second on the recording's clock, |error|.
    pub(crate) fn push(&mut self, second: f64, size: f64) {
        if let Some(last) = self.peaks.last_mut() {
            last.after = second;
        }
        while self.peaks.last().is_some_and(|last| last.size <= size) {
            self.peaks.pop();
        }
        self.peaks.push(Peak { second, after: f64::INFINITY, size });
        if self.peaks.len() > MOST {
            self.join();
        }
    }

    /// Of neighbours of about one size the larger one stands for both, at the later time.
    fn join(&mut self) {
        let last = self.peaks.pop();
        self.peaks.dedup_by(|next, first| {
            let is_near = next.size * RESOLUTION.powi(4) > first.size;
            if is_near {
                (first.second, first.after) = (next.second, next.after);
            }
            is_near
        });
        self.peaks.extend(last);
    }

    /// The settling curve of the move with this report: windows from the widest to the first that was not held. Times are
    /// those of the report's own curve: whole samples, from the expected command end. Empty if the report has no curve.
    pub(crate) fn curve(&self, report: &MoveReport) -> Vec<WindowSettling> {
        let from = self.peaks.partition_point(|peak| peak.second < report.command_end_s);
        let (peaks, Some(last)) = (&self.peaks[from..], self.peaks.last()) else { return Vec::new() };
        if report.settling_curve.is_empty() {
            return Vec::new();
        }
        let times = std::iter::once(report.command_end_s).chain(peaks.iter().map(|peak| peak.after));
        let plain = peaks.iter().zip(times).map(|(peak, second)| {
            let is_held = last.second - second >= report.window_time_s * (1.0 - 1e-9);
            (peak.size, is_held.then_some(second - report.command_end_s))
        });
        let plain: Vec<WindowSettling> = plain.collect();
        let late = late(&plain, &report.settling_curve, report.window);
        thinned(plain)
            .into_iter()
            .map(|(window, time)| (window, time.map(|time| shifted(time, late))))
            .collect()
    }
}

/// A time from the expected command end; what was inside from the sample of the command end on settles at once.
fn shifted(time: f64, late: f64) -> f64 {
    if time == 0.0 { 0.0 } else { (time - late).max(0.0) }
}

/// Fewer windows, each one with the time of the narrowest that it stands for; they end with the first not held.
fn thinned(curve: Vec<WindowSettling>) -> Vec<WindowSettling> {
    let mut thinned: Vec<WindowSettling> = Vec::new();
    for (window, time) in curve {
        match thinned.last_mut() {
            Some((wider, of))
                if of.is_some() && time.is_some() && window * RESOLUTION > *wider && *of != Some(0.0) =>
            {
                *of = time;
            }
            Some((_, None)) => break,
            _ => thinned.push((window, time)),
        }
    }
    thinned
}

/// By how much the expected command end comes after the sample that shows it: the report's curve counts from there, but
/// for its set window, which is interpolated. Unit: s
fn late(curve: &[WindowSettling], reported: &[WindowSettling], set: f64) -> f64 {
    let apart = reported.iter().filter(|(window, _)| *window != set).find_map(|(window, settling)| {
        let settling = settling.filter(|settling| *settling > 0.0)?;
        let narrower = curve.iter().find(|(of, _)| of <= window)?;
        Some(narrower.1? - settling)
    });
    apart.unwrap_or(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::fixture;

    /// Slow twin: the time of the sample after the last one outside, from all samples.
    fn slow(samples: &[(f64, f64)], window: f64) -> f64 {
        let outside = samples.iter().rposition(|(_, size)| *size > window);
        outside.map_or(0.0, |at| samples.get(at + 1).map_or(f64::INFINITY, |sample| sample.0))
    }

    #[test]
    fn every_window_settles_as_all_samples_say() {
        for (shape, seed) in
            [(fixture::ringing as fixture::Shape, 1), (fixture::lag, 2), (fixture::hunting, 3)]
        {
            let points = fixture::points(shape, 0.4, seed);
            let mut envelope = Envelope::default();
            points.iter().for_each(|(second, error)| envelope.push(*second, error.abs()));
            let report = MoveReport { command_end_s: 0.0, ..fixture::measured(1, &points) };
            let curve =
                envelope.curve(&MoveReport { settling_curve: vec![(9.0, Some(0.0))], ..report.clone() });
            let after: Vec<(f64, f64)> =
                points.iter().filter(|(second, _)| *second >= 0.0).map(|(s, e)| (*s, e.abs())).collect();
            assert!(curve.len() > 20 && curve.iter().is_sorted_by(|a, b| a.0 > b.0), "{curve:?}");
            for (window, settling) in &curve {
                let expected = slow(&after, *window);
                let is_held = after[after.len() - 1].0 - expected >= report.window_time_s;
                match settling {
                    // Joined windows have the time of the narrowest.
                    Some(settling) => {
                        let narrower = slow(&after, window / RESOLUTION);
                        assert!(
                            (expected..=narrower).contains(settling),
                            "{window}: {settling} {expected} {narrower}"
                        );
                    }
                    None => assert!(!is_held, "{window}"),
                }
            }
        }
    }

    #[test]
    fn times_count_from_the_expected_command_end() {
        let mut envelope = Envelope::default();
        for (at, size) in [9.0, 8.0, 5.0, 6.0, 2.0, 1.0, 1.0, 1.0, 1.0].into_iter().enumerate() {
            envelope.push(10.0 + at as f64, size);
        }
        let report = MoveReport {
            command_end_s: 11.0,
            window_time_s: 2.0,
            settling_curve: vec![(9.0, Some(0.0)), (7.0, Some(1.5)), (3.0, Some(9.9))],
            window: 3.0,
            ..fixture::report(1, None)
        };
        let expected = [(8.0, Some(0.0)), (6.0, Some(1.5)), (2.0, Some(3.5)), (1.0, Some(4.5))];
        let curve = envelope.curve(&report);
        assert_eq!(curve[..4], expected, "{curve:?}");
    }

    #[test]
    fn a_long_tail_needs_little_room() {
        let mut envelope = Envelope::default();
        for at in 0..200_000 {
            envelope.push(f64::from(at) * 1e-3, 1e3 * (-f64::from(at) * 1e-4).exp());
        }
        assert!(envelope.peaks.len() <= MOST);
        let at = |window: f64| {
            let report = MoveReport {
                command_end_s: 0.0,
                settling_curve: vec![(1e9, Some(0.0))],
                ..fixture::report(1, None)
            };
            let curve = envelope.curve(&report);
            curve.iter().find(|(of, _)| *of <= window).and_then(|(_, settling)| *settling)
        };
        for window in [100.0_f64, 1.0, 0.01] {
            let (found, expected) = (at(window).unwrap(), (1e3 / window).ln() * 10.0);
            assert!(found >= expected - 1e-3 && found < expected + 0.15, "{window}: {found} {expected}");
        }
    }
}
