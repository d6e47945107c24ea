//! In: nothing. Out: the cells in which a detector is measured: nuisances, odd moves, the scatter of single moves.

use std::fmt;

use super::calendar::Calendar;
use super::conditions::{Jobs, Nuisances};
use crate::scatter::Shape;

/// Moves unlike the others, the figure being their share. Unit: 1
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Odd {
    /// None.
    None,
    /// Slower by 60 %: a fifth of the moves, or two fifths, by turns of 30 to 120 min.
    Slow,
    /// Settled at once.
    Zero(f64),
    /// Five times as long.
    Outlying(f64),
    /// Not settled.
    Unsettled(f64),
}

/// What is simulated.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cell {
    /// What changes the level.
    pub nuisances: Nuisances,
    /// Moves unlike the others.
    pub odd: Odd,
    /// Distribution of single moves.
    pub shape: Shape,
    /// Autocorrelation of first order.
    pub alike: f64,
    /// When the machine works.
    pub calendar: Calendar,
    /// Whether the detector is not given the number of the job.
    pub job_is_hidden: bool,
    /// Change of the level that stays, from the fourth day on. Unit: 1
    pub lasting: f64,
    /// Steps in which times are known. Unit: ticks (µs)
    pub resolution: u32,
    /// Moves of an axis in an hour of work; 0: as the size says. Unit: 1/h
    pub moves_per_hour: u32,
}

/// The words before the table of a group of cells.
pub type Title = &'static str;

impl Cell {
    /// Normal scatter of 10 %, without a nuisance.
    pub const PLAIN: Cell = Cell {
        nuisances: Nuisances::NONE,
        odd: Odd::None,
        shape: Shape::Normal(0.1),
        alike: 0.0,
        calendar: Calendar::Always,
        job_is_hidden: false,
        lasting: 0.0,
        resolution: 1,
        moves_per_hour: 0,
    };

    const fn of(nuisances: Nuisances) -> Cell {
        Cell { nuisances, ..Cell::PLAIN }
    }

    const fn daily(daily: f64) -> Cell {
        Cell::of(Nuisances { daily, ..Nuisances::NONE })
    }

    const fn jobs(level: f64) -> Cell {
        Cell::of(Nuisances { jobs: Jobs::of(level), ..Nuisances::NONE })
    }

    const fn wander(wander: f64) -> Cell {
        Cell::of(Nuisances { wander, ..Nuisances::NONE })
    }

    /// Two shifts with breaks: a machine that never rests never cools.
    const fn warm_up(minutes: f64) -> Cell {
        let nuisances = Nuisances { warm_up: 60.0 * minutes, ..Nuisances::NONE };
        Cell { calendar: Calendar::Days, ..Cell::of(nuisances) }
    }

    const fn odd(odd: Odd) -> Cell {
        Cell { odd, ..Cell::PLAIN }
    }

    const fn slow() -> Cell {
        let jobs = Jobs { products: 2, ..Jobs::NONE };
        Cell { odd: Odd::Slow, ..Cell::of(Nuisances { jobs, ..Nuisances::NONE }) }
    }

    const fn hidden(self) -> Cell {
        Cell { job_is_hidden: true, ..self }
    }

    /// Daily temperature, warm-ups and jobs at once.
    const fn combined() -> Cell {
        let nuisances = Nuisances { daily: 0.05, jobs: Jobs::of(0.04), ..Nuisances::NONE };
        Cell { nuisances: Nuisances { warm_up: 900.0, ..nuisances }, ..Cell::warm_up(15.0) }
    }

    /// Whether single moves keep their distribution at all times, but for a lasting change.
    pub fn is_stationary(&self) -> bool {
        self.nuisances == Nuisances::NONE
    }
}

/// Cells whose moves keep their distribution.
pub fn stationary() -> Vec<Cell> {
    let shapes = [
        (Shape::Normal(0.1), 0.0),
        (Shape::Lognormal(0.1), 0.0),
        (Shape::Gamma(100), 0.0),
        (Shape::Normal(0.1), 0.3),
        (Shape::Lognormal(0.5), 0.0),
        (Shape::Gamma(4), 0.0),
    ];
    let odd = [
        Odd::Zero(0.45),
        Odd::Outlying(0.01),
        Odd::Outlying(0.05),
        Odd::Unsettled(0.01),
        Odd::Unsettled(0.05),
    ];
    let shapes = shapes.map(|(shape, alike)| Cell { shape, alike, ..Cell::PLAIN });
    shapes.into_iter().chain(odd.map(Cell::odd)).collect()
}

/// Every cell, by groups.
pub fn groups() -> Vec<(Title, Vec<Cell>)> {
    let caused = vec![
        Cell::daily(0.025),
        Cell::daily(0.05),
        Cell::daily(0.1),
        Cell::jobs(0.04),
        Cell::jobs(0.08),
        Cell::warm_up(15.0),
        Cell::warm_up(30.0),
        Cell::slow(),
        Cell::combined(),
    ];
    let uncaused =
        vec![Cell::wander(0.02), Cell::jobs(0.04).hidden(), Cell::jobs(0.08).hidden(), Cell::slow().hidden()];
    let lasting = [-0.5, -0.25, 0.25, 0.5].into_iter().flat_map(|part| {
        // The smallest change is 10 %.
        stationary().into_iter().map(move |cell| Cell { lasting: 0.1 * part, ..cell })
    });
    let seldom = [300, 30].into_iter().flat_map(|moves_per_hour| {
        [Cell::PLAIN, Cell::daily(0.05), Cell::jobs(0.04), Cell::warm_up(15.0), Cell::combined()]
            .map(|cell| Cell { moves_per_hour, ..cell })
    });
    vec![
        ("stationary", stationary()),
        ("with a cause", caused),
        ("without a known cause", uncaused),
        ("a lasting change of a quarter and of half of the smallest", lasting.collect()),
        ("few moves", seldom.collect()),
        ("other machines", others()),
    ]
}

/// Plausible machines that no rule was made for.
fn others() -> Vec<Cell> {
    let of_a_day = Jobs { hours: [24.0, 24.0], ..Jobs::of(0.08) };
    let many = Jobs { products: 40, ..Jobs::of(0.08) };
    let jobs = |jobs| Cell::of(Nuisances { jobs, ..Nuisances::NONE });
    vec![
        jobs(of_a_day),
        jobs(many),
        Cell::of(Nuisances { wander_hours: 72.0, wander: 0.03, ..Nuisances::NONE }),
        Cell::of(Nuisances { wander_hours: 0.5, wander: 0.05, ..Nuisances::NONE }),
        Cell::of(Nuisances { season: 0.025, ..Nuisances::NONE }),
        Cell::of(Nuisances { season: 0.05, ..Nuisances::NONE }),
        Cell { calendar: Calendar::Weeks, ..Cell::combined() },
        Cell { alike: 0.9, ..Cell::PLAIN },
        Cell { resolution: 5000, ..Cell::PLAIN },
        Cell { resolution: 5000, ..Cell::warm_up(30.0) },
        Cell::odd(Odd::Zero(0.5)),
        Cell::odd(Odd::Unsettled(0.2)),
        Cell { odd: Odd::Zero(0.45), ..Cell::warm_up(15.0) },
        Cell { shape: Shape::Lognormal(0.5), ..Cell::jobs(0.08) },
        Cell { shape: Shape::Lognormal(0.5), ..Cell::warm_up(30.0) },
    ]
}

/// Every cell.
pub fn cells() -> Vec<Cell> {
    groups().into_iter().flat_map(|(_, cells)| cells).collect()
}

fn percent(part: f64) -> String {
    format!("{} %", (1000.0 * part).round() / 10.0)
}

impl Cell {
    fn names(&self) -> Vec<String> {
        let Nuisances { daily, wander, wander_hours, season, warm_up, jobs } = self.nuisances;
        let mut names = vec![];
        let mut add = |is: bool, name: String| names.extend(is.then_some(name));
        add(daily > 0.0, format!("daily ± {}", percent(daily)));
        add(wander > 0.0, format!("wander {}, {wander_hours} h", percent(wander)));
        add(season > 0.0, format!("season ± {}", percent(season)));
        add(warm_up > 0.0, format!("warm-ups {} min", warm_up / 60.0));
        add(jobs.level > 0.0, format!("jobs ± {}", percent(jobs.level)));
        add(jobs.products > 5, format!("{} products", jobs.products));
        add(jobs.hours != Jobs::NONE.hours, format!("{} h", jobs.hours[1]));
        match self.odd {
            Odd::None => (),
            Odd::Slow => add(true, "two humps 20 to 40 %".to_owned()),
            Odd::Zero(share) => add(true, format!("zeros {}", percent(share))),
            Odd::Outlying(share) => add(true, format!("outliers {}", percent(share))),
            Odd::Unsettled(share) => add(true, format!("unsettled {}", percent(share))),
        }
        add(self.job_is_hidden, "job hidden".to_owned());
        add(self.calendar == Calendar::Weeks, "weekends".to_owned());
        add(self.resolution > 1, format!("steps of {} ms", self.resolution / 1000));
        add(self.lasting != 0.0, format!("lasting {}", percent(self.lasting)));
        add(self.moves_per_hour > 0, format!("{}/h", self.moves_per_hour));
        names
    }
}

/// Name of the cell; the scatter is left out where it is the usual one beside others.
impl fmt::Display for Cell {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        let mut names = self.names();
        if names.is_empty() || self.shape != Cell::PLAIN.shape || self.lasting != 0.0 && self.odd == Odd::None
        {
            names.insert(0, format!("{:?}", self.shape));
        }
        if self.alike > 0.0 {
            names.push(format!("AR(1) {}", self.alike));
        }
        f.pad(&names.join(", "))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn a_name_is_one_cell() {
        let names: BTreeSet<String> = cells().iter().map(Cell::to_string).collect();
        assert_eq!(names.len(), cells().len(), "{names:#?}");
    }
}
