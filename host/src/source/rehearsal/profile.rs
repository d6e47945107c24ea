//! In: a distance and the limits of speed, acceleration and jerk. Out: the command of one move at any time.
//!
//! Seven segments: jerk up, constant acceleration, jerk down, cruise, and the first three mirrored. Two symmetries replace
//! seven formulas: the stop mirrors the start about the middle of the move, and the second half of the acceleration
//! mirrors its first half about the peak speed. So the move ends exactly at its distance. Only `+ − × ÷ √` are used, which
//! IEEE 754 rounds the same on every platform.

use thiserror::Error;

/// Why a move can't be planned.
#[derive(Clone, Copy, Debug, PartialEq, Error)]
pub enum Unplannable {
    /// The distance isn't a finite number.
    #[error("the distance of a move is {0}; give a finite number")]
    Distance(f64),
    /// The named limit isn't a finite number above zero.
    #[error("the {0} limit of a move is {1}; give a finite number above zero")]
    Limit(&'static str, f64),
}

/// Segments of a move.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Segments {
    /// Length of each of the four jerk segments, zero without a jerk limit. Unit: s
    pub jerk_time: f64,
    /// From standstill to peak speed, both jerk segments included. Unit: s
    pub acceleration_time: f64,
    /// Time at peak speed. Unit: s
    pub cruise_time: f64,
    /// Highest speed reached. Unit: unit/s
    pub peak_speed: f64,
    /// Highest acceleration reached. Unit: unit/s²
    pub peak_acceleration: f64,
}

/// One point-to-point move, from 0 to its distance, as fast as the limits allow.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Profile {
    distance: f64,
    sign: f64,
    duration: f64,
    segments: Segments,
    jerk: f64,
}

impl Profile {
    /// Plans a move over `distance` (unit, either sign) within `v_max` (unit/s), `a_max` (unit/s²)
    /// and `j_max` (unit/s³; `None`: no limit, a trapezoid or a triangle).
    pub fn new(distance: f64, v_max: f64, a_max: f64, j_max: Option<f64>) -> Result<Profile, Unplannable> {
        if !distance.is_finite() {
            return Err(Unplannable::Distance(distance));
        }
        positive("speed", v_max)?;
        positive("acceleration", a_max)?;
        j_max.map_or(Ok(()), |jerk| positive("jerk", jerk))?;
        let segments = plan(distance.abs(), v_max, a_max, j_max);
        let ramp = segments.jerk_time > 0.0;
        Ok(Profile {
            distance,
            sign: if distance < 0.0 { -1.0 } else { 1.0 },
            duration: 2.0 * segments.acceleration_time + segments.cruise_time,
            segments,
            jerk: if ramp { segments.peak_acceleration / segments.jerk_time } else { 0.0 },
        })
    }

    /// From the start of the move to the command end. Unit: s
    pub fn duration(&self) -> f64 {
        self.duration
    }

    /// Durations and peaks of the segments.
    pub fn segments(&self) -> Segments {
        self.segments
    }

    /// Command `t` seconds after the start; 0 before, the distance after the end. Unit: unit
    pub fn position(&self, t: f64) -> f64 {
        if t >= self.duration {
            return self.distance;
        }
        let back = self.duration - t;
        if back < t {
            self.distance - self.sign * self.distance_at(back)
        } else {
            self.sign * self.distance_at(t)
        }
    }

    /// Speed of the command `t` seconds after the start. Unit: unit/s
    pub fn velocity(&self, t: f64) -> f64 {
        let t = if self.duration - t < t { self.duration - t } else { t };
        let ramp = self.segments.acceleration_time;
        let size = if t < 0.5 * ramp {
            self.early_speed(t)
        } else if t < ramp {
            self.segments.peak_speed - self.early_speed(ramp - t)
        } else {
            self.segments.peak_speed
        };
        self.sign * size
    }

    /// Acceleration of the command `t` seconds after the start. Unit: unit/s²
    pub fn acceleration(&self, t: f64) -> f64 {
        let (t, sign) = if self.duration - t < t { (self.duration - t, -self.sign) } else { (t, self.sign) };
        let Segments { jerk_time, acceleration_time, peak_acceleration, .. } = self.segments;
        let edge = if acceleration_time - t < t { acceleration_time - t } else { t };
        if edge < 0.0 {
            0.0
        } else if edge < jerk_time {
            sign * self.jerk * edge
        } else {
            sign * peak_acceleration
        }
    }

    /// Distance covered at `t`, in the first half of the move.
    fn distance_at(&self, t: f64) -> f64 {
        let Segments { acceleration_time: ramp, peak_speed, .. } = self.segments;
        if t < 0.5 * ramp {
            return self.early_distance(t);
        }
        let beyond = if t < ramp { self.early_distance(ramp - t) } else { 0.0 };
        peak_speed * (t - 0.5 * ramp) + beyond
    }

    /// Distance covered at `t`, in the first half of the acceleration.
    fn early_distance(&self, t: f64) -> f64 {
        let Segments { jerk_time, peak_acceleration, .. } = self.segments;
        if t <= 0.0 {
            0.0
        } else if t < jerk_time {
            self.jerk * t * t * t / 6.0
        } else {
            peak_acceleration * (t * (t - jerk_time) / 2.0 + jerk_time * jerk_time / 6.0)
        }
    }

    /// Speed at `t`, in the first half of the acceleration.
    fn early_speed(&self, t: f64) -> f64 {
        let Segments { jerk_time, peak_acceleration, .. } = self.segments;
        if t <= 0.0 {
            0.0
        } else if t < jerk_time {
            self.jerk * t * t / 2.0
        } else {
            peak_acceleration * (t - 0.5 * jerk_time)
        }
    }
}

fn positive(name: &'static str, limit: f64) -> Result<(), Unplannable> {
    let usable = limit.is_finite() && limit > 0.0;
    if usable { Ok(()) } else { Err(Unplannable::Limit(name, limit)) }
}

/// The segments of a move; the distance decides which limits are reached.
fn plan(distance: f64, v_max: f64, a_max: f64, j_max: Option<f64>) -> Segments {
    let full = ramp_to(v_max, a_max, j_max);
    if distance >= v_max * full.acceleration_time {
        return Segments { cruise_time: distance / v_max - full.acceleration_time, ..full };
    }
    let jerk_time = j_max.map_or(0.0, |jerk| a_max / jerk);
    if distance >= 2.0 * a_max * jerk_time * jerk_time {
        let root = (jerk_time * jerk_time + 4.0 * distance / a_max).sqrt();
        let acceleration_time = 0.5 * (jerk_time + root);
        let peak_speed = a_max * (acceleration_time - jerk_time);
        return Segments {
            jerk_time,
            acceleration_time,
            cruise_time: 0.0,
            peak_speed,
            peak_acceleration: a_max,
        };
    }
    // Without a jerk limit, `jerk_time` is 0 and one of the cases above applied.
    let jerk = j_max.unwrap_or(a_max);
    let jerk_time = cube_root(0.5 * distance / jerk);
    let peak_acceleration = jerk * jerk_time;
    let peak_speed = peak_acceleration * jerk_time;
    Segments {
        jerk_time,
        acceleration_time: 2.0 * jerk_time,
        cruise_time: 0.0,
        peak_speed,
        peak_acceleration,
    }
}

/// The ramp from standstill to `v_max`, without cruise.
fn ramp_to(v_max: f64, a_max: f64, j_max: Option<f64>) -> Segments {
    let (jerk_time, peak_acceleration) = match j_max {
        None => (0.0, a_max),
        Some(jerk) if v_max * jerk >= a_max * a_max => (a_max / jerk, a_max),
        Some(jerk) => ((v_max / jerk).sqrt(), (v_max * jerk).sqrt()),
    };
    let acceleration_time = v_max / peak_acceleration + jerk_time;
    Segments { jerk_time, acceleration_time, cruise_time: 0.0, peak_speed: v_max, peak_acceleration }
}

/// Newton's iteration from above, where it decreases monotonically; the library's `cbrt` may differ by platform.
fn cube_root(cube: f64) -> f64 {
    if cube <= 0.0 {
        return 0.0;
    }
    let mut root = if cube > 1.0 { cube } else { 1.0 };
    loop {
        let next = (2.0 * root + cube / (root * root)) / 3.0;
        if next >= root {
            return root;
        }
        root = next;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The slow twin: integrates the jerk of the seven segments in small steps and compares at each step.
    fn check(distance: f64, v_max: f64, a_max: f64, j_max: Option<f64>) {
        let profile = Profile::new(distance, v_max, a_max, j_max).unwrap();
        let Segments { jerk_time, acceleration_time, cruise_time, peak_acceleration, .. } =
            profile.segments();
        let hold = acceleration_time - 2.0 * jerk_time;
        let lengths = [jerk_time, hold, jerk_time, cruise_time, jerk_time, hold, jerk_time];
        let levels = [0.0, 1.0, 1.0, 0.0, 0.0, -1.0, -1.0, 0.0].map(|level| level * peak_acceleration);
        let (mut t, mut v, mut x) = (0.0, 0.0, 0.0);
        for (segment, length) in lengths.into_iter().enumerate() {
            let (steps, change) = (1000, levels[segment + 1] - levels[segment]);
            let h = length / f64::from(steps);
            for step in 0..steps {
                let (start, jerk_h) = (f64::from(step), change / f64::from(steps));
                let a = if jerk_time > 0.0 || change == 0.0 {
                    levels[segment] + start * jerk_h
                } else {
                    levels[segment + 1]
                };
                let ramp = if jerk_time > 0.0 { jerk_h } else { 0.0 };
                x += h * (v + h * (a / 2.0 + ramp / 6.0));
                v += h * (a + ramp / 2.0);
                t += h;
                let sign = distance.signum();
                let tolerance = 1e-9 * distance.abs().max(1e-3);
                assert!((profile.position(t) - sign * x).abs() < tolerance, "{distance}: position at {t}");
                assert!((profile.velocity(t) - sign * v).abs() < 1e-9 * v_max, "{distance}: speed at {t}");
            }
        }
        assert_eq!(profile.position(profile.duration()), distance);
        assert!((t - profile.duration()).abs() < 1e-12, "{distance}: duration");
    }

    #[test]
    fn agrees_with_the_integrated_jerk() {
        for (distance, v_max, a_max, j_max) in [
            (60.0, 600.0, 1e4, None),
            (-12.5, 600.0, 1e4, None),
            (60.0, 600.0, 1e4, Some(1e6)),   // speed and acceleration reached
            (-5.0, 600.0, 1e4, Some(1e6)),   // acceleration reached, speed not
            (0.5, 600.0, 1e4, Some(1e6)),    // neither
            (500.0, 600.0, 1e4, Some(1e5)),  // speed reached, acceleration not
            (-500.0, 600.0, 1e4, Some(6e4)), // the same, backward
        ] {
            check(distance, v_max, a_max, j_max);
        }
    }

    #[test]
    fn an_unusable_limit_is_named() {
        assert_eq!(Profile::new(1.0, 0.0, 1.0, None), Err(Unplannable::Limit("speed", 0.0)));
        assert_eq!(Profile::new(1.0, 1.0, -1.0, None), Err(Unplannable::Limit("acceleration", -1.0)));
        assert_eq!(Profile::new(1.0, 1.0, 1.0, Some(0.0)), Err(Unplannable::Limit("jerk", 0.0)));
        assert!(Profile::new(f64::NAN, 1.0, 1.0, None).is_err());
        assert_eq!(Profile::new(0.0, 1.0, 1.0, Some(1.0)).unwrap().duration(), 0.0);
    }
}
