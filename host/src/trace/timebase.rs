//! In: the time column or the rate, and the surveyed rows. Out: the conversion of times to ticks, and the longest step
//! between two rows that is no hole.

use crate::trace::columns::Column;
use crate::trace::survey::{Figures, Survey};
use crate::trace::unit;
use stillpoint_core::Fraction;

/// Possible tick rates. Unit: decimal places of a second
const PLACES: [u32; 3] = [6, 7, 8];

/// Desired length of a sample period, so that rounding is about a thousandth of it. Unit: ticks
const FINE: f64 = 1000.0;

/// Accepted share of that length: time stamps at 1 kHz are often 0.98 ms apart.
const TOLERANCE: f64 = 0.9;

/// A step between two rows longer than this many usual steps is a hole: half-way to a second step. No source
const HOLE: f64 = 1.5;

/// Share of the surveyed steps that are usual, whatever the jitter of the recorder. No source
const USUAL: f64 = 49.0 / 50.0;

/// Fewest steps longer than usual, and largest difference of the counts of rows between them, that are the beat of a
/// sampling clock against rounded time stamps. No source
const BEAT: (usize, usize) = (3, 2);

/// Longest sample period, so that differences of ticks never wrap. Unit: µs
const LONGEST: f64 = (1u32 << 27) as f64;

/// Steps of a time column without a unit that may be seconds: the least, the end of the range, and from where on they
/// may also be milliseconds of a recorder at up to 32 kHz. Unit: s
const SECONDS: (f64, f64, f64) = (1e-7, 1.0, 0.03);

/// Shortest move that is believed, if it has enough rows to tell: the days of a spreadsheet and hours are shorter (common
/// practice, no source). Unit: s, rows
const SHORTEST_MOVE: (f64, usize) = (0.001, 10);

/// Longest move that is believed where the times may also be milliseconds: no axis moves in less than 5 ms (common
/// practice, no source). Unit: s
const LONGEST_MOVE: f64 = 5.0;

/// Why times can't be used, and what to do.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Unusable {
    pub(crate) wrong: String,
    pub(crate) remedy: String,
}

/// Conversion of times to ticks.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Timebase {
    /// Unit: ticks/s
    pub(crate) ticks_per_second: u32,
    /// Ticks are times in the unit of the column × 10 to this power.
    pub(crate) places: i32,
    /// Ticks between rows, if there is no time column. Unit: ticks
    pub(crate) per_row: Option<i64>,
    /// Median time between rows. Unit: s
    pub(crate) period_s: f64,
    /// Longest time between two rows that is no hole. Unit: s
    pub(crate) hole_s: f64,
}

impl Timebase {
    /// For rows at `rate`. Unit: Hz
    pub(crate) fn even(rate: Fraction) -> Result<Timebase, Unusable> {
        let (upper, lower) = (rate.numerator(), rate.denominator());
        let decimal = || PLACES.iter().map(|&places| 10u64.pow(places)).filter(|ticks| ticks % upper == 0);
        let fine = |&ticks: &u64| (ticks / upper).saturating_mul(lower) >= FINE as u64;
        // A multiple of the rate, so that no row is rounded.
        let multiple = || upper.checked_mul((FINE as u64).div_ceil(lower).max(1_000_000_u64.div_ceil(upper)));
        let ticks = decimal().find(fine).or_else(|| decimal().next_back()).or_else(multiple);
        let ticks = ticks.filter(|&ticks| ticks <= 1 << 30).or(Some(upper)).filter(|&ticks| ticks <= 1 << 30);
        let per_row =
            ticks.and_then(|ticks| (ticks / upper).checked_mul(lower)).filter(|&ticks| ticks < 1 << 30);
        match (ticks, per_row) {
            (Some(ticks), Some(per_row)) => Ok(Timebase {
                ticks_per_second: ticks as u32,
                places: 0,
                per_row: Some(per_row as i64),
                period_s: 1.0 / rate.to_f64(),
                hole_s: HOLE / rate.to_f64(),
            }),
            _ => {
                let wrong =
                    format!("--rate {rate} Hz can't be represented exactly with up to 2^30 ticks per second");
                Err(Unusable {
                    wrong,
                    remedy: "give rows per second with fewer digits, such as 4000 or 1000/3".to_string(),
                })
            }
        }
    }

    /// For rows with time stamps in `column`, or in `other`, where the feedback has a clock of its own.
    pub(crate) fn stamped(
        column: &Column,
        other: Option<&Column>,
        survey: &Survey,
    ) -> Result<Timebase, Unusable> {
        let name = &other.unwrap_or(column).name;
        let unit = |wrong: String| Unusable { wrong, remedy: unit_remedy(column, other) };
        let unit_places = match &column.unit {
            Some(text) => unit::second_places(text)
                .ok_or_else(|| unit(format!("time column '{name}' has the unknown unit '{text}'")))?,
            None => 0,
        };
        let period = survey.period().ok_or_else(|| Unusable {
            wrong: format!("time in column '{name}' never increases"),
            remedy: "choose another column with --time, or give --rate HZ".to_string(),
        })?;
        if let (None, Some(doubt)) = (&column.unit, doubt_of_seconds(period, survey.moving_rows())) {
            return Err(unit(format!("time column '{name}' has no unit, and {doubt}")));
        }
        let period_s = period / 10f64.powi(unit_places as i32);
        if period_s * 1e6 > LONGEST {
            return Err(unit(format!(
                "rows are {period_s} s apart, which is too far apart to measure a stop"
            )));
        }
        let fine = |&&places: &&u32| period_s * 10f64.powi(places as i32) >= TOLERANCE * FINE;
        let places = PLACES.iter().find(fine).copied().unwrap_or(8);
        Ok(Timebase {
            ticks_per_second: 10u32.pow(places),
            places: places as i32 - unit_places as i32,
            per_row: None,
            period_s,
            hole_s: longest_step(survey).unwrap_or(period) * HOLE / 10f64.powi(unit_places as i32),
        })
    }

    /// Of rows of which one in `every` is a sample.
    pub(crate) fn of_every(self, every: usize) -> Timebase {
        let every = every.max(1) as f64;
        Timebase { period_s: self.period_s * every, hole_s: self.hole_s * every, ..self }
    }

    /// A time of the column. Unit: s
    pub(crate) fn seconds(&self, time: f64) -> f64 {
        time * 10f64.powi(self.places) / f64::from(self.ticks_per_second)
    }

    /// The sample period. Unit: ticks
    pub(crate) fn period(&self) -> i64 {
        ((self.period_s * f64::from(self.ticks_per_second)).round() as i64).max(1)
    }

    /// Longest time between two rows of `survey` that is no hole. Unit: ticks
    pub(crate) fn hole_in(&self, survey: &Survey) -> i64 {
        let longest = longest_step(survey).map(|step| step * HOLE * 10f64.powi(self.places));
        longest.map_or(i64::MAX, |ticks| (ticks.round() as i64).max(1))
    }

    /// Longest time between two rows that is no hole. Unit: ticks
    pub(crate) fn hole(&self) -> i64 {
        ((self.hole_s * f64::from(self.ticks_per_second)).round() as i64).max(1)
    }
}

/// What to type where a unit of time is missing; with two time columns both are named.
fn unit_remedy(column: &Column, other: Option<&Column>) -> String {
    let typed = format!("give --time {}:ms", column.shell_name());
    let units = "(or s, us, ns in place of ms)";
    match other {
        Some(other) => format!("{typed} --feedback-time {}:ms {units}", other.shell_name()),
        None => format!("{typed} {units}, or --rate HZ"),
    }
}

/// The longest usual step between two rows; `None` if time never increases. Unit: that of the column
fn longest_step(survey: &Survey) -> Option<f64> {
    let pieces: Vec<Vec<f64>> = survey.pieces.iter().map(|piece| steps(piece)).collect();
    let mut sorted: Vec<f64> = pieces.iter().flatten().copied().filter(|&step| step > 0.0).collect();
    sorted.sort_unstable_by(f64::total_cmp);
    // Rounded down, so that the one hole of a short recording is not its usual step.
    let place = (sorted.len().saturating_sub(1) as f64 * USUAL) as usize;
    let usual = sorted.get(place).copied()?;
    // Rounding makes a step longer by one unit of the last decimal, no more.
    let decimals = survey.pieces.iter().flatten().map(|row| row[0].needed()).max()?;
    let longest = usual + 1.5 * 0.1f64.powi(decimals as i32);
    let beats = pieces.iter().filter_map(|steps| beat(steps, usual * HOLE));
    Some(beats.filter(|&beat| beat < longest).fold(usual, f64::max))
}

/// Steps between consecutive rows. Unit: that of the column
fn steps(rows: &[Figures]) -> Vec<f64> {
    rows.windows(2).map(|pair| pair[1][0].minus(pair[0][0])).collect()
}

/// The longest of the steps above `limit`, if they come as regularly as a beat does.
fn beat(steps: &[f64], limit: f64) -> Option<f64> {
    let places: Vec<usize> = (0..steps.len()).filter(|&place| steps[place] > limit).collect();
    let rows = places.windows(2).map(|pair| pair[1] - pair[0]);
    let (least, most) = (rows.clone().min()?, rows.max()?);
    (places.len() >= BEAT.0 && most - least <= BEAT.1)
        .then(|| places.iter().map(|&place| steps[place]).fold(0.0, f64::max))
}

/// Why times without a unit are hardly seconds, if so; `period` is the step between rows, `moving_rows` the length of a
/// move.
fn doubt_of_seconds(period: f64, moving_rows: usize) -> Option<String> {
    let (shortest, longest, even) = SECONDS;
    // Three digits are enough for a message.
    let move_s = three_digits(period * moving_rows as f64);
    if period >= longest || period < shortest {
        let than = if period < shortest { "finer" } else { "coarser" };
        return Some(format!("its steps of {period} are {than} than those of a recorder in seconds"));
    }
    let is_short = moving_rows >= SHORTEST_MOVE.1 && move_s < SHORTEST_MOVE.0;
    let is_long = period >= even && move_s > LONGEST_MOVE;
    (is_short || is_long).then(|| format!("in seconds its steps of {period} would mean moves of {move_s} s"))
}

/// The number rounded to three digits.
fn three_digits(number: f64) -> f64 {
    format!("{number:.2e}").parse().unwrap_or(number)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::trace::number::parse;

    #[track_caller]
    fn check_rate(upper: u64, lower: u64, expected: Option<(u32, i64)>) {
        let timebase = Timebase::even(Fraction::new(upper, lower).unwrap());
        assert_eq!(
            timebase.ok().map(|timebase| (timebase.ticks_per_second, timebase.per_row.unwrap())),
            expected,
            "{upper}/{lower}"
        );
    }

    #[test]
    fn a_rate_divides_the_tick_rate() {
        check_rate(1000, 1, Some((1_000_000, 1000)));
        check_rate(4000, 1, Some((10_000_000, 2500)));
        check_rate(20_000, 1, Some((100_000_000, 5000)));
        check_rate(200_000, 1, Some((100_000_000, 500)));
        check_rate(32_768, 1, Some((32_768_000, 1000)));
        check_rate(1000, 3, Some((1_000_000, 3000)));
        check_rate(1, 10, Some((1_000_000, 10_000_000)));
        check_rate(3_000_001, 1, Some((3_000_001, 1)));
        check_rate(1 << 40, 1, None);
        check_rate(1, 1 << 40, None);
    }

    #[track_caller]
    fn check(unit: Option<&str>, times: &[&str], expected: Result<(u32, i32), &str>) {
        let rows = times.iter().map(|text| [parse(text.as_bytes(), b'.').unwrap(); 3]).collect();
        let survey = Survey { pieces: vec![rows], lines: vec![], whole: true };
        let column = Column { name: "t".into(), unit: unit.map(str::to_string), ..Column::default() };
        match (Timebase::stamped(&column, None, &survey), expected) {
            (Ok(timebase), Ok(expected)) => {
                assert_eq!((timebase.ticks_per_second, timebase.places), expected);
            }
            (Err(unusable), Err(part)) => assert!(unusable.wrong.contains(part), "{unusable:?}"),
            (found, _) => panic!("{times:?} gave {found:?}"),
        }
    }

    /// In the tests of this file, command and feedback are the time: one move.
    #[test]
    fn moves_of_minutes_are_doubted() {
        let row = |step: f64| (0..200).map(|row| format!("{:.6}", f64::from(row) * step)).collect::<Vec<_>>();
        let check_rows = |step: f64, unit, expected| {
            let rows = row(step);
            check(unit, &rows.iter().map(String::as_str).collect::<Vec<_>>(), expected);
        };
        check_rows(0.25, None, Err("in seconds its steps of 0.25 would mean moves of 49.8 s"));
        check_rows(0.25, Some("s"), Ok((1_000_000, 6)));
        check_rows(0.25, Some("ms"), Ok((10_000_000, 4)));
        check_rows(0.02, None, Ok((1_000_000, 6)));
        check_rows(0.000_002, None, Err("in seconds"));
        check_rows(0.03, None, Err("would mean moves of 5.97"));
    }

    #[test]
    fn ticks_are_finer_than_the_sample_period() {
        check(None, &["0", "0.001", "0.002"], Ok((1_000_000, 6)));
        check(None, &["0", "0.00098"], Ok((1_000_000, 6)));
        check(None, &["0", "0.00025", "0.0005"], Ok((10_000_000, 7)));
        check(None, &["0", "0.00005"], Ok((100_000_000, 8)));
        check(None, &["0", "0.000001"], Ok((100_000_000, 8)));
        check(Some("ms"), &["0", "1", "2"], Ok((1_000_000, 3)));
        check(Some("µs"), &["0", "250", "500"], Ok((10_000_000, 1)));
        check(Some("ns"), &["0", "1000000"], Ok((1_000_000, -3)));
        check(Some("s"), &["0", "1", "2"], Ok((1_000_000, 6)));
        check(None, &["0", "1", "2"], Err("'t' has no unit, and its steps of 1 are coarser"));
        check(None, &["0", "250", "500"], Err("its steps of 250 are coarser"));
        check(None, &["0", "1.5", "3"], Err("its steps of 1.5 are coarser"));
        check(None, &["0", "0.5", "1"], Ok((1_000_000, 6)));
        check(None, &["0", "0.0000000116", "0.0000000232"], Err("finer"));
        check(Some("min"), &["0", "1"], Err("'min'"));
        check(None, &["0.5", "0.5"], Err("never increases"));
        check(None, &["0.5"], Err("never increases"));
        check(Some("s"), &["0", "3600"], Err("too far"));
    }

    /// The longest step that is no hole, for rows at these instants, written with three decimals. Unit: ms
    fn hole_ms(times: impl Iterator<Item = f64>) -> f64 {
        let figure = |time: f64| parse(format!("{time:.3}").as_bytes(), b'.').unwrap();
        let rows = times.map(|time| [figure(time), Default::default(), Default::default()]).collect();
        let survey = Survey { pieces: vec![rows], lines: vec![], whole: true };
        let hole_s = Timebase::stamped(&Column::default(), None, &survey).unwrap().hole_s;
        (hole_s * 1e6).round() * 1e-3
    }

    #[test]
    fn a_hole_is_half_as_long_again_as_a_usual_step() {
        let even = |period: f64| (0..1000).map(move |row| f64::from(row) * period);
        assert_eq!(hole_ms(even(0.001)), 1.5);
        assert_eq!(hole_ms(even(0.004).filter(|time| (time * 250.0).round() as u32 % 300 != 150)), 6.0);
        assert_eq!(hole_ms(even(0.5).take(10).filter(|time| *time != 2.0)), 750.0, "a short recording");
        // Stamps in whole milliseconds, rows further apart: some steps have two.
        assert_eq!(hole_ms(even(0.0011)), 3.0);
        assert_eq!(hole_ms(even(0.00101)), 3.0, "one step of a hundred, at regular places");
        assert_eq!(hole_ms(even(0.0009)), 1.5, "stamps repeat, none is far");
        let holes = even(0.001).filter(|time| ![100, 130, 310, 700].contains(&((time * 1e3).round() as u32)));
        assert_eq!(hole_ms(holes), 1.5, "one step of two hundred and fifty, anywhere");
        // Jitter of ± 40 %, in nine steps.
        let jitter = |row: u32| f64::from(row) * 0.01 + f64::from(row * 7919 % 9) * 0.001;
        assert_eq!(hole_ms((0..1000).map(jitter)), 27.0);
    }
}
