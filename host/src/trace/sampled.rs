//! In: the surveyed rows. Out: how many rows a signal stands until it is sampled anew, where the recorder is faster than it;
//! and which rows are then samples.
//!
//! A signal that is sampled in every n-th row changes in these rows alone, by as much as it has gone meanwhile. Steps of
//! an encoder or of a coarse command come at uneven pauses, or are all alike.

use crate::trace::survey::Survey;

/// Fewest pauses that show an order. No source
const PAUSES: usize = 8;

/// Largest share of pauses of another length. No source
const IRREGULAR: f64 = 0.05;

/// A pause longer than this many usual ones is a rest. No source
const REST: f64 = 2.5;

/// Longest time between two samples: beyond, the changes are moves of their own. Unit: rows. No source
const LONGEST: usize = 64;

/// Fewest changes, and their least share, that differ by more than a fifth from the median: where all are alike, they
/// are steps of a coarse signal at a constant speed. No source
const UNLIKE: (usize, f64, f64) = (4, 0.03, 0.2);

/// Rows from one sample of the signal in this place of a row to the next: the usual number, and their mean; 1 where none
/// stands out.
pub(crate) fn rows_between(survey: &Survey, place: usize) -> (usize, f64) {
    let (mut pauses, mut onward, mut turns, mut sizes) = (Vec::new(), 0, 0, Vec::new());
    for piece in &survey.pieces {
        let changes = piece.windows(2).zip(1..);
        let changes = changes.map(|(pair, row)| (row, pair[1][place].minus(pair[0][place])));
        let changes: Vec<(usize, f64)> = changes.filter(|change| change.1 != 0.0).collect();
        for pair in changes.windows(2) {
            pauses.push(pair[1].0 - pair[0].0);
            let goes_on = pair[0].1 * pair[1].1 > 0.0;
            (onward, turns) = (onward + usize::from(goes_on), turns + usize::from(!goes_on));
        }
        sizes.extend(changes.into_iter().map(|change| change.1.abs()));
    }
    let usual = usual(&mut pauses);
    sizes.sort_unstable_by(f64::total_cmp);
    let median = sizes.get(sizes.len() / 2).copied().unwrap_or(0.0);
    let unlike = sizes.iter().filter(|&&size| (size - median).abs() > UNLIKE.2 * median).count();
    let vary = unlike >= UNLIKE.0 && unlike as f64 >= UNLIKE.1 * sizes.len() as f64;
    // Changes of a motion go on in one direction; moves out and back do not.
    if vary && onward >= 2 * turns { usual.unwrap_or((1, 1.0)) } else { (1, 1.0) }
}

/// The usual pause, and the mean, if nearly all but rests are as long. Unit: rows
fn usual(pauses: &mut [usize]) -> Option<(usize, f64)> {
    pauses.sort_unstable();
    let usual = *pauses.get(pauses.len() / 2)?;
    let moving = pauses.iter().filter(|&&pause| pause as f64 <= REST * usual as f64);
    let (moving, slack) = (moving.copied().collect::<Vec<_>>(), usize::from(usual > 2));
    let others = moving.iter().filter(|pause| pause.abs_diff(usual) > slack).count();
    let is_regular = moving.len() >= PAUSES && others as f64 <= IRREGULAR * moving.len() as f64;
    (is_regular && (2..=LONGEST).contains(&usual))
        .then(|| (usual, moving.iter().sum::<usize>() as f64 / moving.len() as f64))
}

/// Feedback that is sampled in every n-th row.
#[derive(Clone, Copy, Debug)]
pub(crate) struct HeldFeedback {
    pub(crate) every: usize,
    /// Rows since its last sample.
    since: usize,
    /// The last number. Unit: counts
    last: Option<i32>,
}

impl HeldFeedback {
    /// Feedback that is sampled in every row needs none.
    pub(crate) fn of(every: usize) -> Option<HeldFeedback> {
        (every > 1).then_some(HeldFeedback { every, since: 0, last: None })
    }

    /// Whether a row with this number is a sample: it is a new one, or one is due.
    pub(crate) fn is_sample(&mut self, number: i32) -> bool {
        self.since += 1;
        let is_sample = self.last != Some(number) || self.since >= self.every;
        if is_sample {
            (self.last, self.since) = (Some(number), 0);
        }
        is_sample
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::trace::decimal::Decimal;
    use crate::trace::number::parse;

    /// Out and back every 500 rows, in 100 rows.
    fn moves(row: usize) -> f64 {
        let share = ((row % 500) as f64 / 100.0).min(1.0);
        let share = share * share * (3.0 - 2.0 * share);
        10.0 * if (row / 500).is_multiple_of(2) { share } else { 1.0 - share }
    }

    fn between(decimals: usize, value: impl Fn(usize) -> f64) -> usize {
        let figure = |row: usize| parse(format!("{:.decimals$}", value(row)).as_bytes(), b'.').unwrap();
        let rows = (0..2000).map(|row| [Decimal::default(), figure(row), Decimal::default()]).collect();
        let (usual, mean) = rows_between(&Survey { pieces: vec![rows], ..Survey::default() }, 1);
        assert!((mean - usual as f64).abs() < 0.4, "{usual} {mean}");
        usual
    }

    #[test]
    fn a_signal_that_is_held_changes_in_every_nth_row() {
        for every in [1, 2, 3, 4, 8, 15] {
            assert_eq!(between(4, |row| moves(row / every * every)), every);
        }
        let uneven = |row: usize| moves((row as f64 / 4.3).floor().mul_add(4.3, 0.0) as usize);
        assert_eq!(between(4, uneven), 4);
    }

    #[test]
    fn steps_of_other_causes_are_no_samples() {
        assert_eq!(between(1, moves), 1, "a coarse command");
        assert_eq!(between(0, moves), 1, "a coarser one");
        assert_eq!(between(0, |row| (row / 5).min(60) as f64), 1, "pulses at a constant speed");
        assert_eq!(between(0, |row| f64::from(row as u32 / 40 % 2) * 100.0), 1, "moves by steps");
        let unlike = |row: usize| if (row / 40).is_multiple_of(2) { 0.0 } else { 1.0 + (row / 40) as f64 };
        assert_eq!(between(0, unlike), 1, "unlike moves by steps");
        assert_eq!(between(0, |_| 3.0), 1);
    }
}
