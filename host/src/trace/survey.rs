//! In: rows from the head, and from several places of a long file. Out: their common properties.

use crate::trace::decimal::Decimal;

/// Time, command and feedback of one row, as written.
pub(crate) type Figures = [Decimal; 3];

/// Fewest changes of feedback for an estimate of the encoder step.
const CHANGES: usize = 8;

/// Most rows at an unchanged command within one move. Unit: rows
const STILL: usize = 10;

/// Rows examined before reading.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Survey {
    /// Pieces of consecutive rows.
    pub(crate) pieces: Vec<Vec<Figures>>,
    /// Lines of the rows in the first piece.
    pub(crate) lines: Vec<u64>,
    /// Whether the rows are the whole recording.
    pub(crate) whole: bool,
}

impl Survey {
    /// All rows.
    fn rows(&self) -> impl Iterator<Item = &Figures> {
        self.pieces.iter().flatten()
    }

    /// All pairs of consecutive rows.
    fn pairs(&self) -> impl Iterator<Item = (&Figures, &Figures)> {
        self.pieces.iter().flat_map(|piece| piece.windows(2)).map(|pair| (&pair[0], &pair[1]))
    }

    /// The first row.
    pub(crate) fn first(&self) -> Option<&Figures> {
        self.rows().next()
    }

    /// Median time between rows; `None` if time never increases. Unit: that of the column
    pub(crate) fn period(&self) -> Option<f64> {
        let steps = self.pairs().map(|(before, after)| after[0].minus(before[0]));
        let mut steps: Vec<f64> = steps.filter(|&step| step > 0.0).collect();
        let middle = steps.len() / 2;
        (!steps.is_empty()).then(|| *steps.select_nth_unstable_by(middle, f64::total_cmp).1)
    }

    /// Number of rows with the time stamp of the row before, and number of pairs.
    pub(crate) fn repeats(&self) -> (usize, usize) {
        let same = self.pairs().filter(|(before, after)| before[0] == after[0]).count();
        (same, self.pairs().count())
    }

    /// Usual number of rows with the same time stamp, if the rows of every piece are as many as its time needs, give or take
    /// two; the first and last stamp of a piece may be incomplete.
    pub(crate) fn rows_per_stamp(&self) -> Option<usize> {
        let stamps = |piece: &'_ [Figures]| -> Vec<(Decimal, usize)> {
            let stamps = piece.chunk_by(|one, other| one[0] == other[0]);
            stamps.map(|rows| (rows[0][0], rows.len())).skip(1).collect()
        };
        let pieces: Vec<Vec<(Decimal, usize)>> = self.pieces.iter().map(|piece| stamps(piece)).collect();
        let mut counts: Vec<usize> = pieces.iter().flatten().map(|stamp| stamp.1).collect();
        counts.sort_unstable();
        let usual = counts.get(counts.len() / 2).copied()?;
        let per_time = usual as f64 / self.period()?;
        let fits = |piece: &Vec<(Decimal, usize)>| {
            let [(first, _), .., (last, _)] = piece.as_slice() else { return true };
            let rows: usize = piece[..piece.len() - 1].iter().map(|stamp| stamp.1).sum();
            (last.minus(*first) * per_time - rows as f64).abs() <= 2.0
        };
        pieces.iter().all(fits).then_some(usual)
    }

    /// Whether time increases in nine of ten rows.
    pub(crate) fn increases(&self) -> bool {
        let (pairs, later) = self.pairs().fold((0, 0), |(pairs, later), (before, after)| {
            (pairs + 1, later + usize::from(after[0].minus(before[0]) > 0.0))
        });
        10 * later >= 9 * pairs
    }

    /// Whether there are no two consecutive rows.
    pub(crate) fn is_single(&self) -> bool {
        self.pairs().next().is_none()
    }

    /// Median length of a move, from its start until feedback has covered nine tenths of its way; 0 if there is none.
    /// Unit: rows
    pub(crate) fn moving_rows(&self) -> usize {
        let mut moving: Vec<usize> = self.pieces.iter().flat_map(|piece| moving(piece)).collect();
        moving.sort_unstable();
        moving.get(moving.len() / 2).copied().unwrap_or(0)
    }

    /// The largest absolute value of command and feedback, each times its scale. Unit: that of position
    ///
    /// Of each pair of rows the smaller value counts, so that a single stray number does not make all counts coarse.
    pub(crate) fn reach(&self, scales: [f64; 2]) -> f64 {
        let size = |row: &Figures| [0, 1].map(|at| (row[at + 1].to_f64() * scales[at]).abs());
        let sizes = self.pairs().map(|(before, after)| (size(before), size(after)));
        let smaller = sizes.flat_map(|(before, after)| [before[0].min(after[0]), before[1].min(after[1])]);
        let single = self.pieces.iter().filter(|piece| piece.len() == 1).flatten().flat_map(size);
        smaller.chain(single).fold(0.0, f64::max)
    }

    /// Largest number of decimals of command and feedback, without trailing zeros.
    pub(crate) fn decimals(&self) -> u32 {
        let [command, feedback] = self.decimals_of_each();
        command.max(feedback)
    }

    /// Largest number of decimals of the command, and of the feedback, without trailing zeros.
    pub(crate) fn decimals_of_each(&self) -> [u32; 2] {
        [1, 2].map(|at: usize| self.rows().map(|row| row[at].needed()).max().unwrap_or(0))
    }

    /// Largest number of decimals of command and feedback, with trailing zeros.
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

    /// Encoder step, if `count` gives the counts of the feedback of a row: the smallest change of feedback, if the small changes are multiples of it;
    /// otherwise, or if feedback hardly changes, 1. Unit: counts
    pub(crate) fn step(&self, count: impl Fn(&Figures) -> Option<i64>) -> u32 {
        let steps = self.pairs().filter_map(|(before, after)| Some(count(before)?.abs_diff(count(after)?)));
        let mut steps: Vec<u64> = steps.filter(|&step| step > 0).collect();
        if steps.len() < CHANGES {
            return 1;
        }
        steps.sort_unstable();
        steps.dedup();
        let least = steps[0] as f64;
        // Only small multiples: the rounding of a large one to decimals could exceed half a step.
        let small: Vec<f64> =
            steps.iter().map(|&step| step as f64 / least).take_while(|&ratio| ratio < 5.5).collect();
        let whole = small.iter().filter(|ratio| (*ratio - ratio.round()).abs() < 0.1).count();
        // A few changes can be multiples by chance.
        let enough = steps.len() <= CHANGES || 2 * small.len() >= CHANGES;
        if enough && 5 * whole >= 4 * small.len() { steps[0].min(u64::from(u32::MAX)) as u32 } else { 1 }
    }
}

/// Lengths of the moves of a piece; a command that rests for more than [`STILL`] rows ends one. Unit: rows
fn moving(piece: &[Figures]) -> Vec<usize> {
    let changes = piece.windows(2).enumerate().filter(|(_, pair)| pair[0][1] != pair[1][1]);
    let rows: Vec<usize> = changes.map(|(row, _)| row).collect();
    let moves: Vec<(usize, usize)> = rows
        .chunk_by(|before, after| after - before <= STILL)
        .map(|rows| (rows[0], rows[rows.len() - 1] + 1))
        .collect();
    let nexts = moves.iter().skip(1).map(|next| next.0).chain([piece.len().saturating_sub(1)]);
    let length = |(&(start, end), next): (&(usize, usize), usize)| {
        let away = |row: usize| piece[next][2].minus(piece[row][2]).abs();
        let near = (end..next).find(|&row| away(row) * 10.0 <= away(start)).unwrap_or(next);
        near - start
    };
    moves.iter().zip(nexts).map(length).collect()
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

    fn places(places: i32) -> impl Fn(&Figures) -> Option<i64> {
        move |row| row[2].scaled(places).map(|(count, _)| count)
    }

    #[test]
    fn rows_have_common_properties() {
        let few = survey(&[
            ["0", "0.0", "0"],
            ["0.5", "-12.50", "0.25"],
            ["0.5", "1", "0.75"],
            ["1.5", "1", "0.8"],
            ["2", "1", "9"],
        ]);
        assert_eq!(few.period(), Some(0.5));
        assert_eq!(few.repeats(), (1, 4));
        assert_eq!(few.reach([1.0; 2]), 1.0, "a single outlying row does not count");
        assert_eq!((few.decimals(), few.written()), (2, 2));
        assert_eq!(survey(&[["0", "0.000", "0"]]).written(), 3);
        assert_eq!(few.step(places(2)), 1);
        assert_eq!(
            few.fraction().map(|(line, figure)| (line, figure.to_string())),
            Some((3, "-12.50".to_string()))
        );
        assert!(!few.is_single());
        assert_eq!(survey(&[["0", "-7", "3"]]).reach([1.0; 2]), 7.0, "unless it is the only row");
        assert_eq!(survey(&[["0", "1", "3"], ["1", "9", "-4"], ["2", "8", "0"]]).reach([1.0; 2]), 8.0);
        assert_eq!(survey(&[["0", "-7", "3"]]).reach([1.0, -4.0]), 12.0);
        let none = Survey::default();
        assert_eq!(
            (none.period(), none.repeats(), none.reach([1.0; 2]), none.step(places(3))),
            (None, (0, 0), 0.0, 1)
        );
    }

    #[test]
    fn moves_have_a_length() {
        let commands =
            |list: &[&'static str]| survey(&list.iter().map(|c| ["0", *c, "0"]).collect::<Vec<_>>());
        assert_eq!(commands(&["1", "1", "1"]).moving_rows(), 0);
        assert_eq!(commands(&["1", "2", "2", "3", "3"]).moving_rows(), 3);
        let rest = ["5"; 12];
        assert_eq!(commands(&[&["1", "2"], &rest[..], &["6", "7"]].concat()).moving_rows(), 2);
        let slow = (0..40).map(|row| {
            ["0", if row > 0 { "9" } else { "0" }, ["0", "2", "4", "6", "8", "9"][(row / 5).min(5)]]
        });
        assert_eq!(survey(&slow.collect::<Vec<_>>()).moving_rows(), 25, "feedback follows a jump slowly");
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
        assert_eq!(survey.step(places(4)), expected);
    }

    #[test]
    fn an_encoder_shows_its_step_and_a_smooth_curve_none() {
        let sway = |row: u32| 100.0 * (f64::from(row) * 0.01).sin();
        check_step(|row| (sway(row) / 0.25).round() * 0.25, 2500);
        check_step(|row| (sway(row) / 0.0879).round() * 0.0879, 879);
        check_step(|row| (sway(row) / 10.0 / 0.0353).round() * 0.0353, 353);
        check_step(sway, 1);
        check_step(|row| if row < 250 { 0.0 } else { 7.0 }, 1);
    }

    /// Stamps in milliseconds of rows that are `period_ms` apart.
    #[test]
    fn rows_of_one_stamp_are_counted_where_their_number_is_a_rate() {
        let stamped = |period_ms: f64, stamp_ms: f64| {
            let times: Vec<String> = (0..400)
                .map(|row| format!("{}", (f64::from(row) * period_ms / stamp_ms + 1e-9).floor() * stamp_ms))
                .collect();
            survey(&times.iter().map(|time| [time, "0", "0"]).collect::<Vec<_>>()).rows_per_stamp()
        };
        assert_eq!(stamped(0.25, 1.0), Some(4));
        assert_eq!(stamped(1.0, 10.0), Some(10));
        assert_eq!(stamped(1.0, 16.0), Some(16));
        assert_eq!(stamped(0.4, 1.0), None, "two and three rows");
        assert_eq!(stamped(0.24, 1.0), None, "four rows, sometimes five");
    }
}
