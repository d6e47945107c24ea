//! In: a signature, and what is typical of its stops. Out: what to change first, what next, and what each costs.
//!
//! Levers are named as the trade names them, never as a drive's parameters. `core/METHOD.md`, *Advice*, has the reason of
//! each threshold.

use stillpoint_core::Signature;

use super::number::plain_to;

/// Share of standing between turning points from which on an axis sticks and jumps, as the signature has it. Unit: 1
const STICKS: f64 = 0.5;

/// A fall of the ringing frequency from which on the lost stiffness is the first lever: a tenth of it. Unit: 1
const FELL: f64 = -0.05;

/// What tuning means for people; it goes with every advice.
pub const CAUTION: &str = "Stillpoint only listens and is no safety function. Tuning moves the machine: leave it to a \
    qualified person, follow the drive's and the machine's manuals and local rules, keep guards closed and everybody clear \
    of the axis. Change one thing at a time by little, note the old value, and compare before and after.";

/// What advice depends on besides the signature.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Typical {
    /// Unit: Hz
    pub ringing_hz: Option<f64>,
    /// Median settling time of the kind. Unit: s
    pub settling_s: Option<f64>,
    /// Share of the time between turning points. Unit: 1
    pub standing: Option<f64>,
    /// Whether feedback leads the command while the axis moves.
    pub leads: bool,
    /// Whether feedback goes beyond the target by more than the window.
    pub is_beyond: bool,
    /// Change of the ringing frequency that is shown, as a part of the first. Unit: 1
    pub frequency_change: Option<f64>,
    /// Whether the ringing has a frequency, but is shown neither to decay nor to end: half of such stops do not settle.
    pub may_last: bool,
}

/// What to pull.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Advice {
    /// The first lever.
    pub lever: String,
    /// Another, where the first can't be pulled or does not help.
    pub second: String,
    /// What they cost.
    pub trade_off: String,
}

impl Advice {
    fn new(lever: impl Into<String>, second: impl Into<String>, trade_off: impl Into<String>) -> Advice {
        Advice { lever: lever.into(), second: second.into(), trade_off: trade_off.into() }
    }
}

/// What to pull for stops with this signature; none where there is nothing to gain, or nothing is known.
pub fn advice(signature: Signature, typical: &Typical) -> Option<Advice> {
    match signature {
        Signature::Clean | Signature::Unsure => None,
        Signature::Lag => Some(lag()),
        Signature::Ringing => Some(ringing(typical)),
        Signature::Creep => Some(creep(typical.is_beyond)),
        Signature::Overshoot => Some(overshoot(typical.leads)),
        Signature::Hunting => Some(hunting(typical.standing)),
        Signature::Offset => Some(offset()),
    }
}

fn lag() -> Advice {
    Advice::new(
        "more velocity feedforward, then acceleration feedforward",
        "a higher position gain; where the tail is much shorter than the lag, a bus or a filter delays, and no gain helps",
        "feedforward above 100 % overshoots; a higher position gain leaves less damping and may ring",
    )
}

/// What a swing that is not shown to decay may be, before another lever.
const OUTSIDE: &str = "no decay is shown: if it swings while the axis rests too, something shakes it, and no lever of the loop \
    helps; else ";

fn ringing(typical: &Typical) -> Advice {
    let ms = |seconds: f64| format!("{} ms", plain_to(1e3 * seconds, 2));
    let (length, shaper, cost) = match typical.ringing_hz {
        Some(hz) => (format!(" over {}", ms(1.0 / hz)), format!(" at {} Hz", plain_to(hz, 3)), {
            let gain = typical
                .settling_s
                .map_or(String::new(), |time| format!(", and can save {} at most", ms(time)));
            format!("smoothing makes each move {} longer, a shaper {}{gain}", ms(1.0 / hz), ms(0.5 / hz))
        }),
        None => (
            " over one period of the ringing".to_owned(),
            " at its frequency".to_owned(),
            "smoothing makes each move a period longer, a shaper half a period".to_owned(),
        ),
    };
    // Smoothing takes a period; where that is more than there is to save, only the shaper is left.
    let pays = typical.ringing_hz.zip(typical.settling_s).is_none_or(|(hz, settling)| 1.0 / hz < settling);
    let smoothing = match pays {
        true => format!("smooth the command{length}, or shape it with two impulses{shaper}"),
        false => format!("shape the command with two impulses{shaper}"),
    };
    let trade_off = format!("{cost}; a lower gain follows more slowly");
    let outside = if typical.may_last { OUTSIDE } else { "" };
    match typical.frequency_change.is_some_and(|change| change <= FELL) {
        true => Advice::new(
            "restore the stiffness that fell with the frequency: belt tension, coupling, clamping, mounting",
            format!("{outside}{smoothing}; or a lower gain"),
            trade_off,
        ),
        false => Advice::new(
            smoothing,
            format!(
                "{outside}a stiffer belt, coupling or frame; a lower gain; a notch filter at that frequency, only if the loop \
                 itself rings"
            ),
            trade_off,
        ),
    }
}

fn creep(is_beyond: bool) -> Advice {
    let integral = match is_beyond {
        true => "less integral action while the axis moves, which it must take back at rest",
        false => "more integral action",
    };
    Advice::new(
        format!("less friction: lubrication, guides, seals, alignment, preload; then {integral}"),
        "a coupling or clamp that gives after the stop looks the same: look for one; a wider window, if the process allows it",
        "more integral action overshoots, and hunts where friction sticks; less comes in more slowly against friction",
    )
}

fn overshoot(leads: bool) -> Advice {
    let lever = match leads {
        true => "less velocity feedforward: feedback leads the command, so it is above 100 %",
        false => "less acceleration feedforward, or less integral action while the axis moves",
    };
    Advice::new(
        lever,
        "a smoother command (less jerk)",
        "too little feedforward lags; less integral action comes in more slowly against friction; a smoother command makes \
         each move longer",
    )
}

fn hunting(standing: Option<f64>) -> Advice {
    let second = "a window wider than the swing, if the process allows it";
    match standing {
        Some(share) if share >= STICKS => Advice::new(
            "friction and backlash: lubrication, alignment, preload; then less integral action, or a dead band for it",
            second,
            "without integral action the axis stands where friction leaves it: an offset up to the dead band",
        ),
        Some(_) => Advice::new(
            "find out whether the loop swings, or something shakes the axis: a swing from outside is there too with the drive \
             disabled, as its manual allows, or with another gain at the same frequency. The loop: a lower velocity gain or \
             position gain. From outside: stop or isolate the source, such as a fan, a pump or a neighbouring axis",
            second,
            "a lower gain follows and recovers more slowly, and does nothing against a swing from outside",
        ),
        None => Advice::new(
            "find out whether feedback stands between the swings: then friction and backlash, else a lower gain, or \
             whatever shakes the axis from outside",
            second,
            "a lower gain follows more slowly; less integral action may leave an offset",
        ),
    }
}

fn offset() -> Advice {
    Advice::new(
        "integral action, or compensation of a constant force such as gravity",
        "friction, backlash or a scale error, where the rest errors by direction and position show it",
        "integral action can overshoot, and hunts where friction sticks",
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(signature: Signature, typical: Typical, lever: &str, trade_off: &str) {
        let advice = advice(signature, &typical).expect("an advice");
        assert!(advice.lever.contains(lever) && advice.trade_off.contains(trade_off), "{advice:?}");
        assert!(!advice.second.is_empty());
    }

    #[test]
    fn figures_decide_between_levers() {
        let typical = Typical { ringing_hz: Some(18.2), settling_s: Some(0.16), ..Typical::default() };
        check(
            Signature::Ringing,
            typical,
            "over 55 ms, or shape it with two impulses at 18.2 Hz",
            "27 ms, and can save 160",
        );
        check(Signature::Ringing, Typical::default(), "over one period", "half a period");
        let second = |may_last| advice(Signature::Ringing, &Typical { may_last, ..typical }).unwrap().second;
        assert!(
            second(true).contains("something shakes it") && !second(false).contains("something shakes it")
        );
        let fell = Typical { frequency_change: Some(-0.05), ..typical };
        check(Signature::Ringing, fell, "restore the stiffness", "27 ms");
        let steady = Typical { frequency_change: Some(-0.04), ..typical };
        check(Signature::Ringing, steady, "smooth the command", "27 ms");
        let leads = Typical { leads: true, ..Typical::default() };
        check(Signature::Overshoot, leads, "less velocity feedforward", "lags");
        check(Signature::Overshoot, Typical::default(), "less acceleration feedforward", "lags");
        let beyond = Typical { is_beyond: true, ..Typical::default() };
        check(Signature::Creep, beyond, "then less integral action", "hunts");
        check(Signature::Creep, Typical::default(), "then more integral action", "hunts");
        let standing = |share| Typical { standing: Some(share), ..Typical::default() };
        check(Signature::Hunting, standing(0.5), "friction and backlash", "offset");
        check(Signature::Hunting, standing(0.4), "lower velocity gain", "slowly");
        check(
            Signature::Hunting,
            standing(0.4),
            "something shakes the axis",
            "nothing against a swing from outside",
        );
        check(Signature::Hunting, Typical::default(), "find out", "slowly");
        assert_eq!(advice(Signature::Clean, &typical), None);
        assert_eq!(advice(Signature::Unsure, &typical), None);
    }
}
