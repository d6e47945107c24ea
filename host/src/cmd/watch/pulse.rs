//! In: when frames and bytes came on a line. Out: what its silence asks for: a question, a notice, or another connection.

use std::time::{Duration, Instant};

/// What to do.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Beat {
    /// Nothing.
    Wait,
    /// Send the monitor a question, which it answers.
    Question,
    /// Say this of the line.
    Notice(Silence),
    /// The line is as good as lost.
    Lost(Silence),
}

/// How a line is silent.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Silence {
    /// No byte came since it was opened.
    FromTheBeginning,
    /// Bytes came since it was opened, but no frame.
    NoFrames,
    /// Frames came, and then none.
    NoMore,
}

/// The life of one connection. A question after a sixth of the time-out, a notice after half.
#[derive(Debug)]
pub(super) struct Pulse {
    time_out: Duration,
    /// Time of the last frame, at first that of the opening.
    last: Instant,
    questioned: Instant,
    is_noticed: bool,
    has_frames: bool,
    has_bytes: bool,
}

impl Pulse {
    /// The line is opened now, with a question.
    pub(super) fn new(time_out: Duration, now: Instant) -> Pulse {
        Pulse { time_out, last: now, questioned: now, is_noticed: false, has_frames: false, has_bytes: false }
    }

    /// Bytes came, frames among them or not.
    pub(super) fn heard(&mut self, has_frames: bool, now: Instant) {
        self.has_bytes = true;
        if has_frames {
            (self.last, self.has_frames, self.is_noticed) = (now, true, false);
        }
    }

    /// What to do now.
    pub(super) fn beat(&mut self, now: Instant) -> Beat {
        let since = |then: Instant| now.saturating_duration_since(then);
        let silent = since(self.last);
        if silent >= self.time_out {
            return Beat::Lost(self.silence());
        }
        if silent >= self.time_out / 2 && !self.is_noticed {
            self.is_noticed = true;
            return Beat::Notice(self.silence());
        }
        if silent.min(since(self.questioned)) >= self.time_out / 6 {
            self.questioned = now;
            return Beat::Question;
        }
        Beat::Wait
    }

    fn silence(&self) -> Silence {
        match (self.has_frames, self.has_bytes) {
            (true, _) => Silence::NoMore,
            (false, true) => Silence::NoFrames,
            (false, false) => Silence::FromTheBeginning,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What is done in each second from `from` on, while nothing happens.
    fn beats(pulse: &mut Pulse, begun: Instant, from: u64) -> Vec<(u64, Beat)> {
        let all = (from..).map(|second| (second, pulse.beat(begun + Duration::from_secs(second))));
        let mut done = vec![];
        for beat in all.filter(|(_, beat)| *beat != Beat::Wait) {
            done.push(beat);
            if matches!(beat.1, Beat::Lost(_)) {
                break;
            }
        }
        done
    }

    #[test]
    fn silence_is_questioned_noticed_and_ends_a_line() {
        let begun = Instant::now();
        let mut pulse = Pulse::new(Duration::from_secs(60), begun);
        let expected = |from: u64, silence| {
            let at = |second, beat| (from + second, beat);
            vec![
                at(10, Beat::Question),
                at(20, Beat::Question),
                at(30, Beat::Notice(silence)),
                at(31, Beat::Question),
                at(41, Beat::Question),
                at(51, Beat::Question),
                at(60, Beat::Lost(silence)),
            ]
        };
        assert_eq!(beats(&mut pulse, begun, 0), expected(0, Silence::FromTheBeginning));
        pulse.heard(false, begun + Duration::from_secs(61));
        assert_eq!(pulse.beat(begun + Duration::from_secs(61)), Beat::Lost(Silence::NoFrames));
        pulse.heard(true, begun + Duration::from_secs(100));
        assert_eq!(beats(&mut pulse, begun, 100), expected(100, Silence::NoMore));
    }
}
