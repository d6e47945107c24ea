//! In: the time before the end of a command. Out: the distance that its profile has still to go.

/// Distance of a jump. Unit: counts
const JUMP: f64 = 1_000_000.0;

/// How the command comes to its end.
#[derive(Clone, Copy, Debug)]
pub enum Profile {
    /// It jumps to the target.
    Step,
    /// Constant deceleration over half of this length. Unit: samples, counts
    Trapezoid(f64, f64),
    /// Four phases of constant jerk, of this length and distance. Unit: samples, counts
    Jerk(f64, f64),
    /// Fifth order, minimum jerk, of this length and distance. Unit: samples, counts
    Quintic(f64, f64),
}

impl Profile {
    /// Unit: samples
    pub fn length(self) -> f64 {
        match self {
            Profile::Step => 0.0,
            Profile::Trapezoid(length, _) | Profile::Jerk(length, _) | Profile::Quintic(length, _) => length,
        }
    }

    /// Distance to the target, this long before the end. Unit: counts
    pub fn remaining(self, before: f64) -> f64 {
        let share = |length: f64| (before / length).clamp(0.0, 1.0);
        match self {
            Profile::Step => {
                if before > 0.0 {
                    JUMP
                } else {
                    0.0
                }
            }
            Profile::Trapezoid(length, distance) => {
                let u = share(length);
                distance * if u < 0.5 { 2.0 * u * u } else { 1.0 - 2.0 * (1.0 - u).powi(2) }
            }
            Profile::Jerk(length, distance) => {
                let (u, s) = (share(length), share(length) - 0.25);
                let cubic = |u: f64| 16.0 / 3.0 * u.powi(3);
                distance
                    * match u {
                        _ if u < 0.25 => cubic(u),
                        _ if u < 0.75 => cubic(0.25) + s + 4.0 * s * s - 16.0 / 3.0 * s.powi(3),
                        _ => 1.0 - cubic(1.0 - u),
                    }
            }
            Profile::Quintic(length, distance) => {
                let u = share(length);
                distance * u.powi(3) * (10.0 - 15.0 * u + 6.0 * u * u)
            }
        }
    }
}
