//! In: records of one axis from the full simulation and from the model. Out: where they are not alike.
//!
//! A shift is cut into sixteen parts, half hours of an eight-hour shift, and compared kind by kind. Of n moves of the
//! full simulation in a part, the share below a quantile p of the model may be off by z·√(p(1 − p)(1/n + 1/m)): both
//! the n moves and the m in the library that the model draws from there are chance. z is such that among all that
//! is compared nothing is off by chance in 99 of 100 cases (Bonferroni). Shares of unsettled and of interrupted
//! moves are held to the same rule. A drift must have come by the end of a part if it has in every modelled shift, and
//! must not if it has in none.

use std::collections::BTreeMap;

use stillpoint_core::{Outcome, Record};

use super::library::{Library, STEPS};
use super::model::Work;
use super::watched::Watched;
use crate::normal::quantile;

/// Parts of a shift.
pub const PARTS: usize = 16;
/// Shifts of the model.
const SHIFTS: u64 = 100;
/// Quantiles, and the two shares.
const FIGURES: usize = 5;

/// Figures compared of one kind in one part.
#[derive(Clone, Debug, Default)]
struct Part {
    /// Settling times, and beyond all of them moves that didn't settle. Unit: ticks
    times: Vec<u32>,
    unsettled: usize,
    interrupted: usize,
    moves: usize,
    /// Shifts in which a drift had come by its end.
    slowed: u64,
}

/// By kind and part.
type Parts = BTreeMap<(u32, usize), Part>;

fn add(parts: &mut Parts, library: &Library, hours: f64, records: impl Iterator<Item = Record>) {
    let mut watched = Watched::new(library.known.settings, library.watch());
    let second = f64::from(library.known.settings.ticks_per_second);
    for record in records {
        let at = record.start as f64 / second / (3600.0 * hours);
        let Some(kind) = watched.step(&record) else { continue };
        let part = parts.entry((kind, ((at * PARTS as f64) as usize).min(PARTS - 1))).or_default();
        part.moves += 1;
        match record.outcome {
            Outcome::Interrupted | Outcome::Untrusted => part.interrupted += 1,
            outcome => {
                part.unsettled += usize::from(outcome == Outcome::Unsettled);
                part.times.push(record.settling.unwrap_or(u32::MAX));
            }
        }
    }
    for ((kind, place), part) in parts.iter_mut() {
        let end = (*place + 1) as f64 / PARTS as f64 * 3600.0 * hours;
        let slowed = watched.seen.get(kind).and_then(|seen| seen.slowed());
        part.slowed += u64::from(slowed.is_some_and(|at| at < end));
    }
}

/// The comparisons made and the differences found.
#[derive(Clone, Debug, Default)]
pub struct Likeness {
    /// Figures compared.
    pub compared: usize,
    /// Largest difference over what is allowed of it.
    pub furthest: f64,
    /// What differs by more than allowed.
    pub differ: Vec<String>,
}

/// Compares shifts of one axis that wears, simulated in full, with the model; `axes` are compared in all.
pub fn compare(library: &Library, full: &[Vec<Record>], hours: f64, axes: usize) -> Likeness {
    let mut model = Parts::new();
    (1..=SHIFTS).for_each(|seed| add(&mut model, library, hours, Work::new(library, seed, hours, true)));
    model.values_mut().for_each(|part| part.times.sort_unstable());
    let all = full.len() * axes * 2 * PARTS * FIGURES;
    let z = quantile(1.0 - 0.005 / all as f64);
    let mut likeness = Likeness::default();
    for (seed, records) in full.iter().enumerate() {
        let mut parts = Parts::new();
        add(&mut parts, library, hours, records.iter().copied());
        assert_eq!(parts.len(), model.len(), "{}: kinds and parts", library.known.name);
        for (place, part) in &mut parts {
            part.times.sort_unstable();
            let what = format!("{} shift {seed} kind {} part {}", library.known.name, place.0, place.1);
            likeness.judge(&what, part, &model[place], z, drawn(library, place.1, part.moves, records.len()));
        }
    }
    likeness
}

/// Moves of the library that a part of the model is drawn from, if its kind has `moves` of `all` in a part.
fn drawn(library: &Library, part: usize, moves: usize, all: usize) -> f64 {
    let place = |part: usize| super::full::age(part as f64 / PARTS as f64) * STEPS as f64;
    let count =
        |step: usize| (0..library.entries()).map(|entry| library.at(step, entry).len()).sum::<usize>();
    let share = moves as f64 * PARTS as f64 / all as f64;
    let (from, to) = (place(part), place(part + 1));
    // The outermost steps of age count half.
    share * count(to as usize) as f64 * if to > from { (to - from).max(1.0) } else { 1.0 }
}

impl Likeness {
    fn judge(&mut self, what: &str, full: &Part, model: &Part, z: f64, drawn: f64) {
        let allowed = |p: f64, n: usize| {
            // A share of none or all still may be off by a move or two.
            let p = p.clamp(2.0 / (n as f64 + 4.0), 1.0 - 2.0 / (n as f64 + 4.0));
            z * (p * (1.0 - p) * (1.0 / n as f64 + 1.0 / drawn)).sqrt()
        };
        let mut check = |figure: &str, off: f64, allowed: f64, found: f64| {
            self.compared += 1;
            self.furthest = self.furthest.max(off / allowed);
            if off > allowed {
                self.differ.push(format!("{what}: {figure} {found:.3}, off by {off:.3} of {allowed:.3}"));
            }
        };
        for p in [0.25, 0.5, 0.75] {
            let value = model.times[(p * (model.times.len() - 1) as f64) as usize];
            let share = |to: usize| to as f64 / full.times.len() as f64;
            let below = share(full.times.partition_point(|time| *time < value));
            let within = share(full.times.partition_point(|time| *time <= value));
            // Where many are alike, the quantile lies anywhere between.
            let off = (below - p).max(p - within).max(0.0);
            check(&format!("share below the quantile {p}"), off, allowed(p, full.times.len()), within);
        }
        let share = |count: usize, part: &Part| count as f64 / part.moves as f64;
        for (figure, here, there) in [
            ("unsettled", share(full.unsettled, full), share(model.unsettled, model)),
            ("interrupted", share(full.interrupted, full), share(model.interrupted, model)),
        ] {
            check(figure, (here - there).abs(), allowed(there, full.moves), here);
        }
        let agrees = if full.slowed > 0 { model.slowed > 0 } else { model.slowed < SHIFTS };
        if !agrees {
            let (here, there) = (full.slowed, model.slowed);
            self.differ.push(format!("{what}: drift in {here} of 1, in the model in {there} of {SHIFTS}"));
        }
    }
}
