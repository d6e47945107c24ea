//! In: the acceleration that a drive commands. Out: where motor and load of a machine move to.
//!
//! A motor and a load on a spring; friction with elastic presliding acts on the load. All forces are divided by the
//! whole mass, so that they are accelerations.

/// Time step; a tenth of the stiffest time constant or less. Unit: s
pub const STEP: f64 = 50e-6;

/// Friction of the load.
#[derive(Clone, Copy, Debug, Default)]
pub struct Friction {
    /// While sliding. Unit: mm/s²
    pub sliding: f64,
    /// At breaking loose, as a multiple of that while sliding.
    pub sticking: f64,
    /// Speed at which sticking has turned into sliding. Unit: mm/s
    pub speed: f64,
    /// Elastic travel before breaking loose. Unit: mm
    pub presliding: f64,
}

/// Parameters of a machine.
#[derive(Clone, Copy, Debug)]
pub struct Machine {
    /// Natural frequency of the load against a motor that stands. Unit: Hz
    pub frequency: f64,
    /// Damping ratio of that.
    pub damping: f64,
    /// Share of the load in the whole mass.
    pub load: f64,
    /// Friction of the load.
    pub friction: Friction,
    /// Pulls on the load, an acceleration of the load alone. Unit: mm/s²
    pub gravity: f64,
}

/// Motion of a machine. Unit: mm, mm/s
#[derive(Clone, Copy, Debug, Default)]
pub struct State {
    /// Position of the motor.
    pub motor: f64,
    /// Position of the load.
    pub position: f64,
    motor_speed: f64,
    speed: f64,
    /// Elastic deflection of the friction.
    bristle: f64,
}

impl Machine {
    /// The state with the drive and the spring in balance at zero.
    pub fn at_rest(&self) -> State {
        let omega = std::f64::consts::TAU * self.frequency;
        State { position: -self.gravity / (omega * omega), ..State::default() }
    }

    /// Moves on by one time step.
    pub fn step(&self, state: &mut State, drive: f64) {
        let omega = std::f64::consts::TAU * self.frequency;
        let stretch = state.motor - state.position;
        let rate = state.motor_speed - state.speed;
        // Force on the load through the spring, as an acceleration of the load alone.
        let spring = omega * omega * stretch + 2.0 * self.damping * omega * rate;
        let friction = self.friction.force(state.speed, &mut state.bristle);
        state.motor_speed += STEP * (drive - self.load * spring) / (1.0 - self.load);
        state.speed += STEP * (spring - self.gravity - friction / self.load);
        state.motor += STEP * state.motor_speed;
        state.position += STEP * state.speed;
    }
}

impl Friction {
    /// The friction at this speed, with the bristle model of Canudas de Wit et al. (1995, from memory).
    fn force(&self, speed: f64, bristle: &mut f64) -> f64 {
        if self.sliding <= 0.0 {
            return 0.0;
        }
        let faded = (-(speed / self.speed).powi(2)).exp();
        let limit = 1.0 + (self.sticking - 1.0) * faded;
        // An implicit step, stable at any speed.
        *bristle = (*bristle + speed * STEP) / (1.0 + speed.abs() * STEP / (limit * self.presliding));
        let stiffness = self.sliding / self.presliding;
        let damping = stiffness.sqrt() * faded;
        stiffness * *bristle + damping * speed
    }
}
