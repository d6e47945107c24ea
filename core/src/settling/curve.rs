//! In: errors after the command end. Out: settling time for every window size.
//!
//! A window of size w settles at the first sample after the last error above w. So one store per sample is enough:
//! the time of the sample after the last error of each size. Sizes are sorted into four buckets per
//! octave by counting leading zeros; the settling time of a window is the latest time in all buckets above it.

/// Each error below this has a bucket of its own. Unit: counts
const EXACT: u32 = 8;
/// Four buckets per octave from there to 2^31.
const BUCKETS: usize = 121;

/// Index of the bucket of errors of this size.
pub(crate) fn bucket(size: u32) -> usize {
    // Sizes below four fall into the octave of four and need no branch of their own.
    let octave = 29 - (size | 4).leading_zeros();
    (octave * 4 + (size >> octave)) as usize
}

/// Largest error in a bucket. Unit: counts
pub(crate) fn upper_edge(bucket: usize) -> u32 {
    if bucket < EXACT as usize {
        return bucket as u32;
    }
    let (octave, quarter) = ((bucket as u32 + EXACT / 2) / 4, (bucket as u32 + EXACT / 2) % 4);
    let next = (u64::from(quarter) + 5) << (octave - 2);
    u32::try_from(next - 1).unwrap_or(u32::MAX)
}

/// Time of the last error of each size.
#[derive(Clone, Debug)]
pub(crate) struct Curve {
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
pub struct CurvePoint {
    /// Half-width of the window. Unit: counts
    pub window: u32,
    /// Command end to the first sample after which no error was larger, if it settled. Unit: ticks
    pub settling: Option<u32>,
}

/// The end of the rest, at which the curve is evaluated.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Readout {
    /// The last sample of the rest. Unit: ticks, wrapping
    pub tick: u32,
    /// |error| at that sample. Unit: counts
    pub error: u32,
    /// Time since the command end. Unit: ticks
    pub held: u32,
    /// Window time: how long feedback must have been inside a window. Unit: ticks
    pub window_time: u32,
    /// Expected command end less the command end's sample, from which `held` counts. Unit: ticks
    pub late: i32,
    /// The set window and its interpolated settling time, with which the curve agrees. Unit: counts, ticks
    pub set: (u32, Option<u32>),
}

impl Readout {
    /// Settling time of a window, from the first sample after its last error outside.
    ///
    /// That sample comes up to a period after the crossing, so that another window would seem to settle in the wrong
    /// order. Unit: counts, ticks
    pub(crate) fn settling(&self, window: u32, sample: u32) -> u32 {
        let (set, settled) = self.set;
        let time = if sample == 0 { 0 } else { (i64::from(sample) - i64::from(self.late)).max(0) as u32 };
        match settled {
            Some(settled) if window >= set => time.min(settled),
            Some(settled) => time.max(settled),
            None => time,
        }
    }
}

impl Curve {
    /// Starts at a command end, whose time stamp is stored for all sizes.
    pub(crate) fn restart(&mut self, tick: u32) {
        self.after.fill(tick);
    }

    /// Stores `tick`, the time stamp of the sample after an error of this size.
    pub(crate) fn stamp(&mut self, size: u32, tick: u32) {
        if let Some(after) = self.after.get_mut(bucket(size)) {
            *after = tick;
        }
    }

    /// The narrowest point of the curve at or above this window, and the time since the last larger error, if there was
    /// one since the command end. Unit: counts, ticks
    pub(crate) fn last_beyond(&self, window: u32, readout: &Readout) -> Option<(u32, u32)> {
        let bucket = bucket(window);
        let ages = self.after.iter().skip(bucket + 1).map(|after| readout.tick.wrapping_sub(*after));
        let age = ages.min().filter(|age| *age < readout.held)?;
        Some((upper_edge(bucket), age))
    }

    /// The curve, from wide windows to narrow ones.
    ///
    /// It begins with the narrowest window that feedback never left after the command end, and ends
    /// with the first window that did not settle. Windows between two points settle no later than the
    /// narrower one and no earlier than the wider one.
    pub(crate) fn points(&self, readout: Readout) -> impl Iterator<Item = CurvePoint> + '_ {
        let lowest = bucket(readout.error);
        let mut youngest = readout.held;
        let mut done = false;
        let windows = (0..BUCKETS).rev().map(move |bucket| {
            let settled = bucket >= lowest && youngest >= readout.window_time;
            let settling = settled.then(|| readout.settling(upper_edge(bucket), readout.held - youngest));
            let age = self.after.get(bucket).map_or(u32::MAX, |after| readout.tick.wrapping_sub(*after));
            let point = CurvePoint { window: upper_edge(bucket), settling };
            youngest = youngest.min(age);
            // Feedback never left the next narrower window either: this point is redundant.
            let never_left = youngest == readout.held && readout.held >= readout.window_time;
            (point, bucket > lowest && never_left)
        });
        windows.filter(|(_, redundant)| !redundant).map(|(point, _)| point).take_while(move |point| {
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
    fn buckets_cover_all_sizes_without_a_hole() {
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

    /// Slow twin: the settling time by definition, from all errors.
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
            curve.restart(start);
            for (k, pair) in errors.windows(2).enumerate() {
                curve.stamp(pair[0].unsigned_abs(), start.wrapping_add(k as u32 + 1));
            }
            let held = errors.len() as u32 - 1;
            let error = errors[errors.len() - 1].unsigned_abs();
            let readout =
                Readout { tick: start.wrapping_add(held), error, held, window_time: 3, ..Readout::default() };
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
