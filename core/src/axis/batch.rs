//! In: many readings at once. Out: the first of them that form a batch, added in a few short loops.
//!
//! The only fast path, for hosts that have a whole recording in memory. [`Axis::step`] is its slow twin, and
//! `tests/tests/runs.rs` compares the two.
//!
//! # Invariant
//!
//! At every sample of a batch [`Axis::step`] would take the same branches and add no event. Only sums, extremes and
//! last values change then, and each can be updated in a loop of its own. This holds if
//!
//! - the readings are sound: the clock advances, no reading is missing, feedback does not jump;
//! - the command changes at all of them, as at the sample before them, or at none of them;
//! - the following error stays inside its window;
//! - at a standing command, the error stays on one side of the position window, in a range no wider than a jump;
//! - while the command changes, no part is set aside: each change might decide about it;
//! - no limit is reached within the batch: rest time, window time, longest rest, samples that a rest sums.
//!
//! What every sample of a moving command changes is added in `add_moving`, of a standing one in `add_standing`.

use core::ops::Range;

use super::{Axis, LONGEST_REST};
use crate::ringing::StopCapture;
use crate::sample::{Faults, Reading};
use crate::settings::Settings;
use crate::settling::Settling;
use crate::settling::curve::{Curve, bucket, upper_edge};
use crate::settling::nearby::Nearby;
use crate::settling::peaks::{BLOCK, BlockStart, Least, Peaks};
use crate::settling::rest::{Rest, square};
use crate::settling::window::Position;
use crate::signature::lag::Lag;
use crate::signature::{Shape, hysteresis};

/// Most samples of a batch.
const LENGTH: usize = 256;
/// Longest batch without a nearer limit. Unit: ticks
const LONGEST: u32 = (1 << 31) - 1;

/// What the samples of a batch have in common.
#[derive(Clone, Copy)]
struct Bounds {
    /// The command changes at each of them; otherwise at none.
    moving: bool,
    /// Smallest error. Unit: feedback counts
    least: i32,
    /// Largest error minus smallest. Unit: feedback counts
    span: u32,
    /// Time from the sample before the batch to its end, at most. Unit: ticks, less than 2^31
    ticks: u32,
    /// Number of samples, at most.
    samples: usize,
}

impl Bounds {
    /// Errors from `least` to `most`; none if there are none between.
    fn new(moving: bool, least: i64, most: i64, ticks: u32) -> Option<Bounds> {
        let span = u32::try_from(most - least).ok()?;
        Some(Bounds { moving, least: least as i32, span, ticks, samples: LENGTH })
    }

    fn contain(&self, error: i32) -> bool {
        error.wrapping_sub(self.least) as u32 <= self.span
    }
}

/// Readings within one set of bounds, and their errors.
pub(super) struct Batch<'a> {
    /// The reading before the batch.
    before: Reading,
    readings: &'a [Reading],
    /// Errors of `before` and of each reading. Unit: feedback counts
    errors: [i32; LENGTH + 1],
}

impl<'a> Batch<'a> {
    /// A batch without readings.
    pub(super) fn empty() -> Batch<'a> {
        Batch { before: Reading::default(), readings: &[], errors: [0; LENGTH + 1] }
    }

    /// Fills the batch with the first readings that keep within the bounds.
    fn fill(&mut self, axis: &Axis, bounds: Bounds, readings: &'a [Reading]) {
        (self.before, self.errors[0], self.readings) = (axis.sampler.last, axis.error(), &[]);
        let (jump, command) = (axis.settings.jump, self.before.command);
        if bounds.moving {
            self.scan(bounds, readings, move |last, reading| {
                let change = reading.feedback.wrapping_sub(last.feedback).unsigned_abs();
                reading.command != last.command && change <= jump
            });
        } else if bounds.contain(self.errors[0]) {
            // Within a range no wider than a jump, feedback does not jump.
            self.scan(bounds, readings, move |_, reading| reading.command == command);
        }
    }

    /// Accepts readings up to the first that is late, does not fit after the one before it, or has another error.
    #[inline(never)]
    fn scan(&mut self, bounds: Bounds, readings: &'a [Reading], fits: impl Fn(&Reading, &Reading) -> bool) {
        // Scaled command less counted command: constant, as a command that moves in a batch is not scaled.
        let offset = self.errors[0].wrapping_add(self.before.feedback).wrapping_sub(self.before.command);
        let (mut last, mut ticks, mut samples) = (&self.before, bounds.ticks, 0);
        for (reading, place) in readings.iter().take(bounds.samples).zip(&mut self.errors[1..]) {
            let elapsed = reading.tick.wrapping_sub(last.tick);
            let error = reading.command.wrapping_add(offset).wrapping_sub(reading.feedback);
            if elapsed.wrapping_sub(1) >= ticks || !fits(last, reading) || !bounds.contain(error) {
                break;
            }
            *place = error;
            ticks -= elapsed;
            last = reading;
            samples += 1;
        }
        self.readings = readings.get(..samples).unwrap_or_default();
    }

    /// The last two readings, that before the batch included.
    fn end(&self) -> (Reading, Reading) {
        match self.readings {
            [] => (self.before, self.before),
            [only] => (self.before, *only),
            [.., last_but_one, last] => (*last_but_one, *last),
        }
    }

    /// Errors of the reading before the batch and of its own. Unit: feedback counts
    fn errors(&self) -> &[i32] {
        self.errors.get(..=self.readings.len()).unwrap_or(&self.errors)
    }

    /// Errors of its own readings. Unit: feedback counts
    pub(super) fn errors_of_readings(&self) -> &[i32] {
        self.errors().get(1..).unwrap_or_default()
    }

    /// Smallest and largest of these errors. Unit: feedback counts
    fn extremes(&self) -> (i32, i32) {
        let first = self.errors[0];
        self.errors()
            .iter()
            .fold((first, first), |(least, most), error| (least.min(*error), most.max(*error)))
    }
}

impl Axis {
    /// Adds the first readings that form a batch; returns their number, 0 if the next one needs [`Axis::step`].
    pub(super) fn add_batch<'a>(&mut self, batch: &mut Batch<'a>, readings: &'a [Reading]) -> usize {
        let Some(bounds) = self.bounds() else { return 0 };
        batch.fill(self, bounds, readings);
        if batch.readings.is_empty() {
            return 0;
        }
        let (_, last) = batch.end();
        let sampler = &mut self.sampler;
        sampler.now += u64::from(last.tick.wrapping_sub(batch.before.tick));
        sampler.command = sampler.command.wrapping_add(last.command.wrapping_sub(batch.before.command));
        sampler.last = last;
        if bounds.moving {
            self.add_moving(batch);
        } else {
            self.motion.hold(batch.readings.len() as u32);
            self.settling.add_standing(&self.settings, batch);
            self.shape.add_standing(&self.settings, batch, batch.extremes());
        }
        batch.readings.len()
    }

    /// The bounds of a batch that begins with the next reading, if it may be part of one.
    fn bounds(&self) -> Option<Bounds> {
        let Axis { settings, sampler, settling, .. } = self;
        if !sampler.has_begun() || sampler.faults != Faults::NONE || settling.following.is_outside() {
            return None;
        }
        let widest = i64::from(settings.following_error_window).min(i64::from(i32::MAX));
        if settling.moving {
            if self.motion.is_undecided() {
                return None;
            }
            let (upper, lower) = settings.command_scale;
            return Bounds::new(true, -widest, widest, LONGEST).filter(|_| upper == lower);
        }
        let (window, jump, ticks) =
            (i64::from(settings.window), i64::from(settings.jump), self.phase_ticks());
        if settling.position() == Position::Outside {
            let (near, far) = (window + 1, widest.min(window + jump));
            let (least, most) = if self.error() < 0 { (-far, -near) } else { (near, far) };
            return Bounds::new(false, least, most, ticks);
        }
        let edge = window.min(widest).min(jump / 2);
        let ticks = ticks.min(settling.window.ticks_to_target_reached(settings));
        let samples = settling.rest.batch_samples(settings).min(LENGTH);
        Some(Bounds { samples, ..Bounds::new(false, -edge, edge, ticks)? })
    }

    /// Time for which a standing command changes no phase. Unit: ticks
    fn phase_ticks(&self) -> u32 {
        let now = self.sampler.now;
        let remaining = match &self.pending {
            Some(move_command) => LONGEST_REST.saturating_sub(now - move_command.command_end + 1),
            None => self.motion.ticks_to_rest(&self.settings, now).unwrap_or(u64::MAX),
        };
        remaining.min(u64::from(LONGEST)) as u32
    }

    /// Adds samples at which the command changes, as it did at the sample before.
    fn add_moving(&mut self, batch: &Batch) {
        let Axis { settings, sampler, motion, settling, shape, .. } = self;
        settling.holes.move_on();
        motion.move_on(batch.before, batch.readings, batch.end(), sampler.now);
        let (least, most) = batch.extremes();
        let peaks = &mut settling.peaks;
        peaks.moving_error = peaks.moving_error.max(least.unsigned_abs()).max(most.unsigned_abs());
        for reading in batch.readings {
            let distance = reading.feedback.wrapping_sub(peaks.origin);
            peaks.high = peaks.high.max(distance);
            peaks.low = peaks.low.min(distance);
        }
        peaks.add_blocks(batch, Least::of(settings));
        for reading in batch.readings {
            settling.approach.step(reading.feedback, reading.tick, settings.window);
        }
        settling.window.moving(settings, sampler.error());
        shape.lag.add(batch);
    }
}

impl Shape {
    /// Adds samples at which the command stands, on one side of the window.
    fn add_standing(&mut self, settings: &Settings, batch: &Batch, (least, most): (i32, i32)) {
        let (errors, hysteresis) = (batch.errors(), hysteresis(settings));
        let added = errors.get(1..).unwrap_or_default();
        self.lag.hold(added.len() as u32);
        if self.turns[0].are_within(hysteresis, least, most) {
            self.noise.add(errors);
            self.blocks.add(added);
            self.standing.add(added);
            return;
        }
        for (change, reading) in errors.windows(2).zip(batch.readings) {
            self.add(hysteresis, change[1], change[0].wrapping_sub(change[1]), reading.tick);
        }
    }
}

impl Lag {
    /// Adds samples at which the command changes.
    fn add(&mut self, batch: &Batch) {
        let mut before = batch.before.command;
        for (reading, error) in batch.readings.iter().zip(batch.errors().get(1..).unwrap_or_default()) {
            self.change(reading.command.wrapping_sub(before), *error);
            before = reading.command;
        }
    }
}

impl StopCapture {
    /// Adds samples with all of which the command has changed, or with none.
    pub(super) fn add(&mut self, moving: bool, readings: &[Reading], errors: &[i32]) {
        let needless = if moving { readings.len().saturating_sub(1) } else { 0 };
        for (reading, error) in readings.iter().zip(errors).skip(needless) {
            self.step(moving, reading.tick, *error);
        }
    }
}

impl Settling {
    /// Adds samples at which the command stands, as it did at the sample before.
    fn add_standing(&mut self, settings: &Settings, batch: &Batch) {
        let (least, most) = batch.extremes();
        let largest = least.unsigned_abs().max(most.unsigned_abs());
        let (last_but_one, last) = batch.end();
        self.peaks.standing(least);
        self.peaks.standing(most);
        self.curve.add(batch, largest);
        self.nearby.add(settings, batch, largest);
        if self.window.position() != Position::Outside {
            self.window.dwell_on(last.tick.wrapping_sub(batch.before.tick));
            self.rest.add(settings, batch.errors());
            return;
        }
        self.window.outside_on(largest);
        self.peaks.add_blocks(batch, Least::of(settings));
        self.change = last.feedback.wrapping_sub(last_but_one.feedback);
        let steps = batch.errors().windows(2).zip(batch.readings).rev();
        if let Some((_, reading)) = steps.into_iter().find(|(step, _)| step[0] != step[1]) {
            self.changed = reading.tick;
        }
    }
}

impl Peaks {
    /// Adds all samples of a batch to blocks and speed stretches.
    fn add_blocks(&mut self, batch: &Batch, least: Least) {
        let (readings, errors) = (batch.readings, batch.errors().get(1..).unwrap_or_default());
        let (mut begun, mut end) = (0, (BLOCK - 1).saturating_sub(u32::from(self.count)) as usize);
        while let (Some(reading), Some(error)) = (readings.get(end), errors.get(end)) {
            let before = readings.get(end.wrapping_sub(1));
            if self.is_aligned() && !before.is_some_and(|before| self.is_long(before.tick, least.time)) {
                let (tick, feedback) = (reading.tick, reading.feedback);
                self.end_block(BlockStart { tick, feedback, error: *error });
            } else {
                self.add_each(readings, errors, begun..end + 1, least);
            }
            (begun, end) = (end + 1, end + BLOCK as usize);
        }
        if self.is_aligned() && !readings.last().is_some_and(|last| self.is_long(last.tick, least.time)) {
            self.count += (readings.len() - begun) as u8;
        } else {
            self.add_each(readings, errors, begun..readings.len(), least);
        }
    }

    /// Adds the samples of one block one by one.
    fn add_each(&mut self, readings: &[Reading], errors: &[i32], places: Range<usize>, least: Least) {
        let readings = readings.get(places.clone()).unwrap_or_default();
        for (reading, error) in readings.iter().zip(errors.get(places).unwrap_or_default()) {
            let (tick, feedback) = (reading.tick, reading.feedback);
            self.add_to_block(BlockStart { tick, feedback, error: *error }, least);
        }
    }
}

impl Curve {
    /// Stamps each error of a batch with the reading after it; none is larger than `largest`.
    ///
    /// Goes backwards and skips errors that a later one of the same or a larger bucket hides: none of them can be the
    /// last outside any window.
    fn add(&mut self, batch: &Batch, largest: u32) {
        let (mut shown, last) = (0, bucket(largest));
        for (error, reading) in batch.errors().iter().zip(batch.readings).rev() {
            let size = error.unsigned_abs();
            if size < shown {
                continue;
            }
            self.stamp(size, reading.tick);
            let bucket = bucket(size);
            if bucket >= last {
                break;
            }
            shown = upper_edge(bucket) + 1;
        }
    }
}

impl Nearby {
    /// Stamps each error of a batch with the reading after it; none is larger than `largest`.
    fn add(&mut self, settings: &Settings, batch: &Batch, largest: u32) {
        for (window, after) in settings.nearby().iter().zip(&mut self.after) {
            if largest <= *window {
                break;
            }
            let mut errors = batch.errors().iter().zip(batch.readings).rev();
            if let Some((_, reading)) = errors.find(|(error, _)| error.unsigned_abs() > *window) {
                *after = reading.tick;
            }
        }
    }
}

impl Rest {
    /// How many errors a batch may add: none before the third, which the second differences need.
    fn batch_samples(&self, settings: &Settings) -> usize {
        match settings.rest_samples().saturating_sub(self.count) {
            0 => usize::MAX,
            _ if self.count <= 1 => 0,
            room => room as usize,
        }
    }

    /// Adds errors after the first, which was added before, unless the sums are full.
    fn add(&mut self, settings: &Settings, errors: &[i32]) {
        if self.count >= settings.rest_samples() {
            return;
        }
        let change = |pair: &[i32; 2]| pair[0].wrapping_sub(pair[1]);
        let (Some(first), Some(last)) = (errors.first_chunk(), errors.last_chunk()) else { return };
        self.bends += square(change(first).wrapping_sub(self.change));
        let bend = |three: &[i32]| three[1].wrapping_mul(2).wrapping_sub(three[0]).wrapping_sub(three[2]);
        self.bends += errors.windows(3).map(|three| square(bend(three))).sum::<u64>();
        let added = errors.get(1..).unwrap_or_default();
        self.sum += added.iter().map(|error| i64::from(*error)).sum::<i64>();
        self.squares += added.iter().map(|error| square(*error)).sum::<u64>();
        self.change = change(last);
        self.count += added.len() as u32;
    }
}
