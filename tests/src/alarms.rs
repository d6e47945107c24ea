//! In: figures about one axis, actions of people, time. Out: the steps of its alarms, found by a slow, obvious method.
//!
//! Written apart from the monitor: every alarm looks at its last figure at every tick, and what logic does is
//! tried one alarm after another until nothing more happens.

use stillpoint_core::alarm::{Event, State};
use stillpoint_core::alarm::{Parameters, Priority};
use stillpoint_core::wire::alarm::{AlarmState, Arrangement, Subject};

use crate::alarm::Twin;

/// A step in the life of an alarm: its number, subject, state by its wire name, figure.
pub type Step = (u32, Subject, AlarmState, i64);

const SHIFT: u64 = 8 * 3600;

/// A share above all of the moves, twice. Unit: per mille
const UNLIMITED: i64 = 2001;

/// One alarm.
#[derive(Clone, Debug)]
struct Life {
    subject: Subject,
    parameters: Parameters,
    twin: Twin,
    alarm: u32,
    figure: Option<i64>,
    /// Its last step. Unit: ticks
    at: u64,
    /// How often it has come, each time within a shift.
    occurrences: u32,
}

/// The alarms of a monitor with one axis.
#[derive(Clone, Debug)]
pub struct Alarms {
    lives: Vec<Life>,
    numbers: u32,
    /// Unit: ticks
    shift: u64,
}

/// A figure is whole and its limit lies half below the first that is abnormal: all of it twice.
fn life(subject: Subject, limit: i64, deadband: i64, seconds: [u64; 3], second: u64) -> Life {
    let [off_delay, re_alarm_time, longest_shelving] = seconds.map(|seconds| seconds * second);
    let parameters =
        Parameters { limit, deadband, off_delay, re_alarm_time, longest_shelving, ..Parameters::default() };
    Life { subject, parameters, twin: Twin::new(parameters), alarm: 0, figure: None, at: 0, occurrences: 0 }
}

impl Life {
    /// The parameters as people have arranged them; what returns stays for a shift.
    fn arrange(&mut self, shift: u64) {
        let stays = matches!(self.subject, Subject::Drift | Subject::SettlingLimit | Subject::UnsettledLimit);
        let least = if stays && self.occurrences > 1 { shift } else { 0 };
        let off_delay = self.parameters.off_delay.max(least);
        self.twin.arrange(Parameters { off_delay, ..self.parameters });
    }
}

impl Alarms {
    /// The alarms of a monitor that starts. Unit of `second`: ticks
    pub fn new(second: u64) -> Alarms {
        let lives = vec![
            life(Subject::Signal, -1, 0, [0, SHIFT, SHIFT], second),
            life(Subject::SettlingLimit, UNLIMITED, 0, [0, SHIFT, 21 * SHIFT], second),
            life(Subject::UnsettledLimit, UNLIMITED, 0, [0, SHIFT, SHIFT], second),
            life(Subject::Unsettled, 5, 4, [60, SHIFT, SHIFT], second),
            life(Subject::FollowingError, 1, 0, [60, SHIFT, SHIFT], second),
            life(Subject::Drift, 511, 0, [0, 0, 21 * SHIFT], second),
            life(Subject::Gap, 1, 0, [60, 0, SHIFT], second),
        ];
        Alarms { lives, numbers: 0, shift: SHIFT * second }
    }

    fn step(&mut self, place: usize, before: State, named: bool, now: u64) -> Step {
        let life = &mut self.lives[place];
        let returns = life.alarm > 0 && now < life.at + self.shift;
        if before == State::Normal && !named && !returns {
            self.numbers += 1;
            life.alarm = self.numbers;
        }
        let sets_aside = matches!(before, State::Shelved | State::SuppressedByDesign | State::OutOfService);
        if life.twin.state == State::Unacknowledged && !sets_aside && before != State::Acknowledged {
            life.occurrences = if returns { life.occurrences + 1 } else { 1 };
        }
        life.at = now;
        life.arrange(self.shift);
        let name = format!("{:?}", life.twin.state);
        let state = (0..State::ALL.len() as u8)
            .map(|index| postcard::from_bytes::<AlarmState>(&[index]).expect("a state"))
            .find(|state| format!("{state:?}") == name);
        (life.alarm, life.subject, state.expect("the same names"), life.figure.unwrap_or_default())
    }

    /// A new figure; returns the steps that follow. Unit of `now`: ticks
    pub fn figure(&mut self, subject: Subject, figure: i64, now: u64) -> Vec<Step> {
        let place = self.lives.iter().position(|life| life.subject == subject).expect("a subject");
        let life = &mut self.lives[place];
        let before = life.twin.state;
        life.figure = Some(figure);
        let entered = life.twin.number(2 * figure, now).is_some();
        let first = entered.then(|| self.step(place, before, false, now));
        first.into_iter().chain(self.time(now)).collect()
    }

    /// Another limit of a share, 0 for none; returns the steps that follow. Unit: per mille, ticks
    pub fn limit(&mut self, subject: Subject, limit: u32, now: u64) -> Vec<Step> {
        let life = self.lives.iter_mut().find(|life| life.subject == subject).expect("a subject");
        life.parameters.limit = if limit == 0 { UNLIMITED } else { 2 * i64::from(limit) - 1 };
        life.occurrences = 0;
        life.arrange(self.shift);
        self.figure(subject, 0, now)
    }

    /// Lets time pass; returns the steps that follow. Unit: ticks
    pub fn time(&mut self, now: u64) -> Vec<Step> {
        let mut steps = vec![];
        while let Some(step) = self.one(now) {
            steps.push(step);
        }
        steps
    }

    /// The first step that logic or the clock causes.
    fn one(&mut self, now: u64) -> Option<Step> {
        let fault = self.lives.iter().any(|life| life.subject == Subject::Signal && life.twin.abnormal);
        for place in 0..self.lives.len() {
            let life = &mut self.lives[place];
            let before = life.twin.state;
            let logic = fault
                && match life.subject {
                    Subject::Unsettled | Subject::Drift => true,
                    Subject::SettlingLimit | Subject::UnsettledLimit => life.parameters.limit != UNLIMITED,
                    _ => false,
                };
            let by_hand = matches!(before, State::Shelved | State::OutOfService);
            let suppressed = before == State::SuppressedByDesign;
            let entered = match (logic, suppressed) {
                (true, false) if !by_hand => life.twin.act(Event::SuppressByDesign, 0, now),
                (false, true) => life.twin.act(Event::Unsuppress, 0, now),
                _ => match life.figure {
                    Some(figure) => life.twin.number(2 * figure, now),
                    None => life.twin.time(now),
                },
            };
            if entered.is_some() {
                return Some(self.step(place, before, false, now));
            }
        }
        None
    }

    /// The action of a person; none if it is refused. Units of `time` and `now`: ticks
    pub fn act(&mut self, alarm: u32, event: Event, time: u64, now: u64) -> Option<Vec<Step>> {
        let place = self.lives.iter().position(|life| life.alarm == alarm && alarm > 0)?;
        let before = self.lives[place].twin.state;
        self.lives[place].twin.act(event, time, now)?;
        let named = matches!(event, Event::Shelve | Event::OutOfService);
        let first = self.step(place, before, named, now);
        Some([first].into_iter().chain(self.time(now)).collect())
    }

    /// Other delays and times of one alarm; none if they are refused. Unit of `now`: ticks
    pub fn arrange(&mut self, arrangement: &Arrangement, now: u64) -> Option<Vec<Step>> {
        let times = [
            arrangement.on_delay,
            arrangement.off_delay,
            arrangement.re_alarm_time,
            arrangement.longest_shelving,
        ];
        if arrangement.axis != 0 || times.iter().any(|time| *time > 1 << 48) {
            return None;
        }
        let life = self.lives.iter_mut().find(|life| life.subject == arrangement.subject)?;
        let [on_delay, off_delay, re_alarm_time, longest_shelving] = times;
        let (latching, priority) = (arrangement.latching, Priority::default());
        life.parameters = Parameters {
            on_delay,
            off_delay,
            re_alarm_time,
            longest_shelving,
            latching,
            priority,
            ..life.parameters
        };
        life.arrange(self.shift);
        Some(self.time(now))
    }
}
