//! In: errors after the command end, one store each. Out: settling time for every window size.
//!
//! A window of size w settles at the first sample after the last error above w. So it is enough
//! to know, for each size of error, when it was last seen. Sizes are sorted into four buckets per
//! octave by counting leading zeros; the largest of all larger buckets answers for a window.

use crate::sample::Reading;

/// Errors below this have a bucket each.
const EXACT: u32 = 8;
/// Four buckets per octave from there to 2^31.
const BUCKETS: usize = 121;

/// Which bucket holds errors of this size.
#[inline]
fn bucket(size: u32) -> usize {
    // Below four the octave of four gives each size its bucket too, and no branch is needed.
    let octave = 29 - (size | 4).leading_zeros();
    (octave * 4 + (size >> octave)) as usize
}

/// Largest error in a bucket. Unit: counts
fn upper_edge(bucket: usize) -> u32 {
    if bucket < EXACT as usize {
        return bucket as u32;
    }
    let (octave, quarter) = ((bucket as u32 + EXACT / 2) / 4, (bucket as u32 + EXACT / 2) % 4);
    let next = (u64::from(quarter) + 5) << (octave - 2);
    u32::try_from(next - 1).unwrap_or(u32::MAX)
}

/// When each size of error was last seen.
#[derive(Clone, Debug)]
pub struct Curve {
    /// Time of the sample after the last error of each size. Unit: ticks, wrapping
    after: [u32; BUCKETS],
}

impl Default for Curve {
    fn default() -> Curve {
        Curve { after: [0; BUCKETS] }
    }
}

/// One point of a settling curve.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Point {
    /// Half-width of the window. Unit: counts
    pub window: u32,
    /// Command end to the first sample after which no error was larger, if it settled. Unit: ticks
    pub settling: Option<u32>,
}

/// When the curve was read off.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Readout {
    /// The last sample of the rest. Unit: ticks, wrapping
    pub tick: u32,
    /// Its error. Unit: counts
    pub error: u32,
    /// Time since the command end. Unit: ticks
    pub held: u32,
    /// How long a window must have been held to count. Unit: ticks
    pub window_time: u32,
}

impl Curve {
    /// Forgets the larger sizes, or the smaller ones; older than any command end to come is as good as never.
    #[cold]
    #[inline(never)]
    pub fn clear(&mut self, larger: bool, tick: u32) {
        let (halves, largest) = self.after.as_chunks_mut::<{ BUCKETS / 2 }>();
        if larger {
            largest.fill(tick);
        }
        let Some(half) = halves.get_mut(usize::from(larger)) else { return };
        // By fours, which a Cortex-M stores two at a time.
        let (fours, _) = half.as_chunks_mut();
        for [a, b, c, d] in fours {
            (*a, *b, *c, *d) = (tick, tick, tick, tick);
        }
    }

    /// An error of this size was read at the sample before `tick`.
    #[inline]
    pub fn stamp(&mut self, size: u32, tick: u32) {
        if let Some(after) = self.after.get_mut(bucket(size)) {
            *after = tick;
        }
    }

    /// The same for many errors, each with the reading after it, which the last one may lack; none is larger than `largest`.
    ///
    /// An error that a later one hides is not stamped: it can't be the last that left any window.
    #[inline]
    pub fn stamp_all(&mut self, errors: &[i32], after: &[Reading], largest: u32) {
        let (mut hidden, mut shown, last) = (None, 0, bucket(largest));
        for (error, reading) in errors.iter().zip(after).rev() {
            let size = error.unsigned_abs();
            if hidden.is_some_and(|hidden| size <= hidden) {
                continue;
            }
            let bucket = bucket(size);
            if bucket >= shown {
                self.stamp(size, reading.tick);
            }
            if bucket >= last {
                break;
            }
            (hidden, shown) = (Some(size), bucket + 1);
        }
    }

    /// The curve, from the widest window worth telling to the narrowest.
    ///
    /// It begins with the narrowest window that was never left after the command end, and ends
    /// with the first that did not settle. Windows between two points settle no later than the
    /// narrower one and no earlier than the wider one.
    pub fn points(&self, readout: Readout) -> impl Iterator<Item = Point> + '_ {
        let lowest = bucket(readout.error);
        let mut youngest = readout.held;
        let mut done = false;
        let windows = (0..BUCKETS).rev().map(move |bucket| {
            let settled = bucket >= lowest && youngest >= readout.window_time;
            let settling = settled.then(|| readout.held - youngest);
            let age = self.after.get(bucket).map_or(u32::MAX, |after| readout.tick.wrapping_sub(*after));
            let point = Point { window: upper_edge(bucket), settling };
            youngest = youngest.min(age);
            // The window one bucket down would still be inside throughout.
            (point, bucket > lowest && youngest == readout.held && readout.held >= readout.window_time)
        });
        windows.filter(|(_, idle)| !idle).map(|(point, _)| point).take_while(move |point| {
            let goes_on = !done;
            done |= point.settling.is_none();
            goes_on
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn buckets_follow_each_other_without_a_hole() {
        let mut last = 0;
        for size in (0..4096)
            .chain((12..32).flat_map(|octave| [(1 << octave) - 1, 1 << octave, 5 << (octave - 2)]))
            .filter(|size| *size <= 1 << 31)
        {
            let found = bucket(size);
            assert!(found < BUCKETS && found >= last, "{size}");
            assert!(size <= upper_edge(found), "{size} lies above its bucket");
            assert!(found == 0 || size > upper_edge(found - 1), "{size} lies below its bucket");
            last = found;
        }
        assert_eq!((bucket(u32::MAX >> 1), bucket(1 << 31)), (BUCKETS - 2, BUCKETS - 1));
    }

    /// The whole error array, and the answer straight from the definition.
    fn slow(errors: &[i32], window: u32, window_time: u32) -> Option<u32> {
        let entry = errors.iter().rposition(|error| error.unsigned_abs() > window).map_or(0, |last| last + 1);
        let held = errors.len().checked_sub(1 + entry)? as u32;
        (held >= window_time).then_some(entry as u32)
    }

    #[test]
    fn every_point_is_what_the_definition_says() {
        let mut state = 1_u32;
        for case in 0..500 {
            let errors: std::vec::Vec<i32> = (0..(case % 60 + 1))
                .map(|k| {
                    state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                    (state as i32 >> 8) >> (k / 3).min(23)
                })
                .collect();
            let mut curve = Curve::default();
            let start = u32::MAX - 20;
            curve.clear(true, start - 100);
            curve.clear(false, start - 100);
            for (k, pair) in errors.windows(2).enumerate() {
                curve.stamp(pair[0].unsigned_abs(), start.wrapping_add(k as u32 + 1));
            }
            let held = errors.len() as u32 - 1;
            let error = errors[errors.len() - 1].unsigned_abs();
            let readout = Readout { tick: start.wrapping_add(held), error, held, window_time: 3 };
            for point in curve.points(readout) {
                assert_eq!(
                    point.settling,
                    slow(&errors, point.window, 3),
                    "case {case}, window {}",
                    point.window
                );
            }
        }
    }
}
