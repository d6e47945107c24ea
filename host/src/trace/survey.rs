//! In: figures of many rows from the head, and from places all over a long file. Out: what they have in common.

use crate::trace::decimal::Decimal;

/// Time, command and feedback of one row, as written.
pub(crate) type Figures = [Decimal; 3];

/// Fewer changes than this say nothing about the encoder.
const CHANGES: usize = 8;

/// Rows that were looked at before reading begins.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Survey {
    /// Stretches of rows that follow on each other.
    pub(crate) pieces: Vec<Vec<Figures>>,
    /// Lines of the rows in the first stretch.
    pub(crate) lines: Vec<u64>,
    /// Whether that is the whole recording.
    pub(crate) whole: bool,
}

impl Survey {
    /// All rows.
    fn rows(&self) -> impl Iterator<Item = &Figures> {
        self.pieces.iter().flatten()
    }

    /// All rows with the one that follows.
    fn pairs(&self) -> impl Iterator<Item = (&Figures, &Figures)> {
        self.pieces.iter().flat_map(|piece| piece.windows(2)).map(|pair| (&pair[0], &pair[1]))
    }

    /// The first row.
    pub(crate) fn first(&self) -> Option<&Figures> {
        self.rows().next()
    }

    /// Median time between rows; `None` if no two rows have a time between them. Unit: that of the column
    pub(crate) fn period(&self) -> Option<f64> {
        let steps = self.pairs().map(|(before, after)| after[0].minus(before[0]));
        let mut steps: Vec<f64> = steps.filter(|&step| step > 0.0).collect();
        let middle = steps.len() / 2;
        (!steps.is_empty()).then(|| *steps.select_nth_unstable_by(middle, f64::total_cmp).1)
    }

    /// How many rows have the time stamp of the row before, and how many could.
    pub(crate) fn repeats(&self) -> (usize, usize) {
        let same = self.pairs().filter(|(before, after)| before[0] == after[0]).count();
        (same, self.pairs().count())
    }

    /// Whether fewer than two rows that follow on each other could be read.
    pub(crate) fn is_single(&self) -> bool {
        self.pairs().next().is_none()
    }

    /// Whether all times are whole numbers.
    pub(crate) fn times_are_whole(&self) -> bool {
        self.rows().all(|row| row[0].is_whole())
    }

    /// The largest distance from zero of command and feedback. Unit: that of the columns
    ///
    /// A row that is further out than both its neighbours counts as little as the nearer of them: one
    /// stray figure must not make all counts coarse.
    pub(crate) fn reach(&self) -> f64 {
        let size = |row: &Figures| [row[1].to_f64().abs(), row[2].to_f64().abs()];
        let held = self.pairs().map(|(before, after)| (size(before), size(after)));
        let held = held.flat_map(|(before, after)| [before[0].min(after[0]), before[1].min(after[1])]);
        let single = self.pieces.iter().filter(|piece| piece.len() == 1).flatten().flat_map(size);
        held.chain(single).fold(0.0, f64::max)
    }

    /// The most decimals that command or feedback need.
    pub(crate) fn decimals(&self) -> u32 {
        self.rows().map(|row| row[1].needed().max(row[2].needed())).max().unwrap_or(0)
    }

    /// The most decimals that command or feedback are written with, zeros too.
    pub(crate) fn written(&self) -> u32 {
        self.rows().map(|row| row[1].decimals.max(row[2].decimals)).max().unwrap_or(0)
    }

    /// The first row whose command or feedback has a fraction, with its line.
    pub(crate) fn fraction(&self) -> Option<(u64, Decimal)> {
        let lines =
            self.lines.iter().copied().chain(core::iter::repeat(self.lines.last().copied().unwrap_or(0)));
        lines.zip(self.rows()).find_map(|(line, row)| {
            let broken = row[1..].iter().find(|figure| !figure.is_whole());
            broken.map(|&figure| (line, figure))
        })
    }

    /// The step of the encoder in counts of `10^-places`: the smallest change of feedback, if the small
    /// changes are multiples of it. Otherwise, or if feedback hardly changes, 1. Unit: counts
    pub(crate) fn step(&self, places: i32) -> u32 {
        let count = |row: &Figures| row[2].scaled(places).map(|(count, _)| count);
        let steps = self.pairs().filter_map(|(before, after)| Some(count(before)?.abs_diff(count(after)?)));
        let mut steps: Vec<u64> = steps.filter(|&step| step > 0).collect();
        if steps.len() < CHANGES {
            return 1;
        }
        steps.sort_unstable();
        steps.dedup();
        let least = steps[0] as f64;
        // Few enough multiples that their rounding to decimals does not add up to half a step.
        let small: Vec<f64> =
            steps.iter().map(|&step| step as f64 / least).take_while(|&ratio| ratio < 5.5).collect();
        let whole = small.iter().filter(|ratio| (*ratio - ratio.round()).abs() < 0.1).count();
        // A few changes are multiples by chance.
        let sure = steps.len() <= CHANGES || 2 * small.len() >= CHANGES;
        if sure && 5 * whole >= 4 * small.len() { steps[0].min(u64::from(u32::MAX)) as u32 } else { 1 }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::trace::number::parse;

    fn survey(rows: &[[&str; 3]]) -> Survey {
        let figure = |text: &str| parse(text.as_bytes(), b'.').unwrap();
        let lines = (2..).take(rows.len()).collect();
        Survey { pieces: vec![rows.iter().map(|row| row.map(figure)).collect()], lines, whole: true }
    }

    #[test]
    fn rows_say_what_they_have_in_common() {
        let few = survey(&[
            ["0", "0.0", "0"],
            ["0.5", "-12.50", "0.25"],
            ["0.5", "1", "0.75"],
            ["1.5", "1", "0.8"],
            ["2", "1", "9"],
        ]);
        assert_eq!(few.period(), Some(0.5));
        assert_eq!(few.repeats(), (1, 4));
        assert_eq!(few.reach(), 1.0, "what a single row reaches does not count");
        assert_eq!((few.decimals(), few.written()), (2, 2));
        assert_eq!(survey(&[["0", "0.000", "0"]]).written(), 3);
        assert_eq!(few.step(2), 1);
        assert_eq!(
            few.fraction().map(|(line, figure)| (line, figure.to_string())),
            Some((3, "-12.50".to_string()))
        );
        assert!(!few.times_are_whole() && !few.is_single());
        assert_eq!(survey(&[["0", "-7", "3"]]).reach(), 7.0, "unless there is no other");
        assert_eq!(survey(&[["0", "1", "3"], ["1", "9", "-4"], ["2", "8", "0"]]).reach(), 8.0);
        let none = Survey::default();
        assert_eq!((none.period(), none.repeats(), none.reach(), none.step(3)), (None, (0, 0), 0.0, 1));
    }
    #[track_caller]
    fn check_step(feedback: impl Fn(u32) -> f64, expected: u32) {
        let row = |row: u32| {
            [
                Decimal::default(),
                Decimal::default(),
                parse(format!("{:.4}", feedback(row)).as_bytes(), b'.').unwrap(),
            ]
        };
        let survey = Survey { pieces: vec![(0..500).map(row).collect()], ..Survey::default() };
        assert_eq!(survey.step(4), expected);
    }

    #[test]
    fn an_encoder_shows_its_step_and_a_formula_none() {
        let sway = |row: u32| 100.0 * (f64::from(row) * 0.01).sin();
        check_step(|row| (sway(row) / 0.25).round() * 0.25, 2500);
        check_step(|row| (sway(row) / 0.0879).round() * 0.0879, 879);
        check_step(|row| (sway(row) / 10.0 / 0.0353).round() * 0.0353, 353);
        check_step(sway, 1);
        check_step(|row| if row < 250 { 0.0 } else { 7.0 }, 1);
    }
}
