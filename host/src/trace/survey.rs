//! In: figures of many rows from the head, and from places all over a long file. Out: what they have in common.

use crate::trace::number::Decimal;

/// Time, command and feedback of one row, as written.
pub(crate) type Figures = [Decimal; 3];

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

    /// Whether all times are whole numbers.
    pub(crate) fn times_are_whole(&self) -> bool {
        self.rows().all(|row| row[0].is_whole())
    }

    /// The largest distance from zero of command and feedback. Unit: that of the columns
    pub(crate) fn reach(&self) -> f64 {
        let sizes = self.rows().flat_map(|row| [row[1].to_f64().abs(), row[2].to_f64().abs()]);
        sizes.fold(0.0, f64::max)
    }

    /// The most decimals that command or feedback need.
    pub(crate) fn decimals(&self) -> u32 {
        self.rows().map(|row| row[1].needed().max(row[2].needed())).max().unwrap_or(0)
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

    /// The smallest change of feedback in steps of `10^-places`, 1 if it never changes.
    pub(crate) fn step(&self, places: i32) -> u32 {
        let count = |row: &Figures| row[2].scaled(places).map(|(count, _)| count);
        let steps = self.pairs().filter_map(|(before, after)| Some(count(before)?.abs_diff(count(after)?)));
        steps.filter(|&step| step > 0).min().map_or(1, |step| step.min(u64::from(u32::MAX)) as u32)
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
        assert_eq!(few.reach(), 12.5);
        assert_eq!(few.decimals(), 2);
        assert_eq!(few.step(2), 5);
        assert_eq!(few.step(0), 1);
        assert_eq!(
            few.fraction().map(|(line, figure)| (line, figure.to_string())),
            Some((3, "-12.50".to_string()))
        );
        assert!(!few.times_are_whole());
        let none = Survey::default();
        assert_eq!((none.period(), none.repeats(), none.reach(), none.step(3)), (None, (0, 0), 0.0, 1));
    }
}
