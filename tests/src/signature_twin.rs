//! In: the readings of one move. Out: features of its signature, straight from their definitions.
//!
//! The slow, obvious twin of `core/src/signature`: it looks at whole arrays.

use stillpoint_core::{Parameters, Reading};

/// command − feedback of each reading. Unit: counts
fn errors(readings: &[Reading]) -> Vec<i64> {
    readings.iter().map(|reading| i64::from(reading.command) - i64::from(reading.feedback)).collect()
}

/// Places at which the command has changed.
fn changes(readings: &[Reading]) -> Vec<usize> {
    (1..readings.len()).filter(|&k| readings[k].command != readings[k - 1].command).collect()
}

/// Slope of error over commanded speed, by least squares weighted by time, over blocks of four changes of the command;
/// through zero where the speed varies by less than a quarter. Unit: samples
pub fn cruise_lag(readings: &[Reading]) -> Option<f64> {
    let (errors, changes) = (errors(readings), changes(readings));
    let mut before = changes.first()?.checked_sub(1)?;
    let mut blocks = vec![];
    for block in changes.chunks_exact(4) {
        let end = block[3];
        let time = (end - before) as f64;
        let speed = f64::from(readings[end].command - readings[before].command) / time;
        blocks.push((time, speed, errors[end] as f64));
        before = end;
    }
    let total: f64 = blocks.iter().map(|block| block.0).sum();
    let mean = |of: &dyn Fn(f64, f64) -> f64| {
        blocks.iter().map(|(time, speed, error)| time * of(*speed, *error)).sum::<f64>() / total
    };
    let (speed, error) = (mean(&|speed, _| speed), mean(&|_, error| error));
    let (square, product) = (mean(&|speed, _| speed * speed), mean(&|speed, error| speed * error));
    let variance = square - speed * speed;
    let slope =
        if variance > square / 16.0 { (product - speed * error) / variance } else { product / square };
    (blocks.len() >= 4).then_some(slope)
}

/// Number of turning points from the command end to the last entry, or to the last reading if that is outside: extremes
/// from which the error goes back by more than the hysteresis. Unit: counts
pub fn turning_points(readings: &[Reading], parameters: &Parameters, hysteresis: u32) -> u32 {
    let end = changes(readings).last().copied().unwrap_or(0);
    let errors = &errors(readings)[end..];
    let outside = errors.iter().rposition(|error| error.unsigned_abs() > u64::from(parameters.window));
    let entry = outside.map_or(0, |last| last + 1);
    let places = places(errors, i64::from(hysteresis));
    places.iter().filter(|place| **place < entry).count() as u32
}

/// The first extreme of each leg: a leg ends with the first error that is further back from its extreme.
fn places(errors: &[i64], hysteresis: i64) -> Vec<usize> {
    let Some(start) = errors.iter().position(|error| (error - errors[0]).abs() > hysteresis) else {
        return vec![];
    };
    let (mut extreme, mut sign, mut found) = (start, (errors[start] - errors[0]).signum(), vec![]);
    for place in start..errors.len() {
        let ahead = sign * (errors[place] - errors[extreme]);
        if ahead > 0 {
            extreme = place;
        } else if -ahead > hysteresis {
            found.push(extreme);
            (extreme, sign) = (place, -sign);
        }
    }
    found
}
