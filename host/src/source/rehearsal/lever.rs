//! In: the name of something that people can change on an axis, and a value. Out: the setup with that value.
//!
//! Some are settings of the drive and of the command, the others are what makes a stop slow. Relative values are those of
//! the axis as built: 100 % is as it was.

use super::drive::Gains;
use super::mechanics::Body;

/// What can be changed on an axis.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Setup {
    /// Mechanics.
    pub body: Body,
    /// Settings of the drive.
    pub gains: Gains,
    /// Acceleration limit of the command. Unit: unit/s²
    pub acceleration: f64,
    /// Jerk limit of the command. Unit: unit/s³
    pub jerk: f64,
}

/// One thing that can be changed.
#[derive(Clone, Copy, Debug)]
pub struct Lever {
    /// Its name.
    pub name: &'static str,
    /// Its unit; none for the unit of the axis.
    pub unit: Option<&'static str>,
    /// Smallest and largest value. Unit: its own
    pub range: (f64, f64),
    /// Its value; `as_built` is the axis before any change.
    pub value: fn(setup: &Setup, as_built: &Setup) -> f64,
    /// Sets its value.
    pub set: fn(setup: &mut Setup, as_built: &Setup, value: f64),
}

impl PartialEq for Lever {
    fn eq(&self, other: &Lever) -> bool {
        self.name == other.name
    }
}

/// A lever whose value is a share of that as built.
macro_rules! share {
    ($name:literal, $range:expr, $($path:ident).+) => {
        Lever {
            name: $name,
            unit: Some("%"),
            range: $range,
            value: |setup, as_built| 100.0 * setup.$($path).+ / as_built.$($path).+,
            set: |setup, as_built, value| setup.$($path).+ = as_built.$($path).+ * value / 100.0,
        }
    };
}

/// A lever whose value is a number of the axis, in so many of its units.
macro_rules! number {
    ($name:literal, $unit:expr, $range:expr, $per:literal, $($path:ident).+) => {
        Lever {
            name: $name,
            unit: $unit,
            range: $range,
            value: |setup, _| $per * setup.$($path).+,
            set: |setup, _, value| setup.$($path).+ = value / $per,
        }
    };
}

/// Everything that can be changed.
pub const LEVERS: [Lever; 10] = [
    number!("position gain", Some("1/s"), (1.0, 500.0), 1.0, gains.position),
    share!("velocity gain", (5.0, 400.0), gains.velocity),
    number!("integral", Some("1/s"), (0.0, 500.0), 1.0, gains.integral),
    number!("velocity feedforward", Some("%"), (0.0, 120.0), 100.0, gains.speed_feedforward),
    share!("acceleration feedforward", (0.0, 200.0), gains.acceleration_feedforward),
    Lever {
        name: "command smoothing",
        unit: Some("ms"),
        range: (0.5, 200.0),
        value: |setup, _| 1e3 * setup.acceleration / setup.jerk,
        set: |setup, _, value| setup.jerk = 1e3 * setup.acceleration / value,
    },
    share!("friction", (0.0, 1000.0), body.friction),
    share!("stiffness", (2.0, 400.0), body.stiffness),
    share!("damping", (0.0, 1000.0), body.damping),
    number!("play", None, (0.0, 1.0), 2.0, body.half_play),
];

impl Lever {
    /// The lever of a name; letters may be capitals.
    pub fn named(name: &str) -> Option<Lever> {
        LEVERS.into_iter().find(|lever| lever.name.eq_ignore_ascii_case(name))
    }
}

/// A lever gets a value from a time on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Adjustment {
    /// From the start. Unit: s
    pub at: f64,
    /// What is changed.
    pub lever: Lever,
    /// Unit: that of the lever
    pub value: f64,
}

#[cfg(test)]
mod tests {
    use super::super::transplanter::axes;
    use super::*;

    #[test]
    fn a_value_is_read_back_and_nothing_else_changes() {
        for as_built in axes().map(|axis| axis.setup()) {
            for lever in LEVERS {
                let mut axis = as_built;
                let value = 0.25 * lever.range.0 + 0.75 * lever.range.1;
                (lever.set)(&mut axis, &as_built, value);
                let found = (lever.value)(&axis, &as_built);
                assert!((found - value).abs() < 1e-9 * value, "{}: {found} for {value}", lever.name);
                for other in LEVERS.iter().filter(|other| **other != lever) {
                    let [before, after] = [&as_built, &axis].map(|axis| (other.value)(axis, &as_built));
                    assert_eq!(before, after, "{} changes {}", lever.name, other.name);
                }
                let now = (lever.value)(&as_built, &as_built);
                assert!((lever.range.0..=lever.range.1).contains(&now), "{} is {now}", lever.name);
                (lever.set)(&mut axis, &as_built, now);
                assert!((found - value).abs() < 1e-9 * value, "and back");
            }
        }
        assert_eq!(Lever::named("Position Gain"), Some(LEVERS[0]));
        assert_eq!(Lever::named("gain"), None);
    }
}
