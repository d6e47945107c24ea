//! In: the surveyed rows. Out: the noise of the command, if it is an analog signal and not a digital one.
//!
//! A digital command that stands is constant; an analog one goes up and down from row to row. So the survey is cut into
//! short blocks of rows, those with a net motion are left out, and the command is noisy if most of the others are: if they
//! turn back at least twice, and if their second differences are as large as those of independent readings. A smooth
//! oscillation has small ones. Second differences leave out slopes (Gasser, Sroka and Jennen-Steinmetz 1986).
//!
//! Noise below a step of the converter shows in some blocks only: where the signal lies near the edge of a code, readings
//! flicker between the two codes beside it.

use crate::trace::survey::Survey;

/// Rows in a block.
const BLOCK: usize = 32;

/// Fewest blocks without a net motion.
const BLOCKS: usize = 2;

/// Fewest turns back that are flicker. No source
const RETURNS: usize = 4;

/// A block that spans more than this share of the whole command is no rest.
const SHARE: f64 = 1.0 / 8.0;

/// Second differences of independent readings have six times their variance; the blocks of a noisy command have at least
/// this share of it. A sine of five rows or more has less.
const WHITE: f64 = 0.4;

/// Dead band over the rms of the noise: a normal reading is beyond it once in 150,000.
const SIGMAS: f64 = 4.5;

/// Dead band over the smallest step of a converter whose noise is below that step.
const STEPS: f64 = 1.5;

/// Noise of the command. Unit: that of its column
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Noise {
    /// Standard deviation of one reading.
    pub(crate) rms: f64,
    /// Half-width of the band within which a standing command stays.
    pub(crate) dead_band: f64,
}

/// The command without a net motion over some rows.
struct Block {
    rms: f64,
    /// Smallest change from row to row.
    step: f64,
    is_noisy: bool,
    /// How often it turns back, if it goes to and fro between two neighbouring codes of a converter.
    flickers: usize,
}

/// The noise of the command; `None` for a digital command, or too few rows to judge.
pub(crate) fn command(survey: &Survey) -> Option<Noise> {
    let pieces = survey.pieces.iter().map(|piece| piece.iter().map(|row| row[1].to_f64()).collect());
    let pieces: Vec<Vec<f64>> = pieces.collect();
    let span = span(&pieces.concat());
    let blocks = pieces.iter().flat_map(|piece| piece.chunks_exact(BLOCK));
    let blocks: Vec<Block> = blocks.filter_map(|block| at_rest(block, span)).collect();
    let mut noisy: Vec<&Block> = blocks.iter().filter(|block| block.is_noisy).collect();
    if noisy.len() < BLOCKS || 2 * noisy.len() <= blocks.len() {
        return flicker(&blocks);
    }
    noisy.sort_by(|one, other| one.rms.total_cmp(&other.rms));
    let rms = noisy[noisy.len() / 2].rms;
    let step = noisy.iter().map(|block| block.step).fold(f64::INFINITY, f64::min);
    Some(Noise { rms, dead_band: (SIGMAS * rms).max(STEPS * step) })
}

/// Noise below one step of the converter, if the command stands in all blocks but those where it flickers.
fn flicker(blocks: &[Block]) -> Option<Noise> {
    let flickering = || blocks.iter().filter(|block| block.flickers > 0);
    let stands = |block: &&Block| block.flickers > 0 || block.step.is_infinite();
    let step = flickering().map(|block| block.step).fold(f64::INFINITY, f64::min);
    let alike = flickering().all(|block| block.step < STEPS * step);
    let standing = blocks.iter().filter(stands).count();
    // Averages of a signal that hardly leaves its code are as uncertain as one reading: uniform over the step.
    let returns: usize = flickering().map(|block| block.flickers).sum();
    (flickering().count() >= BLOCKS && returns >= RETURNS && alike && 2 * standing > blocks.len())
        .then(|| Noise { rms: step / 12f64.sqrt(), dead_band: STEPS * step })
}

fn span(values: &[f64]) -> f64 {
    let (low, high) = values
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), &value| (low.min(value), high.max(value)));
    high - low
}

/// A block of rows, unless the command moves in it; `whole` is the span of the command in all rows.
fn at_rest(values: &[f64], whole: f64) -> Option<Block> {
    let span = span(values);
    let mean = |values: &[f64]| values.iter().sum::<f64>() / values.len() as f64;
    let (first, second) = values.split_at(values.len() / 2);
    if span > SHARE * whole || (mean(first) - mean(second)).abs() > span / 4.0 {
        return None;
    }
    let changes: Vec<f64> = values.windows(2).map(|pair| pair[1] - pair[0]).collect();
    let moved: Vec<f64> = changes.iter().copied().filter(|&change| change != 0.0).collect();
    let returns = moved.windows(2).filter(|pair| pair[0] * pair[1] < 0.0).count();
    let bends: Vec<f64> = changes.windows(2).map(|pair| (pair[1] - pair[0]).powi(2)).collect();
    let step = moved.iter().fold(f64::INFINITY, |least, change| least.min(change.abs()));
    let one_step = moved.iter().all(|change| change.abs() < STEPS * step);
    let middle = mean(values);
    let spread: Vec<f64> = values.iter().map(|value| (value - middle).powi(2)).collect();
    let variance = mean(&bends) / 6.0;
    Some(Block {
        rms: variance.sqrt(),
        step,
        is_noisy: returns >= 2 && variance >= WHITE * mean(&spread),
        flickers: if returns + 1 == moved.len() && one_step { returns } else { 0 },
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::trace::number::parse;

    /// Sum of twelve uniform numbers, close to a normal one of variance 1.
    fn normal(seed: &mut u64) -> f64 {
        let mut uniform = || {
            *seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (*seed >> 33) as f64 / f64::from(1u32 << 31)
        };
        (0..12).map(|_| uniform()).sum::<f64>() - 6.0
    }

    fn noise(decimals: usize, command: impl FnMut(u32) -> f64) -> Option<Noise> {
        let figure = |value: f64| parse(format!("{value:.decimals$}").as_bytes(), b'.').unwrap();
        let rows = (0..4000).map(command).map(|value| [figure(0.0), figure(value), figure(0.0)]).collect();
        super::command(&Survey { pieces: vec![rows], ..Survey::default() })
    }

    /// Out and back every 500 rows, in 100 rows.
    fn moves(row: u32) -> f64 {
        let share = (f64::from(row % 500) / 100.0).min(1.0);
        let share = share * share * (3.0 - 2.0 * share);
        10.0 * if (row / 500).is_multiple_of(2) { share } else { 1.0 - share }
    }

    #[test]
    fn noise_is_found_and_measured() {
        let mut seed = 7;
        let found = noise(6, |row| moves(row) + 0.003 * normal(&mut seed)).unwrap();
        assert!((found.rms - 0.003).abs() < 0.0003, "{found:?}");
        assert!((found.dead_band - 4.5 * found.rms).abs() < 1e-12);
        // Eight bits of ± 10 V, with noise of a third of a step.
        let found = noise(6, |row| ((moves(row) / 0.08 + 0.33 * normal(&mut seed)).round()) * 0.08).unwrap();
        assert!(found.dead_band >= 0.12 && found.dead_band < 0.3, "{found:?}");
    }

    #[test]
    fn flicker_of_the_last_bit_is_noise() {
        let mut seed = 11;
        // A step of 0.08; where the command rests, the edge of its code is an eighth of a step away, two sigma.
        let coarse = |row| (((moves(row) + 0.03) / 0.08 + 0.06 * normal(&mut seed)).round()) * 0.08;
        let found = noise(4, coarse).unwrap();
        assert!((found.dead_band - 0.12).abs() < 0.001, "{found:?}");
        assert_eq!(noise(2, |row| (moves(row) / 0.08).round() * 0.08), None, "without noise");
    }

    #[test]
    fn a_digital_command_has_none() {
        assert_eq!(noise(4, moves), None);
        assert_eq!(noise(0, moves), None, "ten counts");
        for period in [6.0, 11.3, 50.0, 700.0, 3000.0] {
            let sine = |row: u32| (f64::from(row) * core::f64::consts::TAU / period).sin();
            assert_eq!(noise(3, |row| 10.0 * sine(row)), None, "{period}");
            assert_eq!(noise(1, |row| 10.0 * sine(row)), None, "{period}, coarse");
            assert_eq!(noise(4, |row| moves(row) + 0.01 * sine(row)), None, "{period}, on moves");
        }
        assert_eq!(noise(0, |row| f64::from(row / 20 % 2) * 100.0), None, "a fast square wave");
    }
}
