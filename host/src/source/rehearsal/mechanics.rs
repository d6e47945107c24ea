//! In: the effort of the motor. Out: where motor and load are after one step.
//!
//! Two masses joined by a spring and a damper (belt, screw or shaft) that may have play; the load has friction in its
//! guide. Friction is Dahl's model (P. Dahl, A solid friction model, 1968): a spring holds small motions, so a stopped
//! load sticks without a jump in force, which would need a tiny step. Semi-implicit Euler keeps the energy of the spring
//! bounded as long as the step is well below one over the highest natural angular frequency.
//!
//! Effort is whatever moves the axis: N for an axis in mm, N·m for one in degrees. Inertia is then
//! effort·s²/unit, so one kilogram on an axis in mm is 0.001.

/// Mechanics of an axis, referred to the load side of gear, screw or pulley.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Body {
    /// Unit: effort·s²/unit
    pub motor_inertia: f64,
    /// Unit: effort·s²/unit
    pub load_inertia: f64,
    /// Stiffness of the belt, screw or shaft between motor and load. Unit: effort/unit
    pub stiffness: f64,
    /// Damping of the same. Unit: effort·s/unit
    pub damping: f64,
    /// Half the play in the same; the spring carries no effort within the play. Unit: unit
    pub half_play: f64,
    /// Coulomb friction of the guide. Unit: effort
    pub friction: f64,
    /// Elastic deflection of the guide before it slips. Unit: unit
    pub presliding: f64,
    /// Viscous friction. Unit: effort·s/unit
    pub viscous: f64,
}

/// Position and velocity of motor and load.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct State {
    /// Unit: unit
    pub motor_position: f64,
    /// Unit: unit/s
    pub motor_velocity: f64,
    /// Unit: unit
    pub load_position: f64,
    /// Unit: unit/s
    pub load_velocity: f64,
    /// Deflection of the guide, at most the presliding distance. Unit: unit
    deflection: f64,
}

impl State {
    /// Advances by `h` seconds under `effort` on the motor.
    pub fn step(&mut self, body: &Body, effort: f64, h: f64) {
        let joint = self.joint(body);
        let guide = self.guide(body, h);
        self.motor_velocity += h * (effort - joint) / body.motor_inertia;
        self.load_velocity += h * (joint - guide) / body.load_inertia;
        self.motor_position += h * self.motor_velocity;
        self.load_position += h * self.load_velocity;
    }

    /// Effort that the joint transmits from motor to load.
    fn joint(&self, body: &Body) -> f64 {
        let twist = self.motor_position - self.load_position;
        let slack = if twist > body.half_play {
            twist - body.half_play
        } else if twist < -body.half_play {
            twist + body.half_play
        } else {
            return 0.0;
        };
        body.stiffness * slack + body.damping * (self.motor_velocity - self.load_velocity)
    }

    /// Effort that the guide holds against the load.
    fn guide(&mut self, body: &Body, h: f64) -> f64 {
        let bend = self.deflection / body.presliding;
        let slide = self.load_velocity - self.load_velocity.abs() * bend;
        // A fast load reaches the full deflection within one step, so the deflection is clamped.
        let next = self.deflection + h * slide;
        self.deflection = next.min(body.presliding).max(-body.presliding);
        body.friction * (self.deflection / body.presliding) + body.viscous * self.load_velocity
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const BODY: Body = Body {
        motor_inertia: 0.002,
        load_inertia: 0.008,
        stiffness: 250.0,
        damping: 0.0,
        half_play: 0.0,
        friction: 0.0,
        presliding: 0.01,
        viscous: 0.0,
    };
    const H: f64 = 50e-6;

    /// Free vibration of the joint: counts how often the twist changes sign within a second.
    fn check_frequency(body: Body, expected_hz: f64) {
        let mut state = State { motor_position: 1.0, ..State::default() };
        let (mut changes, mut before) = (0.0, 1.0);
        for _ in 0..20_000 {
            state.step(&body, 0.0, H);
            let twist = state.motor_position - state.load_position;
            changes += f64::from(u8::from(twist * before < 0.0));
            before = twist;
        }
        assert!((changes / 2.0 - expected_hz).abs() <= 0.5, "{changes} sign changes, {expected_hz} Hz");
    }

    #[test]
    fn vibrates_at_its_natural_frequency() {
        for (motor, load, stiffness) in [(0.002, 0.008, 250.0), (0.012, 0.003, 5000.0), (1e9, 0.008, 247.0)] {
            let body = Body { motor_inertia: motor, load_inertia: load, stiffness, ..BODY };
            let reduced = motor * load / (motor + load);
            check_frequency(body, (stiffness / reduced).sqrt() / std::f64::consts::TAU);
        }
    }

    #[test]
    fn keeps_its_energy_and_its_momentum() {
        let mut state = State { motor_position: 1.0, ..State::default() };
        for _ in 0..2_000_000 {
            state.step(&BODY, 0.0, H);
        }
        let twist = state.motor_position - state.load_position;
        let energy = 0.5
            * (BODY.stiffness * twist * twist
                + BODY.motor_inertia * state.motor_velocity * state.motor_velocity
                + BODY.load_inertia * state.load_velocity * state.load_velocity);
        assert!((energy / (0.5 * BODY.stiffness) - 1.0).abs() < 0.03, "{energy}");
        let momentum = BODY.motor_inertia * state.motor_velocity + BODY.load_inertia * state.load_velocity;
        assert!(momentum.abs() < 1e-9, "{momentum}");
    }

    #[test]
    fn friction_holds_below_its_limit_and_slips_above() {
        for (effort, slips) in [(9.0, false), (-9.0, false), (11.0, true), (-11.0, true)] {
            let body = Body { friction: 10.0, damping: 0.1, viscous: 0.05, ..BODY };
            let mut state = State::default();
            for _ in 0..20_000 {
                state.step(&body, effort, H);
            }
            assert_eq!(state.load_position.abs() > 1.0, slips, "{effort}: {state:?}");
            let expected = if slips { (effort.abs() - 10.0) / 0.05 } else { 0.0 };
            assert!((state.load_velocity.abs() - expected).abs() < 1.0, "{effort}: {state:?}");
        }
    }

    #[test]
    fn play_transmits_no_effort() {
        let body = Body { half_play: 0.5, ..BODY };
        let mut state = State { motor_position: 0.4, ..State::default() };
        state.step(&body, 0.0, H);
        assert_eq!(state.load_velocity, 0.0);
        state.motor_position = 0.6;
        state.step(&body, 0.0, H);
        assert!(state.load_velocity > 0.0);
    }
}
