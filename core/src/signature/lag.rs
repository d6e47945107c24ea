//! In: samples from the start of a move to the last change of its command. Out: its cruise lag: by how much the error
//! grows with the commanded speed.
//!
//! A line through error over speed, by least squares, weighted by time; its slope is a time. Speeds are those of blocks
//! of four changes of the command, so that a command which is held for several samples, or comes as single pulses, has
//! the right speed too.

/// Changes of the command in a block.
const CHANGES: u32 = 4;
/// Least number of blocks: two for the line, and as many against it.
const LEAST: u32 = 4;
/// Fraction bits of a speed.
const FRACTION: u32 = 8;

/// Sums over blocks, each with its time, distance and the error at its end.
#[derive(Clone, Copy, Debug, Default)]
struct Sums {
    blocks: u32,
    /// Unit: samples
    time: u32,
    /// Unit: counts
    distance: i64,
    /// Error times time. Unit: counts · samples
    errors: i64,
    /// Error times distance. Unit: counts²
    products: i64,
    /// Distance times speed. Unit: 1/256 counts²/sample
    squares: i64,
}

impl Sums {
    /// The sums with one more block; none if one of them no longer fits 64 bits.
    fn and_block(&self, time: u32, distance: i32, error: i32) -> Option<Sums> {
        let (time, wide) = (time.max(1), i64::from(distance));
        let square = wide.checked_mul(speed(distance, time))?;
        Some(Sums {
            blocks: self.blocks.checked_add(1)?,
            time: self.time.checked_add(time)?,
            distance: self.distance.checked_add(wide)?,
            errors: self.errors.checked_add(i64::from(error) * i64::from(time))?,
            products: self.products.checked_add(wide * i64::from(error))?,
            squares: self.squares.checked_add(square)?,
        })
    }

    /// The sums of both; `self` if they do not fit.
    fn with(&self, other: &Sums) -> Sums {
        let joined = || {
            Some(Sums {
                blocks: self.blocks.checked_add(other.blocks)?,
                time: self.time.checked_add(other.time)?,
                distance: self.distance.checked_add(other.distance)?,
                errors: self.errors.checked_add(other.errors)?,
                products: self.products.checked_add(other.products)?,
                squares: self.squares.checked_add(other.squares)?,
            })
        };
        joined().unwrap_or(*self)
    }

    /// Slope of error over speed; of a line through zero where the speed hardly varies. Unit: samples
    fn slope(&self) -> Option<f32> {
        let time = self.time.max(1) as f32;
        let (speed, error) = (self.distance as f32 / time, self.errors as f32 / time);
        let mean_square = self.squares as f32 / (1 << FRACTION) as f32 / time;
        let (mean_product, variance) = (self.products as f32 / time, mean_square - speed * speed);
        // A sixteenth is far above the rounding of single precision.
        let varies = variance > mean_square / 16.0;
        let (upper, lower) =
            if varies { (mean_product - speed * error, variance) } else { (mean_product, mean_square) };
        (self.blocks >= LEAST && lower > 0.0).then(|| upper / lower)
    }
}

/// Unit: 1/256 counts/sample
fn speed(distance: i32, time: u32) -> i64 {
    // 32-bit division where the distance leaves room for the fraction, as it nearly always does.
    let time = i32::try_from(time).unwrap_or(i32::MAX).max(1);
    match distance.checked_mul(1 << FRACTION) {
        Some(fine) => i64::from(fine / time),
        None => i64::from(distance / time) << FRACTION,
    }
}

/// The cruise lag of the move under way.
#[derive(Clone, Debug, Default)]
pub(crate) struct Lag {
    sums: Sums,
    /// Of the part that is set aside.
    earlier: Sums,
    /// A sum is full: the blocks before tell the slope.
    full: bool,
    /// The block under way: changes, samples, distance.
    changes: u32,
    time: u32,
    distance: i32,
}

impl Lag {
    /// A move starts; what came before is part of it if that is decided later.
    pub(crate) fn restart(&mut self) {
        *self = Lag { earlier: self.sums, ..Lag::default() };
    }

    /// The part before the start joins the move.
    pub(crate) fn join(&mut self) {
        self.sums = self.earlier.with(&self.sums);
    }

    /// Adds samples at which the command stands; they count if the move goes on.
    pub(crate) fn hold(&mut self, samples: u32) {
        self.time = self.time.saturating_add(samples);
    }

    /// Adds one sample at which the command has changed. Unit: counts
    pub(crate) fn change(&mut self, change: i32, error: i32) {
        self.time = self.time.saturating_add(1);
        self.distance = self.distance.saturating_add(change);
        self.changes += 1;
        if self.changes >= CHANGES {
            self.end_block(error);
        }
    }

    fn end_block(&mut self, error: i32) {
        let sums = self.sums.and_block(self.time, self.distance, error).filter(|_| !self.full);
        self.full = sums.is_none();
        self.sums = sums.unwrap_or(self.sums);
        (self.changes, self.time, self.distance) = (0, 0, 0);
    }

    /// Slope of error over commanded speed, if the speed varies enough to show it. Unit: samples
    pub(crate) fn slope(&self) -> Option<f32> {
        self.sums.slope()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::vec::Vec;

    /// Slow twin: all blocks in a list, and the line by its definition in double precision.
    fn slow(samples: &[(i32, i32)]) -> Option<f64> {
        let (mut blocks, mut changes, mut time, mut distance) = (Vec::new(), 0, 0.0, 0.0);
        for (change, error) in samples {
            time += 1.0;
            distance += f64::from(*change);
            changes += u32::from(*change != 0);
            if *change != 0 && changes % 4 == 0 {
                blocks.push((time, distance / time, f64::from(*error)));
                (time, distance) = (0.0, 0.0);
            }
        }
        let mean = |of: fn(&(f64, f64, f64)) -> f64| {
            let total: f64 = blocks.iter().map(|block| block.0).sum();
            blocks.iter().map(|block| block.0 * of(block)).sum::<f64>() / total
        };
        let (speed, error) = (mean(|block| block.1), mean(|block| block.2));
        let (square, product) = (mean(|block| block.1 * block.1), mean(|block| block.1 * block.2));
        let variance = square - speed * speed;
        let line =
            if variance > square / 16.0 { (product - speed * error) / variance } else { product / square };
        (blocks.len() >= 4).then_some(line)
    }

    fn fast(samples: &[(i32, i32)]) -> Option<f32> {
        let mut lag = Lag::default();
        lag.restart();
        for (change, error) in samples {
            if *change == 0 { lag.hold(1) } else { lag.change(*change, *error) }
        }
        lag.slope()
    }

    #[track_caller]
    fn check(samples: &[(i32, i32)], expected: Option<f64>, within: f64) {
        let (slow, fast) = (slow(samples), fast(samples).map(f64::from));
        let near = |one: Option<f64>, other: Option<f64>, within: f64| match (one, other) {
            (Some(one), Some(other)) => (one - other).abs() <= within * other.abs().max(1.0),
            _ => one == other,
        };
        assert!(near(fast, slow, 0.015), "fast {fast:?}, slow {slow:?}");
        assert!(near(fast, expected, within), "{fast:?}, expected {expected:?}");
    }

    /// Speeds of a move that ramps up and down. Unit: counts/sample
    fn ramps(top: i32) -> impl Iterator<Item = i32> {
        (1..=50).chain(std::iter::repeat_n(50, 40)).chain((1..=50).rev()).map(move |part| top * part / 50)
    }

    #[test]
    fn the_lag_of_a_ramp_is_found_beside_a_constant_error() {
        for (top, lag, constant) in
            [(400, 20, 0), (400, 20, -3000), (-400, 20, 900), (400, -5, 70), (200_000, 80, 0)]
        {
            let samples: Vec<_> = ramps(top).map(|speed| (speed, lag * speed + constant)).collect();
            // An error at the end of a block meets the mean speed of the block: half a block of acceleration.
            check(&samples, Some(f64::from(lag)), 0.02);
        }
    }

    #[test]
    fn a_command_that_is_held_or_comes_as_pulses_has_the_same_lag() {
        let held = ramps(400).flat_map(|speed| [0, 0, 3 * speed].map(|change| (change, 20 * speed)));
        check(&held.collect::<Vec<_>>(), Some(20.0), 0.02);
        let (mut place, mut error) = (0.0, 0);
        let pulses = (0..4000).map(|k| {
            let speed = (f64::from(k) / 4000.0 * core::f64::consts::PI).sin();
            let before = place as i32;
            place += speed;
            error = (30.0 * speed) as i32;
            (place as i32 - before, error)
        });
        check(&pulses.collect::<Vec<_>>(), Some(30.0), 0.05);
    }

    #[test]
    fn a_constant_speed_gives_the_mean_error_over_the_speed() {
        check(&std::vec![(100, 1500); 60], Some(15.0), 0.001);
        check(&std::vec![(100, 1500); 15], None, 0.0);
        check(&[], None, 0.0);
    }

    #[test]
    fn sums_that_are_full_leave_the_slope_as_it_was() {
        let huge = |count: usize| (0..count).map(|k| (i32::MAX / 64 - 1000 * (k as i32 % 99), i32::MAX));
        let (mut lag, mut before) = (Lag::default(), None);
        lag.restart();
        for (change, error) in huge(40_000) {
            lag.change(change, error);
            before = if lag.full { before.or(lag.slope()) } else { lag.slope() };
        }
        assert!(lag.full && before.is_some());
        assert_eq!(lag.slope(), before);
    }

    #[test]
    fn a_part_that_joins_is_summed_as_one() {
        let samples: Vec<_> = ramps(400).map(|speed| (speed, 20 * speed)).collect();
        let (one, other) = samples.split_at(80);
        let mut lag = Lag::default();
        one.iter().for_each(|(change, error)| lag.change(*change, *error));
        lag.restart();
        other.iter().for_each(|(change, error)| lag.change(*change, *error));
        lag.join();
        assert_eq!(lag.slope(), fast(&samples));
    }
}
