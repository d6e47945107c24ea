//! In: finished moves with their samples, without end. Out: a sheet of all of them, in bounded memory.

use super::decimate::Decimator;
use super::{PlottedMove, Sheet, StopTrace, caption};
use crate::report::move_report::MoveReport;

/// Most points of all moves together, about 32 MiB.
const MOST_POINTS: usize = 2_000_000;
/// No stop is thinned below this: still a peak for every 3 % of its length.
const FEWEST_POINTS: usize = 64;

/// Moves to be pictured. When the points of all become too many, every stop but the one to be drawn
/// large is thinned to half; extremes stay. So each move costs little more memory than its report.
#[derive(Clone, Debug)]
pub struct Album {
    moves: Vec<(MoveReport, StopTrace)>,
    chosen: Option<usize>,
    points: usize,
    most_points: usize,
}

impl Default for Album {
    fn default() -> Self {
        Self { moves: Vec::new(), chosen: None, points: 0, most_points: MOST_POINTS }
    }
}

impl Album {
    /// Adds a move; `is_chosen` if its stop and settling curve are to be drawn large. The last one chosen counts;
    /// if none is, it is the slowest settled one, else the first.
    pub fn push(&mut self, report: MoveReport, samples: StopTrace, is_chosen: bool) {
        if is_chosen {
            self.chosen = Some(self.moves.len());
        }
        self.points += samples.size();
        self.moves.push((report, samples));
        if self.points > self.most_points {
            self.thin();
        }
    }

    fn thin(&mut self) {
        let large = caption::place(self.moves.iter().map(|(report, _)| report), self.chosen);
        let others = self.moves.iter_mut().enumerate().filter(|(at, _)| Some(*at) != large);
        for (_, (_, samples)) in others {
            let most = (samples.points.len() / 2).max(FEWEST_POINTS);
            let mut decimator = Decimator::new(most);
            samples.points.iter().for_each(|(t_s, error)| decimator.push(*t_s, *error));
            samples.points = decimator.points();
            // Only the stop drawn large has strips.
            samples.strips.clear();
        }
        self.points = self.moves.iter().map(|(_, samples)| samples.size()).sum();
        // Where all are as thin as they get, thinning at every further move would only cost time.
        self.most_points = self.most_points.max(2 * self.points);
    }

    /// The sheet of all moves.
    pub fn sheet<'a>(&'a self, heading: &str, notes: &'a [String]) -> Sheet<'a> {
        Sheet {
            moves: self.moves.iter().map(|(report, samples)| PlottedMove { report, samples }).collect(),
            chosen: self.chosen,
            plus_minus: super::TWICE_U,
            heading: heading.to_owned(),
            notes,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::fixture;

    /// Few points each, with their peaks, and the one drawn large whole.
    #[test]
    fn many_moves_need_little_room() {
        for (chosen, whole) in [(None, 40), (Some(7), 7)] {
            let mut album = Album { most_points: 20_000, ..Album::default() };
            for at in 0..400 {
                let points = fixture::points(fixture::ringing, 0.3, at);
                let settling = if at == 40 { 0.2 } else { 0.1 };
                album.push(
                    fixture::report(at, Some(settling)),
                    StopTrace { points, ..StopTrace::default() },
                    chosen == Some(at),
                );
            }
            let sheet = album.sheet("", &[]);
            for (at, shown) in sheet.moves.iter().enumerate() {
                let samples = fixture::points(fixture::ringing, 0.3, at as u32);
                let peak = |points: &[(f64, f64)]| points.iter().map(|point| point.1).fold(0.0, f64::max);
                assert_eq!(peak(&shown.samples.points), peak(&samples), "{at}");
                assert_eq!(at == whole, shown.samples.points.len() == samples.len() && at < 350, "{at}");
            }
            let points: usize = sheet.moves.iter().map(|shown| shown.samples.points.len()).sum();
            assert!(points < 400 * 2 * FEWEST_POINTS, "{points}");
        }
    }
}
