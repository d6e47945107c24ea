//! In: a seed and a number of stops. Out: what the core calls them, beside what they are.
//!
//! Seven of eight stops have one cause, each cause in turn; the others have two.

use std::fmt;

use stillpoint_core::{Outcome, Record, Signature};

use super::Caused;
use crate::chance::Chance;
use crate::run::run;

/// One stop, judged.
#[derive(Clone, Debug)]
pub struct Judged {
    /// The stop.
    pub stop: Caused,
    /// As the core reports it.
    pub record: Record,
    /// The cause that dominates it, if one does.
    pub truth: Option<Signature>,
}

impl Judged {
    /// The next stop; none if it has no signature because it was interrupted.
    pub fn draw(number: usize, chance: &mut Chance) -> Option<Judged> {
        let causes = &Signature::ALL[..7];
        let (first, second) = (causes[number % 7], causes[1 + chance.below(6) as usize]);
        let two = number % 8 == 7 && first != Signature::Clean;
        let causes = if two { vec![first, second] } else { vec![first] };
        let stop = Caused::new(&causes, chance);
        let truth = causes.iter().find_map(|cause| stop.error.signature(*cause, &stop.error_without(*cause)));
        let moves = run(stop.parameters, stop.readings.iter().copied()).moves;
        let [measured] = moves.as_slice() else { panic!("{} moves of one", moves.len()) };
        let record = measured.record;
        assert_eq!(record.signature.is_none(), record.outcome == Outcome::Interrupted);
        record.signature.map(|_| Judged { stop, record, truth })
    }

    /// Whether removing what the signature advises to remove saves 30 % of the settling time.
    fn is_helped(&self) -> bool {
        let signature = self.record.signature.unwrap_or(Signature::Unsure);
        self.stop.error.is_helped(&self.stop.error_without(signature))
    }
}

/// Numbers of stops.
#[derive(Clone, Debug, Default)]
pub struct Table {
    /// By truth, mixed ones last, and by signature.
    counts: [[usize; 8]; 8],
    /// Mixed stops with an advice, and those of them that it would have helped.
    advised: usize,
    helped: usize,
}

impl Table {
    /// The table of so many stops.
    pub fn new(seed: u64, stops: usize) -> Table {
        let (mut table, mut chance) = (Table::default(), Chance::new(seed));
        for judged in (0..stops).filter_map(|number| Judged::draw(number, &mut chance)) {
            table.add(&judged);
        }
        table
    }

    fn add(&mut self, judged: &Judged) {
        let Some(said) = judged.record.signature else { return };
        self.counts[judged.truth.map_or(7, |truth| truth as usize)][said as usize] += 1;
        if judged.truth.is_none() && !matches!(said, Signature::Clean | Signature::Unsure) {
            self.advised += 1;
            self.helped += usize::from(judged.is_helped());
        }
    }

    /// Stops that this signature dominates: all, rightly named, wrongly named.
    pub fn of(&self, truth: Signature) -> (usize, usize, usize) {
        let row = &self.counts[truth as usize];
        let (all, right) = (row.iter().sum(), row[truth as usize]);
        (all, right, all - right - row[Signature::Unsure as usize])
    }

    /// The same of all signatures.
    pub fn dominated(&self) -> (usize, usize, usize) {
        let add = |sum: (usize, usize, usize), truth: &Signature| {
            let (all, right, wrong) = self.of(*truth);
            (sum.0 + all, sum.1 + right, sum.2 + wrong)
        };
        Signature::ALL[..7].iter().fold((0, 0, 0), add)
    }

    /// Mixed stops: all, those with an advice, those that it would have helped.
    pub fn mixed(&self) -> (usize, usize, usize) {
        (self.counts[7].iter().sum(), self.advised, self.helped)
    }
}

impl fmt::Display for Table {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        let words = Signature::ALL.map(|signature| signature.word());
        writeln!(out, "| truth | {} | n | right % | wrong % |", words.join(" | "))?;
        let percent = |part: usize, all: usize| 100.0 * part as f64 / all.max(1) as f64;
        for truth in &Signature::ALL[..7] {
            let (all, right, wrong) = self.of(*truth);
            let row = self.counts[*truth as usize].map(|count| count.to_string()).join(" | ");
            let (right, wrong) = (percent(right, all), percent(wrong, all));
            writeln!(out, "| {} | {row} | {all} | {right:.1} | {wrong:.1} |", truth.word())?;
        }
        let (all, right, wrong) = self.dominated();
        let (mixed, advised, helped) = self.mixed();
        let row = self.counts[7].map(|count| count.to_string()).join(" | ");
        writeln!(out, "| mixed | {row} | {mixed} | | |")?;
        writeln!(
            out,
            "dominated {all}: {:.1} % right, {:.1} % wrong",
            percent(right, all),
            percent(wrong, all)
        )?;
        write!(
            out,
            "mixed {mixed}: {:.1} % advised, of which {:.1} % helped",
            percent(advised, mixed),
            percent(helped, advised)
        )
    }
}
