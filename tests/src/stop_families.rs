//! In: nothing. Out: the families of simulated stops in which the stated intervals must hold.

use stillpoint_core::Definition;

use crate::profile::Profile::{Jerk, Quintic, Trapezoid};
use crate::stops::Family;
use crate::stops::Shape::{Creep, Graze, Ringing, Tail, TwoModes};

/// All families.
pub fn families() -> Vec<Family> {
    [tails(), swings(), creeping(), windows(), definitions(), clocks(), profiles()].concat()
}

/// A window of whole counts.
const fn whole(window: f64) -> (f64, f64) {
    (window, window)
}

/// A window in the units of the user, which is rounded down to this many counts.
const fn any(window: f64) -> (f64, f64) {
    (window, window + 1.0)
}

/// Tails, from an encoder step that lasts many samples to noise that hides the fall.
fn tails() -> Vec<Family> {
    let new = Family::new;
    vec![
        new("slow tail, one step lasts many samples", whole(4.0), Tail(200.0)),
        new("tail of one step per sample", whole(20.0), Tail(20.0)),
        new("tail of three steps per sample", whole(60.0), Tail(20.0)),
        new("steep tail, noise", whole(400.0), Tail(20.0)).noise(4.0),
        new("tail and noise alike", whole(100.0), Tail(25.0)).noise(2.0),
        new("noise above the fall per sample", whole(100.0), Tail(50.0)).noise(4.0),
        new("one tick per sample", whole(400.0), Tail(20.0)).ticks_per_sample(1),
        new("three ticks per sample, noise", whole(400.0), Tail(20.0)).noise(4.0).ticks_per_sample(3),
    ]
}

/// Ringing, and swings made to graze the window.
fn swings() -> Vec<Family> {
    let new = Family::new;
    vec![
        new("ringing", whole(40.0), Ringing(60.0, 40.0)),
        new("ringing, noise", whole(60.0), Ringing(60.0, 40.0)).noise(2.0),
        new("two modes", whole(60.0), TwoModes((60.0, 40.0), (40.0, 13.0), 0.3)),
        new("two modes, noise", whole(60.0), TwoModes((60.0, 40.0), (40.0, 13.0), 0.3)).noise(2.0),
        new("two slow modes, noise", whole(60.0), TwoModes((120.0, 90.0), (80.0, 31.0), 0.3)).noise(2.0),
        new("grazing", whole(100.0), Graze(60.0, 40.0)),
        new("grazing, noise", whole(100.0), Graze(60.0, 40.0)).noise(1.0),
    ]
}

/// A quick tail and a slow one.
fn creeping() -> Vec<Family> {
    let new = Family::new;
    vec![
        new("creep", whole(20.0), Creep(10.0, 200.0, 0.1)),
        new("creep, noise", whole(20.0), Creep(10.0, 200.0, 0.1)).noise(0.7),
        new("creep, window of 3 steps", whole(3.0), Creep(10.0, 150.0, 0.1)),
        new("creep, window of 3 steps, noise", whole(3.0), Creep(10.0, 150.0, 0.1)).noise(0.5),
        new("creep, window of 5 steps, noise", whole(5.0), Creep(10.0, 150.0, 0.1)).noise(0.5),
        new("creep, window of 5 steps, more noise", whole(5.0), Creep(10.0, 150.0, 0.1)).noise(1.0),
    ]
}

/// Windows that are no whole number of counts.
fn windows() -> Vec<Family> {
    let new = Family::new;
    vec![
        new("window of any size, slow tail", any(4.0), Tail(200.0)),
        new("window of any size, tail", any(20.0), Tail(50.0)),
        new("window of any size, steep tail", any(60.0), Tail(20.0)),
        new("window of any size, creep, noise", any(5.0), Creep(10.0, 150.0, 0.1)).noise(0.5),
        new("window of any size, noise", any(100.0), Tail(25.0)).noise(2.0),
        new("window of any size, ringing, noise", any(60.0), Ringing(60.0, 40.0)).noise(2.0),
        new("small windows, ringing, noise", (40.0, 80.0), Ringing(60.0, 40.0)).noise(1.0),
    ]
}

/// The other two definitions.
fn definitions() -> Vec<Family> {
    let new = Family::new;
    vec![
        new("first crossing between two samples, ISO 9283", any(60.0), Ringing(40.0, 40.0))
            .definition(Definition::Iso9283)
            .amplitude(30.0, 60.0),
        new("first crossing, ISO 9283, noise", any(60.0), Ringing(60.0, 60.0))
            .definition(Definition::Iso9283)
            .noise(2.0),
        new("tail, target reached", any(20.0), Tail(20.0)).definition(Definition::TargetReached),
        new("ringing, target reached", any(200.0), Ringing(60.0, 30.0))
            .definition(Definition::TargetReached)
            .window_time(20),
    ]
}

/// A recorder on its own clock, from 2 to 120 samples in a settling time.
fn clocks() -> Vec<Family> {
    let tails = [
        ("own clock, 2 samples per settling", 2.0),
        ("own clock, 3 samples per settling", 3.0),
        ("own clock, 5 samples per settling", 5.0),
        ("own clock, 10 samples per settling", 10.0),
        ("own clock, 20 samples per settling", 20.0),
        ("own clock, 120 samples per settling", 120.0),
    ];
    let tail = |(name, samples)| Family::new(name, any(2000.0), Tail(samples / 3.6)).own_clock();
    let ringing = Family::new("own clock, ringing, 30 samples per settling", any(2000.0), Ringing(8.0, 12.0));
    tails.into_iter().map(tail).chain([ringing.own_clock()]).collect()
}

/// Commands of a profile that ends between samples, rounded to fine and coarse steps.
fn profiles() -> Vec<Family> {
    let new = Family::new;
    vec![
        new("own clock, trapezoid, fine quantum", any(2000.0), Tail(3.0))
            .profile(Trapezoid(60.0, 400_000.0), 1.0)
            .own_clock(),
        new("own clock, trapezoid, coarse quantum", any(20.0), Tail(10.0))
            .profile(Trapezoid(60.0, 1000.0), 1.0)
            .own_clock(),
        new("own clock, jerk-limited, fine quantum", any(2000.0), Tail(3.0))
            .profile(Jerk(60.0, 400_000.0), 1.0)
            .own_clock(),
        new("own clock, jerk-limited, medium quantum", any(40.0), Tail(4.0))
            .profile(Jerk(60.0, 10_000.0), 1.0)
            .own_clock(),
        new("own clock, jerk-limited, coarse quantum", any(20.0), Tail(10.0))
            .profile(Jerk(200.0, 10_000.0), 20.0)
            .own_clock(),
        new("own clock, quintic, fine quantum", any(2000.0), Tail(3.0))
            .profile(Quintic(60.0, 400_000.0), 1.0)
            .own_clock(),
        new("own clock, quintic, medium quantum", whole(20.0), Tail(10.0))
            .profile(Quintic(60.0, 4000.0), 1.0)
            .own_clock(),
        new("own clock, quintic, coarse quantum", any(20.0), Tail(10.0))
            .profile(Quintic(100.0, 1000.0), 1.0)
            .own_clock()
            // Few coarse steps show a profile of the second power as well.
            .widest(1.5),
    ]
}
