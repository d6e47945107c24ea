//! In: what a fit found in the stop of a move. Out: the payload `Ringing`.

use serde::{Deserialize, Serialize};

use crate::ringing::{Answer, Damping, Refusal, Ringing as Found};

/// The ringing of one stop, or why none is stated. Numbers that are not finite mean "none".
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Ringing {
    /// Axis, from 0.
    pub axis: u8,
    /// Number of the move on its axis.
    pub number: u32,
    /// 0: ringing is stated; 1 to 12: why not, a [`Refusal`]; 255: not evaluated.
    pub refusal: u8,
    /// Damped frequency. Unit: Hz
    pub frequency: f32,
    /// Its standard uncertainty. Unit: Hz
    pub frequency_u: f32,
    /// Damping ratio. Unit: 1
    pub damping: f32,
    /// Its standard uncertainty; 0: no damping ratio is stated. Unit: 1
    pub damping_u: f32,
    /// Time constant of the tail beside the oscillation; 0: none. Unit: s
    pub tail: f32,
    /// Amplitude at the command end. Unit: counts
    pub amplitude: f32,
}

impl Ringing {
    /// The value of `refusal` of a stop that no fit has seen.
    pub const NOT_EVALUATED: u8 = u8::MAX;

    /// The answer about the stop of a move; none if there was no time for a fit.
    pub fn new(axis: u8, number: u32, answer: Option<Answer>) -> Ringing {
        let none = Ringing { axis, number, ..Ringing::default() };
        match answer {
            None => Ringing { refusal: Ringing::NOT_EVALUATED, ..none },
            Some(Answer::Refused(refusal)) => Ringing { refusal: refusal as u8, ..none },
            Some(Answer::Ringing(found)) => Ringing {
                frequency: found.frequency,
                frequency_u: found.frequency_u,
                damping: found.damping.map_or(0.0, |damping| damping.ratio),
                damping_u: found.damping.map_or(0.0, |damping| damping.u),
                tail: found.tail.unwrap_or(0.0),
                amplitude: found.amplitude,
                ..none
            },
        }
    }

    /// The answer; none if the stop was not evaluated, or for a reason that a later version knows.
    pub fn answer(&self) -> Option<Answer> {
        if self.refusal > 0 {
            let refusal = Refusal::ALL.into_iter().find(|refusal| *refusal as u8 == self.refusal);
            return refusal.map(Answer::Refused);
        }
        let is_stated = self.frequency > 0.0 && self.frequency.is_finite() && self.frequency_u.is_finite();
        is_stated.then(|| {
            Answer::Ringing(Found {
                frequency: self.frequency,
                frequency_u: self.frequency_u,
                damping: (self.damping_u > 0.0 && self.damping_u.is_finite() && self.damping.is_finite())
                    .then_some(Damping { ratio: self.damping, u: self.damping_u }),
                tail: (self.tail > 0.0 && self.tail.is_finite()).then_some(self.tail),
                amplitude: self.amplitude,
            })
        })
    }
}
