//! In: nothing. Out: the nuisances under which a detector is measured.

use std::fmt;

use crate::scatter::Shape;

/// What changes settling times while nothing is wrong with the axis.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Nuisance {
    /// Nothing.
    None,
    /// A sine of 24 h; the figure is its amplitude. Unit: 1
    Daily(f64),
    /// Jobs of 30 to 120 min, one of five products each; the figure is the level of the slowest and of the fastest. Unit: 1
    Jobs(f64),
    /// A normal process that forgets within two hours; the figure is its deviation. Unit: 1
    Wander(f64),
    /// Slower by 8 to 20 % (an axis, always the same) when cold: each morning and after each break. The figure is the time
    /// constant of warming and of cooling. Unit: s
    WarmUp(f64),
    /// Moves of a second hump, slower by 60 %: a fifth of the moves, or two fifths, by turns of 30 to 120 min.
    TwoHumps,
    /// Moves that settle at once; the figure is their share. Unit: 1
    Zeros(f64),
    /// Moves that take five times as long; the figure is their share. Unit: 1
    Outliers(f64),
    /// Moves that do not settle; the figure is their share. Unit: 1
    Unsettled(f64),
}

/// A nuisance and the scatter of single moves beside it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cell {
    /// What changes the level.
    pub nuisance: Nuisance,
    /// Distribution of single moves.
    pub shape: Shape,
    /// Autocorrelation of first order.
    pub alike: f64,
}

/// Every cell, the stationary ones first.
pub fn cells() -> Vec<Cell> {
    let stationary = [
        (Shape::Normal(0.1), 0.0),
        (Shape::Lognormal(0.1), 0.0),
        (Shape::Gamma(100), 0.0),
        (Shape::Normal(0.1), 0.3),
        (Shape::Lognormal(0.5), 0.0),
        (Shape::Gamma(4), 0.0),
    ];
    let nuisances = [
        Nuisance::Daily(0.025),
        Nuisance::Daily(0.05),
        Nuisance::Daily(0.1),
        Nuisance::Jobs(0.04),
        Nuisance::Jobs(0.08),
        Nuisance::Wander(0.02),
        Nuisance::WarmUp(900.0),
        Nuisance::WarmUp(1800.0),
        Nuisance::TwoHumps,
        Nuisance::Zeros(0.45),
        Nuisance::Outliers(0.01),
        Nuisance::Outliers(0.05),
        Nuisance::Unsettled(0.01),
        Nuisance::Unsettled(0.05),
    ];
    let stationary = stationary.map(|(shape, alike)| Cell { nuisance: Nuisance::None, shape, alike });
    let nuisances = nuisances.map(|nuisance| Cell { nuisance, shape: Shape::Normal(0.1), alike: 0.0 });
    stationary.into_iter().chain(nuisances).collect()
}

impl Cell {
    /// Whether single moves keep their distribution at all times.
    pub fn is_stationary(&self) -> bool {
        use Nuisance::{None, Outliers, Unsettled, Zeros};
        matches!(self.nuisance, None | Zeros(_) | Outliers(_) | Unsettled(_))
    }
}

impl fmt::Display for Cell {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        let percent = |part: f64| format!("{} %", (1000.0 * part).round() / 10.0);
        let name = match self.nuisance {
            Nuisance::None if self.alike > 0.0 => format!("{:?}, AR(1) {}", self.shape, self.alike),
            Nuisance::None => format!("{:?}", self.shape),
            Nuisance::Daily(part) => format!("daily ± {}", percent(part)),
            Nuisance::Jobs(part) => format!("jobs ± {}", percent(part)),
            Nuisance::Wander(part) => format!("wander {}, 2 h", percent(part)),
            Nuisance::WarmUp(seconds) => format!("warm-ups, {} min", seconds / 60.0),
            Nuisance::TwoHumps => "two humps, 20 to 40 %".to_owned(),
            Nuisance::Zeros(part) => format!("zeros {}", percent(part)),
            Nuisance::Outliers(part) => format!("outliers {}", percent(part)),
            Nuisance::Unsettled(part) => format!("unsettled {}", percent(part)),
        };
        f.pad(&name)
    }
}
