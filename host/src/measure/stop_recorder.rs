//! In: the error at every sample, and gaps. Out: the points of one move worth drawing, few however long its rest, and its
//! envelope.

use super::envelope::Envelope;
use super::motion_recorder::MotionRecorder;
use crate::plot::decimate::{Decimator, POINTS};

/// What is drawn beyond the last sample outside, at the least. Unit: s
const LEAST_S: f64 = 0.05;

/// Most gaps of a move that are drawn.
const GAPS: usize = 1000;

/// The samples of the move under way.
#[derive(Clone, Debug)]
pub(crate) struct StopRecorder {
    points: Decimator,
    moving_s: f64,
    outside_s: f64,
    /// Where samples are missing.
    gaps: Vec<(f64, f64)>,
    envelope: Envelope,
    /// Empty unless strips are drawn.
    pub(super) motion: MotionRecorder,
}

impl StopRecorder {
    /// A move begins.
    pub(crate) fn new(second: f64) -> StopRecorder {
        StopRecorder {
            points: Decimator::new(POINTS),
            moving_s: second,
            outside_s: second,
            gaps: Vec::new(),
            envelope: Envelope::default(),
            motion: MotionRecorder::default(),
        }
    }

    /// Adds one sample, on the recording's clock; whether it is drawn.
    ///
    /// Once feedback has stood inside for as long as it took to get there, the rest adds nothing.
    pub(crate) fn push(&mut self, second: f64, error: f64, moving: bool, outside: bool) -> bool {
        self.envelope.push(second, error.abs());
        if moving {
            self.moving_s = second;
        }
        if moving || outside {
            self.outside_s = second;
        }
        let so_far = self.outside_s - self.moving_s;
        let is_drawn = second - self.outside_s <= so_far.max(LEAST_S);
        if is_drawn {
            self.points.push(second, error);
        }
        is_drawn
    }

    /// Samples are missing between these two seconds on the recording's clock.
    pub(crate) fn gap(&mut self, from: f64, to: f64) {
        if self.gaps.len() < GAPS {
            self.gaps.push((from, to));
        }
    }

    /// The gaps, as far as they are drawn.
    pub(super) fn gaps(&self) -> Vec<(f64, f64)> {
        self.gaps.clone()
    }

    /// Of all samples.
    pub(super) fn envelope(&self) -> &Envelope {
        &self.envelope
    }

    /// The points: second on the recording's clock, error.
    pub(super) fn points(&self) -> Vec<(f64, f64)> {
        self.points.points()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_long_rest_is_omitted_but_not_what_happens_in_it() {
        let mut recorder = StopRecorder::new(10.0);
        for k in 0..100_000 {
            let second = 10.0 + f64::from(k) * 0.001;
            let outside = k < 100 || k == 50_000;
            recorder.push(second, if outside { 1.0 } else { 0.0 }, k < 50, outside);
        }
        let points = recorder.points();
        assert!(points.len() <= POINTS);
        assert!(
            points.iter().any(|point| (point.0 - 60.0).abs() < 0.1 && point.1 == 1.0),
            "the late one is there"
        );
        assert!(!points.iter().any(|point| point.0 > 11.0 && point.0 < 59.0), "the calm between is not");
    }
}
