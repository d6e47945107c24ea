//! In: how long the machine has run. Out: what wear has made of an axis by then.

use super::mechanics::Body;

/// A value that changes evenly between two ages and stands still before and after.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ramp {
    /// Age at which the change starts, and value until then. Unit: h, that of the value
    pub from: (f64, f64),
    /// Age at which the change ends, and value from then on. Unit: h, that of the value
    pub to: (f64, f64),
}

impl Ramp {
    /// A value that never changes.
    pub const fn steady(value: f64) -> Ramp {
        Ramp { from: (0.0, value), to: (0.0, value) }
    }

    /// The value at an age of `hours`.
    pub fn at(&self, hours: f64) -> f64 {
        let ((start, before), (end, after)) = (self.from, self.to);
        if hours >= end {
            after
        } else if hours <= start {
            before
        } else {
            before + (after - before) * ((hours - start) / (end - start))
        }
    }
}

/// How one axis wears.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wear {
    /// Factor on the stiffness and, by its root, on the damping of the joint: a belt that loses tension.
    pub stiffness: Ramp,
    /// Factor on friction: a guide that runs dry.
    pub friction: Ramp,
    /// How far the encoder's coupling slips at every move. Unit: counts/move
    pub slip: Ramp,
}

impl Wear {
    /// An axis that doesn't wear.
    pub const NONE: Wear =
        Wear { stiffness: Ramp::steady(1.0), friction: Ramp::steady(1.0), slip: Ramp::steady(0.0) };

    /// The body as it is at an age of `hours`.
    pub fn worn(&self, body: &Body, hours: f64) -> Body {
        let (stiffness, friction) = (self.stiffness.at(hours), self.friction.at(hours));
        Body {
            stiffness: body.stiffness * stiffness,
            // The damping ratio of the joint alone stays what it was.
            damping: body.damping * stiffness.sqrt(),
            friction: body.friction * friction,
            viscous: body.viscous * friction,
            ..*body
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ramps_between_its_ends() {
        let ramp = Ramp { from: (2.0, 1.0), to: (6.0, 0.5) };
        for (hours, expected) in [(0.0, 1.0), (2.0, 1.0), (4.0, 0.75), (6.0, 0.5), (9.0, 0.5)] {
            assert_eq!(ramp.at(hours), expected, "at {hours} h");
        }
        assert_eq!(Ramp::steady(3.0).at(0.0), 3.0);
    }
}
