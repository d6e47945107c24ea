//! In: a family of stops and chance. Out: stops as a recorder sees them, and the true settling time of each.
//!
//! All is continuous until a sample is taken: the error, the command's profile and the instant of each sample relative
//! to them. Time counts samples from the true command end. The encoder's phase, the recorder's phase, amplitude,
//! window and noise are drawn anew for every stop.

pub mod caused;

use core::f64::consts::{PI, TAU};

use stillpoint_core::{Definition, Outcome, Parameters, Record};

use crate::chance::Chance;
use crate::profile::Profile;
use crate::run::{run, steady};

/// Sample period. Unit: ticks
pub const PERIOD: u32 = 1000;
/// Samples before the command moves.
const BEFORE: i32 = 60;
const TARGET: f64 = 1_000_000.0;

/// How the error decays after the command end. Unit: samples
#[derive(Clone, Copy, Debug)]
pub enum Shape {
    /// A tail of this time constant.
    Tail(f64),
    /// Ringing with the time constant of its decay and its period.
    Ringing(f64, f64),
    /// Two modes that ring, the second with a share of the amplitude: time constants, periods, share.
    TwoModes((f64, f64), (f64, f64), f64),
    /// A quick tail, and a slow one with a share of the amplitude: time constants, share.
    Creep(f64, f64, f64),
    /// Ringing (time constant, period) with the peak of one swing within 2 % of the window.
    Graze(f64, f64),
}

impl Shape {
    /// Longest time constant, and shortest feature of the curve.
    fn times(self) -> (f64, f64) {
        match self {
            Shape::Tail(tail) => (tail, tail),
            Shape::Ringing(tail, period) | Shape::Graze(tail, period) => (tail, period / 4.0),
            Shape::TwoModes(first, second, _) => (first.0.max(second.0), first.1.min(second.1) / 4.0),
            Shape::Creep(quick, slow, _) => (slow, quick),
        }
    }
}

/// A family of stops.
#[derive(Clone, Copy, Debug)]
pub struct Family {
    /// What its stops have in common.
    pub name: &'static str,
    /// The window, between these as the user types it. Unit: counts
    pub window: (f64, f64),
    /// Error at the command end, as a multiple of the window.
    pub amplitude: (f64, f64),
    /// Its error after the command end.
    pub shape: Shape,
    /// Unit: counts
    pub noise: f64,
    /// Its command.
    pub profile: Profile,
    /// Smallest change of the command. Unit: counts
    pub quantum: f64,
    /// The recorder samples on its own clock.
    pub own_clock: bool,
    /// Sample period. Unit: ticks
    pub period: u32,
    /// Unit: samples
    pub window_time: u32,
    /// Largest mean width, as a multiple of the shortest honest one, if more than 97 of 100 are held.
    pub widest: f64,
    /// Of the settling time.
    pub definition: Definition,
}

impl Family {
    /// A jump on a shared clock, without noise.
    pub const fn new(name: &'static str, window: (f64, f64), shape: Shape) -> Family {
        Family {
            name,
            window,
            amplitude: (20.0, 60.0),
            shape,
            noise: 0.0,
            profile: Profile::Step,
            quantum: 1.0,
            own_clock: false,
            period: PERIOD,
            window_time: 5,
            widest: 1.25,
            definition: Definition::LastEntry,
        }
    }

    /// With noise of this deviation. Unit: counts
    pub const fn noise(self, noise: f64) -> Family {
        Family { noise, ..self }
    }

    /// With this sample period. Unit: ticks
    pub const fn ticks_per_sample(self, period: u32) -> Family {
        Family { period, ..self }
    }

    /// With this window time. Unit: samples
    pub const fn window_time(self, window_time: u32) -> Family {
        Family { window_time, ..self }
    }

    /// Its intervals may be this many times as wide as the shortest honest ones.
    pub const fn widest(self, widest: f64) -> Family {
        Family { widest, ..self }
    }

    /// Whether it is made so that a swing grazes the window.
    pub const fn grazes(&self) -> bool {
        matches!(self.shape, Shape::Graze(..))
    }

    /// Sampled by a recorder on its own clock.
    pub const fn own_clock(self) -> Family {
        Family { own_clock: true, ..self }
    }

    /// With this command, rounded to steps of this size. Unit: counts
    pub const fn profile(self, profile: Profile, quantum: f64) -> Family {
        Family { profile, quantum, ..self }
    }

    /// With an error at the command end between these. Unit: windows
    pub const fn amplitude(self, least: f64, most: f64) -> Family {
        Family { amplitude: (least, most), ..self }
    }

    /// With this definition of the settling time.
    pub const fn definition(self, definition: Definition) -> Family {
        Family { definition, ..self }
    }

    /// One stop; none if its move did not settle.
    pub fn one(&self, chance: &mut Chance) -> Option<Measured> {
        let stop = Stop::new(self, chance);
        let samples = (self.shape.times().0 * 12.0) as i32 + 200;
        let late = if self.own_clock { chance.uniform() } else { 0.0 };
        let (encoder, first) = (chance.uniform(), -BEFORE - self.profile.length().ceil() as i32);
        let signals = (first..samples).map(|k| {
            let time = f64::from(k) + late;
            let command = (TARGET - self.profile.remaining(-time)) / self.quantum;
            let position = TARGET - self.profile.remaining(-time) - stop.error(time);
            let noise = self.noise * chance.normal();
            ((command.round() * self.quantum) as i32, (position + noise + encoder).floor() as i32)
        });
        let signals: Vec<(i32, i32)> = signals.collect();
        let parameters = Parameters {
            window: stop.window as u32,
            window_fraction: (stop.window.fract() * 256.0) as u8,
            window_time: self.window_time * self.period,
            rest_time: 20 * self.period,
            definition: self.definition,
            synchronous: !self.own_clock,
            ..Parameters::at(1_000_000)
        };
        let moves = run(parameters, steady(self.period, signals)).moves;
        let record = moves.last()?.record;
        let truth = stop.truth(self.definition, f64::from(self.window_time), f64::from(samples))
            * f64::from(self.period);
        (record.outcome == Outcome::Settled).then_some(Measured { record, truth })
    }
}

/// A measured stop.
#[derive(Clone, Copy, Debug)]
pub struct Measured {
    /// As the core reports it.
    pub record: Record,
    /// True settling time. Unit: ticks
    pub truth: f64,
}

impl Measured {
    /// Measured less true settling time. Unit: ticks
    pub fn away(&self) -> f64 {
        f64::from(self.record.settling.expect("settled")) - self.truth
    }

    /// Half-width of the 95 % interval. Unit: ticks
    pub fn half_width(&self) -> f64 {
        f64::from(self.record.settling_95)
    }
}

/// One stop, drawn.
struct Stop {
    shape: Shape,
    /// Length of the profile. Unit: samples
    length: f64,
    /// Unit: counts
    window: f64,
    amplitude: f64,
}

impl Stop {
    fn new(family: &Family, chance: &mut Chance) -> Stop {
        let mut between = |(least, most): (f64, f64)| least + (most - least) * chance.uniform();
        let (window, times) = (between(family.window), between(family.amplitude));
        let mut stop =
            Stop { shape: family.shape, length: family.profile.length(), window, amplitude: window * times };
        if let Shape::Graze(tail, period) = family.shape {
            let swing = between((3.0, 7.0)).floor();
            let height = between((0.98, 1.02));
            let peak = (swing * PI - (period / TAU / tail).atan()) * period / TAU;
            stop.amplitude = 1.0;
            stop.amplitude = window * height / stop.error(peak).abs();
        }
        stop
    }

    /// Unit: counts
    fn error(&self, time: f64) -> f64 {
        if time < 0.0 {
            // It builds up while the command moves.
            return self.amplitude * (1.0 + time / self.length.max(1e-9)).clamp(0.0, 1.0);
        }
        let ringing = |tail: f64, period: f64| (-time / tail).exp() * (TAU * time / period).cos();
        self.amplitude
            * match self.shape {
                Shape::Tail(tail) => (-time / tail).exp(),
                Shape::Ringing(tail, period) | Shape::Graze(tail, period) => ringing(tail, period),
                Shape::TwoModes(first, second, share) => {
                    (1.0 - share) * ringing(first.0, first.1) + share * ringing(second.0, second.1)
                }
                Shape::Creep(quick, slow, share) => {
                    (1.0 - share) * (-time / quick).exp() + share * (-time / slow).exp()
                }
            }
    }

    fn outside(&self, time: f64) -> bool {
        self.error(time).abs() > self.window
    }

    /// The crossing between an instant outside and one inside.
    fn crossing(&self, mut outside: f64, mut inside: f64) -> f64 {
        for _ in 0..40 {
            let middle = (outside + inside) / 2.0;
            if self.outside(middle) { outside = middle } else { inside = middle }
        }
        inside
    }

    /// The settling time by definition, from a fine grid. Unit: samples
    fn truth(&self, definition: Definition, window_time: f64, end: f64) -> f64 {
        let step = self.shape.times().1 / 60.0;
        let mut last = end;
        while last > 0.0 && !self.outside(last - step) {
            last -= step;
        }
        let entry = if last <= 0.0 { 0.0 } else { self.crossing(last - step, last) };
        match definition {
            Definition::LastEntry => entry,
            Definition::Iso9283 => entry - self.first(step),
            Definition::TargetReached => self.reached(window_time, step),
        }
    }

    fn first(&self, step: f64) -> f64 {
        let mut time = 0.0;
        while self.outside(time + step) {
            time += step;
        }
        self.crossing(time, time + step)
    }

    /// End of the first dwell of the window time.
    fn reached(&self, window_time: f64, step: f64) -> f64 {
        let (mut entry, mut time, mut inside) = (0.0, 0.0, !self.outside(0.0));
        loop {
            time += step;
            match (inside, !self.outside(time)) {
                (false, true) => entry = self.crossing(time - step, time),
                (true, true) if time - entry > window_time => return entry + window_time,
                _ => (),
            }
            inside = !self.outside(time);
        }
    }
}
