//! In: frames that are missing, axes whose settings are unknown. Out: the requests for them, one after another and not too
//! often.
//!
//! A monitor sends its log from a frame on to the end, and a further request for the log ends the one before. So the log
//! is requested from the oldest missing frame on; while that answer comes, a later frame needs no request of its own.

use std::time::{Duration, Instant};

use stillpoint_core::wire::command::{Command, DumpSince};
use stillpoint_core::wire::status::Status;

use super::back_off::BackOff;

/// Shortest time between two requests for the log.
const PAUSE: Duration = Duration::from_secs(1);

/// The answer has ended if no frame out of the log came for this long.
const SILENCE: Duration = Duration::from_secs(5);

/// What is to be requested of one monitor.
#[derive(Debug, Default)]
pub(super) struct Requests {
    wanted: Option<DumpSince>,
    sent: Option<Instant>,
    answer: Option<Answer>,
    settings: Option<Instant>,
    back_off: BackOff,
}

/// An answer that comes.
#[derive(Debug)]
struct Answer {
    since: DumpSince,
    number: Option<u32>,
    last: Instant,
}

/// Which of two frames is older.
fn age(since: &DumpSince) -> (u32, u32) {
    (since.boot, since.sequence)
}

impl Requests {
    /// The log is wanted from a frame on.
    pub(super) fn want_log(&mut self, since: DumpSince, now: Instant) {
        let comes = |answer: &Answer| {
            age(&answer.since) <= age(&since) && now.saturating_duration_since(answer.last) < SILENCE
        };
        if self.answer.as_ref().is_some_and(comes) {
            return;
        }
        if self.wanted.is_none_or(|wanted| age(&since) < age(&wanted)) {
            self.wanted = Some(since);
        }
    }

    /// A frame out of the log came.
    pub(super) fn log_comes(&mut self, now: Instant) {
        if let Some(answer) = &mut self.answer {
            answer.last = now;
        }
    }

    /// A status came: it may end the answer.
    pub(super) fn status(&mut self, status: &Status) {
        let ends = |answer: &mut Answer| status.replay_left == 0 && status.last_command == answer.number;
        self.answer.take_if(ends);
    }

    /// The request for the log that is due, if one is.
    pub(super) fn due_log(&mut self, now: Instant) -> Option<DumpSince> {
        let waits = self.sent.is_some_and(|sent| now.saturating_duration_since(sent) < PAUSE);
        if waits { None } else { self.wanted.take() }
    }

    /// That request was sent, with this number.
    pub(super) fn sent_log(&mut self, since: DumpSince, number: Option<u32>, now: Instant) {
        self.sent = Some(now);
        self.answer = Some(Answer { since, number, last: now });
    }

    /// The question for the settings that is due, as long as some are unknown.
    pub(super) fn due_settings(&mut self, are_unknown: bool, now: Instant) -> Option<Command> {
        if !are_unknown {
            (self.settings, self.back_off) = (None, BackOff::default());
            return None;
        }
        // The first wait is for the answer to the question at the opening.
        let due = *self.settings.get_or_insert_with(|| now + self.back_off.next_wait());
        if now < due {
            return None;
        }
        self.settings = Some(now + self.back_off.next_wait());
        Some(Command::Identify)
    }

    /// The line was cut: what was requested won't come.
    pub(super) fn cut(&mut self) {
        *self = Requests {
            wanted: self.wanted.or(self.answer.take().map(|answer| answer.since)),
            ..Requests::default()
        };
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn since(sequence: u32) -> DumpSince {
        DumpSince { boot: 3, priority: 1, sequence }
    }

    fn over(number: u32) -> Status {
        Status { last_command: Some(number), ..Status::default() }
    }

    #[test]
    fn the_log_is_requested_from_the_oldest_frame_on_and_not_too_often() {
        let (mut requests, begun) = (Requests::default(), Instant::now());
        let at = |milliseconds| begun + Duration::from_millis(milliseconds);
        for frame in [50, 40, 60] {
            requests.want_log(since(frame), at(0));
        }
        assert_eq!(requests.due_log(at(0)), Some(since(40)));
        requests.sent_log(since(40), Some(7), at(0));
        // Its answer will bring this one, too; an older one it won't.
        requests.want_log(since(70), at(10));
        assert_eq!(requests.due_log(at(2000)), None);
        requests.want_log(since(30), at(20));
        assert_eq!((requests.due_log(at(20)), requests.due_log(at(1000))), (None, Some(since(30))));
        requests.sent_log(since(30), Some(8), at(1000));
        for (status, comes) in
            [(over(7), true), (Status { replay_left: 1, ..over(8) }, true), (over(8), false)]
        {
            requests.status(&status);
            requests.want_log(since(80), at(2000));
            assert_eq!(requests.wanted.is_none(), comes, "{status:?}");
        }
    }

    #[test]
    fn an_answer_that_stops_or_is_cut_is_requested_again() {
        let (mut requests, begun) = (Requests::default(), Instant::now());
        requests.sent_log(since(40), Some(7), begun);
        requests.log_comes(begun + SILENCE / 2);
        requests.want_log(since(50), begun + SILENCE);
        assert_eq!(requests.wanted, None);
        requests.want_log(since(50), begun + 2 * SILENCE);
        assert_eq!(requests.wanted, Some(since(50)));
        requests = Requests::default();
        requests.sent_log(since(40), Some(7), begun);
        requests.cut();
        assert_eq!(requests.due_log(begun), Some(since(40)));
    }

    #[test]
    fn settings_are_requested_until_they_are_known() {
        let (mut requests, begun) = (Requests::default(), Instant::now());
        let mut questions = 0;
        for second in 0..100 {
            questions +=
                u32::from(requests.due_settings(true, begun + Duration::from_secs(second)).is_some());
        }
        assert!((4..12).contains(&questions), "{questions}");
        let known = begun + Duration::from_secs(100);
        assert_eq!(requests.due_settings(false, known), None);
        assert_eq!(requests.due_settings(true, known), None);
        assert_eq!(requests.due_settings(true, known + Duration::from_secs(1)), Some(Command::Identify));
    }
}
