//! In: position and effort of ordinary moves. Out: mass, friction and constant effort, each with its uncertainty or a refusal.
//!
//! effort = mass · acceleration + viscous · speed + coulomb · sign(speed) + offset. Position and effort pass the same
//! low-pass, so that what it removes is missing on both sides. METHOD.md, "Identification", has thresholds and sources.

use crate::analysis::linear::{LinearFit, linear_fit};
use crate::analysis::low_pass::LowPass;

/// Equally spaced rows without a gap.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Stretch {
    /// Measured position. Unit: unit
    pub position: Vec<f64>,
    /// Force, torque or current. Unit: effort unit
    pub effort: Vec<f64>,
}

/// A parameter of the axis.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Estimate {
    /// Unit: effort unit per power of unit/s of the parameter
    pub value: f64,
    /// Standard uncertainty, in the same unit.
    pub u: f64,
}

/// Why a parameter is not stated.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Refusal {
    /// The axis never moved both ways, so friction and offset can't be told apart.
    OneDirection,
    /// The moves change this parameter's part only together with those of the others.
    Alike {
        /// Variance inflation.
        inflation: f64,
    },
    /// The uncertainty is too large.
    Uncertain {
        /// Expanded uncertainty (2u) as a share of the value.
        share: f64,
    },
    /// The axis seems to accelerate against its effort, or friction to push it.
    Negative,
    /// The effort never changes, or the axis never moves.
    Still,
    /// Too few rows with motion.
    TooFew,
}

/// What the moves show of the axis.
#[derive(Clone, Debug, PartialEq)]
pub struct Identified {
    /// Effort per acceleration. Unit: effort unit/(unit/s²)
    pub mass: Result<Estimate, Refusal>,
    /// Effort per speed. Unit: effort unit/(unit/s)
    pub viscous: Result<Estimate, Refusal>,
    /// Friction that does not depend on speed. Unit: effort unit
    pub coulomb: Result<Estimate, Refusal>,
    /// Effort without motion: gravity, a spring, a bias. Unit: effort unit
    pub offset: Result<Estimate, Refusal>,
    /// Friction in the only direction together with the offset, where these can't be told apart. Unit: effort unit
    pub friction_and_offset: Option<Estimate>,
    /// Rows with motion that were used, after thinning.
    pub samples: usize,
    /// Cut-off of the low-pass. Unit: Hz
    pub cut_off_hz: f64,
}

/// Highest cut-off: effort and position are compared below it. Unit: Hz
const CUT_OFF_HZ: f64 = 60.0;
/// The same, relative to the sample rate.
const CUT_OFF_PER_RATE: f64 = 0.2;
/// Cut-offs beside the highest one; what the result depends on them is part of its uncertainty.
const LOWER: [f64; 2] = [35.0 / 60.0, 20.0 / 60.0];
/// Rows are thinned to this many per period of the cut-off: those between add nothing.
const ROWS_PER_PERIOD: f64 = 5.0 / 3.0;
/// Slower than this share of the peak speed the axis may be standing.
const STANDING: f64 = 0.02;
/// Largest variance inflation of a parameter that is stated.
const INFLATION: f64 = 12.0;
/// Largest expanded uncertainty of a parameter that is stated, as a share of it.
const UNCERTAIN: f64 = 0.1;
/// What the model leaves out (belt, shape of friction) makes the mass no better than this. Source: our simulations.
const MASS_U: f64 = 0.01;
/// Least number of rows.
const ROWS: usize = 40;

/// Least sample rate. Unit: Hz
pub const LEAST_RATE_HZ: f64 = 100.0;

/// Fits the model to rows of one period. Unit of `period`: s
pub fn identify(stretches: &[Stretch], period: f64) -> Identified {
    let cut_off_hz = CUT_OFF_HZ.min(CUT_OFF_PER_RATE / period);
    let rows = Rows::new(stretches, period, cut_off_hz);
    let lower = LOWER.map(|share| Rows::new(stretches, period, share * cut_off_hz).fit());
    let nothing = |why| Identified::nothing(rows.effort.len(), cut_off_hz, why);
    let is_still = |of: fn(&Stretch) -> &[f64]| {
        let mut values = stretches.iter().flat_map(of);
        values.next().is_none_or(|first| values.all(|value| value == first))
    };
    if is_still(|stretch| &stretch.position) || is_still(|stretch| &stretch.effort) {
        return nothing(Refusal::Still);
    }
    let Some(fit) = rows.fit() else { return nothing(Refusal::TooFew) };
    let estimate = |column: usize| fit.estimate(column, &lower);
    let (mass, viscous, offset) = (estimate(MASS), estimate(VISCOUS), estimate(OFFSET));
    let coulomb = fit.coulomb_is_known.then(|| estimate(COULOMB));
    // Friction that is shown to push says the same of the sign as a mass below 0.
    let pushes = |friction: Estimate| friction.value < -2.0 * friction.u;
    if mass.value <= 0.0 || pushes(viscous) || coulomb.is_some_and(pushes) {
        return nothing(Refusal::Negative);
    }
    let mass = Estimate { u: mass.u.hypot(MASS_U * mass.value), ..mass };
    let together = match rows.both_ways {
        true => Refusal::Alike { inflation: fit.coulomb_inflation },
        false => Refusal::OneDirection,
    };
    let size = |estimate: Estimate| estimate.value.abs();
    Identified {
        mass: fit.judge(mass, MASS, mass.value),
        viscous: fit.judge(viscous, VISCOUS, size(viscous)),
        coulomb: coulomb.map_or(Err(together), |coulomb| fit.judge(coulomb, COULOMB, size(coulomb))),
        offset: coulomb
            .map_or(Err(together), |coulomb| fit.judge(offset, OFFSET, size(offset).max(size(coulomb)))),
        friction_and_offset: (coulomb.is_none() && !rows.both_ways).then_some(offset),
        samples: rows.effort.len(),
        cut_off_hz,
    }
}

impl Identified {
    fn nothing(samples: usize, cut_off_hz: f64, why: Refusal) -> Identified {
        let [mass, viscous, coulomb, offset] = [Err(why); 4];
        Identified { mass, viscous, coulomb, offset, friction_and_offset: None, samples, cut_off_hz }
    }
}

/// Columns of the fit.
const MASS: usize = 0;
const VISCOUS: usize = 1;
const OFFSET: usize = 2;
const COULOMB: usize = 3;

/// The regressors of the rows with motion, and the effort, all behind the same low-pass.
struct Rows {
    columns: [Vec<f64>; 4],
    effort: Vec<f64>,
    both_ways: bool,
}

impl Rows {
    fn new(stretches: &[Stretch], period: f64, cut_off_hz: f64) -> Rows {
        let low_pass = LowPass::new(cut_off_hz * period);
        let smooth: Vec<Motion> =
            stretches.iter().map(|stretch| Motion::new(&low_pass.run(&stretch.position), period)).collect();
        let speeds = smooth.iter().flat_map(|motion| &motion.speed);
        let slow = STANDING * speeds.fold(0.0_f64, |peak, speed| peak.max(speed.abs()));
        let stride = ((1.0 / (period * cut_off_hz * ROWS_PER_PERIOD)).round() as usize).max(1);
        let mut rows = Rows { columns: Default::default(), effort: Vec::new(), both_ways: false };
        let (mut ahead, mut back) = (false, false);
        for (stretch, motion) in stretches.iter().zip(&smooth) {
            let directions: Vec<f64> = motion.speed.iter().map(|speed| speed.signum()).collect();
            let (sign, effort) = (low_pass.run(&directions), low_pass.run(&stretch.effort));
            let is_moving = moving(&motion.speed, slow, low_pass.edge());
            for row in (0..effort.len()).step_by(stride).filter(|row| is_moving[*row]) {
                let regressors = [motion.acceleration[row], motion.speed[row], 1.0, sign[row]];
                rows.columns.iter_mut().zip(regressors).for_each(|(column, value)| column.push(value));
                rows.effort.push(effort[row]);
                ahead |= motion.speed[row] > slow;
                back |= motion.speed[row] < -slow;
            }
        }
        rows.both_ways = ahead && back;
        rows
    }

    /// With all four parameters, or, where friction is not to be told from the others, with three.
    fn fit(&self) -> Option<Fit> {
        if self.effort.len() < ROWS {
            return None;
        }
        let whole = linear_fit(&self.columns, &self.effort);
        let coulomb_inflation = whole.as_ref().map_or(f64::INFINITY, |fit| fit.inflation[COULOMB]);
        match whole.filter(|_| coulomb_inflation < INFLATION) {
            Some(fit) => Some(Fit { fit, coulomb_is_known: true, coulomb_inflation }),
            None => {
                let fit = linear_fit(&self.columns[..COULOMB], &self.effort)?;
                Some(Fit { fit, coulomb_is_known: false, coulomb_inflation })
            }
        }
    }
}

/// Whether each row has motion, and only motion within the reach of the low-pass. Slower than `slow` for two reaches or
/// longer is standing: friction then is anything up to its largest. A reversal is faster, and its friction is known.
fn moving(speed: &[f64], slow: f64, reach: usize) -> Vec<bool> {
    let mut is_moving = vec![true; speed.len()];
    let end = speed.len();
    is_moving[..reach.min(end)].fill(false);
    is_moving[end - reach.min(end)..].fill(false);
    let mut from = 0;
    for row in 0..=end {
        if speed.get(row).is_some_and(|speed| speed.abs() < slow) {
            continue;
        }
        if row - from >= 2 * reach {
            is_moving[from.saturating_sub(reach)..(row + reach).min(end)].fill(false);
        }
        from = row + 1;
    }
    is_moving
}

/// Central differences of a smooth position.
struct Motion {
    /// Unit: unit/s
    speed: Vec<f64>,
    /// Unit: unit/s²
    acceleration: Vec<f64>,
}

impl Motion {
    /// At both ends the nearest row's.
    fn new(position: &[f64], period: f64) -> Motion {
        let inner = |of: fn(f64, f64, f64) -> f64| {
            let mut values: Vec<f64> =
                position.windows(3).map(|three| of(three[0], three[1], three[2])).collect();
            if let (Some(first), Some(last)) = (values.first().copied(), values.last().copied()) {
                values.insert(0, first);
                values.push(last);
            }
            values.resize(position.len(), 0.0);
            values
        };
        let scaled = |values: Vec<f64>, by: f64| values.into_iter().map(|value| value / by).collect();
        Motion {
            speed: scaled(inner(|before, _, after| after - before), 2.0 * period),
            acceleration: scaled(inner(|before, here, after| before - 2.0 * here + after), period * period),
        }
    }
}

struct Fit {
    fit: LinearFit,
    coulomb_is_known: bool,
    coulomb_inflation: f64,
}

impl Fit {
    /// The uncertainty covers residuals that follow each other, and what other cut-offs would give.
    fn estimate(&self, column: usize, others: &[Option<Fit>]) -> Estimate {
        let value = self.fit.factors[column];
        let lag = self.fit.lag_one.clamp(0.0, 0.99);
        let scatter = self.fit.sd[column] * ((1.0 + lag) / (1.0 - lag)).sqrt();
        let alike = others.iter().flatten().filter(|other| other.coulomb_is_known == self.coulomb_is_known);
        let (low, high) = alike
            .filter_map(|other| other.fit.factors.get(column))
            .fold((value, value), |(low, high), other| (low.min(*other), high.max(*other)));
        Estimate { value, u: scatter.hypot(high - low) }
    }

    /// `against`: what the uncertainty is compared with.
    fn judge(&self, estimate: Estimate, column: usize, against: f64) -> Result<Estimate, Refusal> {
        let inflation = self.fit.inflation[column];
        let share = 2.0 * estimate.u / against;
        match (inflation < INFLATION, share < UNCERTAIN) {
            (false, _) => Err(Refusal::Alike { inflation }),
            (_, false) => Err(Refusal::Uncertain { share }),
            _ => Ok(estimate),
        }
    }
}

#[cfg(test)]
mod tests;
