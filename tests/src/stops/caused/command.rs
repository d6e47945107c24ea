//! In: distance, speed, acceleration and smoothing of a move. Out: the commanded position at each control period.

/// A move of constant acceleration, speed and deceleration, smoothed by a running mean.
#[derive(Clone, Copy, Debug)]
pub struct Command {
    /// Unit: mm
    pub distance: f64,
    /// Unit: mm/s
    pub speed: f64,
    /// Unit: mm/s²
    pub acceleration: f64,
    /// Length of the running mean. Unit: s
    pub smoothing: f64,
}

impl Command {
    /// Positions at multiples of the period, from the start until the command has ended. Unit: s, mm
    pub fn positions(&self, period: f64) -> Vec<f64> {
        let length = ((self.smoothing / period).round() as usize).max(1);
        let samples = (self.time() / period).ceil() as usize + length;
        let raw: Vec<f64> = (0..=samples).map(|k| self.position(k as f64 * period)).collect();
        let mean =
            |k: usize| (0..length).map(|back| raw[k.saturating_sub(back)]).sum::<f64>() / length as f64;
        (0..=samples).map(mean).collect()
    }

    /// Highest speed that the distance allows. Unit: mm/s
    fn peak(&self) -> f64 {
        self.speed.min((self.distance * self.acceleration).sqrt())
    }

    /// Start to end without smoothing. Unit: s
    fn time(&self) -> f64 {
        self.distance / self.peak() + self.peak() / self.acceleration
    }

    fn position(&self, time: f64) -> f64 {
        let (ramp, end) = (self.peak() / self.acceleration, self.time());
        let ramped = |time: f64| self.acceleration * time * time / 2.0;
        match time.clamp(0.0, end) {
            time if time < ramp => ramped(time),
            time if time < end - ramp => ramped(ramp) + self.peak() * (time - ramp),
            time => self.distance - ramped(end - time),
        }
    }
}
