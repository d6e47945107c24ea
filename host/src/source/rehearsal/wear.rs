//! In: the age of an axis. Out: its worn mechanics.
//!
//! Age is the share of the scripted wear that has happened: 0 is as built, 1 and above is fully worn. So the same wear can
//! happen in an hour or in a week.

use super::mechanics::Body;

/// A value that changes linearly between two ages and is constant before and after.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ramp {
    /// Age at which the change starts, and value until then. Unit: 1, that of the value
    pub from: (f64, f64),
    /// Age at which the change ends, and value from then on. Unit: 1, that of the value
    pub to: (f64, f64),
}

impl Ramp {
    /// A value that never changes.
    pub const fn steady(value: f64) -> Ramp {
        Ramp { from: (0.0, value), to: (0.0, value) }
    }

    /// The value at an age, 0 to 1.
    pub fn at(&self, age: f64) -> f64 {
        let ((start, before), (end, after)) = (self.from, self.to);
        if age >= end {
            after
        } else if age <= start {
            before
        } else {
            before + (after - before) * ((age - start) / (end - start))
        }
    }
}

/// Wear of one axis.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wear {
    /// Factor on the stiffness and on the damping of the joint: a belt that slackens.
    pub tension: Ramp,
    /// Factor on friction: a bearing that tightens.
    pub friction: Ramp,
    /// Largest slip of the encoder's coupling in one stop. Unit: unit
    pub slip: Ramp,
    /// Age from which the joint is as built again, once and for good; above 1: never.
    pub retensioned: f64,
}

impl Wear {
    /// An axis that doesn't wear.
    pub const NONE: Wear = Wear {
        tension: Ramp::steady(1.0),
        friction: Ramp::steady(1.0),
        slip: Ramp::steady(0.0),
        retensioned: f64::INFINITY,
    };

    /// The mechanics at an age, 0 to 1.
    ///
    /// Damping falls in proportion to stiffness, so the damping ratio of the joint falls with the square root: a slack
    /// belt rings at a lower frequency and for longer.
    pub fn worn(&self, body: &Body, age: f64) -> Body {
        let tension = self.tension.at(if age >= self.retensioned { 0.0 } else { age });
        let friction = self.friction.at(age);
        Body {
            stiffness: body.stiffness * tension,
            damping: body.damping * tension,
            friction: body.friction * friction,
            viscous: body.viscous * friction,
            ..*body
        }
    }
}

/// The clamped coupling between the axis and the encoder that the monitor reads.
///
/// A worn coupling lets the encoder turn on after a stop, with decreasing speed. The next stop from the other direction
/// turns it back, so the offset does not grow.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Slip {
    offset: f64,
    goal: f64,
}

impl Slip {
    /// Time constant of the slipping. Unit: s
    const LAG: f64 = 0.012;

    /// Starts a stop that ends with an offset of `goal`. Unit: unit
    pub fn aim(&mut self, goal: f64) {
        self.goal = goal;
    }

    /// Advances by `h` seconds.
    pub fn step(&mut self, h: f64) {
        self.offset += (self.goal - self.offset) * (h / Self::LAG);
    }

    /// Offset of the encoder from the axis. Unit: unit
    pub fn offset(&self) -> f64 {
        self.offset
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ramps_between_its_ends() {
        let ramp = Ramp { from: (0.2, 1.0), to: (0.6, 0.5) };
        for (age, expected) in [(0.0, 1.0), (0.2, 1.0), (0.4, 0.75), (0.6, 0.5), (9.0, 0.5)] {
            assert!((ramp.at(age) - expected).abs() < 1e-12, "at {age}: {}", ramp.at(age));
        }
        assert_eq!(Ramp::steady(3.0).at(0.0), 3.0);
    }

    #[test]
    fn a_retensioned_belt_is_as_new_and_nothing_else_is() {
        let body = Body {
            motor_inertia: 1.0,
            load_inertia: 1.0,
            stiffness: 100.0,
            damping: 1.0,
            half_play: 0.0,
            friction: 1.0,
            presliding: 1.0,
            viscous: 1.0,
        };
        let ramp = |to| Ramp { from: (0.0, 1.0), to: (1.0, to) };
        let wear = Wear { tension: ramp(0.2), friction: ramp(7.0), ..Wear::NONE };
        let repaired = Wear { retensioned: 0.6, ..wear };
        for age in [0.0, 0.3, 0.59] {
            assert_eq!(repaired.worn(&body, age), wear.worn(&body, age), "before, at {age}");
        }
        for age in [0.6, 0.8, 1.0] {
            let expected = Body { stiffness: 100.0, damping: 1.0, ..wear.worn(&body, age) };
            assert_eq!(repaired.worn(&body, age), expected, "after, at {age}");
        }
    }

    #[test]
    fn slips_most_of_its_offset_within_its_lag_and_stays() {
        let mut slip = Slip::default();
        slip.aim(-0.04);
        for (seconds, expected) in [(0.012, -0.0253), (0.2, -0.04)] {
            for _ in 0..(seconds * 1e5) as u32 {
                slip.step(1e-5);
            }
            assert!((slip.offset() - expected).abs() < 1e-4, "after {seconds} s: {}", slip.offset());
        }
    }
}
