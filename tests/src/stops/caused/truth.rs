//! In: the true error of a stop, with and without its cause. Out: the signature that dominates it, if one does.

use stillpoint_core::Signature;

/// A stop that settles within this is clean. Unit: s
const CLEAN: f64 = 0.010;
/// Least time that removal of a dominating cause saves. Unit: s
const LEAST: f64 = 0.020;
/// Share of the settling time that removal of a dominating cause saves.
const DOMINATES: f64 = 0.6;
/// Share of the settling time that a helpful lever saves.
const HELPS: f64 = 0.3;

/// The true error from the command end to the end of the rest, free of noise and rounding.
#[derive(Clone, Debug)]
pub struct TrueError {
    /// Positive behind the target in the direction of travel. Unit: windows
    pub errors: Vec<f64>,
    /// Unit: s
    pub period: f64,
}

impl TrueError {
    /// Command end to the last entry; to the end of the rest if it ends outside. Unit: s
    pub fn settling(&self) -> f64 {
        self.last_outside().map_or(0.0, |last| (last + 1) as f64 * self.period)
    }

    /// Whether removing something, with which `other` remains, saves 30 % of the settling time.
    pub fn is_helped(&self, other: &TrueError) -> bool {
        self.settling() - other.settling() >= HELPS * self.settling()
    }

    /// The signature of this stop, caused by `cause`, without which `other` remains; none if it is mixed.
    pub fn signature(&self, cause: Signature, other: &TrueError) -> Option<Signature> {
        let (with, without) = (self.settling(), other.settling());
        if with <= CLEAN {
            return Some(Signature::Clean);
        }
        let dominates = with - without >= DOMINATES * with && with - without > LEAST;
        (dominates && self.shows(cause)).then_some(cause)
    }

    /// Whether the shape is that of the cause.
    fn shows(&self, cause: Signature) -> bool {
        let turns = self.turning_points();
        match cause {
            Signature::Clean | Signature::Unsure => false,
            Signature::Lag => turns < 2 && self.exits_behind() && !self.stands_outside(),
            Signature::Creep => turns < 2 && !self.is_sustained() && !self.stands_outside(),
            Signature::Ringing => turns >= 3 && !self.is_sustained() && !self.stands_outside(),
            Signature::Overshoot => turns < 3 && !self.exits_behind() && !self.stands_outside(),
            Signature::Hunting => self.is_sustained(),
            Signature::Offset => self.stands_outside(),
        }
    }

    fn last_outside(&self) -> Option<usize> {
        self.errors.iter().rposition(|error| error.abs() > 1.0)
    }

    fn exits_behind(&self) -> bool {
        self.last_outside().is_some_and(|last| self.errors[last] > 0.0)
    }

    /// Last third of the rest, and the third before.
    fn thirds(&self) -> (&[f64], &[f64]) {
        let third = self.errors.len() / 3;
        (&self.errors[2 * third..], &self.errors[third..2 * third])
    }

    /// The error goes to and fro in the last third of the rest, as much as before.
    fn is_sustained(&self) -> bool {
        let (last, middle) = self.thirds();
        let turns = turning_points(&self.errors[self.errors.len() / 2..], 0.5);
        range(last) > 0.5 && range(last) > 0.5 * range(middle) && turns >= 2
    }

    /// The error stands outside the window in the last third of the rest.
    fn stands_outside(&self) -> bool {
        let (last, _) = self.thirds();
        range(last) < 0.25 && last.iter().all(|error| error.abs() > 1.0)
    }

    /// Turning points before the last entry.
    fn turning_points(&self) -> usize {
        let end = self.last_outside().map_or(0, |last| last + 1);
        turning_points(&self.errors[..end], 0.5)
    }
}

fn range(errors: &[f64]) -> f64 {
    let most = errors.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    most - errors.iter().copied().fold(f64::INFINITY, f64::min)
}

/// Number of extremes from which the error goes back by more than the hysteresis.
fn turning_points(errors: &[f64], hysteresis: f64) -> usize {
    let Some(first) = errors.first() else { return 0 };
    let (mut extreme, mut rises, mut count) = (*first, None, 0);
    for error in errors {
        let ahead = match rises {
            Some(true) => error - extreme,
            Some(false) => extreme - error,
            None => {
                if (error - extreme).abs() > hysteresis {
                    (rises, extreme) = (Some(*error > extreme), *error);
                }
                continue;
            }
        };
        if ahead > 0.0 {
            extreme = *error;
        } else if ahead < -hysteresis {
            (rises, extreme, count) = (rises.map(|rises| !rises), *error, count + 1);
        }
    }
    count
}
