//! In: points. Out: the frequency of their turning points, if these follow each other evenly.
//!
//! A stop that dry friction ends does not decay exponentially, and no damping ratio describes it; its frequency is that of
//! its turning points all the same.

use heapless::Vec;

use crate::ringing::elementary::root;

/// Turning points that are remembered: more are not needed.
const MOST: usize = 32;
/// Fewest turning points that show a frequency; so few must be spaced more evenly than more of them.
const FEWEST: usize = 3;
/// Largest growth from swing to swing.
const GROWTH: f32 = 1.1;
/// Largest scatter of the spacing, of three turning points and of more.
const SCATTER: (f32, f32) = (0.06, 0.2);

/// A frequency and its standard uncertainty. Unit: 1/point
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Swings {
    pub frequency: f32,
    pub u: f32,
    /// Turning points.
    pub turns: usize,
}

/// Turning points of which each differs from the one before by at least `hysteresis`. Unit: that of the points
#[derive(Clone, Debug, Default)]
struct Turns {
    /// Time and height. Unit: points
    found: Vec<(f32, f32), MOST>,
}

impl Turns {
    fn new(points: &[f32], hysteresis: f32) -> Turns {
        let mut turns = Turns::default();
        let Some(&first) = points.first() else { return turns };
        // The extreme since the last turning point, and the direction towards it: 0 before the first move.
        let (mut extreme, mut at, mut direction) = (first, 0, 0.0);
        for (k, &point) in points.iter().enumerate() {
            let ahead =
                if direction == 0.0 { (point - extreme).abs() } else { (point - extreme) * direction };
            if direction == 0.0 {
                if ahead >= hysteresis {
                    direction = if point > extreme { 1.0 } else { -1.0 };
                    (extreme, at) = (point, k);
                }
            } else if ahead > 0.0 {
                (extreme, at) = (point, k);
            } else if -ahead >= hysteresis {
                let _full = turns.found.push((vertex(points, at), extreme));
                (extreme, at, direction) = (point, k, -direction);
            }
        }
        turns
    }
}

/// Time of the extreme of a parabola through a point and its neighbours. Unit: points
fn vertex(points: &[f32], at: usize) -> f32 {
    let near = |k: Option<usize>| k.and_then(|k| points.get(k)).copied();
    let beside = (near(at.checked_sub(1)), near(Some(at)), near(Some(at + 1)));
    let (Some(before), Some(middle), Some(after)) = beside else { return at as f32 };
    let bend = before - 2.0 * middle + after;
    let shift = if bend != 0.0 { (before - after) / (2.0 * bend) } else { 0.0 };
    at as f32 + shift.clamp(-0.5, 0.5)
}

impl Swings {
    /// Of points with this noise and this step of the encoder. Unit: that of the points
    pub(crate) fn new(points: &[f32], noise: f32, step: f32) -> Option<Swings> {
        // Comparisons: `f32::min` is a call on a Cortex-M4F, which has no instruction for it.
        let (mut least, mut most) = (0.0_f32, 0.0_f32);
        for &point in points {
            least = if point < least { point } else { least };
            most = if point > most { point } else { most };
        }
        let hysteresis = (8.0 * noise).max(3.0 * step).max(0.03 * (most - least));
        let turns = Turns::new(points, hysteresis).found;
        let pairs = turns.iter().zip(turns.iter().skip(1));
        let spacings = pairs.clone().map(|(one, next)| next.0 - one.0);
        let swings = pairs.map(|(one, next)| (next.1 - one.1).abs());
        let grows = swings.clone().zip(swings.skip(1)).any(|(one, next)| next > GROWTH * one);
        let (first, last) = (turns.first()?, turns.last()?);
        let count = (turns.len() - 1) as f32;
        let mean = (last.0 - first.0) / count.max(1.0);
        let squares: f32 = spacings.map(|spacing| (spacing - mean) * (spacing - mean)).sum();
        let scatter = root(squares / (count - 1.0).max(1.0));
        let most = if turns.len() > FEWEST { SCATTER.1 } else { SCATTER.0 };
        if turns.len() < FEWEST || grows || scatter > most * mean {
            return None;
        }
        // Errors of the first and the last turning point; a point's own width is uniform.
        let u = root(scatter * scatter + 1.0 / 6.0) / count;
        let frequency = 0.5 / mean;
        Some(Swings { frequency, u: frequency * u / mean, turns: turns.len() })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Points of an oscillation of 0.05 whose amplitude falls along this line.
    fn points(fall: f32) -> std::vec::Vec<f32> {
        let amplitude = |k: f32| (1.0 - fall * k).max(0.0);
        (0..128).map(|k| amplitude(k as f32) * (std::f32::consts::TAU * 0.05 * k as f32).cos()).collect()
    }

    #[test]
    fn a_linear_decay_has_its_frequency() {
        let swings = Swings::new(&points(0.012), 0.001, 0.01).unwrap();
        assert!((swings.frequency - 0.05).abs() < 2.0 * swings.u, "{swings:?}");
        assert!(swings.u < 0.001 && swings.turns >= 7, "{swings:?}");
    }

    #[test]
    fn growth_noise_and_unevenness_are_no_frequency() {
        assert_eq!(Swings::new(&points(-0.02), 0.001, 0.01), None);
        assert_eq!(Swings::new(&points(0.012), 0.3, 0.01), None);
        let chirp: std::vec::Vec<f32> =
            (0..128).map(|k| (0.0025 * (k * k) as f32).cos() / (1.0 + 0.02 * k as f32)).collect();
        assert_eq!(Swings::new(&chirp, 0.001, 0.01), None);
        assert_eq!(Swings::new(&[], 0.0, 0.0), None);
    }
}
