//! In: how much of its wear an axis has behind it. Out: what that has made of the axis.
//!
//! Age is a part of the scripted wear: 0 is as built, 1 and beyond is the end of it. So the same
//! story is told in an hour or in a week.

use super::mechanics::Body;

/// A value that changes evenly between two ages and stands still before and after.
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

/// How one axis wears.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wear {
    /// Factor on the stiffness and on the damping of the joint: a belt that slackens.
    pub tension: Ramp,
    /// Factor on friction: a bearing that tightens.
    pub friction: Ramp,
    /// Most that the coupling of the encoder slips on in one stop. Unit: unit
    pub slip: Ramp,
}

impl Wear {
    /// An axis that doesn't wear.
    pub const NONE: Wear =
        Wear { tension: Ramp::steady(1.0), friction: Ramp::steady(1.0), slip: Ramp::steady(0.0) };

    /// The body as it is at an age, 0 to 1.
    ///
    /// Damping falls as stiffness does, so the damping ratio of the joint falls with the root: a
    /// slack belt rings slower and longer.
    pub fn worn(&self, body: &Body, age: f64) -> Body {
        let (tension, friction) = (self.tension.at(age), self.friction.at(age));
        Body {
            stiffness: body.stiffness * tension,
            damping: body.damping * tension,
            friction: body.friction * friction,
            viscous: body.viscous * friction,
            ..*body
        }
    }
}

/// The clamped coupling between the axis and the encoder that the monitor taps.
///
/// A worn one lets the encoder run on when the axis stops, slower and slower, and is turned back
/// by the next stop from the other side: an offset, not a growing one.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Slip {
    offset: f64,
    goal: f64,
}

impl Slip {
    /// Time constant of the slipping. Unit: s
    const LAG: f64 = 0.012;

    /// A stop begins that ends with an offset of `goal`. Unit: unit
    pub fn aim(&mut self, goal: f64) {
        self.goal = goal;
    }

    /// Moves on by `h` seconds.
    pub fn step(&mut self, h: f64) {
        self.offset += (self.goal - self.offset) * (h / Self::LAG);
    }

    /// How far the encoder stands from the axis. Unit: unit
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
    fn slips_most_of_the_way_within_its_lag_and_stays() {
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
