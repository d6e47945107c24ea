//! In: a family of stops and chance. Out: stops as a recorder sees them, and the true settling time of each.
//!
//! All is continuous until a sample is taken: the error, the command's profile and the instant of each sample relative
//! to them. Time counts samples from the true command end. The encoder's phase, the recorder's phase, amplitude,
//! window and noise are drawn anew for every stop.

use core::f64::consts::{PI, TAU};

use stillpoint_core::{Definition, Outcome, Parameters, Record};

use crate::chance::Chance;
use crate::run::{run, steady};

/// Sample period. Unit: ticks
pub const PERIOD: u32 = 1000;
/// Samples before the command moves.
const BEFORE: i32 = 60;
const TARGET: f64 = 1_000_000.0;

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
    fn length(self) -> f64 {
        match self {
            Profile::Step => 0.0,
            Profile::Trapezoid(length, _) | Profile::Jerk(length, _) | Profile::Quintic(length, _) => length,
        }
    }

    /// Distance to the target, this long before the end. Unit: counts
    fn remaining(self, before: f64) -> f64 {
        let share = |length: f64| (before / length).clamp(0.0, 1.0);
        match self {
            Profile::Step => if before > 0.0 { TARGET } else { 0.0 },
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
    pub shape: Shape,
    /// Unit: counts
    pub noise: f64,
    pub profile: Profile,
    /// Smallest change of the command. Unit: counts
    pub quantum: f64,
    /// The recorder samples on its own clock.
    pub own_clock: bool,
    /// Sample period. Unit: ticks
    pub period: u32,
    /// Unit: samples
    pub window_time: u32,
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
            definition: Definition::LastEntry,
        }
    }

    pub const fn noise(self, noise: f64) -> Family {
        Family { noise, ..self }
    }

    pub const fn ticks_per_sample(self, period: u32) -> Family {
        Family { period, ..self }
    }

    pub const fn window_time(self, window_time: u32) -> Family {
        Family { window_time, ..self }
    }

    pub const fn own_clock(self) -> Family {
        Family { own_clock: true, ..self }
    }

    pub const fn profile(self, profile: Profile, quantum: f64) -> Family {
        Family { profile, quantum, ..self }
    }

    pub const fn amplitude(self, least: f64, most: f64) -> Family {
        Family { amplitude: (least, most), ..self }
    }

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
        let truth = stop.truth(self.definition, f64::from(self.window_time), f64::from(samples)) * f64::from(self.period);
        (record.outcome == Outcome::Settled).then_some(Measured { record, truth })
    }

}

/// A measured stop.
#[derive(Clone, Copy, Debug)]
pub struct Measured {
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

/// How well the stated intervals of a family hold.
#[derive(Clone, Copy, Debug, Default)]
pub struct Coverage {
    /// Moves that settled, of all that were drawn.
    pub settled: f64,
    /// Per cent of the settled moves whose interval holds the truth.
    pub held: f64,
    /// Per cent of the settled moves that carry the caution of a fragile stop.
    pub fragile: f64,
    /// Per cent of these whose interval holds the truth.
    pub fragile_held: f64,
    /// Mean width as a multiple of the shortest honest one: the best factor on the stated widths, or the best constant
    /// width, that holds 95 of 100.
    pub width: f64,
    /// Mean and rms error as multiples of the standard uncertainty.
    pub bias: f64,
    pub spread: f64,
    /// Mean half-width. Unit: ticks
    pub mean_half_width: f64,
}

impl Coverage {
    /// Of this many stops.
    pub fn of(family: &Family, moves: u64, fragile: impl Fn(&Record) -> bool, chance: &mut Chance) -> Coverage {
        let found: Vec<Measured> = (0..moves).filter_map(|_| family.one(chance)).collect();
        let share = |of: &[&Measured], test: &dyn Fn(&Measured) -> bool| {
            100.0 * of.iter().filter(|found| test(found)).count() as f64 / of.len().max(1) as f64
        };
        let holds = |found: &Measured| found.away().abs() <= found.half_width();
        let all: Vec<&Measured> = found.iter().collect();
        let cautioned: Vec<&Measured> = found.iter().filter(|found| fragile(&found.record)).collect();
        let mean = |value: &dyn Fn(&Measured) -> f64| found.iter().map(value).sum::<f64>() / found.len() as f64;
        let scaled = |found: &Measured| found.away() / f64::from(found.record.settling_u).max(0.5);
        let mean_half_width = mean(&|found| found.half_width());
        let constant = quantile(found.iter().map(|found| found.away().abs()).collect());
        let factor = quantile(found.iter().map(|found| found.away().abs() / found.half_width().max(0.5)).collect());
        Coverage {
            settled: found.len() as f64 / moves as f64,
            held: share(&all, &holds),
            fragile: share(&all, &|found| fragile(&found.record)),
            fragile_held: share(&cautioned, &holds),
            width: ((mean_half_width - 1.0) / constant).max((1.0 - 1.0 / mean_half_width) / factor),
            bias: mean(&scaled),
            spread: mean(&|found| scaled(found).powi(2)).sqrt(),
            mean_half_width,
        }
    }
}

/// The value that 95 of 100 do not exceed.
fn quantile(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get(values.len() * 95 / 100).copied().unwrap_or(f64::NAN)
}

const NONE: f64 = f64::INFINITY;
const fn whole(window: f64) -> (f64, f64) {
    (window, window)
}

/// A window in the units of the user, which is rounded down to counts.
const fn any(window: f64) -> (f64, f64) {
    (window, window + 1.0)
}

/// The families. A window with half a count is the one whose edge lies where, on average, the reading changes.
pub fn families() -> Vec<Family> {
    use Profile::{Jerk, Quintic, Trapezoid};
    use Shape::{Creep, Graze, Ringing, Tail, TwoModes};
    let new = Family::new;
    let mut families = vec![
        new("slow tail, one step lasts many samples", whole(4.0), Tail(200.0)),
        new("tail of one step per sample", whole(20.0), Tail(20.0)),
        new("tail of three steps per sample", whole(60.0), Tail(20.0)),
        new("steep tail, noise", whole(400.0), Tail(20.0)).noise(4.0),
        new("tail and noise alike", whole(100.0), Tail(25.0)).noise(2.0),
        new("noise above the fall per sample", whole(100.0), Tail(50.0)).noise(4.0),
        new("ringing", whole(40.0), Ringing(60.0, 40.0)),
        new("one tick per sample", whole(400.0), Tail(20.0)).ticks_per_sample(1),
        new("three ticks per sample, noise", whole(400.0), Tail(20.0)).noise(4.0).ticks_per_sample(3),
        new("ringing, noise", whole(60.0), Ringing(60.0, 40.0)).noise(2.0),
        new("creep", whole(20.0), Creep(10.0, 200.0, 0.1)),
        new("creep, noise", whole(20.0), Creep(10.0, 200.0, 0.1)).noise(0.7),
        new("creep, window of 3 steps", whole(3.0), Creep(10.0, 150.0, 0.1)),
        new("creep, window of 3 steps, noise", whole(3.0), Creep(10.0, 150.0, 0.1)).noise(0.5),
        new("creep, window of 5 steps, noise", whole(5.0), Creep(10.0, 150.0, 0.1)).noise(0.5),
        new("creep, window of 5 steps, more noise", whole(5.0), Creep(10.0, 150.0, 0.1)).noise(1.0),
        new("two modes", whole(60.0), TwoModes((60.0, 40.0), (40.0, 13.0), 0.3)),
        new("two modes, noise", whole(60.0), TwoModes((60.0, 40.0), (40.0, 13.0), 0.3)).noise(2.0),
        new("two slow modes, noise", whole(60.0), TwoModes((120.0, 90.0), (80.0, 31.0), 0.3)).noise(2.0),
        new("window of any size, slow tail", any(4.0), Tail(200.0)),
        new("window of any size, tail", any(20.0), Tail(50.0)),
        new("window of any size, steep tail", any(60.0), Tail(20.0)),
        new("window of any size, creep, noise", any(5.0), Creep(10.0, 150.0, 0.1)).noise(0.5),
        new("window of any size, noise", any(100.0), Tail(25.0)).noise(2.0),
        new("window of any size, ringing, noise", any(60.0), Ringing(60.0, 40.0)).noise(2.0),
        new("small windows, ringing, noise", (40.0, 80.0), Ringing(60.0, 40.0)).noise(1.0),
        new("first crossing between two samples, ISO 9283", any(60.0), Ringing(40.0, 40.0))
            .definition(Definition::Iso9283).amplitude(30.0, 60.0),
        new("first crossing, ISO 9283, noise", any(60.0), Ringing(60.0, 60.0))
            .definition(Definition::Iso9283).noise(2.0),
        new("tail, target reached", any(20.0), Tail(20.0)).definition(Definition::TargetReached),
        new("ringing, target reached", any(200.0), Ringing(60.0, 30.0)).definition(Definition::TargetReached).window_time(20),
        new("grazing", whole(100.0), Graze(60.0, 40.0)),
        new("grazing, noise", whole(100.0), Graze(60.0, 40.0)).noise(1.0),
    ];
    let clocks = [
        ("own clock, 2 samples per settling", 2.0),
        ("own clock, 3 samples per settling", 3.0),
        ("own clock, 5 samples per settling", 5.0),
        ("own clock, 10 samples per settling", 10.0),
        ("own clock, 20 samples per settling", 20.0),
        ("own clock, 120 samples per settling", 120.0),
    ];
    families.extend(clocks.map(|(name, samples)| new(name, any(2000.0), Tail(samples / 3.6)).own_clock()));
    families.extend([
        new("own clock, ringing, 30 samples per settling", any(2000.0), Ringing(8.0, 12.0)).own_clock(),
        new("own clock, trapezoid, fine quantum", any(2000.0), Tail(3.0))
            .profile(Trapezoid(60.0, 400_000.0), 1.0).own_clock(),
        new("own clock, trapezoid, coarse quantum", any(20.0), Tail(10.0))
            .profile(Trapezoid(60.0, 1000.0), 1.0).own_clock(),
        new("own clock, jerk-limited, fine quantum", any(2000.0), Tail(3.0))
            .profile(Jerk(60.0, 400_000.0), 1.0).own_clock(),
        new("own clock, jerk-limited, medium quantum", any(40.0), Tail(4.0))
            .profile(Jerk(60.0, 10_000.0), 1.0).own_clock(),
        new("own clock, jerk-limited, coarse quantum", any(20.0), Tail(10.0))
            .profile(Jerk(200.0, 10_000.0), 20.0).own_clock(),
        new("own clock, quintic, fine quantum", any(2000.0), Tail(3.0))
            .profile(Quintic(60.0, 400_000.0), 1.0).own_clock(),
        new("own clock, quintic, medium quantum", whole(20.0), Tail(10.0))
            .profile(Quintic(60.0, 4000.0), 1.0).own_clock(),
        new("own clock, quintic, coarse quantum", any(20.0), Tail(10.0))
            .profile(Quintic(100.0, 1000.0), 1.0).own_clock(),
    ]);
    let _ = NONE;
    families
}
